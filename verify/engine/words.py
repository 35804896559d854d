"""The fast engine: all states of a circuit at once, one bit a state, many faults in one call.

For each fault, conductors and joins are merged into nets; then line, neutral and ground spread from
the feed over the switch contacts, each spread being a word of 64 states, until nothing changes. The
kernel is compiled by numba for large batches; for a single small circuit plain Python runs it,
which is quicker than loading a compiler.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from verify.base.compiling import compiled_where
from verify.behaviour.findings import Findings, Observation, Words, word_count
from verify.circuit.model import Circuit
from verify.engine.words_kernel import observe_rows
from verify.fault.change import Change
from verify.fault.network import FaultBatch, Flattener

if TYPE_CHECKING:
    from verify.fault.contract import Fault

#: How many 64-bit words of states a batch must have to be worth loading the compiler.
WORTH_COMPILING: Final = 32
#: The same for a process with one circuit to judge: both ways take about a second.
WORTH_COMPILING_ONCE: Final = 1500


class WordsEngine:
    """The engine of this module; see `verify.engine.contract.Engine`.

    Batches of less than `worth_compiling` words are judged without compiling, unless the compiled
    kernel is there already.
    """

    name = "words"
    version = 2
    most_switches = 16

    def __init__(self, worth_compiling: int = WORTH_COMPILING) -> None:
        self.worth_compiling = worth_compiling

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state."""
        return self.find(circuit).observation(0)

    def find(self, circuit: Circuit) -> Findings:
        """Return what `circuit` does in every state, as arrays of one row."""
        return self.observe_batch(self._flattener(circuit).batch([Change()]))

    def observe_faults(self, circuit: Circuit, faults: "Sequence[Fault]") -> Findings:
        """Return what `circuit` does with each of `faults`, a row each."""
        shared = [row for row, fault in enumerate(faults) if fault.change.rebuilt is None]
        flattener = self._flattener(circuit)
        found = self.observe_batch(flattener.batch([faults[row].change for row in shared]))
        if len(shared) == len(faults):
            return found
        whole = Findings.empty(
            len(faults), switches=len(circuit.switches), lamps=len(circuit.lamps)
        )
        for target, source in zip(whole.arrays, found.arrays, strict=True):
            target[shared] = source
        for row, fault in enumerate(faults):
            if fault.change.rebuilt is not None:
                alone = self.observe_batch(self._flattener(fault.change.rebuilt).batch([Change()]))
                for target, source in zip(whole.arrays, alone.arrays, strict=True):
                    target[row] = source[0]
        return whole

    def live_terminals(self, circuit: Circuit, faults: "Sequence[Fault]") -> Words:
        """Return the states in which each terminal of `terminals(circuit)` is live.

        States that trip are not among them. Shape (faults, terminals, words).
        """
        names = terminals(circuit)
        live = np.zeros((len(faults), len(names), word_count(len(circuit.switches))), np.uint64)
        flattener = self._flattener(circuit)
        shared = [row for row, fault in enumerate(faults) if fault.change.rebuilt is None]
        batch = flattener.batch([faults[row].change for row in shared])
        live[shared] = self._live_ends(batch)[:, flattener.numbers(names)]
        for row, fault in enumerate(faults):
            if fault.change.rebuilt is not None:
                rebuilt = self._flattener(fault.change.rebuilt)
                at = self._live_ends(rebuilt.batch([Change()]))
                live[row] = at[0, rebuilt.numbers(names)]
        return live

    def _live_ends(self, batch: FaultBatch) -> Words:
        rows, ends = batch.join_of.shape
        live_at = np.zeros((rows, ends, word_count(batch.switches)), np.uint64)
        self.observe_batch(batch, live_at)
        return live_at

    def observe_batch(self, batch: FaultBatch, live_at: Words | None = None) -> Findings:
        """Return what each row of prepared arrays does.

        `live_at` is filled as `verify.engine.words_kernel.observe_rows` says.
        """
        found = Findings.empty(len(batch), switches=batch.switches, lamps=len(batch.lamps))
        if live_at is None:
            live_at = np.zeros((len(batch), 0, word_count(batch.switches)), np.uint64)
        work = len(batch) * word_count(batch.switches)
        kernel = compiled_where(work >= self.worth_compiling, observe_rows)
        kernel(
            batch.switches,
            batch.feeds,
            batch.on_b,
            batch.conductors,
            batch.is_ground,
            batch.contacts,
            batch.contact_switch,
            batch.switch_ends,
            batch.lamps,
            batch.receptacles,
            batch.metal,
            batch.join_of.view(np.uint16),  # none is negative
            batch.conducts,
            batch.closed,
            batch.works,
            batch.bridges,
            found.trips,
            found.lit,
            found.hazards,
            live_at,
        )
        return found

    def _flattener(self, circuit: Circuit) -> Flattener:
        if len(circuit.switches) > self.most_switches:
            raise ValueError(
                f"switches={len(circuit.switches)} is more than the {self.most_switches} "
                f"that the {self.name} engine can prove"
            )
        return Flattener(circuit)


def terminals(circuit: Circuit) -> list[str]:
    """Return the terminals of lamps and switches that a probe can touch, in file order."""
    return [
        f"{device.name}.{terminal}"
        for device in (*circuit.lamps, *circuit.switches)
        for terminal in device.form.switched_terminals
    ]
