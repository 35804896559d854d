"""The slow engine: connectivity by networkx, one state at a time, as a person would trace it.

It exists to check the fast one and to find the paths shown as evidence, so it decides by code of
its own, and prefers plain code to fast code. Beside *nodal*, which is built on it, other engines
share with it values, names and tables: `tests/project/test_independence.py` lists them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import combinations, product
from typing import Final, NamedTuple

import networkx as nx

from verify.behaviour.findings import Findings, Observation
from verify.circuit.devices import POSITIONS, Contact, Position
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, box_end, conductor_name, is_ground_colour
from verify.fault.contract import Fault
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES

# A node is an end, or a join: its number in `Circuit.joins`. Ends meet only at their join, so that
# a splice of any size is a star, and equally long between any two of its ends.
Node = End | int


class Lamp(NamedTuple):
    """A lamp with its two sides."""

    name: str
    contact: End
    shell: End
    failed: bool

    @property
    def sides(self) -> tuple[End, End]:
        """The contact and the shell."""
        return self.contact, self.shell


class Conductor(NamedTuple):
    """A conductor's ends, first that in its cable's first box; `free_ends` are joined to nothing.

    A short between conductors is taken to be at their first ends.
    """

    name: str
    ends: tuple[End, End]
    free_ends: tuple[End, ...]
    is_ground: bool


class WireGraph:
    """The connections that conductors alone make in a circuit, and the contacts of its switches.

    `graph` has a node for every end and every join (`Node`). Failed parts are taken into account.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._join = {
            End(join.box, name): number
            for number, join in enumerate(circuit.joins)
            for name in join.ends
            if len(join.ends) > 1
        }
        self._failures = {(failure.kind, frozenset(failure.at)) for failure in circuit.failures}
        self.stuck: Mapping[str, Position] = {
            failure.at[0]: failure.position for failure in circuit.failures if failure.position
        }
        self.lines, self.neutrals, self.grounds = (
            tuple(circuit.terminal(feed, name) for feed in circuit.feeds)
            for name in ("line", "neutral", "ground")
        )
        self.lamps = tuple(map(self._lamp, circuit.lamps))
        self.conductors = {conductor.name: conductor for conductor in self._conductors()}
        self.graph = self._graph()
        self._component = {
            node: number
            for number, component in enumerate(nx.connected_components(self.graph))
            for node in component
        }
        self._contacts = [
            {position: tuple(self._closed(switch, position)) for position in POSITIONS}
            for switch in circuit.switches
        ]

    def has_failed(self, kind: str, *at: str) -> bool:
        """Return True if the circuit has that failure of those parts, in any order."""
        return (kind, frozenset(at)) in self._failures

    def is_alone(self, end: End) -> bool:
        """Return True if `end` is in no join with another."""
        return end not in self._join

    def joint(self, end: End) -> Node:
        """Return the node of `end`: the number of its join, or the end itself if it is alone."""
        return self._join.get(end, end)

    def _lamp(self, device: Device) -> Lamp:
        return Lamp(
            device.name,
            self.circuit.terminal(device, "contact"),
            self.circuit.terminal(device, "shell"),
            self.has_failed("lamp-open", device.name)
            or self.has_failed("lamp-shorted", device.name),
        )

    def _conductors(self) -> Iterator[Conductor]:
        for cable in self.circuit.cables:
            near, far = cable.between
            for colour in cable.conductors:
                name = conductor_name(cable.name, colour)
                ends = End(near, name), End(far, name)
                free = tuple(end for end in ends if self.is_alone(end))
                yield Conductor(name, ends, free, is_ground_colour(colour))

    def _graph(self) -> "nx.Graph[Node]":
        graph: nx.Graph[Node] = nx.Graph()
        graph.add_nodes_from(self.circuit.ends)
        graph.add_edges_from((number, end) for end, number in self._join.items())
        for conductor in self.conductors.values():
            if not self.has_failed("conductor-open", conductor.name):
                graph.add_edge(*conductor.ends)
        for failure in self.circuit.failures:
            if failure.kind == "conductors-shorted":
                a, b = failure.at
                graph.add_edge(self.conductors[a].ends[0], self.conductors[b].ends[0])
        for lamp in self.lamps:
            if self.has_failed("lamp-shorted", lamp.name):
                graph.add_edge(lamp.contact, lamp.shell)
        return graph

    def _closed(self, switch: Device, position: Position) -> Iterator[tuple[End, End]]:
        for contact in switch.form.contacts:
            a = self.circuit.terminal(switch, contact.a)
            b = self.circuit.terminal(switch, contact.b)
            if self._conducts(switch, contact, a, b, position):
                yield a, b

    def _conducts(
        self, switch: Device, contact: Contact, a: End, b: End, position: Position
    ) -> bool:
        if self.has_failed("contact-open", a.name, b.name):
            return False
        if self.has_failed("contact-welded", a.name, b.name):
            return True
        return closes(contact, self.stuck.get(switch.name, position))

    def positions(self, state: int) -> tuple[Position, ...]:
        """Return the position of each switch, in the circuit's order of switches."""
        return tuple(
            "down" if state >> number & 1 else "up" for number in range(len(self._contacts))
        )

    def closed_contacts(self, state: int) -> Iterator[tuple[End, End]]:
        """Yield the pairs of terminals that switch contacts connect, welded ones included."""
        for contacts, position in zip(self._contacts, self.positions(state), strict=True):
            yield from contacts[position]

    def component(self, end: End) -> int:
        """Return the number of an end's connected component.

        Two ends have the same number if conductors alone connect them.
        """
        return self._component[end]

    def are_wired(self, a: End, b: End) -> bool:
        """Return True if conductors alone connect the two."""
        return self._component[a] == self._component[b]

    def returns_by_wire(self, end: End) -> bool:
        """Return True if conductors alone connect `end` to the feed's neutral or ground."""
        return self._is_wired_to(end, self.neutrals) or self._is_wired_to(end, self.grounds)

    def _is_wired_to(self, end: End, others: tuple[End, ...]) -> bool:
        return any(self.are_wired(end, other) for other in others)

    @cached_property
    def receptacles(self) -> tuple[tuple[Device, End, End], ...]:
        """Each receptacle with its line and its neutral terminal."""
        terminal = self.circuit.terminal
        return tuple(
            (device, terminal(device, "line"), terminal(device, "neutral"))
            for device in self.circuit.devices
            if device.form.name == "receptacle"
        )

    @cached_property
    def metal_parts(self) -> tuple[End, ...]:
        """The metal that a person touches.

        That is the ground terminals of all devices but the feed, and metal boxes.
        """
        circuit = self.circuit
        return (
            *(
                circuit.terminal(device, "ground")
                for device in circuit.devices
                if device not in circuit.feeds
            ),
            *(End(box.name, box_end(box.name)) for box in circuit.boxes if box.is_metal),
        )

    @cached_property
    def floating_metal(self) -> tuple[End, ...]:
        """The metal parts that no conductor connects to the feed's ground."""
        return tuple(part for part in self.metal_parts if not self._is_wired_to(part, self.grounds))

    @cached_property
    def switches_on_both_poles(self) -> tuple[tuple[Device, End, End], ...]:
        """Each switch with one terminal wired to line and one to neutral or ground, and the two.

        This means something only if line, neutral and ground are not wired together.
        """
        found = []
        for switch in self.circuit.switches:
            terminals = [
                self.circuit.terminal(switch, name) for name in switch.form.switched_terminals
            ]
            for on_line, on_return in product(terminals, repeat=2):
                if self._is_wired_to(on_line, self.lines) and self.returns_by_wire(on_return):
                    found.append((switch, on_line, on_return))
                    break
        return tuple(found)


def closes(contact: Contact, position: Position) -> bool:
    """Return True if a healthy switch in that position closes the contact."""
    return contact.up if position == "up" else contact.down


class StateGraph:
    """One circuit in one state: what is connected to the feed's line, neutral and ground."""

    def __init__(self, wiring: WireGraph, state: int) -> None:
        self.wiring = wiring
        self.state = state
        # What conductors alone connect is one node here: only contacts differ between states.
        sources = [
            [wiring.component(end) for end in ends]
            for ends in (wiring.lines, wiring.neutrals, wiring.grounds)
        ]
        components: nx.Graph[int] = nx.Graph()
        components.add_nodes_from(component for found in sources for component in found)
        components.add_edges_from(
            (wiring.component(a), wiring.component(b)) for a, b in wiring.closed_contacts(state)
        )
        self._live, self._neutral, self._ground = (
            set[int]().union(
                *(nx.node_connected_component(components, component) for component in found)
            )
            for found in sources
        )
        self.crossed = next(self._crossed_lines(components), None)
        self.trips = self.crossed is not None or any(map(self.has_return, wiring.lines))

    def _crossed_lines(self, components: "nx.Graph[int]") -> Iterator[tuple[End, End]]:
        """Yield the pairs of lines that are connected though their feeds are on different legs."""
        feeds = zip(self.wiring.circuit.feeds, self.wiring.lines, strict=True)
        for (feed, line), (other, other_line) in combinations(feeds, 2):
            ends = (self.wiring.component(line), self.wiring.component(other_line))
            if feed.leg != other.leg and nx.has_path(components, *ends):
                yield line, other_line

    @cached_property
    def graph(self) -> "nx.Graph[Node]":
        """The circuit's graph (`WireGraph.graph`) with the closed contacts."""
        graph = self.wiring.graph.copy()
        graph.add_edges_from(self.wiring.closed_contacts(self.state))
        return graph

    def is_live(self, end: End) -> bool:
        """Return True if `end` is connected to line."""
        return self.wiring.component(end) in self._live

    def is_neutral(self, end: End) -> bool:
        """Return True if `end` is connected to the feed's neutral."""
        return self.wiring.component(end) in self._neutral

    def is_ground(self, end: End) -> bool:
        """Return True if `end` is connected to the feed's ground."""
        return self.wiring.component(end) in self._ground

    def has_return(self, end: End) -> bool:
        """Return True if `end` is connected to the feed's neutral or ground."""
        return self.is_neutral(end) or self.is_ground(end)

    def lit_sides(self, lamp: Lamp) -> tuple[End, End] | None:
        """Return the sides of a lit lamp, the one on line first, or None if it is dark."""
        if not (self.trips or lamp.failed):
            for side, other in (lamp.sides, lamp.sides[::-1]):
                if self.is_live(side) and self.has_return(other):
                    return side, other
        return None

    def subjects(self, hazard: str) -> Iterator[str]:
        """Yield the names of the lamps, switches, conductors or metal parts that show a hazard.

        There are none where protection trips. Raises KeyError for an unknown hazard.
        """
        return iter(()) if self.trips else _SUBJECTS[hazard](self)


def _lamps_live_dark(at: StateGraph) -> Iterator[str]:
    for lamp in at.wiring.lamps:
        if not at.lit_sides(lamp) and any(map(at.is_live, lamp.sides)):
            yield lamp.name


def _lamps_reversed(at: StateGraph) -> Iterator[str]:
    for lamp in at.wiring.lamps:
        if at.lit_sides(lamp) and at.is_live(lamp.shell):
            yield lamp.name


def _lamps_neutral_switched(at: StateGraph) -> Iterator[str]:
    for lamp in at.wiring.lamps:
        sides = at.lit_sides(lamp)
        if sides and not at.wiring.returns_by_wire(sides[1]):
            yield lamp.name


def _switches_on_both_poles(at: StateGraph) -> Iterator[str]:
    for switch, _, _ in at.wiring.switches_on_both_poles:
        yield switch.name


def _metal_live(at: StateGraph) -> Iterator[str]:
    for part in at.wiring.metal_parts:
        if at.is_live(part):
            yield part.name


def _metal_floating(at: StateGraph) -> Iterator[str]:
    for part in at.wiring.floating_metal:
        yield part.name


def _ground_wires_live(at: StateGraph) -> Iterator[str]:
    for conductor in at.wiring.conductors.values():
        if conductor.is_ground and any(map(at.is_live, conductor.ends)):
            yield conductor.name


def _lamps_on_ground(at: StateGraph) -> Iterator[str]:
    for lamp in at.wiring.lamps:
        sides = at.lit_sides(lamp)
        if sides and at.is_ground(sides[1]):
            yield lamp.name


def _neutral_on_ground(at: StateGraph) -> Iterator[str]:
    for neutral in at.wiring.neutrals:
        if at.is_ground(neutral):
            yield neutral.name


def _live_stubs(at: StateGraph) -> Iterator[str]:
    for conductor in at.wiring.conductors.values():
        if conductor.free_ends and any(map(at.is_live, conductor.ends)):
            yield conductor.name


def _lamps_backfed(at: StateGraph) -> Iterator[str]:
    for lamp in at.wiring.lamps:
        live, other = sorted(lamp.sides, key=at.is_live, reverse=True)
        if at.is_live(live) and not (at.is_live(other) or at.has_return(other)):
            yield lamp.name


def _receptacles_unserved(at: StateGraph) -> Iterator[str]:
    for device, line, neutral in at.wiring.receptacles:
        if not (at.is_live(line) and at.has_return(neutral)):
            yield device.name


_SUBJECTS: Final[Mapping[str, Callable[[StateGraph], Iterator[str]]]] = {
    "lamp-live-dark": _lamps_live_dark,
    "lamp-reversed": _lamps_reversed,
    "neutral-switched": _lamps_neutral_switched,
    "both-poles-on-switch": _switches_on_both_poles,
    "metal-live": _metal_live,
    "metal-floating": _metal_floating,
    "ground-wire-live": _ground_wires_live,
    "ground-carries-load": _lamps_on_ground,
    "neutral-ground-tied": _neutral_on_ground,
    "live-stub": _live_stubs,
    "backfed": _lamps_backfed,
    "receptacle-switched": _receptacles_unserved,
}


class PathsEngine:
    """Judges by tracing paths; see `verify.engine.contract.Engine` for the contract."""

    name: Final = "paths"
    version: Final = 2
    most_switches: Final = 16

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state. Raises ValueError beyond `most_switches`."""
        switches = len(circuit.switches)
        if switches > self.most_switches:
            raise ValueError(
                f"switches={switches} is more than engine {self.name} takes, "
                f"{self.most_switches}; ask an engine for many switches"
            )
        wiring = WireGraph(circuit)
        trips = 0
        lit = [0] * len(wiring.lamps)
        hazards = [0] * len(HAZARD_NAMES)
        for state in range(1 << switches):
            at = StateGraph(wiring, state)
            here = 1 << state
            if at.trips:
                trips |= here
                continue
            for number, lamp in enumerate(wiring.lamps):
                if at.lit_sides(lamp):
                    lit[number] |= here
            for number, hazard in enumerate(HAZARD_NAMES):
                if hazard not in ELECTRICAL and any(at.subjects(hazard)):
                    hazards[number] |= here
        none = (0,) * len(lit)
        return Observation(switches, trips, tuple(lit), tuple(hazards), none, none)

    def observe_faults(self, circuit: Circuit, faults: Sequence[Fault]) -> Findings:
        """Return what `circuit` does with each of `faults`, a row each, in their order."""
        return Findings.of(
            [self.observe(fault.apply(circuit)) for fault in faults],
            switches=len(circuit.switches),
            lamps=len(circuit.lamps),
        )
