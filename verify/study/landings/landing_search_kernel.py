"""The innermost loops of the search, written for numba: only numbers and arrays.

A row is what one part of a circuit does: for each state of the part's switches, the group of each
of its nodes; nodes of one group are connected. See `verify.study.landings.search` for what it
means.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, because numba inlines it all

import numpy as np
import numpy.typing as npt

Labels = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int64]
Pairs = npt.NDArray[np.int32]


def merge_rows(
    left: Labels,
    right: Labels,
    at_left: Places,
    at_right: Places,
    nodes: int,
    keep: Places,
    is_open: npt.NDArray[np.bool_],
    rails: Places,
    more_switches: bool,
    is_last: bool,
    first: int,
    last: int,
) -> tuple[Labels, Pairs]:
    """Connect each of the rows `first` ≤ i < `last` of `left` with each of `right`.

    Shapes: `left` (rows, states, places), `at_left` (places,) the node at each place, below
    `nodes`, which in `right` may be the same at several; `keep` (kept,) the nodes that the result
    tells of; `is_open` (kept,) whether anything else can still be connected there. `rails` are the
    nodes of line, back, lamp contact and shell.

    Returns the rows that can still become a way that works (rows, states, kept), and for each the
    pair that it came from. States count those of `left` first.
    """
    line, back, contact, shell = rails
    left_states, right_states = left.shape[1], right.shape[1]
    states = left_states * right_states
    kept = len(keep)
    room = 1024
    rows = np.empty((room, states, kept), np.uint8)
    pairs = np.empty((room, 2), np.int32)
    count = 0
    group = np.empty(nodes, np.int64)
    names = max(nodes, left.shape[2], right.shape[2])
    name = np.empty(names, np.int64)
    reachable = np.empty(nodes, np.bool_)
    for i in range(first, last):
        for j in range(len(right)):
            if count == room:
                room *= 2
                more_rows = np.empty((room, states, kept), np.uint8)
                more_rows[:count] = rows
                rows = more_rows
                more_pairs = np.empty((room, 2), np.int32)
                more_pairs[:count] = pairs
                pairs = more_pairs
            passes = True
            lit_first = False
            for state in range(states):
                left_state = state % left_states
                right_state = state // left_states

                for node in range(nodes):
                    group[node] = node
                for label in range(names):
                    name[label] = -1
                for place in range(left.shape[2]):
                    label = left[i, left_state, place]
                    if name[label] < 0:
                        name[label] = at_left[place]
                    group[at_left[place]] = name[label]
                for label in range(names):
                    name[label] = -1
                for place in range(right.shape[2]):
                    label = right[j, right_state, place]
                    if name[label] < 0:
                        name[label] = at_right[place]
                    else:
                        a = group[name[label]]
                        b = group[at_right[place]]
                        if a != b:
                            for node in range(nodes):
                                if group[node] == b:
                                    group[node] = a

                # A connection once made is never undone: this trips whatever is merged later.
                if group[line] == group[back]:
                    passes = False
                    break

                a = group[contact]
                b = group[shell]
                is_lit = (a == group[line] and b == group[back]) or (
                    a == group[back] and b == group[line]
                )
                if is_last:
                    odd = False
                    rest = state
                    while rest:
                        odd = not odd
                        rest &= rest - 1
                    if state == 0:
                        lit_first = is_lit
                    elif is_lit != (lit_first != odd):
                        passes = False
                        break
                elif more_switches:
                    # Some switch outside the part must change the lamp in this state.
                    if a == b or is_lit:
                        passes = False
                        break
                    for node in range(nodes):
                        reachable[node] = False
                    for place in range(kept):
                        if is_open[place]:
                            reachable[group[keep[place]]] = True
                    if not (reachable[a] and reachable[b]):
                        passes = False
                        break

                for node in range(nodes):
                    name[node] = -1
                used = 0
                for place in range(kept):
                    label = group[keep[place]]
                    if name[label] < 0:
                        name[label] = used
                        used += 1
                    rows[count, state, place] = name[label]

            # A switch of this part that makes no difference outside it will never make one.
            bit = 1
            while passes and bit < states:
                for state in range(states):
                    if not state & bit:
                        differs = False
                        for place in range(kept):
                            if rows[count, state, place] != rows[count, state | bit, place]:
                                differs = True
                                break
                        if not differs:
                            passes = False
                            break
                bit *= 2
            if passes:
                pairs[count, 0] = i
                pairs[count, 1] = j
                count += 1
    return rows[:count].copy(), pairs[:count].copy()


def number_equals(rows: Labels) -> tuple[Pairs, Pairs]:
    """Find equal rows (rows, width): the first of each kind, and the kind of each row.

    Kinds are numbered in the order in which they are met.
    """
    total, width = rows.shape
    size = 16
    while size < 2 * total:
        size *= 2
    table = np.full(size, -1, np.int32)
    firsts = np.empty(total, np.int32)
    kind = np.empty(total, np.int32)
    kinds = 0
    for row in range(total):
        mixed = np.uint64(14695981039346656037)
        for place in range(width):
            mixed = (mixed ^ np.uint64(rows[row, place])) * np.uint64(1099511628211)
        slot = np.int64((mixed ^ (mixed >> np.uint64(32))) & np.uint64(size - 1))
        while True:
            known = table[slot]
            if known < 0:
                table[slot] = kinds
                firsts[kinds] = row
                kind[row] = kinds
                kinds += 1
                break
            same = True
            for place in range(width):
                if rows[firsts[known], place] != rows[row, place]:
                    same = False
                    break
            if same:
                kind[row] = known
                break
            slot = (slot + 1) & (size - 1)
    return firsts[:kinds].copy(), kind
