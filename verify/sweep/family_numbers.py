"""The families of all single faults of a circuit, each found once for faults with one name.

A fault is named by the ends or conductors that it touches. Things that people would point at with
the same words have one number here, so faults have one name where these numbers are the same.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from verify.circuit.parts import End
from verify.fault.change import Change
from verify.fault.contract import Fault, Site
from verify.fault.families import NAMED_BY_SITE, Roles, family, place
from verify.fault.registry import fault_kinds
from verify.fault.wrong_switches import WholeCircuit
from verify.sweep.interning import InternTable
from verify.sweep.listing import Listing
from verify.sweep.part_rows import Name

Numbers = npt.NDArray[np.intp]

#: How many bits of a key number the things that people point at.
_THING_BITS: Final = 24


class _Pointed(NamedTuple):
    """Faults of one kind from row `start` on; `points` (F, 1 or 2) are ends, or conductors."""

    kind: int
    start: int
    points: Numbers
    of_conductors: bool

    def fault(self, listing: Listing, row: int) -> Fault:
        """Return the fault at a place here, to be named by its site; it changes nothing."""
        circuit, kind = listing.wiring.circuit, fault_kinds()[self.kind].name
        points = self.points[row].tolist()
        if self.of_conductors:
            names = list(listing.flattener.conductor_number)
            return Fault(kind, tuple(names[point] for point in points), Change())
        ends = [circuit.ends[point] for point in points]
        if kind.startswith("lamp"):
            return Fault(kind, (ends[0].owner,), Change())
        return Fault(kind, (ends[0].box, *(end.name for end in ends)), Change())


class Families:
    """Numbers the families of faults as they come up, and keeps them from circuit to circuit.

    `names` has the name and the place of each.
    """

    def __init__(self) -> None:
        self.names: list[Name] = []
        self._numbers: dict[Name, int] = {}
        self._things: dict[tuple[str, ...], int] = {}
        #: The key is the names of all devices, by which terminals differ from conductors.
        self._ends: dict[tuple[str, ...], dict[tuple[End, str], int]] = {}
        self._called = InternTable()
        self._families = np.zeros(0, np.intp)
        self._of_site: dict[tuple[str, Site], int] = {}
        self._of_names: dict[tuple[Name, ...], Numbers] = {}

    def of(self, listing: Listing) -> Numbers:
        """Return the number of the family of each fault."""
        roles = Roles(listing.wiring.circuit, listing.wiring)
        which = np.zeros(len(listing), np.intp)
        for row, fault in listing.others.items():
            which[row] = self._of_other(roles, fault)
        for row, scheme in listing.rebuilt.items():
            which[row] = self._of_other(roles, Fault(WholeCircuit.name, (scheme,), Change()))
        for kind, rows in listing.of_parts.items():
            names = listing.parts.names(fault_kinds()[kind])
            if names is not None:
                which[rows] = self._of_these(names)
        groups = list(_pointed(listing))
        ends, conductors = self._numbers_of_ends(roles), self._numbers_of_conductors(roles, listing)
        keys, rows_of = [], []
        for group in groups:
            things = (conductors if group.of_conductors else ends)[group.points]
            of_kind = (group.kind << _THING_BITS) + things[:, 0]
            keys.append((of_kind << _THING_BITS) + things[:, -1])
            rows_of.append(group.start + np.arange(len(things)))
        called, new = self._called.of_integers(np.concatenate(keys))
        if len(new):
            starts = np.cumsum([0, *map(len, keys)])
            of_group = np.searchsorted(starts, new, side="right") - 1
            learnt = [
                self._number(roles, groups[group].fault(listing, int(row - starts[group])))
                for group, row in zip(of_group, new, strict=True)
            ]
            self._families = np.concatenate((self._families, np.array(learnt, np.intp)))
        which[np.concatenate(rows_of)] = self._families[called]
        return which

    def _number(self, roles: Roles, fault: Fault) -> int:
        return self._number_of((family(roles, fault), place(fault)))

    def _number_of(self, name: Name) -> int:
        if name not in self._numbers:
            self._numbers[name] = len(self.names)
            self.names.append(name)
        return self._numbers[name]

    def _of_other(self, roles: Roles, fault: Fault) -> int:
        if fault.kind not in NAMED_BY_SITE:
            return self._number(roles, fault)
        key = fault.kind, fault.site
        if key not in self._of_site:
            self._of_site[key] = self._number(roles, fault)
        return self._of_site[key]

    def _of_these(self, names: tuple[Name, ...]) -> Numbers:
        if names not in self._of_names:
            self._of_names[names] = np.array([self._number_of(name) for name in names], np.intp)
        return self._of_names[names]

    def _numbers_of_ends(self, roles: Roles) -> Numbers:
        """Return a number for each end: equal where people point with the same words."""
        circuit, role = roles.circuit, roles.of_end
        known = self._ends.setdefault(tuple(device.name for device in circuit.devices), {})
        numbers = []
        for place_of, end in enumerate(circuit.ends):
            key = end, role[place_of]
            if key not in known:
                known[key] = self._thing(end.box, roles.thing(end.box, end.name), role[place_of])
            numbers.append(known[key])
        return np.array(numbers, np.intp)

    def _numbers_of_conductors(self, roles: Roles, listing: Listing) -> Numbers:
        """Return a number for each conductor, by its role and its cable."""
        role = roles.of_end
        cables = (cable for cable in roles.circuit.cables for _ in cable.conductors)
        ends = listing.flattener.conductors[:, 0].tolist()
        numbers = [
            self._thing(role[end], cable.name) for end, cable in zip(ends, cables, strict=True)
        ]
        return np.array(numbers, np.intp)

    def _thing(self, *words: str) -> int:
        return self._things.setdefault(words, len(self._things))


def _pointed(listing: Listing) -> Iterator[_Pointed]:
    """Yield the kinds of faults that people name by what they point at."""
    for kind, (start, found) in listing.landings.items():
        yield _Pointed(kind, start, found.ends, of_conductors=False)
    for kind, rows in listing.of_parts.items():
        named = fault_kinds()[kind]
        conductors = listing.parts.conductors(named)
        points = listing.parts.ends(named) if conductors is None else conductors
        if points is not None and len(rows):
            yield _Pointed(kind, int(rows[0]), points, conductors is not None)
