"""Failed and wrong parts of a circuit as arrays: conductors, contacts, switches, lamps and joins.

For circuits in which nothing has failed yet. The kinds in `verify.fault.failed_parts` and
`verify.fault.wrong_switches` list the same faults one by one. Those of switches depend only on the
names and kinds of the switches, so they are computed once for each set of them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.fault.contract import Fault, FaultKind
from verify.fault.families import Roles, family, place
from verify.fault.network import Bytes, FaultBatch, Flattener

Numbers = npt.NDArray[np.intp]
#: The name of a family, and the place where it can be found.
Name = tuple[str, str]

_OF_SWITCHES: Final = ("contact-open", "contact-welded", "switch-stuck", "wrong-device")
_OF_LAMPS: Final = ("lamp-open", "lamp-shorted")


@dataclass(frozen=True, slots=True)
class OfSwitches:
    """The faults of one kind of some switches.

    `closed` (F, K) says when each contact slot is closed; `moves` are fault, terminal and number of
    the new join in which it is left; `names` are their families.
    """

    closed: Bytes
    moves: tuple[tuple[int, str, int], ...]
    names: tuple[Name, ...]


class PartFaults:
    """The faults of parts of one circuit."""

    def __init__(self, flattener: Flattener) -> None:
        self.flattener = flattener
        wiring = self.wiring = flattener.wiring
        joins = wiring.joins
        self._loose = np.array([ends[0] for ends in joins if len(ends) > 1], np.int16)
        starts = np.cumsum([0, *(len(cable.conductors) for cable in wiring.circuit.cables)])
        pairs = [_index_pairs(int(stop - start)) + start for start, stop in pairwise(starts)]
        self._pairs = np.concatenate(pairs) if pairs else np.zeros((0, 2), np.intp)

    def count(self, kind: FaultKind) -> int | None:
        """Return how many faults of a kind there are; None if they must be listed one by one."""
        circuit = self.wiring.circuit
        if circuit.failures:
            return None
        if kind.name == "wrong-device" and not self._tells_landings_apart():
            return None
        if kind.name in _OF_SWITCHES:
            return len(self._of_switches(kind).names)
        counts: Mapping[str, Callable[[], int]] = {
            "conductor-open": lambda: len(self.flattener.conductors),
            "conductors-shorted": lambda: len(self._pairs),
            "lamp-open": lambda: len(circuit.lamps),
            "lamp-shorted": lambda: len(circuit.lamps),
            "loose-join": lambda: len(self._loose),
        }
        return counts[kind.name]() if kind.name in counts else None

    def _tells_landings_apart(self) -> bool:
        """Return True if no terminals of a switch are connected to each other or to nothing.

        Then no two ways to replace it come out the same.
        """
        wiring = self.wiring
        for switch in wiring.circuit.switches:
            terminals = switch.form.switched_terminals
            own = {
                wiring.join_of[self.flattener.number[f"{switch.name}.{terminal}"]]
                for terminal in terminals
            }
            if len(own) < len(terminals) or any(len(wiring.joins[join]) == 1 for join in own):
                return False
        return True

    def put_into(self, batch: FaultBatch, kind: FaultKind, rows: Numbers) -> FaultBatch:
        """Write the faults of a kind into those rows of a batch, which have no others."""
        conductors = self.flattener.conductors
        if kind.name in _OF_SWITCHES:
            found = self._of_switches(kind)
            batch.closed[rows] = found.closed
            for fault, terminal, new in found.moves:
                end = self.flattener.number[terminal]
                batch.join_of[rows[fault], end] = len(self.wiring.joins) + new
        elif kind.name == "conductor-open":
            batch.conducts[rows, np.arange(len(rows))] = 0
        elif kind.name == "conductors-shorted":
            batch.bridges[rows, -1] = conductors[self._pairs, 0]
        elif kind.name in _OF_LAMPS:
            batch.works[rows, np.arange(len(rows))] = 0
            if kind.name == "lamp-shorted":
                batch.bridges[rows, -1] = batch.lamps
        else:
            loose = np.full((len(batch), 1), -1, np.int16)
            loose[rows, 0] = self._loose
            return replace(batch, loose=loose)
        return batch

    def names(self, kind: FaultKind) -> tuple[Name, ...] | None:
        """Return the families of a kind's faults; None where they depend on what faults touch."""
        return self._of_switches(kind).names if kind.name in _OF_SWITCHES else None

    def conductors(self, kind: FaultKind) -> Numbers | None:
        """Return the conductors (F, 1 or 2) that the faults of a kind touch, if they do."""
        if kind.name == "conductor-open":
            return np.arange(len(self.flattener.conductors))[:, None]
        return self._pairs if kind.name == "conductors-shorted" else None

    def ends(self, kind: FaultKind) -> Numbers | None:
        """Return an end (F, 1) of what the faults of a kind touch, for lamps and joins."""
        if kind.name in _OF_LAMPS:
            contacts = [f"{lamp.name}.contact" for lamp in self.wiring.circuit.lamps]
            return np.array(self.flattener.numbers(contacts), np.intp)[:, None]
        return self._loose.astype(np.intp)[:, None] if kind.name == "loose-join" else None

    def _of_switches(self, kind: FaultKind) -> OfSwitches:
        switches = tuple((switch.name, switch.kind) for switch in self.wiring.circuit.switches)
        key = kind.name, switches
        known = _KNOWN.get(key)
        if known is None:
            if len(_KNOWN) >= _MOST_KNOWN:
                _KNOWN.clear()
            known = _KNOWN[key] = self._work_out(kind)
        return known

    def _work_out(self, kind: FaultKind) -> OfSwitches:
        wiring, roles = self.wiring, Roles(self.wiring.circuit)
        listed = list(kind.changes(wiring))
        parts = {row: change for row, (_, change) in enumerate(listed)}
        none = np.zeros((0, 3), np.intp)
        faults = [Fault(kind.name, site, change) for site, change in listed]
        return OfSwitches(
            self.flattener.batch_of(len(listed), none, parts).closed,
            tuple(
                (row, wiring.name(end), join - len(wiring.joins))
                for row, change in parts.items()
                for end, join in change.moves
            ),
            tuple((family(roles, fault), place(fault)) for fault in faults),
        )


_MOST_KNOWN: Final = 256
#: The key is the kind of fault, and the names and kinds of all switches.
_KNOWN: dict[tuple[str, tuple[tuple[str, str], ...]], OfSwitches] = {}


@lru_cache(maxsize=64)
def _index_pairs(count: int) -> Numbers:
    """Return all pairs i < j of the numbers 0 to `count` − 1, a row each."""
    return np.stack(np.triu_indices(count, 1), 1)
