"""Finds the currents in conductors, and those that are where they must not be.

Networks are of circuits with one feed and one lamp, fit for `verify.sweep.fault_judging`, and of at
most six switches, so that a set of states is one 64-bit word.

**What the words mean.** Bit s of a word is a truth about state s. `enters[way, join]` are the
states in which the current of a way comes into a join from a terminal, `leaves[way, join]` those in
which it goes out; `forth[way, e]` and `back[way, e]` those in which it runs in conductor or bridge
e from its first end to its second, or the other way. In each state a way is one path, so no
conductor carries it twice.

**Taking off tips.** A join with one conductor left is a tip: by Kirchhoff's law for currents, what
enters it and does not leave it runs on through that conductor to the only neighbour. *Invariant*:
what enters and leaves the joins that are left is what is to be carried by the conductors that are
left. Each step takes one conductor off; where no tip is left but conductors are, these lie on
rings, and one of them is left out, as a chord. So it ends after as many steps as there are
conductors. `degree` counts the conductors left at a join and `through` is the exclusive or of their
numbers, which is the number of the only one when `degree` is 1.

**Rings.** Each chord closes one ring with conductors that were taken off. Sending 1 through the
chord and following it back in the order of taking off gives each ring's conductors and directions.
How a current divides between the two sides of a ring only resistances decide; what follows from
connections alone is decided here, and all else is reported as `unclear` and solved.

**Sums.** How many conductors of a cable carry a way forth, less those that carry it back, is
counted for all states at once in four words, the bits of a number modulo 16: as long as a cable has
less than 16 conductors the sum is zero exactly if all four are.

**Where the ideas are published** (from memory). Currents by a spanning tree and its chords:
Kirchhoff, *Annalen der Physik und Chemie* 72 (1847). Counters whose bits lie in words of their own:
Knuth, *The Art of Computer Programming* 4A, section 7.1.3.

**Why it is one function.** The steps hand on more than twenty arrays, and a helper that numba
inlines costs a count of references for each array that it is handed, row by row. It is to be
replaced by one for any number of switches, and stays as it is until then.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, see above

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Places = npt.NDArray[np.uint16]
Bytes = npt.NDArray[np.uint8]
Numbers = npt.NDArray[np.int64]
Reals = npt.NDArray[np.float64]

_NONE = np.uint64(0)
_MOST_RINGS = 8


def find_hazards(  # noqa: C901 - see above why it is one function
    terminals: Places,
    conductors: Places,
    is_ground: Bytes,
    cable_starts: Numbers,
    is_alone: Bytes,
    join_of: Places,
    conducts: Bytes,
    bridges: Indices,
    loose: Indices,
    ohms: Reals,
    contact: float,
    contacts: float,
    room: float,
    room_of_return: float,
    nets: Places,
    network: Numbers,
    into: Words,
    out: Words,
    flows: Words,
    divided: Words,
    unbalanced: Words,
    in_ground: Words,
    heated: Words,
    unclear: Words,
) -> None:
    """Find the states in which currents are where they must not be, as far as connections tell.

    `nets` (rows, joins) is the net of each join: where no current enters one, none flows in it.
    `network` (rows,) is the row of `into`, `out` (networks, 4, terminals), `flows` (networks, 4)
    and `divided` (networks, 2) for each row; see `verify.sweep.net_currents`. Three results have a
    set of states for each row: in `unbalanced` the currents in conductors of a cable do not cancel,
    in `in_ground` a ground wire carries current, in `heated` the loose end `loose` (rows,) does,
    which is negative for none. `unclear` gets the states in which conductors make rings and
    contacts another. A cable with `is_alone` (cables,) has no other beside it: a current that
    passes forth in it must come back in it.

    A part of the current takes a second path where that shares a contact or a conductor with the
    path of the rest: never all of it and never nothing. A ring of conductors is a second path as
    well: one of them is left out, and the second path leads through it. Where one of the two
    carries so little that it may not count (`verify.sweep.simple.Bounds`), or currents in one cable
    may cancel by chance, as those of two equal rings do, the state is `unclear` too.
    """
    rows, joins = nets.shape
    count = len(conductors)
    edges = count + bridges.shape[1]
    cables = len(cable_starts)
    degree = np.empty(joins, np.int16)
    through = np.empty(joins, np.uint16)
    enters = np.zeros((4, joins), np.uint64)
    leaves = np.zeros((4, joins), np.uint64)
    stack = np.empty(joins, np.uint16)
    a_of = np.empty(edges, np.uint16)
    b_of = np.empty(edges, np.uint16)
    is_there = np.empty(edges, np.bool_)
    carries = np.zeros(joins, np.bool_)  # nets into which current enters
    forth = np.zeros((4, edges), np.uint64)
    back = np.zeros((4, edges), np.uint64)
    ways = np.empty(4, np.int64)
    round_ = np.empty(2, np.uint64)
    taken = np.empty(edges, np.int16)  # edges in the order in which tips were taken off
    tip = np.empty(edges, np.int16)
    left_out = np.empty(_MOST_RINGS, np.int32)
    ring = np.zeros((_MOST_RINGS, edges), np.int8)
    charge = np.zeros(joins, np.int16)
    shared = np.empty(_MOST_RINGS, np.uint64)
    # The states in which a path is unbalanced in a cable; those in which a second path is, or leads
    # through a ground wire; those in which a ring is on one of two returns.
    sums = np.empty(4, np.uint64)
    turned = np.empty(2, np.uint64)
    first_sum = np.empty(4, np.uint64)
    tilted = np.empty((cables, 2), np.uint64)
    lone = np.empty(2, np.uint64)
    used = 0
    for row in range(rows):
        of = join_of[row]
        net = nets[row]
        known = network[row]
        unbalanced[row] = _NONE
        in_ground[row] = _NONE
        heated[row] = _NONE
        for u in range(used):
            for e in range(edges):
                forth[ways[u], e] = _NONE
                back[ways[u], e] = _NONE
        used = 0
        for way in range(4):
            if flows[known, way]:
                ways[used] = way
                used += 1
        if not used:
            continue
        for join in range(joins):
            degree[join] = 0
            through[join] = 0
            carries[join] = False
        for u in range(used):
            way = ways[u]
            for join in range(joins):
                enters[way, join] = _NONE
                leaves[way, join] = _NONE
            for t in range(len(terminals)):
                if into[known, way, t] | out[known, way, t]:
                    enters[way, of[terminals[t]]] |= into[known, way, t]
                    leaves[way, of[terminals[t]]] |= out[known, way, t]
                    carries[net[of[terminals[t]]]] = True
        for e in range(edges):
            is_there[e] = False
            if e < count:
                if conducts[row, e]:
                    a_of[e] = of[conductors[e, 0]]
                    b_of[e] = of[conductors[e, 1]]
                    is_there[e] = a_of[e] != b_of[e]
            elif bridges[row, e - count, 0] >= 0:
                a_of[e] = of[bridges[row, e - count, 0]]
                b_of[e] = of[bridges[row, e - count, 1]]
                is_there[e] = a_of[e] != b_of[e]
            if is_there[e] and not carries[net[a_of[e]]]:
                is_there[e] = False
            if is_there[e]:
                degree[a_of[e]] += 1
                degree[b_of[e]] += 1
                through[a_of[e]] ^= e
                through[b_of[e]] ^= e
        height = 0
        left = 0
        for e in range(edges):
            if is_there[e]:
                left += 1
        for join in range(joins):
            if degree[join] == 1:
                stack[height] = join
                height += 1
        # Current that enters at a tip flows on to the only neighbour that is left.
        rings = 0
        gone = 0
        first = 0
        while left:
            if not height:
                # Only rings are left: leave one conductor of a ring out.
                while not is_there[first]:
                    first += 1
                is_there[first] = False
                left -= 1
                if rings < _MOST_RINGS:
                    left_out[rings] = first
                rings += 1
                for join in (a_of[first], b_of[first]):
                    degree[join] -= 1
                    through[join] ^= first
                    if degree[join] == 1:
                        stack[height] = join
                        height += 1
                continue
            height -= 1
            join = stack[height]
            if degree[join] != 1:
                continue
            e = through[join]
            on = b_of[e]
            if on == join:
                on = a_of[e]
            for u in range(used):
                way = ways[u]
                going = enters[way, join] & ~leaves[way, join]
                coming = leaves[way, join] & ~enters[way, join]
                if a_of[e] == join:
                    forth[way, e] = going
                    back[way, e] = coming
                else:
                    forth[way, e] = coming
                    back[way, e] = going
                enters[way, on] |= going
                leaves[way, on] |= coming
            degree[join] = 0
            degree[on] -= 1
            through[on] ^= e
            is_there[e] = False
            left -= 1
            taken[gone] = e
            tip[gone] = join
            gone += 1
            if degree[on] == 1:
                stack[height] = on
                height += 1
        for way in range(2):
            round_[way] = divided[known, way]
            if flows[known, way + 2]:
                for e in range(count):
                    round_[way] |= (forth[way, e] | back[way, e]) & (
                        forth[way + 2, e] | back[way + 2, e]
                    )
        returns = flows[known, 0] & flows[known, 1]
        turned[:] = _NONE
        for cable in range(cables):
            stop = count
            if cable + 1 < cables:
                stop = cable_starts[cable + 1]
            sums[:] = _NONE
            several = _NONE
            for u in range(used):
                way = ways[u]
                ground = _NONE
                for e in range(cable_starts[cable], stop):
                    if is_ground[e]:
                        ground |= forth[way, e] | back[way, e]
                if way >= 2:
                    ground &= round_[way - 2]
                    turned[way - 2] |= ground
                in_ground[row] |= ground
                if is_alone[cable]:
                    continue
                # How many currents go forth less how many come back, in four bits modulo 16.
                s0 = s1 = s2 = s3 = _NONE
                for e in range(cable_starts[cable], stop):
                    carry = forth[way, e]
                    then = s0 & carry
                    s0 ^= carry
                    carry = s1 & then
                    s1 ^= then
                    then = s2 & carry
                    s2 ^= carry
                    s3 ^= then
                    carry = back[way, e]
                    then = ~s0 & carry
                    s0 ^= carry
                    carry = ~s1 & then
                    s1 ^= then
                    then = ~s2 & carry
                    s2 ^= carry
                    s3 ^= then
                sums[way] = s0 | s1 | s2 | s3
                if way >= 2:
                    sums[way] &= round_[way - 2]
                    turned[way - 2] |= sums[way]
                    # The states in which the difference is more than one current.
                    several |= (
                        sums[way] & sums[way - 2] & ~(s0 & ((s1 & s2 & s3) | ~(s1 | s2 | s3)))
                    )
                elif way == 1:
                    several |= (
                        sums[0]
                        & sums[1]
                        & (
                            (s0 ^ first_sum[0])
                            | (s1 ^ first_sum[1])
                            | (s2 ^ first_sum[2])
                            | (s3 ^ first_sum[3])
                        )
                    )
                else:
                    first_sum[0] = s0
                    first_sum[1] = s1
                    first_sum[2] = s2
                    first_sum[3] = s3
            unclear[row] |= several
            tilted[cable, 0] = sums[0]
            tilted[cable, 1] = sums[1]
            unbalanced[row] |= sums[0] | sums[1] | sums[2] | sums[3]
        for way in range(2):
            if turned[way]:
                # For each of the two paths: whether a conductor is on it, or contacts alone.
                apart = _NONE
                together = _NONE
                least = np.inf
                total_ohms = contacts
                for e in range(edges):
                    on_round = forth[way + 2, e] | back[way + 2, e]
                    if on_round:
                        apart |= on_round & ~(forth[way, e] | back[way, e])
                        together |= on_round & (forth[way, e] | back[way, e])
                        total_ohms += ohms[min(e, count)]
                        least = min(least, ohms[min(e, count)])
                if total_ohms > room * least:
                    unclear[row] |= turned[way]
                if total_ohms > room * contact:
                    unclear[row] |= turned[way] & ~(apart & together)
                unclear[row] |= turned[way] & returns
        if rings > _MOST_RINGS:
            unclear[row] |= flows[known, 0] | flows[known, 1]
        elif rings:
            for r in range(rings):
                # The ring goes through the conductor left out, and back along those taken off.
                x = left_out[r]
                for e in range(edges):
                    ring[r, e] = 0
                for join in range(joins):
                    charge[join] = 0
                ring[r, x] = 1
                charge[b_of[x]] = 1
                charge[a_of[x]] = -1
                for g in range(gone):
                    e = taken[g]
                    join = tip[g]
                    on = b_of[e]
                    if on == join:
                        on = a_of[e]
                    ring[r, e] = charge[join] if a_of[e] == join else -charge[join]
                    charge[on] += charge[join]
                shared[r] = _NONE
                for e in range(edges):
                    if ring[r, e]:
                        shared[r] |= forth[0, e] | back[0, e] | forth[1, e] | back[1, e]
            # A current in one ring is also in the rings that share a conductor with it.
            for _ in range(rings):
                for r in range(rings):
                    for q in range(rings):
                        for e in range(edges):
                            if ring[r, e] and ring[q, e]:
                                shared[r] |= shared[q]
            for r in range(rings):
                unclear[row] |= shared[r] & (turned[0] | turned[1])
                is_balanced = True
                differing = on_first = on_second = _NONE
                for e in range(edges):
                    if ring[r, e]:
                        on_first |= forth[0, e] | back[0, e]
                        on_second |= forth[1, e] | back[1, e]
                        differing |= (forth[0, e] ^ forth[1, e]) | (back[0, e] ^ back[1, e])
                lone[0] = on_first & ~on_second
                lone[1] = on_second & ~on_first
                for cable in range(cables):
                    stop = count
                    if cable + 1 < cables:
                        stop = cable_starts[cable + 1]
                    total = 0
                    for e in range(cable_starts[cable], stop):
                        total += ring[r, e]
                        if ring[r, e] and is_ground[e]:
                            in_ground[row] |= shared[r]
                            is_balanced = False
                    if total:
                        unbalanced[row] |= shared[r]
                        is_balanced = False
                        if total * total > 1:
                            unclear[row] |= shared[r] & (tilted[cable, 0] | tilted[cable, 1])
                        unclear[row] |= returns & (
                            (lone[0] & tilted[cable, 1])
                            | (lone[1] & tilted[cable, 0])
                            | (
                                shared[r]
                                & ~lone[0]
                                & ~lone[1]
                                & (tilted[cable, 0] ^ tilted[cable, 1])
                            )
                        )
                if is_balanced:
                    continue
                unclear[row] |= shared[r] & (flows[known, 2] | flows[known, 3])
                unclear[row] |= returns & on_first & on_second & differing
                for q in range(rings):
                    if q != r:
                        unclear[row] |= shared[r] & shared[q]
                least = np.inf
                total_ohms = 0.0
                for e in range(edges):
                    if ring[r, e]:
                        total_ohms += ohms[min(e, count)]
                        least = min(least, ohms[min(e, count)])
                if total_ohms > room * least:
                    unclear[row] |= shared[r]
                if total_ohms > room_of_return * least:
                    unclear[row] |= shared[r] & returns
        end = loose[row]
        if end >= 0:
            # This path has many more ohms than the other.
            unclear[row] |= returns | round_[0] | round_[1]
            for r in range(min(rings, _MOST_RINGS)):
                unclear[row] |= shared[r]
            for way in range(2):
                for t in range(len(terminals)):
                    if terminals[t] == end:
                        heated[row] |= into[known, way, t] | out[known, way, t]
                for e in range(count):
                    if conductors[e, 0] == end or conductors[e, 1] == end:
                        heated[row] |= forth[way, e] | back[way, e]
