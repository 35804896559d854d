"""The slow engine for volts and amperes: *paths*, and plain nodal analysis of each state.

It checks *volts*: the connections by *paths*, the currents by `verify.engine.nodal_analysis`. With
*volts* it shares the numbers, names and tables that `tests/project/test_independence.py` lists.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from verify.behaviour.findings import Findings, Observation, states_in
from verify.circuit.model import Circuit
from verify.engine.nodal_analysis import NodalNetwork, NodalState
from verify.engine.paths import PathsEngine
from verify.hazard.definitions import HAZARD_NAMES

if TYPE_CHECKING:
    from verify.fault.contract import Fault


def electrical_subjects(at: NodalState, hazard: str) -> Iterator[tuple[str, float]]:
    """Yield each part that shows an electrical hazard in a state, with the amount.

    See `HAZARDS`; raises KeyError for any other hazard. For ``ground-current`` every current in
    ground counts here; the caller has to leave out the return of a lit lamp.
    """
    amounts, threshold = _AMOUNTS[hazard]
    limit = threshold(at)
    return ((name, amount) for name, amount in amounts(at).items() if amount > limit)


def _amperes(at: NodalState) -> float:
    return at.network.assumed.unbalanced_amps


def _watts(at: NodalState) -> float:
    return at.network.assumed.loose * _amperes(at) ** 2


_AMOUNTS: Final[
    Mapping[str, tuple[Callable[[NodalState], Mapping[str, float]], Callable[[NodalState], float]]]
] = {
    "cable-unbalanced": (NodalState.unbalanced, _amperes),
    "ground-current": (NodalState.in_ground, _amperes),
    "loose-join": (NodalState.loose_watts, _watts),
    "overvoltage": (NodalState.overloaded, lambda at: 0.0),
}


class NodalEngine:
    """Judges by tracing paths and solving each state; see `verify.engine.contract.Engine`."""

    name: Final = "nodal"
    version: Final = 1
    most_switches: Final = 12

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state. Raises ValueError beyond `most_switches`."""
        if len(circuit.switches) > self.most_switches:
            raise ValueError(
                f"switches={len(circuit.switches)} is more than engine {self.name} takes, "
                f"{self.most_switches}; ask an engine for many switches"
            )
        connected = PathsEngine().observe(circuit)
        network = NodalNetwork(circuit)
        lights: dict[str, list[int]] = {
            name: [0] * len(circuit.lamps) for name in ("dark", "dim", "lit", "over")
        }
        hazards = list(connected.hazards)
        trips = connected.trips
        overruled = 0
        for state in states_in((1 << (1 << connected.switches)) - 1 ^ connected.trips):
            at, here = network.at(state), 1 << state
            if at.tripped:
                trips |= here
                overruled |= here
                hazards = [states & ~here for states in hazards]
                continue
            for number, lamp in enumerate(circuit.lamps):
                light = at.light(lamp)
                lights[light][number] |= here
                if light != connected.light(number, state):
                    overruled |= here
            for hazard in _AMOUNTS:
                if any(electrical_subjects(at, hazard)):
                    hazards[HAZARD_NAMES.index(hazard)] |= here
        hazards[_CURRENT] &= ~hazards[_CARRIES_LOAD]
        return Observation(
            connected.switches,
            trips,
            tuple(lights["lit"]),
            tuple(hazards),
            tuple(lights["dim"]),
            tuple(lights["over"]),
            overruled,
        )

    def observe_faults(self, circuit: Circuit, faults: "Sequence[Fault]") -> Findings:
        """Return what `circuit` does with each of `faults`, a row each, in their order."""
        return Findings.of(
            [self.observe(fault.apply(circuit)) for fault in faults],
            switches=len(circuit.switches),
            lamps=len(circuit.lamps),
        )


_CURRENT: Final = HAZARD_NAMES.index("ground-current")
_CARRIES_LOAD: Final = HAZARD_NAMES.index("ground-carries-load")
