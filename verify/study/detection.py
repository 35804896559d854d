"""Finds the fewest flips of switches by which a person detects every mistake that can be seen.

A mistake changes the function if the light differs from what is intended, whatever the positions of
each switch are called. A set of states detects it if what is seen in them cannot be as intended. A
person who knows which position of each switch is which compares each state with what is intended in
it. One who does not begins with the switches as they stand and moves them: any state may be the
first, and what is seen may be as intended under any renaming of positions, so a set has to detect
the mistake from wherever it begins, under every renaming. Either way the set has to meet certain
other sets, one or more for each mistake, and the smallest that does is a minimum hitting set, found
here exactly. Of all smallest sets the one with the shortest walk is wanted, so they are enumerated;
an integer programme would give only one of them. The tests compare their size with its result.

A set of states is a number, as in `verify.behaviour.findings`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.findings import states_in
from verify.behaviour.signature import Codes

Flags = npt.NDArray[np.bool_]

#: Sets of the states of more switches do not fit the search: 2^6 states are one machine word.
MOST_SWITCHES: Final = 6
#: A walk through at most so many states is proved to be shortest; for more it is a good one.
MOST_WALKED: Final = 16
#: The most smallest sets that are tried for the shortest walk.
_MOST_SETS: Final = 64


@dataclass(frozen=True, slots=True)
class Flips:
    """A plan of flips: a smallest set of `states`, and a `walk` of single flips through them.

    The walk is a sequence of states, each one flip from the one before. `is_shortest`: no walk
    through these states is shorter; `is_best`: none through any other set as small is.
    """

    states: tuple[int, ...]
    walk: tuple[int, ...]
    is_shortest: bool
    is_best: bool

    @property
    def flips(self) -> int:
        """How many times a switch is moved."""
        return max(0, len(self.walk) - 1)


def plan_flips(
    codes: Codes, intended: Codes, *, positions_known: bool, start: int | None = None
) -> Flips:
    """Return the states that show every mistake that changes the function, and a walk.

    `codes` (mistakes, states) and `intended` (states,) are packed outcomes, see
    `verify.behaviour.signature.state_codes`. The walk begins in the state `start`. Without known
    positions any state may be called so, and it is 0 by default. Raises ValueError beyond
    `MOST_SWITCHES`.
    """
    if len(intended) > 1 << MOST_SWITCHES:
        raise ValueError(f"{len(intended)} states are more than those of {MOST_SWITCHES} switches")
    needs = needed(codes, intended, positions_known=positions_known)
    switches = len(intended).bit_length() - 1
    if positions_known:
        return _plan(needs, switches, start)
    found = _plan(needs, switches, None)
    return _begun_in(found, start or 0)


def _begun_in(flips: Flips, start: int) -> Flips:
    """Return the same moves from another state, for a person to whom all states are alike."""
    if not flips.walk:
        return flips
    renaming = flips.walk[0] ^ start
    return replace(
        flips,
        states=tuple(sorted(state ^ renaming for state in flips.states)),
        walk=tuple(state ^ renaming for state in flips.walk),
    )


def changes_function(codes: Codes, intended: Codes) -> Flags:
    """Return which mistakes change the function, whatever the positions are called.

    Shape (mistakes,).
    """
    unlike = np.ones(len(codes), np.bool_)
    for variant in _variants(intended):
        unlike &= np.any(codes != variant, axis=1)
    return unlike


def needed(codes: Codes, intended: Codes, *, positions_known: bool) -> tuple[int, ...]:
    """Return sets of states that each must be met to detect every mistake.

    Mistakes that do not change the function are left out, and so are sets that contain another:
    what meets that one meets them.
    """
    changing = codes[changes_function(codes, intended)]
    variants = intended[None] if positions_known else _variants(intended)
    states = np.arange(len(intended))
    sets: set[int] = set()
    for variant in variants:
        first = np.unique(_as_words(changing != variant), return_index=True)[1]
        differs = changing[first] != variant
        for renaming in states[:1] if positions_known else states:
            sets.update(_as_words(differs[:, states ^ renaming]).tolist())
    smallest: list[int] = []
    for need in sorted(sets, key=lambda need: (need.bit_count(), need)):
        if not any(kept & need == kept for kept in smallest):
            smallest.append(need)
    return tuple(smallest)


def _as_words(states: Flags) -> npt.NDArray[np.uint64]:
    """Return sets of at most 64 states, a row of flags each, as one word each."""
    octets = np.zeros((len(states), 8), np.uint8)
    packed = np.packbits(states, axis=1, bitorder="little")
    octets[:, : packed.shape[1]] = packed
    words: npt.NDArray[np.uint64] = octets.view("<u8")[:, 0].astype(np.uint64)
    return words


def _variants(intended: Codes) -> Codes:
    """Return what is intended under every renaming of positions, each once.

    Shape (variants, states).
    """
    states = np.arange(len(intended))
    variants: Codes = np.unique(intended[states[:, None] ^ states[None, :]], axis=0)
    return variants


@lru_cache(maxsize=4096)  # circuits of one size need few different sets
def _plan(needs: tuple[int, ...], switches: int, start: int | None) -> Flips:
    sets = smallest_sets(needs, _MOST_SETS + 1)
    walks = [shortest_walk(states, switches, start) for states in sets[:_MOST_SETS]]
    place = min(range(len(walks)), key=lambda place: len(walks[place][0]))
    states, (walk, is_shortest) = sets[place], walks[place]
    tried_all = len(sets) <= _MOST_SETS and all(proved for _, proved in walks)
    is_direct = len(walk) == states.bit_count()
    return Flips(tuple(states_in(states)), walk, is_shortest, tried_all or is_direct)


def smallest_sets(needs: Sequence[int], most: int) -> list[int]:
    """Return at most `most` of the smallest sets that meet each of `needs`; exact.

    None of `needs` is empty. Branches on the need with the fewest states left; needs that have no
    state in common take one state each, which bounds the size from below.
    """
    size = _disjoint(needs, 0)
    while True:
        found: list[int] = []
        for states in _sets_of_size(needs, 0, 0, size):
            found.append(states)
            if len(found) == most:
                break
        if found:
            return found
        size += 1


def _sets_of_size(needs: Sequence[int], chosen: int, refused: int, size: int) -> Iterator[int]:
    """Yield every set of `size` more states beyond `chosen`, none of them `refused`, each once."""
    unmet = [need & ~refused for need in needs if not need & chosen]
    if not unmet:
        if size == 0:
            yield chosen
        return
    if size < _disjoint(unmet, 0):
        return
    hardest = min(unmet, key=lambda need: (need.bit_count(), need))
    for state in states_in(hardest):
        yield from _sets_of_size(needs, chosen | 1 << state, refused, size - 1)
        refused |= 1 << state


def _disjoint(needs: Sequence[int], taken: int) -> int:
    """Return how many of `needs`, the smaller first, have no state in common."""
    count = 0
    for need in sorted(needs, key=int.bit_count):
        if not need & taken:
            taken |= need
            count += 1
    return count


@lru_cache(maxsize=4096)
def shortest_walk(states: int, switches: int, start: int | None) -> tuple[tuple[int, ...], bool]:
    """Return a walk of single flips through all of `states`, and whether it is shortest.

    It begins in `start`, or in any of the states. The way from one state to another takes as many
    flips as switches differ, so only the order of the states counts (Held and Karp's recursion).
    """
    stops = list(states_in(states))
    if start is not None and start in stops:
        stops.remove(start)
    if not stops:
        return ((start,), True) if start is not None else ((), True)
    put_in_order = _nearest_first if len(stops) > MOST_WALKED else _best_order
    order = put_in_order(stops, start)
    if start is not None:
        order = [start, *order]
    walk = [order[0]]
    for here, there in pairwise(order):
        walk += _flips_between(here, there, switches)
    return tuple(walk), len(stops) <= MOST_WALKED or len(walk) == len(order)


def _best_order(stops: Sequence[int], start: int | None) -> list[int]:
    """Return the states in the order with the fewest flips, by Held and Karp's recursion."""
    count = len(stops)
    distance = [[(one ^ other).bit_count() for other in stops] for one in stops]
    first = [0 if start is None else (start ^ stop).bit_count() for stop in stops]
    best = [[0] * count for _ in range(1 << count)]
    before = [[-1] * count for _ in range(1 << count)]
    for passed in range(1, 1 << count):
        for last in states_in(passed):
            rest = passed & ~(1 << last)
            if not rest:
                best[passed][last] = first[last]
                continue
            best[passed][last], before[passed][last] = min(
                (best[rest][other] + distance[other][last], other) for other in states_in(rest)
            )
    passed = (1 << count) - 1
    last = min(range(count), key=lambda stop: best[passed][stop])
    order = []
    while last >= 0:
        order.append(stops[last])
        passed, last = passed & ~(1 << last), before[passed][last]
    return order[::-1]


def _nearest_first(stops: Sequence[int], start: int | None) -> list[int]:
    """Return the states in the order of the Gray code, or of nearness to the one before."""
    code = [place ^ place >> 1 for place in range(1 << max(stops).bit_length())]
    if start is None and len(stops) == len(code):
        return code
    waiting = sorted(stops)
    here = waiting[0] if start is None else start
    order = []
    while waiting:
        here = min(waiting, key=lambda stop: ((here ^ stop).bit_count(), stop))
        waiting.remove(here)
        order.append(here)
    return order


def _flips_between(here: int, there: int, switches: int) -> Iterator[int]:
    """Yield the states on the way, the last included; the first switches are moved first."""
    for switch in range(switches):
        if (here ^ there) >> switch & 1:
            here ^= 1 << switch
            yield here
