"""Composes two faults of a circuit into one row of arrays, which has what each of them writes."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.problems import BugError
from verify.circuit.model import Circuit
from verify.fault.change import Change, NumberedCircuit, changed
from verify.fault.contract import Fault
from verify.fault.network import FaultBatch, Flattener
from verify.fault.registry import find_fault

Rows = npt.NDArray[np.intp]

#: A fault makes no more joins than this; those of the second fault are numbered after them.
_NEW_JOINS: Final = 2


def both_made(circuit: Circuit, one: Fault, other: Fault) -> Circuit:
    """Return the circuit with two faults that are a pair, as files and pictures show it."""
    if one.change.replacement is not None:
        one, other = other, one
    wiring = NumberedCircuit(circuit)
    if other.change.replacement is not None:
        # Whatever else is wrong, the switch is there to be replaced, under the same site.
        faulted = one.apply(circuit)
        return find_fault(faulted, other.label).apply(faulted)
    joins = len(wiring.joins)
    moves = [
        (end, join + _NEW_JOINS if join >= joins else join) for end, join in other.change.moves
    ]
    moved = changed(wiring, Change((*one.change.moves, *moves)))
    failures = (fault.change.failure for fault in (one, other))
    return replace(moved, failures=(*moved.failures, *(failure for failure in failures if failure)))


class Singles:
    """Single faults of one circuit as arrays, ready to be composed two by two."""

    def __init__(self, circuit: Circuit, faults: Sequence[Fault]) -> None:
        flattener = Flattener(circuit)
        #: The circuit without a fault, then with each of them.
        self.alone = flattener.batch([Change(), *(fault.change for fault in faults)])
        self._joins = len(flattener.wiring.joins)
        self._is_stuck = np.array(
            [fault.kind == "switch-stuck" for fault in faults], np.bool_
        ).reshape(-1)
        if self.alone.join_of.max(initial=0) >= self._joins + _NEW_JOINS:
            raise BugError(f"a fault makes more than {_NEW_JOINS} joins")

    def together(self, first: Rows, second: Rows) -> FaultBatch:
        """Return a row for each pair of faults, given by number, that `existing_pairs` allows."""
        batch, pairs = self.alone, len(first)
        one, other = first + 1, second + 1  # row 0 is the circuit without a fault
        join_of, closed = batch.join_of, batch.closed
        apart = np.where(join_of >= self._joins, join_of + _NEW_JOINS, join_of)
        moved = join_of != join_of[0]
        changed = closed != closed[0]
        # A failed contact stays as it is in a switch that is stuck, so the contact is what counts.
        second_counts = changed[other] & ~(changed[one] & self._is_stuck[second][:, None])
        return replace(
            batch,
            join_of=np.where(moved[other], apart[other], join_of[one]).astype(np.int16),
            conducts=batch.conducts[one] & batch.conducts[other],
            closed=np.where(second_counts, closed[other], closed[one]),
            works=batch.works[one] & batch.works[other],
            bridges=np.concatenate([batch.bridges[one], batch.bridges[other][:, -1:]], axis=1),
            loose=np.repeat(batch.loose[:1], pairs, axis=0),
        )
