"""The innermost loops of the search for landings: two rows connected, and equal rows found.

**What the numbers mean.** A row is what one part of a circuit does: for each state of the part's
switches, the group of each of its nodes; two nodes are connected in that state if and only if they
are of one group. Groups are numbered in the order in which nodes meet them, so that parts which
connect alike have equal rows. See `verify.study.landings.search` for what a part is, and for why no
way is lost by the rules that drop a row.

**Connecting two rows.** In each state the groups of the nodes of both parts begin as the `left` row
says; then the nodes of each group of the `right` row are put into one. *Invariant*: after each node
of the right row, nodes are of one group if and only if the left row and the part of the right row
gone through connect them. Putting two groups into one renames all nodes of the other; there are
some dozens at most, and no forest is quicker. Each loop goes through states, nodes or places once;
every pair of rows is looked at once, so it ends.

**Which rows are dropped**, in the order in which they are asked: one that trips, one whose lamp
cannot do any more what it should, and one with a switch that makes no difference.

**Equal rows** are found by a hash and compared place by place: two that differ never become one.

**Where the ideas are published** (from memory). Going through a graph part by part, keeping only
which of the nodes at the border are connected: Sekine, Imai and Tani, *Computing the Tutte
polynomial of a graph of moderate size*, ISAAC 1995. Numbers in the order of meeting, and tables
with open addressing: Knuth, *The Art of Computer Programming* 4A, section 7.2.1.5, and 3, section
6.4. The hash is that of Fowler, Noll and Vo (FNV-1a).
"""

# ruff: noqa: PLR0913, PLR0917 - numba takes arrays one by one, not as fields of an object

import numpy as np
import numpy.typing as npt

from verify.base.compiling import inlined

Labels = npt.NDArray[np.uint8]
Places = npt.NDArray[np.int64]
Pairs = npt.NDArray[np.int32]
Truths = npt.NDArray[np.bool_]


def merge_rows(
    left: Labels,
    right: Labels,
    at_left: Places,
    at_right: Places,
    nodes: int,
    keep: Places,
    is_open: Truths,
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
    name = np.empty(max(nodes, left.shape[2], right.shape[2]), np.int64)
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
                _take(left, i, state % left_states, at_left, group, name)
                _connect(right, j, state // left_states, at_right, group, name)
                # A connection once made is never undone: this trips whatever comes.
                if group[line] == group[back]:
                    passes = False
                    break
                a = group[contact]
                b = group[shell]
                is_lit = (a == group[line] and b == group[back]) or (
                    a == group[back] and b == group[line]
                )
                if is_last:
                    if state == 0:
                        lit_first = is_lit
                    elif is_lit != (lit_first != _is_odd(state)):
                        passes = False
                        break
                # Some switch that is not here yet must change the lamp in this state.
                elif more_switches and (
                    a == b or is_lit or not _are_reachable(a, b, keep, is_open, group, reachable)
                ):
                    passes = False
                    break
                _write(keep, group, name, rows, count, state)
            if passes and _every_switch_matters(rows, count):
                pairs[count, 0] = i
                pairs[count, 1] = j
                count += 1
    return rows[:count].copy(), pairs[:count].copy()


@inlined
def _take(left: Labels, row: int, state: int, at_left: Places, group: Places, name: Places) -> None:
    """Begin the groups (nodes,) with those of a row, called by the first of their nodes.

    Nodes that it does not tell of are alone. `name` is scratch, here and in what follows.
    """
    for node in range(len(group)):
        group[node] = node
    for label in range(len(name)):
        name[label] = -1
    for place in range(left.shape[2]):
        label = left[row, state, place]
        if name[label] < 0:
            name[label] = at_left[place]
        group[at_left[place]] = name[label]


@inlined
def _connect(
    right: Labels, row: int, state: int, at_right: Places, group: Places, name: Places
) -> None:
    """Put into one the groups of nodes that a row connects."""
    for label in range(len(name)):
        name[label] = -1
    for place in range(right.shape[2]):
        label = right[row, state, place]
        if name[label] < 0:
            name[label] = at_right[place]
        else:
            a = group[name[label]]
            b = group[at_right[place]]
            if a != b:
                for node in range(len(group)):
                    if group[node] == b:
                        group[node] = a


@inlined
def _is_odd(state: int) -> bool:
    """Whether the number of switches that are down is odd."""
    odd = False
    rest = state
    while rest:
        odd = not odd
        rest &= rest - 1
    return odd


@inlined
def _are_reachable(
    a: int, b: int, keep: Places, is_open: Truths, group: Places, reachable: Truths
) -> bool:
    """Whether something else can still be connected to both groups."""
    for node in range(len(group)):
        reachable[node] = False
    for place in range(len(keep)):
        if is_open[place]:
            reachable[group[keep[place]]] = True
    return bool(reachable[a] and reachable[b])


@inlined
def _write(keep: Places, group: Places, name: Places, rows: Labels, row: int, state: int) -> None:
    """Write the groups of the nodes that are kept, numbered in the order in which they are met."""
    for node in range(len(group)):
        name[node] = -1
    used = 0
    for place in range(len(keep)):
        label = group[keep[place]]
        if name[label] < 0:
            name[label] = used
            used += 1
        rows[row, state, place] = name[label]


@inlined
def _every_switch_matters(rows: Labels, row: int) -> bool:
    """Whether in every state of a row each switch changes it.

    A switch of a part that makes no difference outside it will never make one.
    """
    bit = 1
    while bit < rows.shape[1]:
        for state in range(rows.shape[1]):
            if not state & bit:
                differs = False
                for place in range(rows.shape[2]):
                    if rows[row, state, place] != rows[row, state | bit, place]:
                        differs = True
                        break
                if not differs:
                    return False
        bit *= 2
    return True


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
