"""The networks that were met, with what they do, and the rows of a circuit that have them.

All that *words* would look at is written into a key (`verify.sweep.network_keys`), and a network
with a known key is not judged again, in whatever circuit it comes up. Keys are compared whole, not
by a hash: two networks are taken for one only if they are equal. The currents in the conductors of
a circuit are found row by row.
"""

from typing import Final

import networkx as nx
import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled
from verify.base.problems import BugError
from verify.circuit.model import Circuit
from verify.electric.grid import Grid
from verify.electric.outcomes import Outcomes, energise
from verify.electric.solving_kernel import solve_rows
from verify.engine.words import WordsEngine
from verify.fault.change import Change
from verify.fault.network import NOTHING, FaultBatch, Flattener
from verify.fault.registry import fault_kinds
from verify.hazard.definitions import HAZARD_NAMES
from verify.sweep import current_kernel as kernel
from verify.sweep.fault_outcomes import KnownOutcomes, Outcome, outcome_of, with_hazards
from verify.sweep.interning import InternTable
from verify.sweep.listing import Listing
from verify.sweep.net_currents import find_currents
from verify.sweep.network_keys import fill_network_keys, network_key_width
from verify.sweep.simple import Bounds
from verify.verdict.judging import NONE, first_state, verdicts

UNBALANCED: Final = HAZARD_NAMES.index("cable-unbalanced")
_IN_GROUND: Final = HAZARD_NAMES.index("ground-current")
_HEATED: Final = HAZARD_NAMES.index("loose-join")
_LOADED: Final = HAZARD_NAMES.index("ground-carries-load")

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]


class NetworkRows:
    """Networks of one circuit as arrays, with the arrays that the kernels need."""

    def __init__(self, flattener: Flattener, batch: FaultBatch, bounds: Bounds) -> None:
        self.flattener = flattener
        self.circuit = circuit = flattener.circuit
        self.bounds = bounds
        self.batch = batch
        ends = batch.switch_ends[batch.switch_ends != NOTHING]
        self.terminals = np.concatenate((batch.feeds[0], batch.lamps[0], ends, batch.metal))
        self.key_width = network_key_width(len(self.terminals), batch.closed.shape[1])
        self.terminal_of = np.full(batch.join_of.shape[1], NOTHING, np.int16)
        self.terminal_of[self.terminals] = np.arange(len(self.terminals))
        widths = [len(cable.conductors) for cable in circuit.cables]
        self.cable_starts = np.cumsum([0, *widths[:-1]], dtype=np.int64)
        self.is_alone = _alone(circuit)
        loose = batch.loose
        self.loose = loose[:, -1] if loose.shape[1] else np.full(len(batch), NOTHING, np.int16)

    @classmethod
    def of_circuit(cls, circuit: Circuit, bounds: Bounds) -> "NetworkRows":
        """Return the circuit as it is, as one row."""
        flattener = Flattener(circuit)
        return cls(flattener, flattener.batch([Change()]), bounds)

    @classmethod
    def of_listing(
        cls, listing: Listing, rows: npt.NDArray[np.intp], bounds: Bounds
    ) -> "NetworkRows":
        """Return some faults of a listing in order, then the circuit.

        None of the faults may rebuild the circuit.
        """
        place = np.full(len(listing), NOTHING, np.intp)
        place[rows] = np.arange(len(rows))
        moves = listing.moves.copy()
        moves[:, 0] = place[moves[:, 0]]
        own = [
            (int(place[row]), end, join)
            for row, fault in listing.others.items()
            for end, join in fault.change.moves
        ]
        parts = {
            int(place[row]): fault.change
            for row, fault in listing.others.items()
            if fault.change.failure is not None or fault.change.replacement is not None
        }
        moves = np.concatenate((moves, np.array(own, np.intp).reshape(-1, 3)))
        batch = listing.flattener.batch_of(len(rows) + 1, moves, parts)
        for kind, places in listing.of_parts.items():
            batch = listing.parts.put_into(batch, fault_kinds()[kind], place[places])
        return cls(listing.flattener, batch, bounds)


class Networks:
    """The networks of circuits with the same devices that have been met, and what they do."""

    def __init__(self, key_width: int, outcomes: KnownOutcomes) -> None:
        self._words = WordsEngine()
        self._known = InternTable(key_width)
        self._lit = np.zeros(0, np.uint64)
        self._loaded = np.zeros(0, np.uint64)
        self._unclear = np.zeros(0, np.uint64)
        self._flows = np.zeros((0, 4), np.uint64)
        self._divided = np.zeros((0, 2), np.uint64)
        self._into = np.zeros((0, 4, 0), np.uint64)
        self._out = self._into
        self._base: list[Outcome] = []
        self._outcomes = outcomes
        self._with_currents = InternTable()
        self._numbers = np.zeros(0, np.int64)

    def outcomes_of(self, rows: NetworkRows) -> tuple[Numbers, int]:
        """Return the number of the outcome of each row, and how many had to be solved."""
        batch = rows.batch
        network, nets = self._networks_of(rows)
        unclear = self._unclear[network].copy()
        shown = np.zeros((3, len(batch)), np.uint64)
        compiled(kernel.find_hazards)(
            _unsigned(rows.terminals),
            _unsigned(batch.conductors),
            batch.is_ground,
            rows.cable_starts,
            rows.is_alone,
            _unsigned(batch.join_of),
            batch.conducts,
            batch.bridges,
            rows.loose,
            rows.bounds.ohms,
            rows.bounds.contact,
            rows.bounds.contacts,
            rows.bounds.room,
            rows.bounds.room_of_return,
            _unsigned(nets),
            network,
            self._into,
            self._out,
            self._flows,
            self._divided,
            *shown,
            unclear,
        )
        unclear &= self._lit[network]
        solved = int(np.count_nonzero(unclear))
        if solved:
            # A current that a lit lamp sends through ground has a hazard of its own.
            all_states = np.full(len(batch), np.iinfo(np.uint64).max)
            loose = np.where(rows.loose != NOTHING, all_states, np.uint64(0))
            matters = np.stack((all_states, ~self._loaded[network], loose))
            _solve(rows, unclear, matters, shown)
        shown[1] &= ~self._loaded[network]
        first = first_state(shown[:, :, None])
        key = network
        for state in first:
            key = key * 128 + 1 + state
        number, new = self._with_currents.of_integers(key)
        if len(new):
            learnt = [self._number(int(network[row]), first[:, row].tolist()) for row in new]
            self._numbers = np.concatenate((self._numbers, np.array(learnt, np.int64)))
        return self._numbers[number], solved

    def path_of(self, rows: NetworkRows) -> tuple[Outcome, npt.NDArray[np.int8]]:
        """Return the outcome of the first row by connections, and the one path of its current.

        The latter (terminals, states) is 1 where current enters a net, -1 where it leaves one.
        """
        network = self._networks_of(rows)[0][0]
        if self._unclear[network] or self._flows[network, 1:].any():
            raise BugError("the current of a scheme runs on more than one path")
        into, out = (
            np.unpackbits(words.astype("<u8").view(np.uint8), bitorder="little").reshape(
                len(words), 64
            )
            for words in (self._into[network, 0], self._out[network, 0])
        )
        return self._base[network], into.astype(np.int8) - out.astype(np.int8)

    def _number(self, network: int, first: list[int]) -> int:
        """Return the number of the outcome of a network.

        `first` are the first states in which a cable is unbalanced, ground carries current, a loose
        join heats.
        """
        electrical = [
            (hazard, state)
            for hazard, state in zip((UNBALANCED, _IN_GROUND, _HEATED), first, strict=True)
            if state != NONE
        ]
        outcome = self._base[network]
        return self._outcomes.number(with_hazards(outcome, electrical) if electrical else outcome)

    def _networks_of(self, rows: NetworkRows) -> tuple[Numbers, npt.NDArray[np.int16]]:
        """Return the number of each row's network, and its nets; new networks are judged."""
        batch = rows.batch
        keys = np.empty((len(batch), rows.key_width), np.uint64)
        nets = np.empty((len(batch), int(batch.join_of.max()) + 1), np.int16)
        compiled(fill_network_keys)(
            _unsigned(rows.terminals),
            _unsigned(batch.conductors),
            batch.is_ground,
            _unsigned(batch.join_of),
            batch.conducts,
            batch.closed,
            batch.works,
            batch.bridges,
            keys,
            _unsigned(nets),
        )
        network, new = self._known.of(keys)
        if len(new):
            self._learn(rows, nets, new)
        return network, nets

    def _learn(
        self, rows: NetworkRows, nets: npt.NDArray[np.int16], new: npt.NDArray[np.intp]
    ) -> None:
        """Judge networks that were never met, in the order of their numbers."""
        batch = rows.batch.rows(new)
        found = self._words.observe_batch(batch)
        told = verdicts(found)
        into = np.empty((len(batch), 4, len(rows.terminals)), np.uint64)
        out = np.empty_like(into)
        divided = np.empty((len(batch), 2), np.uint64)
        unclear = np.empty(len(batch), np.uint64)
        lit = np.ascontiguousarray(found.lit[:, 0, 0])
        find_currents(
            batch.switches,
            batch.contacts,
            batch.contact_switch,
            batch.lamps[0],
            batch.feeds[0],
            rows.terminal_of,
            batch.join_of,
            batch.closed,
            nets[new],
            lit,
            into,
            out,
            divided,
            unclear,
        )
        count = len(self._base)
        self._lit = _appended(self._lit, count, lit)
        self._loaded = _appended(self._loaded, count, found.hazards[:, _LOADED, 0])
        self._unclear = _appended(self._unclear, count, unclear)
        self._flows = _appended(self._flows, count, np.bitwise_or.reduce(out, axis=2))
        self._divided = _appended(self._divided, count, divided)
        self._into = _appended(self._into, count, into)
        self._out = _appended(self._out, count, out)
        self._base += [outcome_of(told, row, 1) for row in range(len(batch))]


def _unsigned(numbers: npt.NDArray[np.int16]) -> npt.NDArray[np.uint16]:
    """Return the same numbers as unsigned: machine code need not check each for being negative."""
    return numbers.view(np.uint16)


def _appended(array: Words, count: int, more: Words) -> Words:
    """Return `array` with `more` after its first `count` rows; it grows by half or more."""
    if count + len(more) > len(array):
        larger = np.empty((max(count + len(more), 3 * count // 2), *more.shape[1:]), np.uint64)
        if count:
            larger[:count] = array[:count]
        array = larger
    array[count : count + len(more)] = more
    return array


def _alone(circuit: Circuit) -> npt.NDArray[np.uint8]:
    """Return which cables, in a tree of boxes, have no other between the same two boxes."""
    between = [frozenset(cable.between) for cable in circuit.cables]
    runs = set(between)
    is_tree = len(runs) == len(circuit.boxes) - 1 and nx.is_tree(
        nx.Graph(cable.between for cable in circuit.cables)
    )
    return np.array([is_tree and between.count(run) == 1 for run in between], np.uint8)


def _solve(rows: NetworkRows, unclear: Words, matters: Words, shown: Words) -> None:
    """Correct the first states of `shown`, see `find_hazards`, where rows are `unclear`.

    `matters` (3, rows) are the states in which each of the three counts. Only first states are
    asked for, so a row is solved state by state until each is found, and no further.
    """
    compiled(solve_rows)  # worth compiling: there is always more to solve
    shown &= ~unclear
    shown &= matters
    (at,) = np.nonzero(unclear)
    grid = Grid(rows.circuit, flattener=rows.flattener)
    network = grid.network_of(rows.batch.rows(at))
    amps = grid.assumed.unbalanced_amps
    left = unclear[at]
    while True:
        lowest = left & (~left + np.uint64(1))
        # A row is done when its first states come before all that are not solved yet.
        is_found = ((shown[:, at] & (lowest - np.uint64(1))) != 0) | ((matters[:, at] & left) == 0)
        (open_,) = np.nonzero((left != 0) & ~is_found.all(axis=0))
        if not len(open_):
            return
        low = lowest[open_]
        states = np.bitwise_count(low - np.uint64(1)).astype(np.int64)
        found = Outcomes.of(energise(grid, network.rows(open_), states[:, None]))
        amounts = (found.unbalanced_amps, found.ground_amps, found.loose_watts)
        limits = (amps, amps, grid.assumed.loose * amps**2)
        for number, (amount, limit) in enumerate(zip(amounts, limits, strict=True)):
            is_above = amount[:, 0] > limit
            bits = np.where(is_above, low, np.uint64(0)) & matters[number, at[open_]]
            shown[number, at[open_]] |= bits
        left[open_] &= ~low
