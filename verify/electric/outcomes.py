"""What lamps and protection do with the voltages, in every state of many faulted circuits."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.electric.grid import Grid, Network, Reals
from verify.electric.numbers import Parameters, section
from verify.electric.protection import TRIPS_IN_TIME, curve
from verify.electric.solve import Solution, all_states, solve, spread
from verify.electric.solving_kernel import Bytes, States
from verify.fault.change import Change

if TYPE_CHECKING:
    from verify.fault.contract import Fault

DARK: Final = 0
DIM: Final = 1
LIT: Final = 2
OVER: Final = 3
OUTCOMES: Final = ("dark", "dim", "lit", "over")


@dataclass(frozen=True, slots=True)
class Energised:
    """Circuits with the power on: `solution` is what remains once protection has acted.

    `inrush` (R, T, F) are the amperes that each feed's line carried at most before its breaker
    acted, `level` (R, T, F) what the breaker makes of them, a place in `protection.LEVELS`.
    """

    solution: Solution
    inrush: Reals
    level: Bytes


def energise(grid: Grid, network: Network, states: States | None = None) -> Energised:
    """Solve each row in its `states` (R, T), all of them by default, and let breakers act.

    A breaker that trips in time or at once is switched off and the rest is solved again, until no
    further breaker trips.
    """
    if states is None:
        states = all_states(grid, len(network))
    shape = states.shape
    network, states = spread(grid, network, states)
    solution = solve(grid, network, states)
    volts, admittances = solution.volts, solution.network.admittances
    inrush, level = _in_the_lines(solution)
    feeding = np.ones(inrush.shape, np.bool_)
    while (trips := feeding & (level >= TRIPS_IN_TIME)).any():
        feeding &= ~trips
        rows, turns = np.nonzero(trips.any(axis=2))
        has_power = feeding[rows, turns].any(axis=1)
        volts[rows[~has_power], turns[~has_power]] *= 0
        rows, turns = rows[has_power], turns[has_power]
        if len(rows):
            left = network.rows(rows).fed_by(feeding[rows, turns])
            again = solve(grid, left, states[rows, turns, None])
            volts[rows, turns] = again.volts[:, 0]
            if grid.assumed.lamp_exponent is not None:
                admittances[rows] = again.network.admittances
            amps, then = _in_the_lines(again)
            inrush[rows, turns] = np.maximum(inrush[rows, turns], amps[:, 0])
            level[rows, turns] = np.maximum(level[rows, turns], then[:, 0])
    solution = replace(solution, volts=volts, feeding=feeding)
    return Energised(solution, inrush.reshape(*shape, -1), level.reshape(*shape, -1))


def _in_the_lines(solution: Solution) -> tuple[Reals, Bytes]:
    """Return the amperes in the line of each feed, and how its breaker acts on them."""
    grid = solution.grid
    amps = np.abs(solution.feed_amps()[..., 0])
    ratings = np.array([source.breaker_amps for source in grid.sources])
    return amps, curve(grid.assumed.breaker).level(amps, ratings)


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What R faulted circuits do in all their T states, with L lamps and F feeds.

    - `inrush`, `level` (R, T, F): as in `Energised`
    - `lamps` (R, T, L): a place in `OUTCOMES`
    - `lamp_volts`, `lamp_amps` (R, T, L)
    - `residual_amps` (R, T, F): what a feed's line and neutral do not return to each other
    - `unbalanced_amps` (R, T): the most by which the currents in a cable do not cancel
    - `ground_amps` (R, T): the most that a grounding conductor carries
    - `loose_watts` (R, T): the heat of the loose join that heats most
    - `load_volts` (R, T): the most volts across what is plugged into any receptacle

    All but the first two are for what remains once protection has acted.
    """

    inrush: Reals
    level: Bytes
    lamps: Bytes
    lamp_volts: Reals
    lamp_amps: Reals
    residual_amps: Reals
    unbalanced_amps: Reals
    ground_amps: Reals
    loose_watts: Reals
    load_volts: Reals

    @property
    def trips(self) -> npt.NDArray[np.bool_]:
        """Where some breaker trips (R, T)."""
        worst: Bytes = self.level.max(axis=2)
        return worst >= TRIPS_IN_TIME

    @classmethod
    def of(cls, energised: Energised) -> "Outcomes":
        """Return the outcomes of circuits with the power on."""
        solution = energised.solution
        shape = energised.level.shape[:2]
        feeds = solution.feed_amps()
        conductors = np.abs(solution.conductor_amps())
        volts = np.abs(solution.lamp_volts())
        lamps = lamp_outcomes(volts / solution.grid.circuit.volts)
        lamps *= solution.network.works[:, None]
        return cls(
            energised.inrush,
            energised.level,
            lamps.reshape(*shape, -1),
            volts.reshape(*shape, -1),
            np.abs(solution.lamp_amps()).reshape(*shape, -1),
            np.abs(feeds[..., 0] + feeds[..., 1]).reshape(*shape, -1),
            np.abs(solution.cable_amps()).max(axis=2, initial=0).reshape(shape),
            conductors[..., solution.grid.is_ground].max(axis=2, initial=0).reshape(shape),
            solution.loose_watts().reshape(shape),
            np.abs(solution.load_volts()).max(axis=2, initial=0).reshape(shape),
        )


def lamp_outcomes(share: Reals) -> Bytes:
    """Return what a lamp does at each share of its nominal volts, as a place in `OUTCOMES`."""
    limits = section("lamp")
    lit_from, over_from = share >= limits["dim_share"], share > limits["over_share"]
    return (share > limits["dark_share"]).astype(np.uint8) + lit_from + over_from


def circuit_outcomes(circuit: Circuit, assumed: Parameters | None = None) -> Outcomes:
    """Return the outcomes of a circuit in all its states, as one row."""
    grid = Grid(circuit, assumed)
    return Outcomes.of(energise(grid, grid.network([Change()])))


def outcomes_of_faults(
    circuit: Circuit, faults: "Sequence[Fault]", assumed: Parameters | None = None
) -> Outcomes:
    """Return the outcomes of a circuit with each of `faults` in turn, a row each."""
    changes = [fault.change for fault in faults]
    shared = [row for row, change in enumerate(changes) if change.rebuilt is None]
    grid = Grid(circuit, assumed)
    parts = []
    if shared:
        together = grid.network([changes[row] for row in shared])
        parts.append(Outcomes.of(energise(grid, together)))
    rebuilt = [(row, change.rebuilt) for row, change in enumerate(changes) if change.rebuilt]
    parts += [circuit_outcomes(whole, assumed) for _, whole in rebuilt]
    order = np.argsort([*shared, *(row for row, _ in rebuilt)])
    return Outcomes(
        *(np.concatenate([getattr(part, field.name) for part in parts])[order] for field in _FIELDS)
    )


_FIELDS: Final = fields(Outcomes)
