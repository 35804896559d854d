"""Circuits flattened to arrays: one batch holds many faulted versions of one circuit.

What no fault of the batch changes is stored once; what faults change has a row for each.
Replaced switches keep the slots of the old ones: every switch offers a contact between each two
of its terminals, most of which never close.
"""

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from verify.base.connecting import connected
from verify.base.problems import BugError
from verify.circuit.devices import KINDS, DeviceKind
from verify.circuit.model import Circuit
from verify.circuit.parts import Failure, is_ground_colour
from verify.fault.change import Change, NumberedCircuit, Replacement

Indices = npt.NDArray[np.signedinteger[Any]]
Bytes = npt.NDArray[np.uint8]

NOTHING: Final = -1
#: Moved ends may come to so many joins more than a circuit has ends: arrays have room for them.
SPARE_JOINS: Final = 4
_SWITCH_SLOTS: Final = 4
CLOSED_UP: Final = 1
CLOSED_DOWN: Final = 2


@dataclass(frozen=True, slots=True)
class FaultBatch:
    """Faulted versions of one circuit as arrays.

    Ends are numbered as in `Circuit.ends`. Shapes, with F faults, E ends, C conductors,
    K contacts, S switches, L lamps, M metal parts, P feeds, R receptacles, B connections beyond
    joins and conductors, J loose ends:

    - `switches`: S, as a number
    - `feeds` (P, 3): line, neutral and ground end of each feed; `on_b` (P,): 1 on leg B
    - `conductors` (C, 2) ends; `is_ground` (C,)
    - `contacts` (K, 2) ends; `contact_switch` (K,): the switch that moves it
    - `switch_ends` (S, 4): terminals that switch, `NOTHING` where there are fewer
    - `receptacles` (R, 2): line and neutral end
    - `lamps` (L, 2): contact and shell end; `metal` (M,): metal that can be live
    - `join_of` (F, E): the join of each end, 0 ≤ join < E + `SPARE_JOINS`
    - `conducts` (F, C): 0 where the conductor is open
    - `closed` (F, K): `CLOSED_UP` | `CLOSED_DOWN`
    - `works` (F, L): 0 where the lamp has failed
    - `bridges` (F, B, 2): pairs of connected ends, `NOTHING` where there are fewer
    - `loose` (F, J): ends that are loose in their joins, `NOTHING` where there are fewer; they are
      connected all the same, and only volts tell them from others
    """

    switches: int
    feeds: Indices
    on_b: Bytes
    conductors: Indices
    is_ground: Bytes
    contacts: Indices
    contact_switch: Indices
    switch_ends: Indices
    lamps: Indices
    receptacles: Indices
    metal: Indices
    join_of: Indices
    conducts: Bytes
    closed: Bytes
    works: Bytes
    bridges: Indices
    loose: Indices

    def __len__(self) -> int:
        return len(self.join_of)

    def rows(self, rows: npt.NDArray[np.intp]) -> "FaultBatch":
        """Return some of the rows."""
        return replace(
            self,
            join_of=self.join_of[rows],
            conducts=self.conducts[rows],
            closed=self.closed[rows],
            works=self.works[rows],
            bridges=self.bridges[rows],
            loose=self.loose[rows],
        )

    def wires(self, row: int) -> list[tuple[int, int]]:
        """Return the pairs of ends that unbroken conductors, and shorts, connect in a row."""
        pairs = (
            *self.conductors[self.conducts[row] != 0].tolist(),
            *self.bridges[row, self.bridges[row, :, 0] != NOTHING].tolist(),
        )
        return [(one, other) for one, other in pairs]

    def nets(self, row: int) -> list[int]:
        """Return the net of each end in a row: all that joins and `wires` connect."""
        _, first, join = np.unique(self.join_of[row], return_index=True, return_inverse=True)
        return connected([*self.wires(row), *enumerate(first[join].tolist())], len(join))


class Flattener:
    """A circuit prepared for batches of its faults.

    `integers` is the type of numbers of ends and joins: kernels are written for the short one,
    which is too short for a circuit of more than some 32,000 ends.
    """

    def __init__(
        self,
        circuit: Circuit,
        wiring: NumberedCircuit | None = None,
        integers: type[np.signedinteger[Any]] = np.int16,
    ) -> None:
        self.integers = integers
        self.circuit = circuit
        self.wiring = wiring or NumberedCircuit(circuit)
        cables = {cable.name for cable in circuit.cables}
        index = circuit.end_index
        self.number = {end.name: i for end, i in index.items() if end.owner not in cables}
        self.conductor_number: dict[str, int] = {}
        conductors: list[list[int]] = []
        for cable in circuit.cables:
            for colour in cable.conductors:
                name = f"{cable.name}.{colour}"
                self.conductor_number[name] = len(conductors)
                conductors.append([self.wiring.number(box, name) for box in cable.between])
        self.conductors = np.array(conductors, self.integers).reshape(-1, 2)
        self.slots = [
            (number, switch, pair)
            for number, switch in enumerate(circuit.switches)
            for pair in itertools.combinations(switch.form.switched_terminals, 2)
        ]
        self._slots_of: dict[str, tuple[DeviceKind, int, int]] = {}
        start = 0
        for switch in circuit.switches:
            stop = start + math.comb(len(switch.form.switched_terminals), 2)
            self._slots_of[switch.name] = switch.form, start, stop
            start = stop

    def batch(self, changes: Sequence[Change]) -> FaultBatch:
        """Return a row for each of `changes`, none of which may rebuild the circuit."""
        moves = [(row, *move) for row, change in enumerate(changes) for move in change.moves]
        parts = {
            row: change
            for row, change in enumerate(changes)
            if change.failure is not None or change.replacement is not None
        }
        return self.batch_of(len(changes), np.array(moves, np.intp).reshape(-1, 3), parts)

    def batch_of(
        self, rows: int, moves: npt.NDArray[np.intp], parts: Mapping[int, Change]
    ) -> FaultBatch:
        """Return a batch of `rows` rows.

        `moves` (M, 3) are row, end and the join it goes to; `parts` maps rows to their other
        changes.
        """
        circuit = self.circuit
        failures = circuit.failures
        shorts = [self._short(failure) for failure in failures if failure.kind in _CONNECTING]
        join_of = np.tile(np.array(self.wiring.join_of, self.integers), (rows, 1))
        conducts = np.tile(np.array(self._conducts(failures), np.uint8), (rows, 1))
        closed = np.tile(np.array(self._closed(failures), np.uint8), (rows, 1))
        works = np.tile(np.array(self._works(failures), np.uint8), (rows, 1))
        bridges = np.full((rows, len(shorts) + 1, 2), NOTHING, self.integers)
        if shorts:
            bridges[:, :-1] = shorts
        for row, change in parts.items():
            failure, replacement = change.failure, change.replacement
            if replacement is not None:
                self._close(closed[row], replacement.device, failures, replacement)
            elif failure is not None:
                both = (*failures, failure)
                if failure.kind == "conductor-open":
                    conducts[row, self.conductor_number[failure.at[0]]] = 0
                elif failure.kind.startswith(("contact", "switch")):
                    self._close(closed[row], failure.at[0].partition(".")[0], both, None)
                elif failure.kind.startswith("lamp"):
                    works[row] = self._works(both)
                if failure.kind in _CONNECTING:
                    bridges[row, -1] = self._short(failure)
        if len(moves) and moves[:, 2].max() >= len(circuit.ends) + SPARE_JOINS:
            # Machine code would write beyond its arrays.
            raise BugError(f"a fault moves an end to join {moves[:, 2].max()}, which has no room")
        join_of[moves[:, 0], moves[:, 1]] = moves[:, 2]
        return FaultBatch(
            switches=len(circuit.switches),
            feeds=self._ends(
                f"{feed.name}.{t}" for feed in circuit.feeds for t in ("line", "neutral", "ground")
            ).reshape(-1, 3),
            on_b=np.array([feed.leg == "B" for feed in circuit.feeds], np.uint8),
            conductors=self.conductors,
            is_ground=np.array(
                [is_ground_colour(name.partition(".")[2]) for name in self.conductor_number],
                np.uint8,
            ),
            contacts=np.array(
                [
                    [self.number[f"{switch.name}.{t}"] for t in pair]
                    for _, switch, pair in self.slots
                ],
                self.integers,
            ),
            contact_switch=np.array([number for number, _, _ in self.slots], self.integers),
            switch_ends=self._switch_ends(),
            lamps=self._ends(
                f"{lamp.name}.{side}" for lamp in circuit.lamps for side in ("contact", "shell")
            ).reshape(-1, 2),
            receptacles=self._ends(
                f"{device.name}.{side}"
                for device in circuit.devices
                if device.kind == "receptacle"
                for side in ("line", "neutral")
            ).reshape(-1, 2),
            metal=self._metal(),
            join_of=join_of,
            conducts=conducts,
            closed=closed,
            works=works,
            bridges=bridges,
            loose=self._loose(rows, failures, parts),
        )

    def numbers(self, names: Sequence[str]) -> list[int]:
        """Return the numbers of terminals, given by name."""
        return [self.number[name] for name in names]

    def _ends(self, names: Iterable[str]) -> Indices:
        return np.array([self.number[name] for name in names], self.integers)

    def _switch_ends(self) -> Indices:
        ends = np.full((len(self.circuit.switches), _SWITCH_SLOTS), NOTHING, self.integers)
        for row, switch in enumerate(self.circuit.switches):
            terminals = self._ends(f"{switch.name}.{t}" for t in switch.form.switched_terminals)
            ends[row, : len(terminals)] = terminals
        return ends

    def _metal(self) -> Indices:
        circuit = self.circuit
        grounds = [f"{d.name}.ground" for d in circuit.devices if d not in circuit.feeds]
        boxes = [f"box.{box.name}" for box in circuit.boxes if box.is_metal]
        return self._ends((*grounds, *boxes))

    def _short(self, failure: Failure) -> tuple[int, int]:
        """Return the ends that a failure connects, of conductors those in the first box."""
        if failure.kind == "lamp-shorted":
            lamp = failure.at[0]
            return self.number[f"{lamp}.contact"], self.number[f"{lamp}.shell"]
        one, other = (self.conductors[self.conductor_number[name], 0] for name in failure.at)
        return int(one), int(other)

    def _loose(
        self, rows: int, failures: Sequence[Failure], parts: Mapping[int, Change]
    ) -> Indices:
        """Return the loose ends of each row: those that all rows have, then that of the change."""
        shared = [self._loose_end(failure) for failure in failures]
        columns = [np.full(rows, end, self.integers) for end in shared if end != NOTHING]
        own = np.full(rows, NOTHING, self.integers)
        for row, change in parts.items():
            own[row] = self._loose_end(change.failure)
        if np.any(own != NOTHING):
            columns.append(own)
        return np.array(columns, self.integers).reshape(len(columns), rows).T

    def _loose_end(self, failure: Failure | None) -> int:
        if failure is None or failure.kind != "loose-join" or failure.box is None:
            return NOTHING
        return self.wiring.number(failure.box, failure.at[0])

    def _conducts(self, failures: Sequence[Failure]) -> list[bool]:
        opened = {failure.at[0] for failure in failures if failure.kind == "conductor-open"}
        return [name not in opened for name in self.conductor_number]

    def _works(self, failures: Sequence[Failure]) -> list[bool]:
        failed = {failure.at[0] for failure in failures if failure.kind.startswith("lamp")}
        return [lamp.name not in failed for lamp in self.circuit.lamps]

    def _closed(self, failures: Sequence[Failure]) -> list[int]:
        """Return the positions in which each contact slot is closed, with `failures`."""
        closed = [0] * len(self.slots)
        for switch in self.circuit.switches:
            self._close(closed, switch.name, failures, None)
        return closed

    def _close(
        self,
        closed: "Bytes | list[int]",
        name: str,
        failures: Sequence[Failure],
        replacement: Replacement | None,
    ) -> None:
        """Write into a row when the contact slots of one switch are closed."""
        own = tuple(
            failure
            for failure in failures
            if failure.kind.startswith(("contact", "switch"))
            and failure.at[0].partition(".")[0] == name
        )
        new = None
        if replacement is not None:
            new = replacement.kind, tuple(sorted(replacement.landed.items()))
        form, start, stop = self._slots_of[name]
        closed[start:stop] = _closed_slots(name, form, own, new)


_CONNECTING: Final = ("conductors-shorted", "lamp-shorted")


@lru_cache(maxsize=4096)  # many circuits have switches of the same names, and few failures
def _closed_slots(
    name: str,
    kind: DeviceKind,
    failures: tuple[Failure, ...],
    replacement: tuple[str, tuple[tuple[str, str], ...]] | None,
) -> tuple[int, ...]:
    """Return the positions in which each pair of a switch's terminals is connected.

    `replacement` has the kind of the new switch and where the old terminals' conductors land. An
    open contact stays open even if it is said to be welded or its switch stuck.
    """
    terminals = kind.switched_terminals
    slot_of = {terminal: terminal for terminal in terminals}
    if replacement is not None:
        kind = KINDS[replacement[0]]
        slot_of = {new: old for old, new in replacement[1]}
    stuck = next((f.position for f in failures if f.at == (name,)), None)
    failed = {frozenset(f.at): f.kind for f in failures if f.kind.startswith("contact")}
    closed: dict[frozenset[str], int] = {}
    for contact in kind.contacts:
        if contact.a not in slot_of or contact.b not in slot_of:
            continue
        up, down = contact.up, contact.down
        if stuck is not None:
            up = down = up if stuck == "up" else down
        failure = failed.get(frozenset((f"{name}.{contact.a}", f"{name}.{contact.b}")))
        if failure is not None:
            up = down = failure == "contact-welded"
        closed[frozenset((slot_of[contact.a], slot_of[contact.b]))] = (
            CLOSED_UP * up | CLOSED_DOWN * down
        )
    return tuple(closed.get(frozenset(pair), 0) for pair in itertools.combinations(terminals, 2))
