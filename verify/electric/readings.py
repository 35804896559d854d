"""What a meter reads: every state, two inputs, and whether the reading is a phantom."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from verify.change import Change
from verify.circuit import Circuit, End
from verify.electric.grid import Grid
from verify.electric.kernel import Phasors
from verify.electric.outcomes import energise
from verify.electric.physics import Parameters
from verify.electric.solve import Solution
from verify.network import CLOSED_DOWN, CLOSED_UP


@dataclass(frozen=True, slots=True)
class Reading:
    """What two meters read in a state between `point` and `against`, in volts.

    `high` is the ordinary digital meter's, `low` the low-impedance one's. A phantom is a reading
    that the low-impedance meter makes vanish: capacitance drives it, no conductor.
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
) -> list[Reading]:
    """The readings between pairs of ends, in every state, pair by pair.

    Without `pairs`, those of `pairs_to_return`. Breakers have acted before anybody measures.
    A meter is a load; filaments keep the resistance that they have without it.
    """
    grid = Grid(circuit, assumed)
    chosen = list(pairs_to_return(circuit) if pairs is None else pairs)
    solution = energise(grid, grid.network([Change()])).solution
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
    phantom = (high >= grid.assumed.phantom_volts) & (low <= high * grid.assumed.phantom_share)
    return [
        Reading(
            state,
            point,
            against,
            float(high[state, number]),
            float(low[state, number]),
            bool(phantom[state, number]),
        )
        for number, (point, against) in enumerate(chosen)
        for state in range(len(high))
    ]


def pairs_to_return(circuit: Circuit) -> Iterator[tuple[End, End]]:
    """Each join, by its first end, against the first feed's neutral and against its ground."""
    feed = circuit.feed
    for terminal in ("neutral", "ground"):
        against = circuit.terminal(feed, terminal)
        for join in circuit.grouped_ends:
            if against not in join:
                yield join[0], against


def _ohms_between(solution: Solution, row: int, ends: npt.NDArray[np.intp]) -> Phasors:
    """What each pair of ends (P, 2) looks like from outside in each state of a row (T, P)."""
    y = _admittances(solution, row)[:, :-1, :-1]
    # What has no potential is told apart from all that has, and never asked for.
    exists = ~np.isnan(solution.volts[row, :, :-1])
    y *= exists[:, :, None] & exists[:, None, :]
    nodes = np.arange(y.shape[1])
    y[:, nodes, nodes] += ~exists
    z = np.zeros((len(y), len(nodes) + 1, len(nodes) + 1), np.complex128)
    z[:, :-1, :-1] = np.linalg.inv(y)
    a, b = solution.network.joins[row, ends].T
    return z[:, a, a] + z[:, b, b] - z[:, a, b] - z[:, b, a]


def _admittances(solution: Solution, row: int) -> Phasors:
    """The matrix of a row in each of its states (T, N + 1, N + 1), the reference last."""
    grid, network = solution.grid, solution.network
    join, reference = network.joins[row], len(network.order)
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
