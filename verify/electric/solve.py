"""Solves networks: voltages in any states, and the currents in their parts."""

from dataclasses import dataclass, replace
from typing import Any, Final, cast

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled_where
from verify.electric.grid import Grid, Network, Reals
from verify.electric.solving_kernel import Phasors, States, solve_rows

#: From so many pairs of row and state on it is worth loading the compiler.
WORTH_COMPILING: Final = 2500
_MOST_ROUNDS: Final = 60
_SETTLED: Final = 1e-10
#: At this share of its volts a filament is as good as cold.
_COLD: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Solution:
    """The voltages of a network: `volts` (R, T, N + 1) of its nodes, the last being the reference.

    `states` (R, T). Where no potential exists, because nothing at all connects a node to the rest,
    `volts` is not-a-number; no current flows there. `feeding` (R, T, F) is False where a feed has
    been switched off.
    """

    grid: Grid
    network: Network
    states: States
    volts: Phasors
    feeding: npt.NDArray[np.bool_]

    def at(self, ends: npt.NDArray[np.integer[Any]]) -> Phasors:
        """Return the voltages at some ends (P,), numbered as in the circuit: (R, T, P)."""
        rows = np.arange(len(self.network))[:, None]
        return self.volts[rows, :, self.network.node_of[:, ends]].transpose(0, 2, 1)

    def across(self, pairs: npt.NDArray[np.integer[Any]]) -> Phasors:
        """Return the voltages between pairs of ends (P, 2) that something connects: (R, T, P).

        A voltage is 0 where neither end has a potential.
        """
        return _difference(self.at(pairs[:, 0]), self.at(pairs[:, 1]))

    def lamp_volts(self) -> Phasors:
        """Return the volts across each lamp's two sides (R, T, L), failed lamps included."""
        return self.across(self.grid.lamps)

    def lamp_amps(self) -> Phasors:
        """Return each lamp's current (R, T, L) from contact to shell, 0 where it has failed."""
        start = len(self.grid.conductors)
        siemens = self.network.admittances[:, start : start + len(self.grid.lamps)]
        return self.lamp_volts() * siemens[:, None]

    def load_volts(self) -> Phasors:
        """Return the volts across the loads of each receptacle (R, T, loads)."""
        start = len(self.grid.conductors) + len(self.grid.lamps)
        return self.across(self.grid.branches[start : start + self.grid.loads])

    def conductor_amps(self) -> Phasors:
        """Return each conductor's current (R, T, C), from its cable's first box to the second."""
        siemens = self.network.admittances[:, : len(self.grid.conductors)]
        return self.across(self.grid.conductors) * siemens[:, None]

    def cable_amps(self) -> Phasors:
        """Return the currents of all conductors of each cable added up (R, T, cables)."""
        return cast(Phasors, np.add.reduceat(self.conductor_amps(), self.grid.cable_starts, axis=2))

    def feed_amps(self) -> Phasors:
        """Return the currents from the service on each feed's three conductors (R, T, F, 3).

        They are line, neutral and ground.
        """
        sources = self.grid.sources
        volts = self.at(np.array([source.ends for source in sources]).ravel())
        volts = volts.reshape(*volts.shape[:2], len(sources), 3)
        amps = -volts / np.array([source.conductor for source in sources])[:, None]
        driving = np.array([source.volts for source in sources])
        admittances = self.network.source_admittances[:, None] * self.feeding
        amps[..., 0] = (driving - volts[..., 0]) * admittances
        return _or_nothing(amps)

    def loose_watts(self) -> Reals:
        """Return the heat of the loose join that heats most (R, T), 0 where none is loose.

        It is the most, not the sum: a fire starts at one of them.
        """
        network = self.network
        loose = slice(network.extras.shape[1] - network.loose, None)
        rows = np.arange(len(network))[:, None]
        a, b = (
            self.volts[rows, :, network.node_of[rows, network.extras[:, loose, side]]]
            for side in range(2)
        )
        siemens = network.extra_admittances[:, loose, None].real
        watts: Reals = np.abs(_difference(a, b)) ** 2 * siemens
        most: Reals = watts.max(axis=1, initial=0)
        return most


def _difference(one: Phasors, other: Phasors) -> Phasors:
    """Return the difference of two potentials, 0 where one does not exist."""
    return _or_nothing(one - other)


def _or_nothing(amount: Phasors) -> Phasors:
    """Return amounts with 0 where no potential exists."""
    amount[np.isnan(amount)] = 0
    return amount


def all_states(grid: Grid, rows: int) -> States:
    """Return every state of the circuit for each of `rows` rows: (rows, states)."""
    states = np.arange(1 << len(grid.circuit.switches), dtype=np.int64)
    return np.tile(states, (rows, 1))


def spread(grid: Grid, network: Network, states: States) -> tuple[Network, States]:
    """Return a network and its states (R, T), ready to be solved.

    Filaments have another resistance in each state: for them every state becomes a row, (R·T, 1).
    """
    if grid.assumed.lamp_exponent is None:
        return network, states
    rows = np.repeat(np.arange(len(network)), states.shape[1])
    return network.rows(rows), states.reshape(-1, 1)


def solve(grid: Grid, network: Network, states: States) -> Solution:
    """Return the voltages of each row in each of its `states` (R, T), as `spread` gives them.

    Raises ArithmeticError if filaments do not settle.
    """
    exponent = grid.assumed.lamp_exponent
    solution = _solve_linear(grid, network, states)
    if exponent is None:
        return solution
    start = len(grid.conductors)
    lamps = slice(start, start + len(grid.lamps))
    nominal = network.admittances[:, lamps]
    for _ in range(_MOST_ROUNDS):
        share = np.abs(solution.lamp_volts()[:, 0]) / grid.circuit.volts
        wanted = nominal * np.maximum(share, _COLD) ** (exponent - 1)
        before = solution.network.admittances[:, lamps]
        if np.allclose(wanted, before, rtol=_SETTLED, atol=0):
            return solution
        admittances = network.admittances.copy()
        # A lamp's volts fall at most as its siemens rise: each round more than halves the error.
        admittances[:, lamps] = wanted
        solution = _solve_linear(grid, replace(network, admittances=admittances), states)
    raise ArithmeticError("the filaments of a network did not settle")


def _solve_linear(grid: Grid, network: Network, states: States) -> Solution:
    volts = np.empty((*states.shape, len(network.order) + 1), np.complex128)
    kernel = compiled_where(states.size >= WORTH_COMPILING, solve_rows)
    kernel(
        network.node_of,
        grid.branches,
        network.admittances,
        network.extras,
        network.extra_admittances,
        grid.contacts,
        grid.contact_switch,
        network.closed,
        1 / grid.assumed.contact,
        grid.feed_lines,
        network.source_admittances,
        grid.source_volts,
        network.order,
        states,
        volts,
    )
    feeding = np.ones((*states.shape, len(grid.sources)), np.bool_)
    return Solution(grid, network, states, volts, feeding)
