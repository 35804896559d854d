"""Plain nodal analysis of one circuit in one state at a time, with a dense matrix.

It exists to check `grid`, `solving_kernel`, `solve` and `outcomes` of `verify.electric`, and to
give the amounts shown as evidence. It takes from there the numbers of `data/electrical.toml` and
the way sizes are written, and no formula.
"""

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Final, NamedTuple

import networkx as nx
import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, End, conductor_name
from verify.electric.numbers import Parameters, parameters, section
from verify.electric.sizes import check_sizes
from verify.engine.copper import ohms_per_metre
from verify.engine.paths import WireGraph

# A node is a join, by its number in `Circuit.joins`; ends that are alone or parted from their join
# by a loose connection are nodes, and so is the neutral–ground bond at the service, the reference.
Node = int | End | str
REFERENCE: Final = "bond"

Phasors = npt.NDArray[np.complex128]


class Branch(NamedTuple):
    """A part through which current flows from `a` to `b`; `kind` and `name` say what it is."""

    kind: str
    name: str
    a: Node
    b: Node
    siemens: complex


@dataclass(frozen=True, slots=True)
class Supply:
    """A feed's line: `volts` behind `siemens`, protected by a breaker of `rating` amperes."""

    name: str
    line: Node
    volts: complex
    siemens: complex
    rating: float


class NodalNetwork:
    """A circuit as branches between nodes.

    Raises `CircuitError` for a size that cannot be read.
    """

    def __init__(self, circuit: Circuit, assumed: Parameters | None = None) -> None:
        self.circuit = circuit
        self.wiring = WireGraph(circuit)
        self.assumed = assumed or parameters(circuit.palette)
        check_sizes(circuit)
        self._node: dict[End, Node] = {end: self.wiring.joint(end) for end in circuit.ends}
        self.fixed = tuple(self._fixed())
        self.supplies = tuple(map(self._supply, circuit.feeds))
        curve = section("breaker", self.assumed.breaker)
        self.trips_at: float = curve["trips_in_time"]

    def node(self, end: End) -> Node:
        """Return the node of an end."""
        return self._node[end]

    def between(self, device: Device, one: str, other: str) -> tuple[Node, Node]:
        """Return the nodes of two terminals of a device."""
        terminal = self.circuit.terminal
        return self._node[terminal(device, one)], self._node[terminal(device, other)]

    def _fixed(self) -> Iterator[Branch]:
        """Yield all branches but switch contacts and supplies."""
        circuit, assumed = self.circuit, self.assumed
        yield from self._loose()
        for cable in circuit.cables:
            yield from self._cable(cable)
        for lamp in self.wiring.lamps:
            sides = self._node[lamp.contact], self._node[lamp.shell]
            if self.wiring.has_failed("lamp-shorted", lamp.name):
                yield Branch("short", lamp.name, *sides, 1 / assumed.short)
            elif not lamp.failed:
                watts = circuit.device(lamp.name).watts or 0.0
                yield Branch("lamp", lamp.name, *sides, watts / circuit.volts**2)
        for device in circuit.devices:
            if device.loads:
                sides = self.between(device, "line", "neutral")
                yield Branch("load", device.name, *sides, sum(device.loads) / circuit.volts**2)
        for failure in circuit.failures:
            if failure.kind == "conductors-shorted":
                one, other = (self.wiring.conductors[name].ends[0] for name in failure.at)
                sides = self._node[one], self._node[other]
                yield Branch("short", " ".join(failure.at), *sides, 1 / assumed.short)
        for feed in circuit.feeds:
            for terminal in ("neutral", "ground"):
                node = self._node[circuit.terminal(feed, terminal)]
                siemens = 1 / self._feed_ohms(feed)
                yield Branch("service", f"{feed.name}.{terminal}", node, REFERENCE, siemens)

    def _loose(self) -> Iterator[Branch]:
        """Yield a branch of a bad contact from each loose end to its join."""
        for failure in self.circuit.failures:
            if failure.kind == "loose-join":
                end = End(failure.box or "", failure.at[0])
                join = self._node[end]
                self._node[end] = end
                yield Branch("loose", end.name, end, join, 1 / self.assumed.loose)

    def _cable(self, cable: Cable) -> Iterator[Branch]:
        length = self.assumed.length_m if cable.length_m is None else cable.length_m
        ohms = length * ohms_per_metre(cable.size or self.assumed.size, self.assumed.celsius)
        names = [conductor_name(cable.name, colour) for colour in cable.conductors]
        for name in names:
            if not self.wiring.has_failed("conductor-open", name):
                near, far = self.wiring.conductors[name].ends
                yield Branch("conductor", name, self._node[near], self._node[far], 1 / ohms)
        farads = self.assumed.capacitance * length
        half = 2j * math.pi * self.assumed.hertz * farads / 2
        for one, other in combinations(names, 2):
            pairs = zip(
                self.wiring.conductors[one].ends, self.wiring.conductors[other].ends, strict=True
            )
            for a, b in pairs:
                yield Branch("capacitance", f"{one} {other}", self._node[a], self._node[b], half)

    def _feed_ohms(self, feed: Device) -> float:
        length = self.assumed.feed_length_m if feed.length_m is None else feed.length_m
        per_metre = ohms_per_metre(feed.size or self.assumed.size, self.assumed.celsius)
        return length * per_metre + self.assumed.terminal

    def _supply(self, feed: Device) -> Supply:
        phase = cmath.pi if feed.leg == "B" else 0.0
        return Supply(
            feed.name,
            self._node[self.circuit.terminal(feed, "line")],
            cmath.rect(self.circuit.volts, phase),
            1 / (self.assumed.source + self._feed_ohms(feed)),
            feed.breaker_amps or 0.0,
        )

    @cached_property
    def nodes(self) -> dict[Node, int]:
        """The place of every node in vectors and matrices; the reference has none."""
        nodes = dict.fromkeys(self._node.values())
        nodes.update(dict.fromkeys(branch.b for branch in self.fixed if branch.b != REFERENCE))
        return {node: place for place, node in enumerate(nodes)}

    def at(self, state: int) -> "NodalState":
        """Return what flows in a state, once breakers have acted."""
        contacts = [
            Branch("contact", f"{a.name} {b.name}", self._node[a], self._node[b], self._closed)
            for a, b in self.wiring.closed_contacts(state)
        ]
        branches = (*self.fixed, *contacts)
        feeding = list(self.supplies)
        drawn: dict[str, float] = {}
        while True:
            volts = self._solve(branches, feeding)
            amps = {supply.name: self.line_amps(volts, supply) for supply in feeding}
            for name, value in amps.items():
                drawn[name] = max(drawn.get(name, 0.0), value)
            staying = [
                supply for supply in feeding if amps[supply.name] / supply.rating <= self.trips_at
            ]
            if len(staying) == len(feeding):
                return NodalState(self, branches, volts, drawn, {s.name for s in feeding})
            feeding = staying

    @property
    def _closed(self) -> float:
        return 1 / self.assumed.contact

    def line_amps(self, volts: Phasors, supply: Supply) -> float:
        """Return the amperes that leave a supply."""
        there = volts[self.nodes[supply.line]]
        return float(abs((supply.volts - there) * supply.siemens))

    def _solve(self, branches: tuple[Branch, ...], feeding: list[Supply]) -> Phasors:
        """Return the volts of every node, not-a-number if it is cut off from the reference."""
        graph: nx.Graph[Node] = nx.Graph()
        graph.add_node(REFERENCE)
        graph.add_edges_from((branch.a, branch.b) for branch in branches if branch.siemens)
        graph.add_edges_from((supply.line, REFERENCE) for supply in feeding)
        known = nx.node_connected_component(graph, REFERENCE) - {REFERENCE}
        place = {node: i for i, node in enumerate(n for n in self.nodes if n in known)}
        matrix = np.zeros((len(place), len(place)), np.complex128)
        currents = np.zeros(len(place), np.complex128)
        for branch in branches:
            ends = [place[node] for node in (branch.a, branch.b) if node in place]
            for one in ends:
                matrix[one, one] += branch.siemens
            if len(ends) == 2:
                one, other = ends
                matrix[one, other] -= branch.siemens
                matrix[other, one] -= branch.siemens
        for supply in feeding:
            line = place[supply.line]
            matrix[line, line] += supply.siemens
            currents[line] += supply.siemens * supply.volts
        volts = np.full(len(self.nodes), np.nan + 0j)
        if place:
            solved = np.linalg.solve(matrix, currents)
            volts[[self.nodes[node] for node in place]] = solved
        return volts


@dataclass(frozen=True)
class NodalState:
    """One state: `volts` of every node; `drawn` are the most amperes each feed's line carried.

    `feeding` names the feeds whose breaker has not tripped.
    """

    network: NodalNetwork
    branches: tuple[Branch, ...]
    volts: Phasors
    drawn: dict[str, float]
    feeding: set[str]

    @property
    def tripped(self) -> list[Supply]:
        """Return the feeds whose breakers trip in time or at once."""
        return [supply for supply in self.network.supplies if supply.name not in self.feeding]

    def between(self, a: Node, b: Node) -> complex:
        """Return the volts from `b` to `a`, 0 where there is no potential."""
        difference = self._volts(a) - self._volts(b)
        return 0j if cmath.isnan(difference) else difference

    def _volts(self, node: Node) -> complex:
        return 0j if node == REFERENCE else complex(self.volts[self.network.nodes[node]])

    def amperes(self, kind: str) -> dict[str, complex]:
        """Return the current from a to b in each branch of a kind, by name."""
        return {
            branch.name: self.between(branch.a, branch.b) * branch.siemens
            for branch in self.branches
            if branch.kind == kind
        }

    def unbalanced(self) -> dict[str, float]:
        """Return by how many amperes the currents of each cable do not cancel."""
        amperes = self.amperes("conductor")
        return {
            cable.name: abs(
                sum(amperes.get(conductor_name(cable.name, c), 0j) for c in cable.conductors)
            )
            for cable in self.network.circuit.cables
        }

    def in_ground(self) -> dict[str, float]:
        """Return the amperes in each grounding conductor."""
        conductors = self.network.wiring.conductors
        return {
            name: abs(amps)
            for name, amps in self.amperes("conductor").items()
            if conductors[name].is_ground
        }

    def loose_watts(self) -> dict[str, float]:
        """Return the heat in each loose connection, by its end."""
        loose = self.network.assumed.loose
        return {name: abs(amps) ** 2 * loose for name, amps in self.amperes("loose").items()}

    def across(self, device: Device) -> float:
        """Return the volts across a lamp, or between line and neutral of a receptacle."""
        terminals = ("contact", "shell") if device.kind == "lamp" else ("line", "neutral")
        return abs(self.between(*self.network.between(device, *terminals)))

    def light(self, lamp: Device) -> str:
        """Return what a lamp does: ``dark``, ``dim``, ``lit`` or ``over``."""
        if any(known.failed for known in self.network.wiring.lamps if known.name == lamp.name):
            return "dark"
        limits = section("lamp")
        share = self.across(lamp) / self.network.circuit.volts
        if share <= limits["dark_share"]:
            return "dark"
        if share < limits["dim_share"]:
            return "dim"
        return "over" if share > limits["over_share"] else "lit"

    def overloaded(self) -> dict[str, float]:
        """Return the volts of all lamps and loads that have more than they are made for."""
        circuit = self.network.circuit
        limit = section("lamp")["over_share"] * circuit.volts
        plugged_in = [device for device in circuit.devices if device.loads]
        over = {
            lamp.name: self.across(lamp) for lamp in circuit.lamps if self.light(lamp) == "over"
        }
        over |= {load.name: self.across(load) for load in plugged_in if self.across(load) > limit}
        return over


def highest(amounts: dict[str, float]) -> tuple[str, float]:
    """Return the largest amount and its owner, the first of equals; 0 if there are none."""
    name = max(amounts, key=lambda name: amounts[name], default="")
    return name, amounts.get(name, 0.0)
