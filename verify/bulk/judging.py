"""The verdicts on all single faults of a circuit, each different network judged once.

Faults differ in far fewer ways than they are many: most of a circuit is as it was. What *words*
would look at is given a name, and a network whose name is known is not judged again, in whatever
circuit it comes up. What the engine *volts* adds depends on where conductors run; here it follows
from the path of the lamp's current, which connections tell as long as the current does not divide
in ways that only resistances decide. Where it may, and in circuits that are not simple
(`verify.bulk.simple`), *volts* itself is asked. Tests hold the answers to those of *volts*.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, reduce
from operator import or_
from types import SimpleNamespace
from typing import Any, Final, NamedTuple

import networkx as nx
import numpy as np
import numpy.typing as npt

from verify.behaviour import Findings
from verify.bulk import kernel
from verify.bulk.currents import find_currents
from verify.bulk.listing import Listing
from verify.bulk.simple import Bounds, bounds_of, stays_simple
from verify.bulk.whole import Currents, plainly
from verify.change import Change, Wiring
from verify.circuit import Circuit
from verify.electric.grid import Grid
from verify.electric.outcomes import Outcomes, energise
from verify.electric.solve import compiled_kernel
from verify.engines import Engine
from verify.engines.volts import engine_for
from verify.engines.words import WordsEngine
from verify.hazards import HAZARD_NAMES
from verify.layouts import Layout
from verify.network import NOTHING, Batch, Flattener
from verify.problems import BugError
from verify.routing import ROOT
from verify.signature import canonical
from verify.verdict import MIMIC, NONE, SOUND, Verdicts, first_state, judge_faults, verdicts

#: Shapes of circuits whose networks are remembered.
_MOST_SHAPES: Final = 12
_UNBALANCED: Final = HAZARD_NAMES.index("cable-unbalanced")
_IN_GROUND: Final = HAZARD_NAMES.index("ground-current")
_HEATED: Final = HAZARD_NAMES.index("loose-join")
_LOADED: Final = HAZARD_NAMES.index("ground-carries-load")

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]


class Outcome(NamedTuple):
    """All that is found of a fault; see `verify.verdict.Verdicts` for the fields.

    `word` is that of the signature, `codes` the outcomes as they are, state by state; `hazards`
    pairs the place in `HAZARDS` with the state that shows it.
    """

    verdict: int
    word: str
    codes: tuple[int, ...]
    state: int
    switch: int
    lamp: int
    hazards: tuple[tuple[int, int], ...]
    by_volts: bool


@dataclass(frozen=True, slots=True)
class Judged:
    """All single faults of a circuit: `which` (F,) of the different `outcomes` each has.

    `intended` is the outcome of the circuit as it is. Of `solved` faults the currents had to be
    computed from the resistances.
    """

    listing: Listing
    outcomes: list[Outcome]
    which: npt.NDArray[np.intp]
    intended: Outcome
    engine: str
    solved: int = 0


class Bulk:
    """Judges all single faults of circuits, and remembers the networks it has met."""

    def __init__(self) -> None:
        self._shapes: dict[tuple[object, ...], _Networks] = {}
        self._plain: dict[tuple[str, int], tuple[Outcome, Currents]] = {}

    def judge(self, circuit: Circuit) -> Judged:
        """The verdicts on all single faults of `circuit`, as the engine *volts* gives them.

        Where that cannot be asked, or it would take too long, as *words* gives them; see
        `verify.engines.volts.engine_for`.
        """
        listing = Listing(Wiring(circuit))
        engine = engine_for(circuit, len(listing))
        outcomes: dict[Outcome, int] = {}
        which = np.zeros(len(listing), np.intp)
        bounds = bounds_of(circuit)
        if engine.name == "words" or bounds is None:
            self._judge_by(engine, listing, range(len(listing)), outcomes, which)
            seen = engine.observe(circuit)
            found = Findings.of([seen], switches=seen.switches, lamps=len(seen.lit))
            intended = _outcome(verdicts(found), 0, len(seen.lit))
            return Judged(listing, list(outcomes), which, intended, engine.name)
        # The circuit as it is comes last.
        which = np.zeros(len(listing) + 1, np.intp)
        shared = np.delete(np.arange(len(listing)), list(listing.rebuilt))
        places = np.append(shared, len(listing))
        rows = _Rows.of_listing(listing, shared, bounds)
        solved = self._judge_rows(rows, places, outcomes, which)
        for row, scheme in listing.rebuilt.items():
            outcome = self._of_plain(listing, scheme)
            if outcome is not None:
                which[row] = outcomes.setdefault(outcome, len(outcomes))
                continue
            whole = listing.rewired(scheme)
            # Its cables are as long as cables are; those of the circuit may be short.
            bounds = bounds_of(whole)
            if bounds is None:
                self._judge_by(engine, listing, [row], outcomes, which)
            else:
                alone = _Rows.of_circuit(whole, bounds)
                solved += self._judge_rows(alone, np.array([row]), outcomes, which)
        every = list(outcomes)
        return Judged(listing, every, which[:-1], every[which[-1]], engine.name, solved)

    def _of_plain(self, listing: Listing, scheme: str) -> Outcome | None:
        """The outcome of a plain circuit wired by another scheme; None if it is not so plain."""
        arrangement, circuit = listing.arrangement, listing.wiring.circuit
        where = None if arrangement is None else plainly(arrangement)
        if arrangement is None or where is None:
            return None
        if arrangement.switch_names != tuple(switch.name for switch in circuit.switches):
            return None
        key = scheme, where.items
        if key not in self._plain:
            self._plain[key] = self._learn_plain(*key)
        outcome, currents = self._plain[key]
        cuts = currents.cuts(arrangement, where)
        conductors, pairs = sum(cut.conductors for cut in cuts), sum(cut.pairs for cut in cuts)
        if not stays_simple(circuit, conductors, pairs):
            return None
        unbalanced = reduce(or_, (cut.unbalanced for cut in cuts))
        if not unbalanced:
            return outcome
        first = (unbalanced & -unbalanced).bit_length() - 1
        return _with_hazards(outcome, [(_UNBALANCED, first)])

    def _learn_plain(self, scheme: str, items: int) -> tuple[Outcome, Currents]:
        """What a scheme does, apart from its cables, and where its current runs."""
        # Every location hangs on the one before, the lamp on the first.
        circuit = Layout((1, ROOT, *range(1, items - 1))).circuit(scheme)
        bounds = bounds_of(circuit)
        if bounds is None:
            raise BugError(f"{circuit.name} is not simple")
        rows = _Rows.of_circuit(circuit, bounds)
        outcome, entering = self._networks(circuit, rows.batch).path_of(rows)
        names = (circuit.ends[end].name for end in rows.terminals)
        return outcome, Currents(scheme, items, dict(zip(names, entering, strict=True)))

    def _judge_rows(
        self,
        rows: "_Rows",
        places: npt.NDArray[np.intp],
        outcomes: dict[Outcome, int],
        which: npt.NDArray[np.intp],
    ) -> int:
        """Write the outcomes of rows into their places in `which`; how many had to be solved."""
        networks = self._networks(rows.circuit, rows.batch)
        numbers, solved = networks.outcomes_of(rows)
        different, alike = np.unique(numbers, return_inverse=True)
        known = [
            outcomes.setdefault(networks.outcome(n), len(outcomes)) for n in different.tolist()
        ]
        which[places] = np.array(known, np.intp)[alike]
        return solved

    def _networks(self, circuit: Circuit, batch: Batch) -> "_Networks":
        shape = (
            *(switch.kind for switch in circuit.switches),
            len(batch.metal),
            *batch.on_b.tolist(),
        )
        if shape not in self._shapes:
            if len(self._shapes) >= _MOST_SHAPES:
                del self._shapes[next(iter(self._shapes))]
            self._shapes[shape] = _Networks(shape)
        return self._shapes[shape]

    @staticmethod
    def _judge_by(
        engine: Engine,
        listing: Listing,
        rows: Sequence[int],
        outcomes: dict[Outcome, int],
        which: npt.NDArray[np.intp],
    ) -> None:
        """Write the outcomes of some faults as `engine` gives them."""
        circuit = listing.wiring.circuit
        start = 0
        for faults, _, found in judge_faults(circuit, listing.faults(rows), engine):
            for row, place in enumerate(rows[start : start + len(faults)]):
                outcome = _outcome(found, row, len(circuit.lamps))
                which[place] = outcomes.setdefault(outcome, len(outcomes))
            start += len(faults)


def _outcome(found: Verdicts, row: int, lamps: int) -> Outcome:
    codes = found.codes[row]
    return Outcome(
        int(found.verdict[row]),
        canonical(codes, lamps).word,
        tuple(codes.tolist()),
        int(found.state[row]),
        int(found.switch[row]),
        int(found.lamp[row]),
        tuple(
            (number, state)
            for number, state in enumerate(found.hazard_state[row].tolist())
            if state != NONE
        ),
        bool(found.by_volts[row]),
    )


def _with_hazards(outcome: Outcome, electrical: Sequence[tuple[int, int]]) -> Outcome:
    """An outcome by connections with what currents add to it."""
    outcome = outcome._replace(hazards=tuple(sorted((*outcome.hazards, *electrical))))
    if outcome.verdict == SOUND:
        return outcome._replace(verdict=MIMIC, by_volts=True)
    return outcome


class _Rows:
    """Networks of one circuit as arrays, with what the kernels ask of it."""

    def __init__(self, circuit: Circuit, batch: Batch, bounds: Bounds) -> None:
        self.circuit = circuit
        self.bounds = bounds
        self.batch = batch
        ends = batch.switch_ends[batch.switch_ends != NOTHING]
        self.terminals = np.concatenate((batch.feeds[0], batch.lamps[0], ends, batch.metal))
        self.terminal_of = np.full(batch.join_of.shape[1], NOTHING, np.int16)
        self.terminal_of[self.terminals] = np.arange(len(self.terminals))
        widths = [len(cable.conductors) for cable in circuit.cables]
        self.cable_starts = np.cumsum([0, *widths[:-1]], dtype=np.int64)
        self.is_alone = _alone(circuit)
        loose = batch.loose
        self.loose = loose[:, -1] if loose.shape[1] else np.full(len(batch), NOTHING, np.int16)

    @classmethod
    def of_circuit(cls, circuit: Circuit, bounds: Bounds) -> "_Rows":
        """The circuit as it is."""
        return cls(circuit, Flattener(circuit).batch([Change()]), bounds)

    @classmethod
    def of_listing(cls, listing: Listing, rows: npt.NDArray[np.intp], bounds: Bounds) -> "_Rows":
        """Those faults of a listing that do not rebuild the circuit, in order, then the circuit."""
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
        flattener = Flattener(listing.wiring.circuit)
        batch = flattener.batch_of(len(rows) + 1, moves, parts)
        return cls(listing.wiring.circuit, batch, bounds)


class _Networks:
    """The networks of circuits with the same devices that have been met, and what they do."""

    def __init__(self, shape: tuple[object, ...]) -> None:
        self._words = WordsEngine()
        self._seed = _hashed(shape)
        self._count = 0
        self._table = np.zeros((1 << 12, 2), np.uint64)
        self._places = np.full(len(self._table), -1, np.int64)
        self._lit = np.zeros(0, np.uint64)
        self._loaded = np.zeros(0, np.uint64)
        self._unclear = np.zeros(0, np.uint64)
        self._flows = np.zeros((0, 4), np.uint64)
        self._divided = np.zeros((0, 2), np.uint64)
        self._into = np.zeros((0, 4, 0), np.uint64)
        self._out = self._into
        self._base: list[Outcome] = []
        self._numbers: dict[int, int] = {}
        self._outcomes: list[Outcome] = []

    def outcome(self, number: int) -> Outcome:
        """What `outcomes_of` numbers."""
        return self._outcomes[number]

    def outcomes_of(self, rows: _Rows) -> tuple[Numbers, int]:
        """The number of the outcome of each row, and how many rows had to be solved."""
        batch = rows.batch
        network = self._networks_of(rows)
        unclear = self._unclear[network].copy()
        shown = np.zeros((3, len(batch)), np.uint64)
        _compiled().find_hazards(
            rows.terminals,
            batch.conductors,
            batch.is_ground,
            rows.cable_starts,
            rows.is_alone,
            batch.join_of,
            batch.conducts,
            batch.bridges,
            rows.loose,
            rows.bounds.ohms,
            rows.bounds.contact,
            rows.bounds.contacts,
            rows.bounds.room,
            rows.bounds.room_of_return,
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
            _solve(rows, unclear, shown)
        shown[1] &= ~self._loaded[network]
        key = network
        for states in shown:
            key = key * 128 + 1 + first_state(states[:, None])
        different, alike = np.unique(key, return_inverse=True)
        numbers = np.array([self._number(each) for each in different.tolist()], np.int64)
        return numbers[alike], solved

    def path_of(self, rows: _Rows) -> tuple[Outcome, npt.NDArray[np.int8]]:
        """Of the first row, its outcome by connections and the one path of its current.

        The latter (terminals, states) is 1 where current enters a net, -1 where it leaves one.
        """
        network = self._networks_of(rows)[0]
        if self._unclear[network] or self._flows[network, 1:].any():
            raise BugError("the current of a scheme runs on more than one path")
        into, out = (
            np.unpackbits(words.astype("<u8").view(np.uint8), bitorder="little").reshape(
                len(words), 64
            )
            for words in (self._into[network, 0], self._out[network, 0])
        )
        return self._base[network], into.astype(np.int8) - out.astype(np.int8)

    def _number(self, key: int) -> int:
        """The number of the outcome of a network in which currents are dangerous in some states."""
        if key in self._numbers:
            return self._numbers[key]
        rest = key
        electrical = []
        for hazard in (_HEATED, _IN_GROUND, _UNBALANCED):
            rest, state = divmod(rest, 128)
            if state:
                electrical.append((hazard, state - 1))
        outcome = self._base[rest]
        if electrical:
            outcome = _with_hazards(outcome, electrical)
        self._numbers[key] = len(self._outcomes)
        self._outcomes.append(outcome)
        return self._numbers[key]

    def _networks_of(self, rows: _Rows) -> Numbers:
        """The number of the network of each row; those that are new are judged."""
        batch = rows.batch
        names = np.empty((len(batch), 2), np.uint64)
        nets = np.empty((len(batch), batch.join_of.shape[1] + 4), np.int16)
        _compiled().name_networks(
            rows.terminals,
            batch.conductors,
            batch.is_ground,
            batch.join_of,
            batch.conducts,
            batch.closed,
            batch.works,
            batch.bridges,
            self._seed,
            names,
            nets,
        )
        while 2 * (self._count + len(batch)) > len(self._table):
            self._grow()
        network = np.empty(len(batch), np.int64)
        known = self._count
        self._count = _compiled().look_up(names, self._table, self._places, network, known)
        if self._count > known:
            numbers, first = np.unique(network, return_index=True)
            self._learn(rows, nets, first[numbers >= known])
        return network

    def _grow(self) -> None:
        taken = self._places >= 0
        names, order = self._table[taken], np.argsort(self._places[taken])
        self._table = np.zeros((2 * len(self._table), 2), np.uint64)
        self._places = np.full(len(self._table), -1, np.int64)
        again = np.empty(len(names), np.int64)
        _compiled().look_up(names[order], self._table, self._places, again, 0)

    def _learn(self, rows: _Rows, nets: npt.NDArray[np.int16], new: npt.NDArray[np.intp]) -> None:
        """Judge networks that were never met, in the order of their numbers."""
        batch = rows.batch.rows(new)
        found = self._words.observe_batch(batch)
        told = verdicts(found)
        self._base += [_outcome(told, row, 1) for row in range(len(batch))]
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
        if not self._into.size:
            self._into, self._out = into[:0], out[:0]
        self._lit = np.concatenate((self._lit, lit))
        self._loaded = np.concatenate((self._loaded, found.hazards[:, _LOADED, 0]))
        self._unclear = np.concatenate((self._unclear, unclear))
        self._flows = np.concatenate((self._flows, np.bitwise_or.reduce(out, axis=2)))
        self._divided = np.concatenate((self._divided, divided))
        self._into = np.concatenate((self._into, into))
        self._out = np.concatenate((self._out, out))


def _alone(circuit: Circuit) -> npt.NDArray[np.uint8]:
    """Which cables, in a tree of boxes, have no other between the same two; elsewhere none."""
    between = [frozenset(cable.between) for cable in circuit.cables]
    runs = set(between)
    is_tree = len(runs) == len(circuit.boxes) - 1 and nx.is_tree(
        nx.Graph(cable.between for cable in circuit.cables)
    )
    return np.array([is_tree and between.count(run) == 1 for run in between], np.uint8)


def _solve(rows: _Rows, unclear: Words, shown: Words) -> None:
    """Correct `shown`, see `find_hazards`, in the states in which rows are `unclear`."""
    compiled_kernel()  # there is always more to come
    grid = Grid(rows.circuit)
    (at,) = np.nonzero(unclear)
    octets = np.ascontiguousarray(unclear[at].astype("<u8")).view(np.uint8).reshape(-1, 8)
    row, state = np.nonzero(np.unpackbits(octets, axis=1, bitorder="little"))
    network = grid.network_of(rows.batch.rows(at)).rows(row)
    found = Outcomes.of(energise(grid, network, state[:, None]))
    shown &= ~unclear
    amps = grid.assumed.unbalanced_amps
    amounts = (found.unbalanced_amps, found.ground_amps, found.loose_watts)
    for states, amount, limit in zip(
        shown, amounts, (amps, amps, grid.assumed.loose * amps**2), strict=True
    ):
        flows = amount[:, 0] > limit
        bits = np.uint64(1) << state[flows].astype(np.uint64)
        np.bitwise_or.at(states, at[row[flows]], bits)


def _hashed(shape: tuple[object, ...]) -> Words:
    digest = hashlib.blake2b(repr(shape).encode(), digest_size=16).digest()
    return np.frombuffer(digest, "<u8").astype(np.uint64)


@cache
def _compiled() -> Any:
    """The kernels as machine code, compiled once for each machine and kept on disk by numba."""
    import numba

    compile_ = numba.njit(cache=True, nogil=True)
    return SimpleNamespace(
        name_networks=compile_(kernel.name_networks),
        find_hazards=compile_(kernel.find_hazards),
        look_up=compile_(kernel.look_up),
    )
