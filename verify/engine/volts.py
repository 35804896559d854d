"""The engine that knows volts and amperes: *words*, and what the currents add to it.

Connections decide as much as they can. The electrical solution says where a lamp is dim or above
its voltage, where a breaker trips by overload, and which currents are dangerous. A state in which
it contradicts connections about lamps or protection is marked as overruled.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.findings import Findings, Observation, Words, word_count
from verify.circuit.model import Circuit
from verify.electric.numbers import parameters, section
from verify.electric.outcomes import DIM, LIT, OVER, Outcomes, circuit_outcomes, outcomes_of_faults
from verify.electric.sizes import unreadable_sizes
from verify.engine.words import WORTH_COMPILING, WordsEngine
from verify.hazard.definitions import HAZARD_NAMES

if TYPE_CHECKING:
    from verify.fault.contract import Fault

#: Solutions, pairs of fault and state, times the square of the joins: about what solving them
#: takes. People wait so long, some seconds: for all faults of seven locations, or one of fourteen.
MOST_WORK: Final = 300_000_000
#: How many solutions are held at once.
_AT_ONCE: Final = 65_536

_CARRIES_LOAD: Final = HAZARD_NAMES.index("ground-carries-load")


def engine_for(
    circuit: Circuit, faults: int = 1, worth_compiling: int = WORTH_COMPILING
) -> "WordsEngine | VoltsEngine":
    """Return the engine to judge a circuit and `faults` of its faults: *volts* if it can."""
    if why_not_volts(circuit, faults):
        return WordsEngine(worth_compiling)
    return VoltsEngine(worth_compiling)


def why_not_volts(circuit: Circuit, faults: int = 1) -> str:
    """Return why only connections are judged, or an empty text."""
    states = 1 << len(circuit.switches)
    if faults * states * len(circuit.grouped_ends) ** 2 > MOST_WORK:
        return (
            f"{faults:,} times {states:,} states of {len(circuit.grouped_ends)} joins are more "
            "than are solved for volts"
        )
    return "; ".join(map(str, unreadable_sizes(circuit)))


class VoltsEngine:
    """The engine of this module; see `verify.engine.contract.Engine`.

    Raises `CircuitError` for a circuit with conductor sizes that cannot be read.
    """

    name = "volts"
    version = 1
    most_switches = WordsEngine.most_switches

    def __init__(self, worth_compiling: int = WORTH_COMPILING) -> None:
        self._words = WordsEngine(worth_compiling)

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state."""
        return self.find(circuit).observation(0)

    def find(self, circuit: Circuit) -> Findings:
        """Return what `circuit` does in every state, as arrays of one row."""
        return _with_volts(self._words.find(circuit), circuit_outcomes(circuit), circuit)

    def observe_faults(self, circuit: Circuit, faults: "Sequence[Fault]") -> Findings:
        """Return what `circuit` does with each of `faults`, a row each."""
        found = self._words.observe_faults(circuit, faults)
        step = max(1, _AT_ONCE >> len(circuit.switches))
        for start in range(0, len(faults), step):
            rows = slice(start, start + step)
            part = Findings(found.switches, *(array[rows] for array in found.arrays))
            _with_volts(part, outcomes_of_faults(circuit, faults[rows]), circuit)
        return found


def _with_volts(found: Findings, outcomes: Outcomes, circuit: Circuit) -> Findings:
    """Write what the electrical solution says into `found`, and return it."""
    switches = found.switches
    connected = found.lit.copy()
    overloads = _as_words(outcomes.trips, switches) & ~found.trips
    found.trips[:] |= overloads
    holds = ~found.trips
    for array, outcome in ((found.dim, DIM), (found.lit, LIT), (found.over, OVER)):
        shown = np.moveaxis(outcomes.lamps == outcome, 2, 1)
        array[:] = _as_words(shown, switches) & holds[:, None]
    other = (connected ^ found.lit) | found.dim | found.over
    found.overruled[:] = np.bitwise_or.reduce(other, axis=1) | overloads
    assumed = parameters(circuit.palette)
    amps = assumed.unbalanced_amps
    electrical = {
        "cable-unbalanced": outcomes.unbalanced_amps > amps,
        "ground-current": outcomes.ground_amps > amps,
        "loose-join": outcomes.loose_watts > assumed.loose * amps**2,
        "overvoltage": (outcomes.lamps == OVER).any(axis=2)
        | (outcomes.load_volts > section("lamp")["over_share"] * circuit.volts),
    }
    found.hazards[:] &= holds[:, None]
    for name, shows in electrical.items():
        found.hazards[:, HAZARD_NAMES.index(name)] = _as_words(shows, switches) & holds
    # A current that a lit lamp sends through ground has a hazard of its own.
    current = HAZARD_NAMES.index("ground-current")
    found.hazards[:, current] &= ~found.hazards[:, _CARRIES_LOAD]
    return found


def _as_words(states: npt.NDArray[np.bool_], switches: int) -> Words:
    """Return booleans over the states as words: (..., 2^switches) to (..., words)."""
    octets = np.packbits(states, axis=-1, bitorder="little")
    whole = np.zeros((*octets.shape[:-1], word_count(switches) * 8), np.uint8)
    whole[..., : octets.shape[-1]] = octets
    return np.ascontiguousarray(whole).view("<u8").astype(np.uint64)
