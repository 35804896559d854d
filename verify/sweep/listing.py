"""All single faults of a circuit as arrays, without a Python object for each.

The kinds in `verify.fault.contract` list faults one by one; wrong landings, the kinds that make
most faults, are listed here for all sites at once. Tests hold the two to each other.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Fault, FaultKind, Site
from verify.fault.network import Flattener
from verify.fault.registry import fault_kinds
from verify.fault.wrong_switches import WholeCircuit, rewired
from verify.layout.routing import arrangement_of
from verify.layout.schemes import WRONG_SCHEMES
from verify.sweep.landing_rows import KINDS as LANDING_KINDS
from verify.sweep.landing_rows import LandingFaults, landings
from verify.sweep.part_rows import PartFaults

Numbers = npt.NDArray[np.intp]


class Listing:
    """Every single fault of a circuit, in the order of `verify.fault.registry.all_faults`.

    - `kind` (F,): a place in `fault_kinds()`; `site` (F,): the place among the sites of the kind
    - `moves` (M, 3): fault, end and the join it goes to, of the landing kinds
    - `landings`: by landing kind the place of its first fault, and its faults
    - `of_parts`: by kind the places of the faults that `parts` knows
    - `others`: the faults of the other kinds, by their place in the listing
    - `rebuilt`: the faults of the kind whole-circuit, by their place: their schemes. Circuits are
      made when asked for, with the parts where `arrangement` says
    """

    def __init__(self, wiring: NumberedCircuit) -> None:
        self.wiring = wiring
        kinds, sites, moves = [], [], []
        self.others: dict[int, Fault] = {}
        self.rebuilt: dict[int, str] = {}
        self.flattener = Flattener(wiring.circuit, wiring)
        self.parts = PartFaults(self.flattener)
        self.of_parts: dict[int, Numbers] = {}
        self.arrangement = arrangement_of(wiring.circuit)
        self.landings: dict[int, tuple[int, LandingFaults]] = {}
        count = 0
        landed = dict(zip(LANDING_KINDS, landings(wiring), strict=True))
        for number, kind in enumerate(fault_kinds()):
            if kind.name in landed:
                found = landed[kind.name]
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
        """Return what one fault changes."""
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
        """Return the circuit by another scheme; raises ValueError if it is not fit for one."""
        if self.arrangement is None:
            raise ValueError("the circuit is no tree of boxes that a scheme could wire")
        return rewired(self.wiring.circuit, self.arrangement, scheme)

    def faults(self, rows: Sequence[int]) -> list[Fault]:
        """Return some of the faults as objects."""
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


def sites_of(kind: FaultKind, wiring: NumberedCircuit) -> list[Site]:
    """Return the sites of a kind by their place; those that repeat a result are among them."""
    return [site for site, _ in kind.open_changes(wiring)]
