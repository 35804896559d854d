"""A circuit and many of its faults as networks of admittances.

Each join is a node. Branches between nodes are conductors, closed contacts, lamps, plugged-in
loads, and half of each capacitance between two conductors of a cable at either end of it. The
reference is the neutral–ground bond at the service; from there three conductors run to a feed, and
the source is at the beginning of its line. An end that is loose in its join is a node of its own,
some ohms away from that of the join.
"""

import cmath
import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, is_ground_colour
from verify.electric.numbers import Parameters, parameters
from verify.electric.physics import angular_frequency, ohms_per_metre
from verify.electric.sizes import check_sizes
from verify.electric.solving_kernel import Bytes, Integers, Phasors
from verify.fault.change import Change
from verify.fault.network import NOTHING, FaultBatch, Flattener

#: The phase of each leg of a divided supply, in half turns.
LEGS: Final[Mapping[str, int]] = {"A": 0, "B": 1}

Reals = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FeedSource:
    """The supply of a feed: `volts` as a phasor, ohms of the source and of each conductor.

    `ends` are the feed's line, neutral and ground end.
    """

    name: str
    volts: complex
    internal: complex
    conductor: float
    breaker_amps: float
    ends: tuple[int, int, int]

    @property
    def line(self) -> complex:
        """Ohms between the source and the feed's line terminal."""
        return self.internal + self.conductor


@dataclass(frozen=True, slots=True)
class Network:
    """Faulted versions of one circuit, a row each; `solving_kernel.solve_rows` gives the shapes.

    A loose end is a node of its own; after the reference, `node_of` has for each loose end the node
    of its join. The last `loose` of the extra branches connect the two. `works` (R, L) is 0 where a
    lamp has failed.
    """

    node_of: Integers
    admittances: Phasors
    extras: Integers
    extra_admittances: Phasors
    closed: Bytes
    source_admittances: Phasors
    order: Integers
    works: Bytes
    loose: int

    def __len__(self) -> int:
        return len(self.node_of)

    def rows(self, rows: npt.NDArray[np.intp]) -> "Network":
        """Return some of the rows, which may repeat."""
        return replace(
            self,
            node_of=self.node_of[rows],
            admittances=self.admittances[rows],
            extras=self.extras[rows],
            extra_admittances=self.extra_admittances[rows],
            closed=self.closed[rows],
            source_admittances=self.source_admittances[rows],
            works=self.works[rows],
        )

    def fed_by(self, feeding: npt.NDArray[np.bool_]) -> "Network":
        """Return the same network with some sources off: `feeding` (R, F) or (F,)."""
        return replace(self, source_admittances=self.source_admittances * feeding)


class Grid:
    """A circuit prepared for networks of its faults.

    Raises `CircuitError` if a size is written so that its resistance cannot be read.
    """

    def __init__(
        self,
        circuit: Circuit,
        assumed: Parameters | None = None,
        flattener: Flattener | None = None,
    ) -> None:
        self.circuit = circuit
        self.assumed = parameters(circuit.palette) if assumed is None else assumed
        self.flattener = flattener or Flattener(circuit)
        self.wiring = self.flattener.wiring
        self.reference = len(circuit.ends)
        check_sizes(circuit)
        self.conductors = self.flattener.conductors
        self.conductor_names = tuple(self.flattener.conductor_number)
        self.conductor_siemens = 1 / np.array(
            [self._conductor_ohms(cable) for cable in circuit.cables for _ in cable.conductors]
        )
        self.is_ground = np.array(
            [is_ground_colour(name.partition(".")[2]) for name in self.conductor_names], np.bool_
        )
        self.cable_starts = np.cumsum([0, *(len(c.conductors) for c in circuit.cables)])[:-1]
        self.contacts = np.array(
            [self._terminals(switch, *pair) for _, switch, pair in self.flattener.slots], np.int16
        )
        self.contact_switch = np.array([n for n, _, _ in self.flattener.slots], np.int16)
        self.sources = tuple(map(self._source, circuit.feeds))
        self.feed_lines = np.array([source.ends[0] for source in self.sources], np.int16)
        self.source_volts = np.array([source.volts for source in self.sources])
        self.lamps = np.array(
            [self._terminals(lamp, "contact", "shell") for lamp in circuit.lamps], np.int16
        )
        self.lamp_siemens = np.array(
            [(lamp.watts or 0.0) / circuit.volts**2 for lamp in circuit.lamps]
        )
        plugged_in = list(self._loads())
        self.loads = len(plugged_in)
        self._branches: list[tuple[int, int, complex]] = [
            *zip(*self.conductors.T.tolist(), self.conductor_siemens, strict=True),
            *zip(*self.lamps.T.tolist(), self.lamp_siemens, strict=True),
            *plugged_in,
            *self._capacitances(),
            *self._returns(),
        ]
        self.branches = np.array([branch[:2] for branch in self._branches], np.int16)

    # --- the parts of the circuit

    def _ohms(self, size: str | None, length_m: float) -> float:
        return length_m * ohms_per_metre(size or self.assumed.size, self.assumed.celsius)

    def _length(self, cable: Cable) -> float:
        return self.assumed.length_m if cable.length_m is None else cable.length_m

    def _conductor_ohms(self, cable: Cable) -> float:
        return self._ohms(cable.size, self._length(cable))

    def _terminals(self, device: Device, *terminals: str) -> list[int]:
        return self.flattener.numbers([f"{device.name}.{terminal}" for terminal in terminals])

    def _source(self, feed: Device) -> FeedSource:
        length = self.assumed.feed_length_m if feed.length_m is None else feed.length_m
        line, neutral, ground = self._terminals(feed, "line", "neutral", "ground")
        return FeedSource(
            feed.name,
            self.circuit.volts * cmath.exp(1j * cmath.pi * LEGS[feed.leg or "A"]),
            self.assumed.source,
            self._ohms(feed.size, length) + self.assumed.terminal,
            feed.breaker_amps or 0.0,
            (line, neutral, ground),
        )

    def _loads(self) -> Iterator[tuple[int, int, complex]]:
        for device in self.circuit.devices:
            if device.loads:
                line, neutral = self._terminals(device, "line", "neutral")
                yield line, neutral, sum(device.loads) / self.circuit.volts**2

    def _capacitances(self) -> Iterator[tuple[int, int, complex]]:
        ends = iter(self.conductors.tolist())
        for cable in self.circuit.cables:
            omega = angular_frequency(self.assumed)
            siemens = 1j * omega * self.assumed.capacitance * self._length(cable) / 2
            own = itertools.islice(ends, len(cable.conductors))
            for one, other in itertools.combinations(own, 2):
                for a, b in zip(one, other, strict=True):
                    yield a, b, siemens

    def _returns(self) -> Iterator[tuple[int, int, complex]]:
        for source in self.sources:
            for end in source.ends[1:]:
                yield end, self.reference, 1 / source.conductor

    @cached_property
    def order(self) -> tuple[int, ...]:
        """The nodes in a good order of elimination: at each step few neighbours meet."""
        near: dict[int, set[int]] = {join: set() for join, _ in enumerate(self.wiring.joins)}
        of = self.wiring.join_of
        for a, b in (*self.branches.tolist(), *self.contacts.tolist()):
            if self.reference not in (a, b) and of[a] != of[b]:
                near[of[a]].add(of[b])
                near[of[b]].add(of[a])
        degree = {join: len(around) for join, around in near.items()}
        order = []
        while degree:
            join = min(degree, key=degree.__getitem__)
            del degree[join]
            around = near.pop(join)
            for other in around:
                near[other] |= around
                near[other] -= {join, other}
                degree[other] = len(near[other])
            order.append(join)
        return tuple(order)

    # --- networks

    def network(self, changes: Sequence[Change]) -> Network:
        """Return a row for each of `changes`, none of which may rebuild the circuit."""
        return self.network_of(self.flattener.batch(changes))

    def network_of(self, batch: FaultBatch) -> Network:
        """Return a row for each row of `batch`."""
        rows, ends = batch.join_of.shape
        nodes = max(int(batch.join_of.max()) + 1, len(self.order))
        loose = batch.loose.shape[1]
        node_of = np.full((rows, ends + 1 + loose), nodes + loose, np.int16)
        node_of[:, :ends] = batch.join_of
        pairs = np.full((rows, loose, 2), NOTHING, np.int16)
        for number in range(loose):
            (at,) = np.nonzero(batch.loose[:, number] != NOTHING)
            end = batch.loose[at, number]
            node_of[at, ends + 1 + number] = batch.join_of[at, end]
            node_of[at, end] = nodes + number
            pairs[at, number, 0] = end
            pairs[at, number, 1] = ends + 1 + number
        nodes += loose
        extras, siemens = _extras(
            (batch.bridges, 1 / self.assumed.short), (pairs, 1 / self.assumed.loose)
        )
        admittances = np.tile(
            np.array([branch[2] for branch in self._branches], np.complex128), (rows, 1)
        )
        conductors, lamps = len(self.conductors), len(self.lamps)
        admittances[:, :conductors] *= batch.conducts
        admittances[:, conductors : conductors + lamps] *= batch.works
        return Network(
            node_of=node_of,
            admittances=admittances,
            extras=extras,
            extra_admittances=siemens,
            closed=batch.closed,
            source_admittances=np.tile(
                np.array([1 / source.line for source in self.sources], np.complex128), (rows, 1)
            ),
            order=np.array([*range(len(self.order), nodes), *self.order], np.int16),
            works=batch.works,
            loose=loose,
        )


def _extras(*kinds: tuple[Integers, float]) -> tuple[Integers, Phasors]:
    """Return extra branches: pairs of ends (R, X, 2) and their siemens (R, X).

    Rows with fewer have branches of 0 siemens.
    """
    pairs = np.concatenate([pairs for pairs, _ in kinds], axis=1)
    siemens = np.concatenate([np.full(pairs.shape[:2], each) for pairs, each in kinds], axis=1)
    there = pairs[:, :, 0] != NOTHING
    return np.where(there[..., None], pairs, 0), (siemens * there).astype(np.complex128)
