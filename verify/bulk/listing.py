"""All single faults of a circuit as arrays, without a Python object for each.

The kinds in `verify.faults` say what a fault is, one by one; for the kinds that make most faults,
wrong landings, the same is said here for all sites at once. Tests hold the two to each other.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.bulk.parts import Parts
from verify.change import Change, Wiring
from verify.circuit import Circuit
from verify.faults import Fault, FaultKind, Site, fault_kinds
from verify.network import Flattener
from verify.routing import arrangement_of
from verify.schemes import WRONG_SCHEMES
from verify.wrong_faults import WholeCircuit, rewired

Numbers = npt.NDArray[np.intp]

_SMALLEST_SPLIT: Final = 2


@dataclass(frozen=True, slots=True)
class Landings:
    """The faults of one landing kind that are listed.

    - `site` (F,): the place of each among the sites of its kind, those that repeat included
    - `moves` (M, 3): row, end and the join it goes to, in the order in which `Change` has them
    - `ends` (F, 1 or 2): the ends that decide how people call the fault
    """

    site: Numbers
    moves: Numbers
    ends: Numbers


class Listing:
    """Every single fault of a circuit, in the order of `verify.faults.all_faults`.

    - `kind` (F,): a place in `fault_kinds()`; `site` (F,): the place among the sites of the kind
    - `moves` (M, 3): fault, end and the join it goes to, of the landing kinds
    - `landings`: by landing kind the place of its first fault, and its faults
    - `of_parts`: by kind the places of the faults that `parts` knows
    - `others`: the faults of the other kinds, by their place in the listing
    - `rebuilt`: the same of the kind whole-circuit, by their schemes; circuits are made when asked
      for, of the parts where `arrangement` says
    """

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        kinds, sites, moves = [], [], []
        self.others: dict[int, Fault] = {}
        self.rebuilt: dict[int, str] = {}
        self.flattener = Flattener(wiring.circuit, wiring)
        self.parts = Parts(self.flattener)
        self.of_parts: dict[int, Numbers] = {}
        self.arrangement = arrangement_of(wiring.circuit)
        self.landings: dict[int, tuple[int, Landings]] = {}
        count = 0
        ends = _Ends(wiring)
        for number, kind in enumerate(fault_kinds()):
            if kind.name in _LANDINGS:
                found = _LANDINGS[kind.name](ends)
                self.landings[number] = count, found
                moves.append(found.moves + np.array((count, 0, 0)))
                site = found.site
            elif kind.name == WholeCircuit.name:
                schemes = () if self.arrangement is None else WRONG_SCHEMES
                self.rebuilt = dict(enumerate(schemes, count))
                site = np.arange(len(schemes))
            else:
                number_of = self.parts.count(kind)
                if number_of is None:
                    site = self._list_others(kind, count)
                else:
                    site = np.arange(number_of)
                    self.of_parts[number] = count + site
            kinds.append(np.full(len(site), number, np.int16))
            sites.append(site)
            count += len(site)
        self.kind = np.concatenate(kinds)
        self.site = np.concatenate(sites).astype(np.int32)
        self.moves = np.concatenate(moves)

    def __len__(self) -> int:
        return len(self.kind)

    def _list_others(self, kind: FaultKind, start: int) -> Numbers:
        listed = [
            (number, fault)
            for number, (site, fault) in enumerate(kind.sites(self.wiring))
            if site == fault.site
        ]
        self.others.update((start + row, fault) for row, (_, fault) in enumerate(listed))
        return np.array([number for number, _ in listed], np.intp)

    def change(self, row: int) -> Change:
        """What one fault changes."""
        if row in self.others:
            return self.others[row].change
        if row in self.rebuilt:
            return Change(rebuilt=self.rewired(self.rebuilt[row]))
        kind = int(self.kind[row])
        if kind in self.of_parts:
            _, change = list(fault_kinds()[kind].changes(self.wiring))[int(self.site[row])]
            return change
        start, stop = np.searchsorted(self.moves[:, 0], (row, row + 1))
        return Change(tuple((end, join) for _, end, join in self.moves[start:stop].tolist()))

    def rewired(self, scheme: str) -> Circuit:
        """The circuit by another scheme; raises ValueError if it is not fit for one."""
        if self.arrangement is None:
            raise ValueError("the circuit is no tree of boxes that a scheme could wire")
        return rewired(self.wiring.circuit, self.arrangement, scheme)

    def faults(self, rows: Sequence[int]) -> list[Fault]:
        """Some of the faults as objects."""
        kinds = fault_kinds()
        there = set(self.kind[list(rows)].tolist())
        names = {kind: sites_of(kinds[kind], self.wiring) for kind in there & self.landings.keys()}
        parts = {
            kind: list(kinds[kind].changes(self.wiring)) for kind in there & self.of_parts.keys()
        }

        def fault(row: int) -> Fault:
            if row in self.others:
                return self.others[row]
            if row in self.rebuilt:
                return Fault(WholeCircuit.name, (self.rebuilt[row],), self.change(row))
            kind = int(self.kind[row])
            if kind in parts:
                return Fault(kinds[kind].name, *parts[kind][self.site[row]])
            return Fault(kinds[kind].name, names[kind][self.site[row]], self.change(row))

        return list(map(fault, rows))


def sites_of(kind: FaultKind, wiring: Wiring) -> list[Site]:
    """The sites of a kind by their place; those that repeat a result are among them."""
    return [site for site, _ in kind.open_changes(wiring)]


class _Ends:
    """The ends of a circuit in the order in which sites name them, as arrays."""

    def __init__(self, wiring: Wiring) -> None:
        self.joins = wiring.joins
        self.join_of = np.array(wiring.join_of, np.intp)
        self.size = np.array([len(ends) for ends in wiring.joins], np.intp)
        self.boxes = [np.array(ends, np.intp) for ends in wiring.site_order.values()]
        self.ordered = np.concatenate(self.boxes)
        self.joins_in = [_in_order(self.join_of[ends]) for ends in self.boxes]
        self.name_of = np.zeros(len(wiring.joins), np.intp)
        self.name_of[self.join_of[self.ordered[::-1]]] = self.ordered[::-1]
        # Of an end in a join of two, the other one.
        self.partner = np.full(len(self.join_of), -1, np.intp)
        for one, other in (ends for ends in wiring.joins if len(ends) == 2):
            self.partner[one], self.partner[other] = other, one
        self.rank = np.zeros(len(self.join_of), np.intp)
        self.rank[self.ordered] = np.arange(len(self.ordered))


def _in_order(numbers: Numbers) -> Numbers:
    """Each number once, in the order in which they come."""
    first: Numbers = np.sort(np.unique(numbers, return_index=True)[1])
    return numbers[first]


def _left_off(ends: _Ends) -> Landings:
    """Of a join of two, either end left off leaves the same: the first is listed."""
    sizes = ends.size[ends.join_of[ends.ordered]]
    found = ends.ordered[sizes > 1]
    site = np.arange(len(found))
    partner = ends.partner[found]
    kept = (partner < 0) | (ends.rank[found] < ends.rank[partner])
    found, site = found[kept], site[kept]
    rows = np.arange(len(found))
    alone = np.full(len(found), len(ends.joins))
    return Landings(site, np.stack((rows, found, alone), 1), found[:, None])


def _moved(ends: _Ends) -> Landings:
    """Of two that are each alone, either landed with the other is the same."""
    moved = np.concatenate(
        [np.repeat(box, len(joins)) for box, joins in zip(ends.boxes, ends.joins_in, strict=True)]
    )
    join = np.concatenate(
        [np.tile(joins, len(box)) for box, joins in zip(ends.boxes, ends.joins_in, strict=True)]
    )
    own = ends.join_of[moved]
    away = own != join
    moved, join, own = moved[away], join[away], own[away]
    target = ends.name_of[join]
    both_alone = (ends.size[own] == 1) & (ends.size[join] == 1)
    kept = ~both_alone | (ends.rank[moved] < ends.rank[target])
    site = np.flatnonzero(kept)
    moved, join, target = moved[kept], join[kept], target[kept]
    return Landings(
        site,
        np.stack((np.arange(len(site)), moved, join), 1),
        np.stack((moved, target), 1),
    )


def _exchanged(ends: _Ends) -> Landings:
    """Of two joins of two, to exchange one end of each is to exchange the other ends."""
    pairs = [_pairs(box) for box in ends.boxes]
    one, other = (np.concatenate([pair[side] for pair in pairs]) for side in (0, 1))
    here, there = ends.join_of[one], ends.join_of[other]
    apart = (here != there) & (ends.size[here] + ends.size[there] > 2)
    one, other, here, there = one[apart], other[apart], here[apart], there[apart]
    in_twos = (ends.size[here] == 2) & (ends.size[there] == 2)
    ranks = ends.rank[np.stack((ends.partner[one], ends.partner[other]), 1)]
    ranks.sort(axis=1)
    earlier = (ranks[:, 0] < ends.rank[one]) | (
        (ranks[:, 0] == ends.rank[one]) & (ranks[:, 1] < ends.rank[other])
    )
    kept = ~(in_twos & earlier)
    site = np.flatnonzero(kept)
    one, other, here, there = one[kept], other[kept], here[kept], there[kept]
    rows = np.arange(len(site))
    moves = np.stack((rows, one, there, rows, other, here), 1).reshape(-1, 3)
    return Landings(site, moves, np.stack((one, other), 1))


def _pairs(numbers: Numbers) -> tuple[Numbers, Numbers]:
    first, second = _pair_places(len(numbers))
    return numbers[first], numbers[second]


@lru_cache(maxsize=64)
def _pair_places(count: int) -> tuple[Numbers, Numbers]:
    return np.triu_indices(count, 1)


def _bridged(ends: _Ends) -> Landings:
    found: list[tuple[int, int]] = []
    moves: list[tuple[int, int, int]] = []
    for joins in ends.joins_in:
        wide = joins[ends.size[joins] > 1].tolist()
        for one, other in combinations(wide, 2):
            moves += [(len(found), end, one) for end in ends.joins[other]]
            found.append((one, other))
    pairs = ends.name_of[np.array(found, np.intp).reshape(-1, 2)]
    return Landings(np.arange(len(found)), _table(moves), pairs)


def _split(ends: _Ends) -> Landings:
    site, named = 0, []
    moves: list[Numbers] = []
    for join in (join for joins in ends.joins_in for join in joins.tolist()):
        members = np.array(ends.joins[join], np.intp)
        rows, places = _partings(len(members))
        count = int(rows[-1]) + 1 if len(rows) else 0
        moved = members[places]
        moves.append(np.stack((site + rows, moved, np.full(len(rows), len(ends.joins))), 1))
        named.append(np.full(count, members[0]))
        site += count
    first = np.concatenate(named)
    return Landings(np.arange(site), np.concatenate(moves), np.stack((first, first), 1))


@lru_cache(maxsize=64)
def _partings(size: int) -> tuple[Numbers, Numbers]:
    """Every way to part so many ends in two groups of two or more: who leaves, row by row."""
    leaving = [
        group
        for count in range(_SMALLEST_SPLIT, size + 1 - _SMALLEST_SPLIT)
        for group in combinations(range(1, size), count)
    ]
    rows = np.array([row for row, group in enumerate(leaving) for _ in group], np.intp)
    return rows, np.array([end for group in leaving for end in group], np.intp)


def _table(moves: Sequence[tuple[int, int, int]]) -> Numbers:
    return np.array(moves, np.intp).reshape(-1, 3)


_LANDINGS: Final[Mapping[str, Callable[[_Ends], Landings]]] = {
    "left-off": _left_off,
    "moved": _moved,
    "exchanged": _exchanged,
    "bridged": _bridged,
    "split": _split,
}
