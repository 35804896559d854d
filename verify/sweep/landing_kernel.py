"""Lists wrong landings: only numbers and arrays.

**What the numbers mean.** Ends and joins have the numbers that they have in the circuit; `rank` is
the place of an end in the order in which sites name ends, and `named` the end that comes first of
each join. A join that is new in a fault, where an end is alone, has the number after the last.

**Each fault once.** Some landings come to the same; of these the one whose ends come first is
listed, as the comments say of each kind. *Invariant*: `number` counts the sites of a kind in the
order in which they are named, whether their fault is listed or comes to the same as an earlier one,
and `counts` the faults and moves listed. Each loop goes through boxes and pairs of their ends or
joins once, so it ends; the room for what is listed is counted beforehand from the same pairs.

This is plain listing, and no published idea behind it.

**Why it is one function.** Five kinds are listed one after the other, each by loops of its own with
nothing nested between kinds; they write to the same lists. It is to be replaced together with the
other kernels of this folder, and stays as it is until then.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, see above

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled

Numbers = npt.NDArray[np.int64]


@compiled
def _name(site: Numbers, name: Numbers, fault: int, number: int, one: int, other: int) -> None:
    """Write down the place of a fault among the sites of its kind, and the ends that name it."""
    site[fault] = number
    name[fault, 0] = one
    name[fault, 1] = other


@compiled
def _move(move: Numbers, at: int, fault: int, end: int, join: int) -> None:
    """Write down a move of a fault, which is counted within its kind."""
    move[at, 0] = fault
    move[at, 1] = end
    move[at, 2] = join


@compiled
def list_landings(  # noqa: C901 - see above why it is one function
    ordered: Numbers,
    box_starts: Numbers,
    join_of: Numbers,
    join_ends: Numbers,
    join_starts: Numbers,
    part_starts: Numbers,
    part_ways: Numbers,
    part_places: Numbers,
) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """List ends left off, moved, exchanged, then joins bridged, then joins split.

    `ordered` (ends,) are the ends in the order in which sites name them, box by box, each box
    beginning at one of `box_starts` (boxes + 1,); `join_of` (ends,) is the join of each end, and
    `join_ends` (ends,) the ends of each join in its own order, from `join_starts` (joins + 1,) on.
    For joins of k ends `part_starts[k]` says where the ways to part them begin, see
    `verify.sweep.landing_rows`. Returns, kind after kind, the place of each fault among the sites
    of its kind (F,), the two ends that name it (F, 2), what it moves (M, 3): the fault counted
    within its kind, an end, and the join that it goes to; and for each kind how many faults and
    moves there are.
    """
    ends = len(join_of)
    joins = len(join_starts) - 1
    boxes = len(box_starts) - 1
    rank = np.empty(ends, np.int64)
    for place in range(ends):
        rank[ordered[place]] = place
    # For an end in a join of two: the other end.
    partner = np.full(ends, -1, np.int64)
    size = np.empty(joins, np.int64)
    for join in range(joins):
        begin = join_starts[join]
        size[join] = join_starts[join + 1] - begin
        if size[join] == 2:
            partner[join_ends[begin]] = join_ends[begin + 1]
            partner[join_ends[begin + 1]] = join_ends[begin]
    # List the joins in the order in which sites name them, and the ends that name them.
    named = np.full(joins, -1, np.int64)
    in_order = np.empty(joins, np.int64)
    first_join = np.empty(boxes + 1, np.int64)
    met = 0
    for box in range(boxes):
        first_join[box] = met
        for place in range(box_starts[box], box_starts[box + 1]):
            join = join_of[ordered[place]]
            if named[join] < 0:
                named[join] = ordered[place]
                in_order[met] = join
                met += 1
    first_join[boxes] = met
    # Make room for the most faults and moves that there can be.
    most = ends
    most_moves = ends
    for box in range(boxes):
        inside = box_starts[box + 1] - box_starts[box]
        there = first_join[box + 1] - first_join[box]
        most += inside * there + inside * inside + there * there
        most_moves += 2 * inside * there + 2 * inside * inside
    for join in range(joins):
        begin, stop = part_starts[size[join]], part_starts[size[join] + 1]
        most += stop - begin
        most_moves += stop - begin
    site = np.empty(most, np.int64)
    name = np.empty((most, 2), np.int64)
    move = np.empty((most_moves, 3), np.int64)
    counts = np.zeros((5, 2), np.int64)
    faults = 0
    moves = 0

    # Left off: in a join of two, leaving off either end gives the same result.
    number = 0
    for place in range(ends):
        end = ordered[place]
        if size[join_of[end]] > 1:
            if partner[end] < 0 or place < rank[partner[end]]:
                _name(site, name, faults, number, end, end)
                _move(move, moves, counts[0, 0], end, joins)
                faults += 1
                moves += 1
                counts[0] += 1
            number += 1

    # Moved: of two ends that are alone, moving either to the other gives the same result.
    number = 0
    for box in range(boxes):
        for place in range(box_starts[box], box_starts[box + 1]):
            end = ordered[place]
            own = join_of[end]
            for there in range(first_join[box], first_join[box + 1]):
                join = in_order[there]
                if join == own:
                    continue
                if size[own] > 1 or size[join] > 1 or place < rank[named[join]]:
                    _name(site, name, faults, number, end, named[join])
                    _move(move, moves, counts[1, 0], end, join)
                    faults += 1
                    moves += 1
                    counts[1] += 1
                number += 1

    # Exchanged: in two joins of two, exchanging one end of each exchanges the others too.
    number = 0
    for box in range(boxes):
        for place in range(box_starts[box], box_starts[box + 1]):
            one = ordered[place]
            here = join_of[one]
            for other_place in range(place + 1, box_starts[box + 1]):
                other = ordered[other_place]
                there = join_of[other]
                if here == there or size[here] + size[there] == 2:
                    continue
                is_earlier = False
                if size[here] == 2 and size[there] == 2:
                    low = min(rank[partner[one]], rank[partner[other]])
                    high = max(rank[partner[one]], rank[partner[other]])
                    is_earlier = low < place or (low == place and high < other_place)
                if not is_earlier:
                    _name(site, name, faults, number, one, other)
                    _move(move, moves, counts[2, 0], one, there)
                    _move(move, moves + 1, counts[2, 0], other, here)
                    faults += 1
                    moves += 2
                    counts[2, 0] += 1
                    counts[2, 1] += 2
                number += 1

    # Bridged: any two joins of two ends or more.
    for box in range(boxes):
        for one_place in range(first_join[box], first_join[box + 1]):
            one = in_order[one_place]
            if size[one] == 1:
                continue
            for other_place in range(one_place + 1, first_join[box + 1]):
                other = in_order[other_place]
                if size[other] == 1:
                    continue
                _name(site, name, faults, counts[3, 0], named[one], named[other])
                for at in range(join_starts[other], join_starts[other + 1]):
                    _move(move, moves, counts[3, 0], join_ends[at], one)
                    moves += 1
                    counts[3, 1] += 1
                faults += 1
                counts[3, 0] += 1

    # Split: joins of four ends or more.
    for there in range(joins):
        join = in_order[there]
        begin = join_starts[join]
        ways = 0
        for row in range(part_starts[size[join]], part_starts[size[join] + 1]):
            end = join_ends[begin + part_places[row]]
            _move(move, moves, counts[4, 0] + part_ways[row], end, joins)
            moves += 1
            counts[4, 1] += 1
            ways = part_ways[row] + 1
        for _ in range(ways):
            _name(site, name, faults, counts[4, 0], join_ends[begin], join_ends[begin])
            faults += 1
            counts[4, 0] += 1
    return site[:faults].copy(), name[:faults].copy(), move[:moves].copy(), counts
