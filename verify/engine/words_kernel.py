"""The kernel of the engine *words*: what every row of a batch does, 64 states at a time.

Arguments and results are those of `verify.fault.network.FaultBatch` and
`verify.behaviour.findings.Findings`. The order of the hazards is that of
`verify.hazard.definitions.HAZARDS`.

**What the words mean.** Bit s of a word is a truth about state 64·w + s, where w is the number of
the word; state s has bit i set where switch i is down. So the states in which one of the first six
switches is down are a constant word (`DOWN`), and those of any other switch are whole words. An
operation on words, such as `live[a] & ground[b]`, is done for 64 states at once. With less than six
switches some bits stand for no state: they are 0 in all results.

**Nets.** What conductors and bridges connect they connect in every state, so they are looked at
once for a row. Joins are merged in a forest in which `net[join]` is the parent of a join and a root
its own; to connect two joins hangs one root under the other. *Invariant*: two joins have one root
exactly if the conductors that were looked at connect them. A root is hung only under another root,
so there is no circle and every walk to a root ends.

**Spreading.** `live[n]` are the states in which net n is known to be connected to a line; likewise
the other leg's line, the neutral and the ground. Where a contact between nets a and b is closed in
the states m, both get in these states what either has, again and again until nothing changes.
*Invariant*: a bit is set only if closed contacts connect the net to that rail in that state, since
each step follows one closed contact. *It ends*, because bits are only ever set and there are
finitely many. *At the end* both sides of a closed contact are alike, so by following any path of
closed contacts from the rail every net on it has the bit: the bits are exactly the connections.
Rails do not act on each other, so each spreads by itself.

**Where the ideas are published** (from memory). Merging by a forest: Galler and Fischer, *An
improved equivalence algorithm*, Communications of the ACM 7 (1964). Truth tables as words, and the
constants of `DOWN`: Knuth, *The Art of Computer Programming* 4A, sections 7.1.2 and 7.1.3. That a
rising step on a finite lattice, repeated from the bottom, ends in the least fixed point: Kleene,
*Introduction to Metamathematics* (1952).
"""

# ruff: noqa: PLR0913, PLR0917 - numba takes arrays one by one, not as fields of an object

import numpy as np
import numpy.typing as npt

from verify.base.compiling import inlined

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Places = npt.NDArray[np.uint16]
Bytes = npt.NDArray[np.uint8]

#: The states among 0…63 in which switch 0…5 is down; switch i > 5 is down in whole words.
DOWN = np.array(
    [
        0xAAAAAAAAAAAAAAAA,
        0xCCCCCCCCCCCCCCCC,
        0xF0F0F0F0F0F0F0F0,
        0xFF00FF00FF00FF00,
        0xFFFF0000FFFF0000,
        0xFFFFFFFF00000000,
    ],
    np.uint64,
)
_NONE = np.uint64(0)
_ALL = np.uint64(0xFFFFFFFFFFFFFFFF)

#: Bits of `wired`: the rails of some feed that conductors alone connect a net to.
#: The places in `HAZARDS` of the hazards that connections decide; all others stay 0 here.
LAMP_LIVE_DARK = 0
LAMP_REVERSED = 1
NEUTRAL_SWITCHED = 2
BOTH_POLES_ON_SWITCH = 3
METAL_LIVE = 4
METAL_FLOATING = 5
GROUND_WIRE_LIVE = 6
GROUND_CARRIES_LOAD = 7
NEUTRAL_GROUND_TIED = 8
LIVE_STUB = 9
BACKFED = 10
RECEPTACLE_SWITCHED = 11
#: A fault may have so many joins more than there are ends.
SPARE_JOINS = 4
_ON_LINE = 1
_ON_NEUTRAL = 2
_ON_GROUND = 4
_ON_RETURN = _ON_NEUTRAL | _ON_GROUND


def observe_rows(
    switches: int,
    feeds: Indices,
    on_b: Bytes,
    conductors: Indices,
    is_ground: Bytes,
    contacts: Indices,
    contact_switch: Indices,
    switch_ends: Indices,
    lamps: Indices,
    receptacles: Indices,
    metal: Indices,
    join_of: Places,
    conducts: Bytes,
    closed: Bytes,
    works: Bytes,
    bridges: Indices,
    trips: Words,
    lit: Words,
    hazards: Words,
    live_at: Words,
) -> None:
    """Fill `trips`, `lit` and `hazards` for every row of the batch.

    `live_at` (rows, ends, words) gets the states in which each end is live, unless it has no ends.
    """
    rows, ends = join_of.shape
    joins = ends + SPARE_JOINS
    valid = _ALL
    if switches < 6:
        valid = (np.uint64(1) << np.uint64(1 << switches)) - np.uint64(1)
    has_b = False
    for feed in range(len(feeds)):
        if on_b[feed]:
            has_b = True

    # Of numbers without a sign machine code need not ask if they are negative.
    net = np.empty(joins, np.uint16)
    size = np.empty(joins, np.int16)
    wired = np.empty(joins, np.int16)
    rails = np.empty((4, joins), np.uint64)
    live, neutral, ground, leg_b = rails[0], rails[1], rails[2], rails[3]
    from_net = np.empty(len(contacts), np.uint16)
    to_net = np.empty(len(contacts), np.uint16)
    mask = np.empty(len(contacts), np.uint64)
    which = np.empty(len(contacts), np.uint16)

    for row in range(rows):
        of = join_of[row]
        find_nets(row, conductors, conducts, bridges, of, net)
        count_ends(of, size)
        _find_wired(feeds, of, net, wired)
        both_poles = _has_both_poles(switches, switch_ends, of, net, wired)
        floating = _is_metal_floating(metal, of, net, wired)
        used = _find_contacts(row, contacts, closed, of, net, from_net, to_net, which)

        for word in range(trips.shape[1]):
            _mask_contacts(row, word, used, which, contact_switch, closed, valid, mask)
            _connect_feeds(feeds, on_b, valid, of, net, live, leg_b, neutral, ground)
            for rail in range(4 if has_b else 3):
                _spread(rails, rail, used, from_net, to_net, mask)
            trip = _NONE
            if has_b:
                trip = _merge_legs(live, leg_b)
            tied = _NONE
            for feed in range(len(feeds)):
                a = net[of[feeds[feed, 1]]]
                b = net[of[feeds[feed, 2]]]
                trip |= live[a] | live[b]
                tied |= ground[a]
            trip &= valid
            holds = valid & ~trip
            trips[row, word] = trip

            _judge_lamps(
                row, word, lamps, works, holds, of, net, wired, live, neutral, ground, lit, hazards
            )
            _judge_conductors(row, word, conductors, is_ground, holds, of, net, size, live, hazards)
            for end in range(live_at.shape[1]):
                live_at[row, end, word] = live[net[of[end]]] & holds
            if both_poles:
                hazards[row, BOTH_POLES_ON_SWITCH, word] = holds
            hazards[row, METAL_LIVE, word] = _any_of(live, metal, of, net) & holds
            if floating:
                hazards[row, METAL_FLOATING, word] = holds
            hazards[row, NEUTRAL_GROUND_TIED, word] = tied & holds
            hazards[row, RECEPTACLE_SWITCHED, word] = holds & ~_served_in(
                receptacles, of, net, live, neutral, ground
            )


@inlined
def find_nets(
    row: int,
    conductors: Indices | Places,
    conducts: Bytes,
    bridges: Indices,
    of: Places,
    net: Places,
) -> None:
    """Fill `net` (joins,) with one join for all that conductors and bridges of a row connect.

    `of` (ends,) is the join of each end in that row.
    """
    for join in range(len(net)):
        net[join] = join
    for c in range(len(conductors)):
        if conducts[row, c]:
            _merge(net, of[conductors[c, 0]], of[conductors[c, 1]])
    for c in range(bridges.shape[1]):
        if bridges[row, c, 0] >= 0:
            _merge(net, of[bridges[row, c, 0]], of[bridges[row, c, 1]])
    for join in range(len(net)):
        root = net[join]
        while net[root] != root:
            root = net[root]
        net[join] = root


@inlined
def _merge(net: Places, a: int, b: int) -> None:
    """Hang the root of join b under that of join a."""
    while net[a] != a:
        a = net[a]
    while net[b] != b:
        b = net[b]
    net[b] = a


@inlined
def count_ends(of: Places, size: Indices) -> None:
    """Fill `size` (joins,) with how many ends each join has."""
    for join in range(len(size)):
        size[join] = 0
    for end in range(len(of)):
        size[of[end]] += 1


@inlined
def _find_wired(feeds: Indices, of: Places, net: Places, wired: Indices) -> None:
    """Fill `wired` (joins,): which nets conductors alone connect to rails of some feed."""
    for join in range(len(wired)):
        wired[join] = 0
    for feed in range(len(feeds)):
        wired[net[of[feeds[feed, 0]]]] |= _ON_LINE
        wired[net[of[feeds[feed, 1]]]] |= _ON_NEUTRAL
        wired[net[of[feeds[feed, 2]]]] |= _ON_GROUND


@inlined
def _has_both_poles(
    switches: int, switch_ends: Indices, of: Places, net: Places, wired: Indices
) -> bool:
    """Return True if conductors alone bring a line and a neutral or ground to one switch."""
    both_poles = False
    for switch in range(switches):
        on_line = False
        on_return = False
        for slot in range(switch_ends.shape[1]):
            if switch_ends[switch, slot] >= 0:
                rails = wired[net[of[switch_ends[switch, slot]]]]
                if rails & _ON_LINE:
                    on_line = True
                elif rails:
                    on_return = True
        if on_line and on_return:
            both_poles = True
    return both_poles


@inlined
def _is_metal_floating(metal: Indices, of: Places, net: Places, wired: Indices) -> bool:
    """Return True if some metal has no ground by conductors alone."""
    floating = False
    for m in range(len(metal)):
        if not wired[net[of[metal[m]]]] & _ON_GROUND:
            floating = True
    return floating


@inlined
def _find_contacts(
    row: int,
    contacts: Indices,
    closed: Bytes,
    of: Places,
    net: Places,
    from_net: Places,
    to_net: Places,
    which: Places,
) -> int:
    """List the contacts that ever connect two nets: which they are and what they connect.

    Returns how many they are.
    """
    used = 0
    for c in range(len(contacts)):
        a = net[of[contacts[c, 0]]]
        b = net[of[contacts[c, 1]]]
        if closed[row, c] and a != b:
            from_net[used] = a
            to_net[used] = b
            which[used] = c
            used += 1
    return used


@inlined
def _mask_contacts(
    row: int,
    word: int,
    used: int,
    which: Places,
    contact_switch: Indices,
    closed: Bytes,
    valid: np.uint64,
    mask: Words,
) -> None:
    """Fill `mask` with the states of a word in which each contact of `which` is closed.

    Bit 0 of `closed` is set if it is closed when its switch is up, bit 1 if when it is down.
    """
    for u in range(used):
        c = which[u]
        switch = contact_switch[c]
        if switch < 6:
            down = DOWN[switch]
        elif (word >> (switch - 6)) & 1:
            down = _ALL
        else:
            down = _NONE
        states = _NONE
        if closed[row, c] & 1:
            states |= ~down
        if closed[row, c] & 2:
            states |= down
        mask[u] = states & valid


@inlined
def _connect_feeds(
    feeds: Indices,
    on_b: Bytes,
    valid: np.uint64,
    of: Places,
    net: Places,
    live: Words,
    leg_b: Words,
    neutral: Words,
    ground: Words,
) -> None:
    """Set, for each rail, the nets that feeds are connected to, in all states; clear all others."""
    for join in range(len(live)):
        live[join] = _NONE
        leg_b[join] = _NONE
        neutral[join] = _NONE
        ground[join] = _NONE
    for feed in range(len(feeds)):
        if on_b[feed]:
            leg_b[net[of[feeds[feed, 0]]]] = valid
        else:
            live[net[of[feeds[feed, 0]]]] = valid
        neutral[net[of[feeds[feed, 1]]]] = valid
        ground[net[of[feeds[feed, 2]]]] = valid


@inlined
def _spread(
    rails: Words, rail: int, used: int, from_net: Places, to_net: Places, mask: Words
) -> None:
    """Give both nets of a contact what either has of a rail, where the contact is closed.

    This is done for all contacts until nothing changes.
    """
    spreading = True
    while spreading:
        spreading = False
        for u in range(used):
            a = from_net[u]
            b = to_net[u]
            differ = (rails[rail, a] ^ rails[rail, b]) & mask[u]
            if differ:
                rails[rail, a] |= differ
                rails[rail, b] |= differ
                spreading = True


@inlined
def _merge_legs(live: Words, leg_b: Words) -> np.uint64:
    """Make what is live by either leg simply live; return the states in which legs meet."""
    meet = _NONE
    for join in range(len(live)):
        meet |= live[join] & leg_b[join]
        live[join] |= leg_b[join]
    return meet


@inlined
def _any_of(rail: Words, some: Indices, of: Places, net: Places) -> np.uint64:
    """Return the states in which some of these ends is connected to a rail."""
    states = _NONE
    for number in range(len(some)):
        states |= rail[net[of[some[number]]]]
    return states


@inlined
def _judge_lamps(
    row: int,
    word: int,
    lamps: Indices,
    works: Bytes,
    holds: np.uint64,
    of: Places,
    net: Places,
    wired: Indices,
    live: Words,
    neutral: Words,
    ground: Words,
    lit: Words,
    hazards: Words,
) -> None:
    """Fill `lit` and the hazards at lamps; `holds` are the states in which nothing trips."""
    live_dark = _NONE
    reversed_ = _NONE
    switched = _NONE
    loaded = _NONE
    backfed = _NONE
    for lamp in range(len(lamps)):
        a = net[of[lamps[lamp, 0]]]
        b = net[of[lamps[lamp, 1]]]
        returns_a = neutral[a] | ground[a]
        returns_b = neutral[b] | ground[b]
        upright = _NONE
        upside_down = _NONE
        if works[row, lamp]:
            upright = live[a] & returns_b & holds
            upside_down = live[b] & returns_a & holds
        shines = upright | upside_down
        lit[row, lamp, word] = shines
        live_dark |= holds & ~shines & (live[a] | live[b])
        reversed_ |= upside_down
        if not wired[b] & _ON_RETURN:
            switched |= upright
        if not wired[a] & _ON_RETURN:
            switched |= upside_down
        loaded |= (upright & ground[b]) | (upside_down & ground[a])
        backfed |= (live[a] & ~live[b] & ~returns_b) | (live[b] & ~live[a] & ~returns_a)
    hazards[row, LAMP_LIVE_DARK, word] = live_dark
    hazards[row, LAMP_REVERSED, word] = reversed_
    hazards[row, NEUTRAL_SWITCHED, word] = switched
    hazards[row, GROUND_CARRIES_LOAD, word] = loaded
    hazards[row, BACKFED, word] = backfed & holds


@inlined
def _judge_conductors(
    row: int,
    word: int,
    conductors: Indices,
    is_ground: Bytes,
    holds: np.uint64,
    of: Places,
    net: Places,
    size: Indices,
    live: Words,
    hazards: Words,
) -> None:
    """Fill the hazards of live conductors: ground wires, and conductors with a free end."""
    wire_live = _NONE
    stub = _NONE
    for c in range(len(conductors)):
        one = of[conductors[c, 0]]
        other = of[conductors[c, 1]]
        reached = live[net[one]] | live[net[other]]
        if is_ground[c]:
            wire_live |= reached
        if size[one] == 1 or size[other] == 1:
            stub |= reached
    hazards[row, GROUND_WIRE_LIVE, word] = wire_live & holds
    hazards[row, LIVE_STUB, word] = stub & holds


@inlined
def _served_in(
    receptacles: Indices, of: Places, net: Places, live: Words, neutral: Words, ground: Words
) -> np.uint64:
    """Return the states in which every receptacle has a line and a return."""
    served = _ALL
    for r in range(len(receptacles)):
        a = net[of[receptacles[r, 0]]]
        b = net[of[receptacles[r, 1]]]
        served &= live[a] & (neutral[b] | ground[b])
    return served
