"""The readings of a meter: in every state, on two inputs, and whether they are phantoms."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.electric.grid import Grid, Network, Reals
from verify.electric.numbers import Parameters
from verify.electric.outcomes import energise
from verify.electric.solve import Solution, solve
from verify.electric.solving_kernel import Phasors
from verify.fault.change import Change
from verify.fault.network import CLOSED_DOWN, CLOSED_UP

if TYPE_CHECKING:
    from verify.fault.contract import Fault


@dataclass(frozen=True, slots=True)
class Reading:
    """The readings of two meters in a state between `point` and `against`, in volts.

    `high` is the ordinary digital meter's, `low` the low-impedance one's. A phantom is a reading
    that vanishes on the low-impedance meter: capacitance drives it, no conductor.
    """

    state: int
    point: End
    against: End
    high: float
    low: float
    phantom: bool


def readings(
    circuit: Circuit,
    pairs: Sequence[tuple[End, End]] | None = None,
    assumed: Parameters | None = None,
    states: Sequence[int] | None = None,
) -> list[Reading]:
    """Return the readings between pairs of ends, pair by pair, in some states or in all.

    Without `pairs`, the pairs are those of `pairs_to_return`. Breakers have acted before anybody
    measures. A meter is a load; filaments keep the resistance that they have without it. Raises
    `CircuitError` if a size is written so that its resistance cannot be read.
    """
    grid = Grid(circuit, assumed)
    chosen = list(pairs_to_return(circuit) if pairs is None else pairs)
    measured = range(1 << len(circuit.switches)) if states is None else states
    solution = energise(grid, grid.network([Change()]), np.array([measured], np.int64)).solution
    index = circuit.end_index
    ends = np.array([[index[end] for end in pair] for pair in chosen], np.intp).reshape(-1, 2)
    a, b = (solution.at(ends[:, side]).reshape(-1, len(ends)) for side in range(2))
    open_volts = np.abs(a - b)
    inside = np.concatenate(
        [_ohms_between(solution, row, ends) for row in range(len(solution.network))]
    )
    high, low = (
        # No current flows where there is no potential: the meter stays at 0.
        np.nan_to_num(open_volts * ohms / np.abs(ohms + inside))
        for ohms in (grid.assumed.high_meter, grid.assumed.low_meter)
    )
    phantom = _are_phantoms(high, low, grid.assumed)
    return [
        Reading(
            state,
            point,
            against,
            float(high[turn, number]),
            float(low[turn, number]),
            bool(phantom[turn, number]),
        )
        for number, (point, against) in enumerate(chosen)
        for turn, state in enumerate(measured)
    ]


@dataclass(frozen=True, slots=True)
class GroundReadings:
    """The readings of two meters against a good ground, in volts, and which are phantoms.

    Shape (faults, states, terminals); `high`, `low` and `phantom` as in `Reading`.
    """

    high: Reals
    low: Reals
    phantom: npt.NDArray[np.bool_]

    def of(self, rows: int | npt.NDArray[np.integer[Any]]) -> "GroundReadings":
        """Return the readings of some faults; if there is one fault, of some states."""
        return GroundReadings(self.high[rows], self.low[rows], self.phantom[rows])


def ground_readings(
    circuit: Circuit,
    faults: "Sequence[Fault]",
    terminals: Sequence[str],
    on_line: npt.NDArray[np.bool_] | None = None,
) -> GroundReadings:
    """Return the readings from terminals, by name, to the bond at the service.

    There is a row for each fault. `on_line` (faults, states, terminals) is True where conductors
    are known to lead to line. No meter changes the voltage there by a hundredth, so nothing is
    solved again for it. Raises `CircuitError` as `readings` does.
    """
    shared = [row for row, fault in enumerate(faults) if fault.change.rebuilt is None]
    shape = (len(faults), 1 << len(circuit.switches), len(terminals))
    found = GroundReadings(np.zeros(shape), np.zeros(shape), np.zeros(shape, np.bool_))
    parts = [(shared, circuit, [faults[row].change for row in shared])] if shared else []
    parts += [
        ([row], fault.change.rebuilt, [Change()])
        for row, fault in enumerate(faults)
        if fault.change.rebuilt is not None
    ]
    for rows, wired, changes in parts:
        grid = Grid(wired)
        ends = np.array(grid.flattener.numbers(terminals), np.intp)
        known = None if on_line is None else on_line[rows]
        high, low = _to_reference(grid, grid.network(changes), ends, known)
        found.high[rows], found.low[rows] = high, low
        found.phantom[rows] = _are_phantoms(high, low, grid.assumed)
    return found


def _to_reference(
    grid: Grid,
    network: Network,
    ends: npt.NDArray[np.intp],
    on_line: npt.NDArray[np.bool_] | None,
) -> tuple[Reals, Reals]:
    """Return what each meter reads from ends to the reference, in all states (R, T, P)."""
    solution = energise(grid, network).solution
    volts = np.nan_to_num(solution.at(ends))
    high, low = np.abs(volts), np.abs(volts)
    # A meter only lowers a voltage: what is negligible without one is not solved again with it.
    doubtful = high >= grid.assumed.phantom_volts
    if on_line is not None:
        doubtful &= ~on_line
    at = np.nonzero(doubtful)
    row, turn, place = at
    loaded = network.rows(row).fed_by(solution.feeding[row, turn])
    meter = np.column_stack([ends[place], np.full_like(place, grid.reference)]).astype(np.int16)
    siemens = np.full((len(row), 1), 1 / grid.assumed.low_meter)
    loaded = replace(
        loaded,
        extras=np.concatenate([meter[:, None], loaded.extras], axis=1),
        extra_admittances=np.concatenate([siemens, loaded.extra_admittances], axis=1),
    )
    pulled = solve(grid, loaded, solution.states[row, turn, None]).at(ends)
    pulled = pulled[np.arange(len(row)), 0, place]
    low[at] = np.abs(pulled)
    # The impedance that the meter sees follows from how far it has pulled the voltage down.
    inside = grid.assumed.low_meter * (volts[at] / pulled - 1)
    high[at] *= grid.assumed.high_meter / np.abs(grid.assumed.high_meter + inside)
    return high, low


def _are_phantoms(high: Reals, low: Reals, assumed: Parameters) -> npt.NDArray[np.bool_]:
    return (high >= assumed.phantom_volts) & (low <= high * assumed.phantom_share)


def points(circuit: Circuit) -> tuple[tuple[End, ...], ...]:
    """Return the ends of each point of a circuit that a meter cannot tell apart.

    A point is a join without its loose ends; each of these is a point of its own. Ends and points
    are in the order of `Circuit.ends`. Raises `CircuitError` as `readings` does.
    """
    nodes = Grid(circuit).network([Change()]).node_of[0, : len(circuit.ends)].tolist()
    found: dict[int, list[End]] = {}
    for end, node in zip(circuit.ends, nodes, strict=True):
        found.setdefault(node, []).append(end)
    return tuple(map(tuple, found.values()))


def pairs_to_return(circuit: Circuit) -> Iterator[tuple[End, End]]:
    """Yield each join, by its first end, with the first feed's neutral, then with its ground."""
    feed = circuit.feed
    for terminal in ("neutral", "ground"):
        against = circuit.terminal(feed, terminal)
        for join in circuit.grouped_ends:
            if against not in join:
                yield join[0], against


def _ohms_between(solution: Solution, row: int, ends: npt.NDArray[np.intp]) -> Phasors:
    """Return the impedance between each pair of ends (P, 2) in each state of a row (T, P)."""
    y = _admittances(solution, row)[:, :-1, :-1]
    # Nodes without a potential get a 1 on the diagonal, so that the rest can be solved.
    exists = ~np.isnan(solution.volts[row, :, :-1])
    y *= exists[:, :, None] & exists[:, None, :]
    nodes = np.arange(y.shape[1])
    y[:, nodes, nodes] += ~exists
    z = np.zeros((len(y), len(nodes) + 1, len(nodes) + 1), np.complex128)
    z[:, :-1, :-1] = np.linalg.inv(y)
    a, b = solution.network.node_of[row, ends].T
    return z[:, a, a] + z[:, b, b] - z[:, a, b] - z[:, b, a]


def _admittances(solution: Solution, row: int) -> Phasors:
    """Return the admittance matrix of a row in each state (T, N + 1, N + 1), reference last."""
    grid, network = solution.grid, solution.network
    join, reference = network.node_of[row], len(network.order)
    down = solution.states[row] >> grid.contact_switch[:, None] & 1
    closes = network.closed[row, :, None] & np.where(down, CLOSED_DOWN, CLOSED_UP) > 0
    lines = join[grid.feed_lines]
    into = network.source_admittances[row, :, None] * solution.feeding[row].T
    y = np.zeros((reference + 1, reference + 1, closes.shape[1]), np.complex128)
    for a, b, siemens in (
        (*join[grid.branches].T, network.admittances[row, :, None]),
        (*join[network.extras[row]].T, network.extra_admittances[row, :, None]),
        (*join[grid.contacts].T, closes / grid.assumed.contact),
        (lines, np.full_like(lines, reference), into),
    ):
        for one, other, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            np.add.at(y, (one, other), sign * siemens)
    return y.transpose(2, 0, 1)
