"""Finds where the current of a lamp enters and leaves the nets of a network, state by state.

Nets are connected by closed contacts and by the lamp. The path of the current is what remains when
all dead ends are taken away, again and again. If what remains is no mere path, leaving out one
contact may make it one: the current takes that path, and a part of it takes a second path through
the contact left out. If leaving out one contact is not enough, the path is unclear.

Sets of states are 64-bit words, so of at most six switches.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - functions of loops on arrays, for numba

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled
from verify.engine.words_kernel import DOWN

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Bytes = npt.NDArray[np.uint8]

_NONE = np.uint64(0)
_ALL = np.uint64(0xFFFFFFFFFFFFFFFF)


@compiled
def _prune(
    one: Indices,
    other: Indices,
    active: Words,
    source: int,
    sink: int,
    wanted: np.uint64,
    met: Words,
) -> None:
    """Leave in `active` (edges,) what is on some path from source to sink in `wanted` states.

    `met` (3, nets) is scratch; its last row gets the states in which three edges or more meet.
    """
    for e in range(len(one)):
        active[e] &= wanted
        if one[e] == other[e]:
            active[e] = _NONE
    removing = True
    while removing:
        for e in range(len(one)):
            for net in (one[e], other[e]):
                met[0, net] = met[1, net] = met[2, net] = _NONE
        for net in (source, sink):
            met[0, net] = met[1, net] = met[2, net] = _NONE
        for net in (source, sink):
            met[1, net] |= met[0, net] & wanted
            met[0, net] |= wanted
        for e in range(len(one)):
            for net in (one[e], other[e]):
                met[2, net] |= met[1, net] & active[e]
                met[1, net] |= met[0, net] & active[e]
                met[0, net] |= active[e]
        removing = False
        for e in range(len(one)):
            kept = active[e] & met[1, one[e]] & met[1, other[e]]
            if kept != active[e]:
                active[e] = kept
                removing = True


@compiled
def _forked(one: Indices, other: Indices, active: Words, met: Words) -> np.uint64:
    """Return the states in which paths part."""
    states = _NONE
    for e in range(len(one)):
        states |= active[e] & (met[2, one[e]] | met[2, other[e]])
    return states


@compiled
def _walk(
    one: Indices,
    other: Indices,
    active: Words,
    source: int,
    wanted: np.uint64,
    at: Words,
    ahead: Words,
    back: Words,
) -> None:
    """Fill the direction of each edge along the path from `source`.

    `at` (nets,) gets the nets on the path.
    """
    for e in range(len(one)):
        at[one[e]] = at[other[e]] = _NONE
        ahead[e] = back[e] = _NONE
    at[source] = wanted
    walking = True
    while walking:
        walking = False
        for e in range(len(one)):
            free = active[e] & ~(ahead[e] | back[e])
            on = free & at[one[e]]
            if on:
                ahead[e] |= on
                at[other[e]] |= on
                walking = True
            on = free & at[other[e]] & ~on
            if on:
                back[e] |= on
                at[one[e]] |= on
                walking = True


@compiled
def find_currents(
    switches: int,
    contacts: Indices,
    contact_switch: Indices,
    lamp: Indices,
    feed: Indices,
    terminal_of: Indices,
    join_of: Indices,
    closed: Bytes,
    nets: Indices,
    lit: Words,
    into: Words,
    out: Words,
    divided: Words,
    unclear: Words,
) -> None:
    """Find the lamp's current while it is lit, as if all of it returned on one conductor.

    `nets` (rows, joins) is the net of each join, `lit` (rows,) the states in which the lamp is lit,
    `terminal_of` (ends,) the place of an end among the terminals. For each row, `into` and `out`
    (rows, 4, terminals) get the states in which current enters a net at a terminal and leaves it
    there: of the path that returns on the feed's neutral, of the one that returns on its ground,
    and of the second paths beside each. `divided` (rows, 2): where a second path shares a contact
    with the first. `unclear` (rows,): where there is more than these paths.
    """
    edges = len(contacts) + 1
    last = edges - 1
    valid = _ALL
    if switches < 6:
        valid = (np.uint64(1) << np.uint64(1 << switches)) - np.uint64(1)
    one = np.empty(edges, np.int16)
    other = np.empty(edges, np.int16)
    start = np.empty(edges, np.int16)
    stop = np.empty(edges, np.int16)
    for c in range(len(contacts)):
        start[c] = terminal_of[contacts[c, 0]]
        stop[c] = terminal_of[contacts[c, 1]]
    start[last] = terminal_of[lamp[0]]
    stop[last] = terminal_of[lamp[1]]
    mask = np.empty(edges, np.uint64)
    active = np.empty(edges, np.uint64)
    trial = np.empty(edges, np.uint64)
    omitted = np.empty(edges, np.uint64)
    ahead = np.empty(edges, np.uint64)
    back = np.empty(edges, np.uint64)
    ahead_round = np.empty(edges, np.uint64)
    back_round = np.empty(edges, np.uint64)
    met = np.zeros((3, nets.shape[1]), np.uint64)
    at = np.zeros(nets.shape[1], np.uint64)
    at_round = np.zeros(nets.shape[1], np.uint64)
    for row in range(len(join_of)):
        of = join_of[row]
        net = nets[row]
        into[row] = _NONE
        out[row] = _NONE
        divided[row] = _NONE
        unclear[row] = _NONE
        for c in range(len(contacts)):
            one[c] = net[of[contacts[c, 0]]]
            other[c] = net[of[contacts[c, 1]]]
            down = DOWN[contact_switch[c]]
            mask[c] = _NONE
            if closed[row, c] & 1:
                mask[c] |= ~down & valid
            if closed[row, c] & 2:
                mask[c] |= down & valid
        one[last] = net[of[lamp[0]]]
        other[last] = net[of[lamp[1]]]
        mask[last] = lit[row]
        source = net[of[feed[0]]]
        for way in range(2):
            sink = net[of[feed[1 + way]]]
            active[:] = mask
            _prune(one, other, active, source, sink, lit[row], met)
            flowing = active[last]
            forked = _forked(one, other, active, met) & flowing
            # In each forked state leave out the first edge without which the rest is a path.
            omitted[:] = _NONE
            for e in range(last):
                left_out = active[e] & forked
                if left_out:
                    trial[:] = active
                    trial[e] &= ~left_out
                    _prune(one, other, trial, source, sink, flowing, met)
                    omitted[e] = left_out & trial[last] & ~_forked(one, other, trial, met)
                    forked &= ~omitted[e]
            unclear[row] |= forked
            rounds = _NONE
            for e in range(last):
                rounds |= omitted[e]
                active[e] &= ~omitted[e]
            trial[:] = active
            _prune(one, other, trial, source, sink, flowing, met)
            _walk(one, other, trial, source, flowing, at, ahead, back)
            for e in range(edges):
                out[row, way, start[e]] |= ahead[e]
                into[row, way, stop[e]] |= ahead[e]
                out[row, way, stop[e]] |= back[e]
                into[row, way, start[e]] |= back[e]
            into[row, way, terminal_of[feed[0]]] |= flowing
            out[row, way, terminal_of[feed[1 + way]]] |= flowing
            for e in range(last):
                closing = omitted[e]
                if one[e] == other[e]:
                    # This closed contact bypasses the conductors of one net.
                    closing = mask[e] & at[one[e]] & flowing
                    unclear[row] |= closing & rounds
                    rounds |= closing
                elif closing:
                    # The second path goes through the edge left out, from end to end.
                    trial[:] = active
                    _prune(one, other, trial, one[e], other[e], closing, met)
                    unclear[row] |= _forked(one, other, trial, met) & closing
                    _walk(one, other, trial, one[e], closing, at_round, ahead_round, back_round)
                    for f in range(edges):
                        out[row, way + 2, start[f]] |= ahead_round[f]
                        into[row, way + 2, stop[f]] |= ahead_round[f]
                        out[row, way + 2, stop[f]] |= back_round[f]
                        into[row, way + 2, start[f]] |= back_round[f]
                        divided[row, way] |= (ahead[f] | back[f]) & (ahead_round[f] | back_round[f])
                if closing:
                    into[row, way + 2, start[e]] |= closing
                    out[row, way + 2, stop[e]] |= closing
