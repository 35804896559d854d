"""With each suspect, a meter would read certain volts at the terminals of lamps and switches.

Predictions come from volts, not from connections: what line reaches through a lamp alone reads as
line, and what only capacitance drives, a phantom, does not.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from catalogue.desk.suspect_pool import SuspectPool
from verify.electric.grid import Reals
from verify.electric.readings import GroundReadings, ground_readings
from verify.engine.words import WordsEngine, terminals

Numbers = npt.NDArray[np.int64]

#: The possible findings, as they stand in an address.
FINDINGS: Final = ("dead", "part", "live")

#: Shares of the circuit's volts: below the first is no voltage, from the second on is line.
_NONE_BELOW: Final = 0.1
_LINE_FROM: Final = 0.9


class Expected(NamedTuple):
    """The findings that hypotheses predict at a terminal, in a state as it was named.

    `found[h]` is what hypothesis h predicts, a place in `words`, whose entries are a finding and
    the reading in words. `phantom` is the highest voltage that an ordinary meter shows where
    nothing connects to line, 0 if that never happens.
    """

    terminal: str
    state: int
    found: tuple[int, ...]
    words: tuple[tuple[str, str], ...]
    phantom: float


@dataclass(frozen=True)
class Meter:
    """Meters at the terminals of a pool's circuit, which must be known."""

    pool: SuspectPool
    _known: dict[int, GroundReadings] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def terminals(self) -> list[str]:
        """The terminals that the probe can touch."""
        assert self.pool.circuit is not None
        return terminals(self.pool.circuit)

    def readings(self, suspects: Sequence[int]) -> Sequence[GroundReadings]:
        """Return the readings in all states with each of some suspects, which must be faults."""
        # A plan asks again for fewer and fewer of the same suspects.
        fresh = [number for number in suspects if number not in self._known]
        if fresh:
            read = self._measured(fresh)
            self._known.update((number, read.of(row)) for row, number in enumerate(fresh))
        return [self._known[number] for number in suspects]

    def _measured(self, suspects: Sequence[int]) -> GroundReadings:
        circuit = self.pool.circuit
        assert circuit is not None
        faults = [fault for number in suspects if (fault := self.pool.faults[number]) is not None]
        words = WordsEngine().live_terminals(circuit, faults)
        states = np.arange(1 << self.pool.switches)
        live = words[:, :, states // 64] >> (states % 64).astype(np.uint64) & np.uint64(1)
        on_line = live.astype(np.bool_).transpose(0, 2, 1)
        return ground_readings(circuit, faults, self.terminals, on_line)

    def expected(
        self, suspects: Sequence[int], states: Numbers, may: npt.NDArray[np.bool_]
    ) -> list[Expected]:
        """Return the expected findings wherever hypotheses differ in them.

        Hypothesis h is that of suspect `suspects[h]`, a fault, and `states[h]` are its states in
        the order of those that were named; `may` says in which of these a person may measure. Of
        measurements that part the hypotheses in the same way only one is returned, the one that
        phantoms disturb least.
        """
        assert self.pool.circuit is not None
        volts = self.pool.circuit.volts
        each = [read.of(row) for read, row in zip(self.readings(suspects), states, strict=True)]
        high, low = np.array([read.high for read in each]), np.array([read.low for read in each])
        phantom = np.array([read.phantom for read in each])
        level = np.where(
            phantom | (low < _NONE_BELOW * volts), 0, np.where(high < _LINE_FROM * volts, 1, 2)
        )
        ghost = np.where(phantom, high, 0).max(axis=0)
        differs = (level != level[:1]).any(axis=0) & may[:, None]
        best: dict[bytes, tuple[int, int]] = {}
        for state, place in np.argwhere(differs).tolist():
            at = best.setdefault(level[:, state, place].tobytes(), (state, place))
            if ghost[state, place] < ghost[at]:
                best[level[:, state, place].tobytes()] = state, place
        return [
            Expected(
                self.terminals[place],
                state,
                *_found(level[:, state, place], high[:, state, place], low[:, state, place]),
                float(ghost[state, place]),
            )
            for state, place in best.values()
        ]


def _found(
    level: Numbers, high: Reals, low: Reals
) -> tuple[tuple[int, ...], tuple[tuple[str, str], ...]]:
    """Return the outcomes, and the words of those that some hypothesis predicts."""
    there, found = np.unique(level, return_inverse=True)
    words = []
    for number in there.tolist():
        told = "no voltage"
        if number:
            of = level == number
            name = "line voltage" if FINDINGS[number] == "live" else "part of line voltage"
            told = f"{name}: {_reading_text(high[of], low[of])}"
        words.append((FINDINGS[number], told))
    return tuple(found.tolist()), tuple(words)


def _reading_text(high: Reals, low: Reals) -> str:
    """Return what both meters read, in words."""
    ordinary, loading = _range(high), _range(low)
    if ordinary == loading:
        return f"{ordinary} on either meter"
    return f"{ordinary} on an ordinary meter, {loading} on a low-impedance one"


def _range(volts: Reals) -> str:
    lowest, highest = round(float(volts.min())), round(float(volts.max()))
    return f"{lowest} V" if lowest == highest else f"{lowest} to {highest} V"
