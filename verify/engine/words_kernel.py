"""The proof itself, written for numba and plain Python alike: only numbers and arrays.

Arguments and results are those of `verify.fault.network.Batch` and
`verify.behaviour.findings.Findings`. The order of the hazards is that of
`verify.behaviour.hazards.HAZARDS`.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, because numba inlines it all

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Bytes = npt.NDArray[np.uint8]

#: In which of the states 0…63 switch 0…5 is down; switch i > 5 is down in whole words.
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


def judge(
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
    join_of: Indices,
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

    `live_at` (rows, ends or none, words) gets the states in which each end is live, if it has room.
    """
    rows, ends = join_of.shape
    joins = ends + 4  # faults may add a few joins
    word_total = trips.shape[1]
    valid = _ALL
    if switches < 6:
        valid = (np.uint64(1) << np.uint64(1 << switches)) - np.uint64(1)

    net = np.empty(joins, np.int16)
    size = np.empty(joins, np.int16)
    wired = np.empty(joins, np.int16)
    has_b = False
    for feed in range(len(feeds)):
        if on_b[feed]:
            has_b = True
    live = np.empty(joins, np.uint64)
    leg_b = np.empty(joins, np.uint64)
    neutral = np.empty(joins, np.uint64)
    ground = np.empty(joins, np.uint64)
    from_net = np.empty(len(contacts), np.int16)
    to_net = np.empty(len(contacts), np.int16)
    mask = np.empty(len(contacts), np.uint64)
    which = np.empty(len(contacts), np.int16)

    for row in range(rows):
        of = join_of[row]

        # Nets: joins merged by conductors and shorts, each named by one of its joins.
        for join in range(joins):
            net[join] = join
            size[join] = 0
        for end in range(ends):
            size[of[end]] += 1
        for c in range(len(conductors)):
            if conducts[row, c]:
                a = of[conductors[c, 0]]
                b = of[conductors[c, 1]]
                while net[a] != a:
                    a = net[a]
                while net[b] != b:
                    b = net[b]
                net[b] = a
        for c in range(bridges.shape[1]):
            if bridges[row, c, 0] >= 0:
                a = of[bridges[row, c, 0]]
                b = of[bridges[row, c, 1]]
                while net[a] != a:
                    a = net[a]
                while net[b] != b:
                    b = net[b]
                net[b] = a
        for join in range(joins):
            a = net[join]
            while net[a] != a:
                a = net[a]
            net[join] = a

        # By conductors alone: which nets are on line, neutral and ground of some feed.
        for join in range(joins):
            wired[join] = 0
        for feed in range(len(feeds)):
            wired[net[of[feeds[feed, 0]]]] |= 1
            wired[net[of[feeds[feed, 1]]]] |= 2
            wired[net[of[feeds[feed, 2]]]] |= 4

        both_poles = False
        for switch in range(switches):
            on_line = False
            on_return = False
            for slot in range(switch_ends.shape[1]):
                if switch_ends[switch, slot] >= 0:
                    a = net[of[switch_ends[switch, slot]]]
                    if wired[a] & 1:
                        on_line = True
                    elif wired[a]:
                        on_return = True
            if on_line and on_return:
                both_poles = True
        floating = False
        for m in range(len(metal)):
            if not wired[net[of[metal[m]]]] & 4:
                floating = True

        used = 0
        for c in range(len(contacts)):
            a = net[of[contacts[c, 0]]]
            b = net[of[contacts[c, 1]]]
            if closed[row, c] and a != b:
                from_net[used] = a
                to_net[used] = b
                which[used] = c
                used += 1

        for word in range(word_total):
            for u in range(used):
                c = which[u]
                switch = contact_switch[c]
                if switch < 6:
                    down = DOWN[switch]
                elif (word >> (switch - 6)) & 1:
                    down = _ALL
                else:
                    down = _NONE
                m_closed = _NONE
                if closed[row, c] & 1:
                    m_closed |= ~down
                if closed[row, c] & 2:
                    m_closed |= down
                mask[u] = m_closed & valid

            for join in range(joins):
                live[join] = _NONE
                neutral[join] = _NONE
                ground[join] = _NONE
                leg_b[join] = _NONE
            for feed in range(len(feeds)):
                if on_b[feed]:
                    leg_b[net[of[feeds[feed, 0]]]] = valid
                else:
                    live[net[of[feeds[feed, 0]]]] = valid
                neutral[net[of[feeds[feed, 1]]]] = valid
                ground[net[of[feeds[feed, 2]]]] = valid
            spreading = True
            while spreading:
                spreading = False
                for u in range(used):
                    a = from_net[u]
                    b = to_net[u]
                    m = mask[u]
                    differ = (live[a] ^ live[b]) & m
                    if differ:
                        live[a] |= differ
                        live[b] |= differ
                        spreading = True
                    if has_b:
                        differ = (leg_b[a] ^ leg_b[b]) & m
                        if differ:
                            leg_b[a] |= differ
                            leg_b[b] |= differ
                            spreading = True
                    differ = (neutral[a] ^ neutral[b]) & m
                    if differ:
                        neutral[a] |= differ
                        neutral[b] |= differ
                        spreading = True
                    differ = (ground[a] ^ ground[b]) & m
                    if differ:
                        ground[a] |= differ
                        ground[b] |= differ
                        spreading = True

            trip = _NONE
            tied = _NONE
            if has_b:  # lines of different legs must not meet; apart, both are simply live
                for join in range(joins):
                    trip |= live[join] & leg_b[join]
                    live[join] |= leg_b[join]
            for feed in range(len(feeds)):
                a = net[of[feeds[feed, 1]]]
                b = net[of[feeds[feed, 2]]]
                trip |= live[a] | live[b]
                tied |= ground[a]
            trip &= valid
            holds = valid & ~trip
            trips[row, word] = trip

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
                if not wired[b] & 6:
                    switched |= upright
                if not wired[a] & 6:
                    switched |= upside_down
                loaded |= (upright & ground[b]) | (upside_down & ground[a])
                backfed |= (live[a] & ~live[b] & ~returns_b) | (live[b] & ~live[a] & ~returns_a)

            metal_live = _NONE
            for m in range(len(metal)):
                metal_live |= live[net[of[metal[m]]]]
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

            for end in range(live_at.shape[1]):
                live_at[row, end, word] = live[net[of[end]]] & holds
            hazards[row, 0, word] = live_dark
            hazards[row, 1, word] = reversed_
            hazards[row, 2, word] = switched
            if both_poles:
                hazards[row, 3, word] = holds
            hazards[row, 4, word] = metal_live & holds
            if floating:
                hazards[row, 5, word] = holds
            hazards[row, 6, word] = wire_live & holds
            hazards[row, 7, word] = loaded
            hazards[row, 8, word] = tied & holds
            hazards[row, 9, word] = stub & holds
            hazards[row, 10, word] = backfed & holds
            served = _ALL
            for r in range(len(receptacles)):
                a = net[of[receptacles[r, 0]]]
                b = net[of[receptacles[r, 1]]]
                served &= live[a] & (neutral[b] | ground[b])
            hazards[row, 11, word] = holds & ~served
