"""Searches every wiring: the tables of the kernel, the batches of a run, and the run itself.

A run is split by the beginnings of the growth strings. Batches depend on nothing but the number of
locations and the rules, so that any number of workers, now or later, comes to the same result.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache
from typing import Final, NamedTuple

import numpy as np

from verify.base.compiling import compiled
from verify.base.spreading import in_order
from verify.circuit.devices import POSITIONS
from verify.study.census.pruning import PRUNED
from verify.study.census.search_kernel import (
    Numbers,
    Scratch,
    Strings,
    Words,
    search_growth_strings,
)
from verify.study.census.terminals import CensusParts, Wiring, parts_of

#: Raised when batches or their results change: stored results of older runs are then stale.
VERSION: Final = 1

#: For each number of locations, how many terminals the beginnings have that batches are made of:
#: those of feed and lamp and of some four-ways; and how many beginnings make a batch.
_BEGINNINGS: Final[Mapping[int, tuple[int, int]]] = {3: (8, 64), 4: (8, 16), 5: (12, 32)}
#: A limit of more contacts than this is not worth checking.
_MOST_LEFT: Final = 2
_ROOM: Final = 4096
#: With so few locations plain Python is done before the compiled kernel is loaded.
_NOT_WORTH_COMPILING: Final = 2


class Tables(NamedTuple):
    """The kernel's tables of the parts. Sets of states are words; terminals are places.

    - `full`, `odd`: all states; those with an odd number of switches down
    - `down` (switches,): the states in which each switch is down
    - `partner`, `closed` (terminals, 2): for each terminal the contacts to those placed before it,
      as the other terminal, or −1, and the states in which the contact is closed; in each state one
      of them at most
    - `finished` (terminals,): how many switches are placed whole once a terminal is placed
    - `reach_states` (terminals, groups): once a terminal is placed, sets of states in which the
      same closed contacts have a terminal still to be placed, two at most, not both with none
      placed; 0 after the last
    - `reach_from` (terminals, groups, 3): for each set how many such contacts, and for each the
      terminal that is placed, or −1
    - `wait_states` (terminals, waiting, 2): once a terminal is placed, for each of some terminals
      still to be placed the states in which the only closed contact left leads to it, from each of
      two others; 0 after the last
    - `wait_from` (terminals, waiting, 2): these two, or −1 for one that is still to be placed
    """

    full: np.uint64
    odd: np.uint64
    down: Words
    partner: Numbers
    closed: Words
    finished: Numbers
    reach_states: Words
    reach_from: Numbers
    wait_states: Words
    wait_from: Numbers


@dataclass(frozen=True, slots=True)
class SearchBatch:
    """A part of a run: every growth string that begins with one of `beginnings`."""

    locations: int
    rules: int
    number: int
    beginnings: tuple[Wiring, ...]


@dataclass(frozen=True, slots=True)
class SearchRun:
    """The batches of a whole run, and how many nodes it took to find their beginnings."""

    batches: tuple[SearchBatch, ...]
    nodes: int


@dataclass(frozen=True, slots=True)
class Found:
    """The wirings with any-location control, in ascending order; `nodes` terminals were placed."""

    wirings: tuple[Wiring, ...]
    nodes: int


class _Link(NamedTuple):
    """A contact: its terminals in the order in which they are placed, and when it is closed."""

    first: int
    second: int
    states: int


@cache
def tables_of(parts: CensusParts) -> Tables:
    """Return the tables of the kernel for these parts."""
    states = range(1 << parts.locations)
    terminals = len(parts.terminals)
    links = _links(parts)
    partner = np.full((terminals, 2), -1, np.int64)
    closed = np.zeros((terminals, 2), np.uint64)
    room = Counter[int]()
    for link in links:
        partner[link.second, room[link.second]] = link.first
        closed[link.second, room[link.second]] = link.states
        room[link.second] += 1
    owners = [name.partition(".")[0] for name in parts.terminals]
    finished = [
        sum(switch.name not in owners[place + 1 :] for switch in parts.switches)
        for place in range(terminals)
    ]
    left = [_left(links, place, states) for place in range(terminals)]
    groups = max(map(len, left)) + 1
    reach_states = np.zeros((terminals, groups), np.uint64)
    reach_from = np.full((terminals, groups, 1 + _MOST_LEFT), -1, np.int64)
    for place, of_place in enumerate(left):
        for group, (placed, of_group) in enumerate(of_place.items()):
            reach_states[place, group] = of_group
            reach_from[place, group, : 1 + len(placed)] = len(placed), *placed
    wait_states, wait_from = _waiting(links, terminals, states)
    return Tables(
        np.uint64(_set(states)),
        np.uint64(_set(state for state in states if state.bit_count() % 2)),
        np.array(
            [_set(s for s in states if s >> switch & 1) for switch in range(parts.locations)],
            np.uint64,
        ),
        partner,
        closed,
        np.array(finished, np.int64),
        reach_states,
        reach_from,
        wait_states,
        wait_from,
    )


def _links(parts: CensusParts) -> list[_Link]:
    place = {name: number for number, name in enumerate(parts.terminals)}
    links = []
    for number, switch in enumerate(parts.switches):
        for contact in switch.form.contacts:
            one, other = (place[f"{switch.name}.{name}"] for name in (contact.a, contact.b))
            closed = [getattr(contact, position) for position in POSITIONS]
            states = (s for s in range(1 << parts.locations) if closed[s >> number & 1])
            links.append(_Link(min(one, other), max(one, other), _set(states)))
    return links


def _left(links: Sequence[_Link], place: int, states: Iterable[int]) -> dict[tuple[int, ...], int]:
    """Return the states after `place` by the closed contacts that wait for a terminal.

    See `Tables`.
    """
    by_placed: dict[tuple[int, ...], int] = {}
    for state in states:
        placed = tuple(
            link.first if link.first <= place else -1
            for link in links
            if link.states >> state & 1 and link.second > place
        )
        if len(placed) <= _MOST_LEFT and placed != (-1, -1):
            by_placed[placed] = by_placed.get(placed, 0) | 1 << state
    return by_placed


def _waiting(
    links: Sequence[_Link], terminals: int, states: Iterable[int]
) -> tuple[Words, Numbers]:
    """Return `wait_states` and `wait_from` of `Tables`."""
    wait_states = np.zeros((terminals, terminals + 1, 2), np.uint64)
    wait_from = np.full((terminals, terminals + 1, 2), -1, np.int64)
    for place in range(terminals):
        by_terminal: dict[int, dict[int, int]] = {}
        for state in states:
            left = [link for link in links if link.states >> state & 1 and link.second > place]
            if len(left) == 1:
                first, second, _ = left[0]
                waits, other = (second, first) if first <= place else (first, second)
                of_terminal = by_terminal.setdefault(waits, {})
                of_terminal[other] = of_terminal.get(other, 0) | 1 << state
        for row, of_terminal in enumerate(by_terminal.values()):
            for column, (other, of_other) in enumerate(of_terminal.items()):
                wait_states[place, row, column] = of_other
                wait_from[place, row, column] = other if other <= place else -1
    return wait_states, wait_from


def _set(states: Iterable[int]) -> int:
    """Return states as a set, a number with a bit for each."""
    return sum(1 << state for state in states)


def _search(locations: int, rules: int, beginnings: Strings, stop: int) -> tuple[list[Wiring], int]:
    """Return the growth strings of `stop` terminals that the rules leave, and the nodes visited."""
    tables = tables_of(parts_of(locations))
    is_small = locations <= _NOT_WORTH_COMPILING and rules == PRUNED
    kernel = search_growth_strings
    if not is_small:
        kernel = compiled(search_growth_strings, allocates=False)
    scratch = Scratch.of(len(tables.partner))
    room = _ROOM
    while True:
        found = np.zeros((room, stop), np.int8)
        nodes = np.zeros(len(tables.partner), np.int64)
        total = kernel(*tables, *scratch, beginnings, stop, rules, found, nodes)
        if total <= room:
            return [tuple(map(int, row)) for row in found[:total]], int(nodes.sum())
        room = total


@cache
def run_of(locations: int, rules: int = PRUNED) -> SearchRun:
    """Return a run by those rules, in batches of a few seconds of work where there are many."""
    if locations not in _BEGINNINGS:
        return SearchRun((SearchBatch(locations, rules, 0, ((),)),), 0)
    terminals, size = _BEGINNINGS[locations]
    beginnings, nodes = _search(locations, rules, np.zeros((1, 0), np.int8), terminals)
    batches = (
        SearchBatch(locations, rules, number, tuple(beginnings[start : start + size]))
        for number, start in enumerate(range(0, len(beginnings), size))
    )
    return SearchRun(tuple(batches), nodes)


def search_batch(batch: SearchBatch) -> Found:
    """Return the wirings of one batch."""
    beginnings = np.array(batch.beginnings, np.int8)
    terminals = len(parts_of(batch.locations).terminals)
    wirings, nodes = _search(batch.locations, batch.rules, beginnings, terminals)
    return Found(tuple(wirings), nodes)


def search_batches(
    batches: Iterable[SearchBatch], *, executor: Executor | None = None, window: int = 6
) -> Iterator[tuple[SearchBatch, Found]]:
    """Yield each batch with what is found in it, in order; see `verify.base.spreading`."""
    return in_order(batches, search_batch, executor=executor, window=window)
