"""What a meter reads: every state, two inputs, and whether the reading is a phantom."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from verify.change import Change
from verify.circuit import Circuit, End
from verify.electric.grid import METER, Grid, Meter, Reals
from verify.electric.outcomes import Energised, energise
from verify.electric.physics import Parameters
from verify.electric.solve import solve, spread


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
    """
    grid = Grid(circuit, assumed)
    chosen = list(pairs_to_return(circuit) if pairs is None else pairs)
    power = energise(grid, grid.network([Change()]))
    index = circuit.end_index
    ends = [(index[point], index[against]) for point, against in chosen]
    high, low = (
        _volts(grid, power, ends, ohms)
        for ohms in (grid.assumed.high_meter, grid.assumed.low_meter)
    )
    phantom = (high >= grid.assumed.phantom_volts) & (low <= high * grid.assumed.phantom_share)
    return [
        Reading(
            state,
            point,
            against,
            float(high[row, state]),
            float(low[row, state]),
            bool(phantom[row, state]),
        )
        for row, (point, against) in enumerate(chosen)
        for state in range(high.shape[1])
    ]


def pairs_to_return(circuit: Circuit) -> Iterator[tuple[End, End]]:
    """Each join, by its first end, against the first feed's neutral and against its ground."""
    feed = circuit.feed
    for terminal in ("neutral", "ground"):
        against = circuit.terminal(feed, terminal)
        for join in circuit.grouped_ends:
            if against not in join:
                yield join[0], against


def _volts(grid: Grid, power: Energised, ends: Sequence[tuple[int, int]], ohms: float) -> Reals:
    """What a meter of so many ohms reads between each pair of ends in each state (P, T)."""
    network = grid.network(
        [Change()] * len(ends), meters=[Meter(point, against, ohms) for point, against in ends]
    )
    feeding = power.solution.feeding.reshape(-1, len(grid.sources))
    read = np.zeros((len(ends), len(feeding)))
    for pattern in np.unique(feeding, axis=0):
        (states,) = np.nonzero((feeding == pattern).all(axis=1))
        if pattern.any() and ends:
            at = np.tile(states.astype(np.int64), (len(ends), 1))
            solution = solve(grid, *spread(grid, network.fed_by(pattern), at))
            read[:, states] = np.abs(solution.extra_volts(METER)).reshape(at.shape)
    return read
