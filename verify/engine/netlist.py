"""A circuit in one state as a netlist that any general circuit simulator reads.

It is written from the circuit itself, part by part. It takes from `verify.electric` the numbers of
`data/electrical.toml` and the way sizes are written, and no formula; from *paths* it takes which
contacts are closed, from `verify.engine.copper` the resistance of conductors. A simulator that
solves it checks all the rest. The analysis is the linear one of phasors at the supply's frequency,
amplitudes being root mean square.
"""

import math
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import networkx as nx

from verify.base.cautions import summary
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, End, conductor_name
from verify.electric.numbers import Parameters, parameters
from verify.electric.sizes import check_sizes
from verify.engine.copper import ohms_per_metre
from verify.engine.paths import WireGraph

#: The neutral–ground bond at the service.
REFERENCE: Final = "0"
#: Simulators look for a resting point first and need a path for direct current to every node.
LEAK_OHMS: Final = 1e12
#: The words with which every netlist begins.
BEGINNING: Final = "* Miswire netlist:"
_WIDTH: Final = 96
_PRINTED: Final = 8


@dataclass(frozen=True, slots=True)
class Element:
    """One line of the netlist: `name` begins with the letter of its kind."""

    name: str
    a: str
    b: str
    value: str
    words: str

    @property
    def carries_direct_current(self) -> bool:
        """False for a capacitor."""
        return not self.name.startswith("C")


class Netlist:
    """The netlist of a circuit in a state.

    `nodes` are the joins by their names in the netlist, and the ends that are loose in one;
    `node_of` maps an end to its name. Nodes in `floating` have no potential, because nothing
    connects them to the rest; they are left out. Raises `CircuitError` if a size cannot be read.
    """

    def __init__(self, circuit: Circuit, state: int, assumed: Parameters | None = None) -> None:
        self.circuit = circuit
        self.state = state
        self.assumed = parameters(circuit.palette) if assumed is None else assumed
        check_sizes(circuit)
        self._wiring = WireGraph(circuit)
        self.node_of: dict[End, str] = {}
        self.nodes: dict[str, tuple[End, ...]] = {}
        self._hangs_on: dict[str, str] = {}
        together: dict[End | int, list[End]] = {}
        for end in circuit.ends:
            together.setdefault(self._wiring.joint(end), []).append(end)
        for number, join in enumerate(together.values(), 1):
            self._add_join(f"n{number}", tuple(join))
        elements = [element for element in self._parts() if element.a != element.b]
        connected = _connected_nodes(elements)[REFERENCE]
        self.floating = tuple(name for name in self.nodes if name not in connected)
        self.elements = tuple(element for element in elements if element.a in connected)
        self.leaks = tuple(self._leaks())

    def _add_join(self, name: str, ends: tuple[End, ...]) -> None:
        loose = [
            end
            for end in ends
            if any(
                (failure.kind, failure.box, failure.at) == ("loose-join", end.box, (end.name,))
                for failure in self.circuit.failures
            )
        ]
        groups = {name: tuple(end for end in ends if end not in loose)}
        groups |= {f"{name}loose{number}": (end,) for number, end in enumerate(loose, 1)}
        self._hangs_on |= dict.fromkeys(list(groups)[1:], name)
        for node, group in groups.items():
            self.nodes[node] = group
            self.node_of |= dict.fromkeys(group, node)

    # --- parts of the circuit

    def _parts(self) -> Iterator[Element]:
        for number, feed in enumerate(self.circuit.feeds, 1):
            yield from self._feed(number, feed)
        number = 0
        for cable in self.circuit.cables:
            for colour in cable.conductors:
                number += 1
                conductor = conductor_name(cable.name, colour)
                if not self._wiring.has_failed("conductor-open", conductor):
                    yield self._resistor(
                        f"Rconductor{number}",
                        *self._ends_of(cable, colour),
                        self._ohms(cable.size, self._length(cable)),
                        f"{cable.name} {colour}, {self._length(cable):g} m",
                    )
        yield from self._contacts()
        yield from self._loads()
        yield from self._touching()
        yield from self._capacitances()

    def _feed(self, number: int, feed: Device) -> Iterator[Element]:
        circuit, source = self.circuit, self.assumed.source
        length = self.assumed.feed_length_m if feed.length_m is None else feed.length_m
        run = self._ohms(feed.size, length) + self.assumed.terminal
        phase = 180 if feed.leg == "B" else 0
        behind, within = f"s{number}", f"s{number}x"
        yield Element(
            f"Vsource{number}",
            behind,
            REFERENCE,
            f"DC 0 AC {_number_text(circuit.volts)} {phase}",
            f"{feed.name}: {circuit.volts:g} V, leg {feed.leg}",
        )
        inductance = source.imag / (2 * math.pi * self.assumed.hertz)
        yield Element(
            f"Lsource{number}", behind, within, _number_text(inductance), "its source, inductive"
        )
        for terminal, name, ohms in (
            ("line", within, source.real + run),
            ("neutral", REFERENCE, run),
            ("ground", REFERENCE, run),
        ):
            yield self._resistor(
                f"R{terminal}{number}",
                name,
                self.node_of[circuit.terminal(feed, terminal)],
                ohms,
                f"{feed.name}: {terminal} from the service, {length:g} m"
                + (", with the source" if terminal == "line" else ""),
            )

    def _contacts(self) -> Iterator[Element]:
        # Open contacts are numbered too, so that a name means the same contact in every state.
        pairs = [
            (self.circuit.terminal(switch, contact.a), self.circuit.terminal(switch, contact.b))
            for switch in self.circuit.switches
            for contact in switch.form.contacts
        ]
        for a, b in self._wiring.closed_contacts(self.state):
            number = pairs.index((a, b)) + 1
            yield self._resistor(
                f"Rcontact{number}",
                self.node_of[a],
                self.node_of[b],
                self.assumed.contact,
                f"{a.owner}: contact {a.part} to {b.part}",
            )

    def _loads(self) -> Iterator[Element]:
        squared = self.circuit.volts**2
        for number, lamp in enumerate(self._wiring.lamps, 1):
            a, b = (self.node_of[side] for side in lamp.sides)
            if self._wiring.has_failed("lamp-shorted", lamp.name):
                short = self.assumed.short
                yield self._resistor(f"Rlamp{number}", a, b, short, f"{lamp.name}, shorted")
            elif not lamp.failed:
                watts = self.circuit.device(lamp.name).watts or 0.0
                yield self._resistor(
                    f"Rlamp{number}", a, b, squared / watts, f"{lamp.name}, {watts:g} W"
                )
        for number, device in enumerate(self.circuit.devices, 1):
            if watts := sum(device.loads):
                line, neutral = (
                    self.node_of[self.circuit.terminal(device, name)]
                    for name in ("line", "neutral")
                )
                yield self._resistor(
                    f"Rload{number}", line, neutral, squared / watts, f"{device.name}, {watts:g} W"
                )

    def _touching(self) -> Iterator[Element]:
        shorts = [f for f in self.circuit.failures if f.kind == "conductors-shorted"]
        for number, short in enumerate(shorts, 1):
            a, b = (self._wiring.conductors[name].ends[0] for name in short.at)
            yield self._resistor(
                f"Rshort{number}",
                self.node_of[a],
                self.node_of[b],
                self.assumed.short,
                f"{' and '.join(short.at)} touch",
            )
        for number, (node, join) in enumerate(self._hangs_on.items(), 1):
            (end,) = self.nodes[node]
            yield self._resistor(
                f"Rloose{number}", node, join, self.assumed.loose, f"{end.name} is loose"
            )

    def _capacitances(self) -> Iterator[Element]:
        number = 0
        for cable in self.circuit.cables:
            farads = self.assumed.capacitance * self._length(cable) / 2
            for one, other in combinations(cable.conductors, 2):
                for side, box in enumerate(cable.between):
                    number += 1
                    yield Element(
                        f"C{number}",
                        self._ends_of(cable, one)[side],
                        self._ends_of(cable, other)[side],
                        _number_text(farads),
                        f"{cable.name} {one} beside {other}, half of it, in {box}",
                    )

    def _ends_of(self, cable: Cable, colour: str) -> tuple[str, str]:
        a, b = self._wiring.conductors[conductor_name(cable.name, colour)].ends
        return self.node_of[a], self.node_of[b]

    def _length(self, cable: Cable) -> float:
        return self.assumed.length_m if cable.length_m is None else cable.length_m

    def _ohms(self, size: str | None, length_m: float) -> float:
        return length_m * ohms_per_metre(size or self.assumed.size, self.assumed.celsius)

    @staticmethod
    def _resistor(name: str, a: str, b: str, ohms: float, words: str) -> Element:
        return Element(name, a, b, _number_text(ohms), words)

    def _leaks(self) -> Iterator[Element]:
        """Yield a leak for each connected component that only capacitance connects to the rest."""
        connected = _connected_nodes(
            element for element in self.elements if element.carries_direct_current
        )
        held = set(connected[REFERENCE])
        for name in self.nodes:
            if name not in held and name not in self.floating:
                held |= connected.get(name, {name})
                yield self._resistor(
                    f"Rleak{name}", name, REFERENCE, LEAK_OHMS, "a path for direct current"
                )

    # --- text

    def __str__(self) -> str:
        return "\n".join(self._lines()) + "\n"

    def _lines(self) -> Iterator[str]:
        circuit = self.circuit
        positions = self._wiring.positions(self.state)
        stand = ", ".join(
            f"{switch.name} {position}"
            for switch, position in zip(circuit.switches, positions, strict=True)
        )
        yield f"{BEGINNING} {circuit.name}: {stand}"
        yield _comment("Breakers are left out: a fault current flows for as long as one looks.")
        yield _comment(
            "Phasors, root mean square. Node 0 is the neutral-ground bond at the service."
        )
        for line in textwrap.wrap(summary(), _WIDTH):
            yield _comment(line)
        for name, ends in self.nodes.items():
            alone = "; nothing connects it, left out" if name in self.floating else ""
            words = ", ".join(end.name for end in ends) or "all its ends are loose"
            box = f" in {ends[0].box}" if ends else ""
            yield _comment(f"{name}{box}: {words}{alone}")
        for element in self.elements:
            yield from _written(element)
        if self.leaks:
            yield _comment("Capacitance alone holds these; simulators need a direct-current path.")
        for element in self.leaks:
            yield from _written(element)
        yield f".ac lin 1 {self.assumed.hertz:g} {self.assumed.hertz:g}"
        known = [name for name in self.nodes if name not in self.floating]
        for start in range(0, len(known), _PRINTED):
            some = " ".join(f"v({name})" for name in known[start : start + _PRINTED])
            yield f".print ac {some}"
        yield ".end"


def netlist(circuit: Circuit, state: int, assumed: Parameters | None = None) -> str:
    """Return the netlist of a circuit in a state, ending in a newline; see `Netlist`."""
    return str(Netlist(circuit, state, assumed))


def _connected_nodes(elements: Iterable[Element]) -> dict[str, set[str]]:
    """Return for each node all nodes that elements connect to it, itself among them."""
    graph: nx.Graph[str] = nx.Graph()
    graph.add_node(REFERENCE)
    graph.add_edges_from((element.a, element.b) for element in elements)
    return {name: component for component in nx.connected_components(graph) for name in component}


def _number_text(value: float) -> str:
    return f"{value:.10g}"


def _comment(text: str) -> str:
    return f"* {text}"


def _written(element: Element) -> Iterator[str]:
    yield _comment(element.words)
    yield f"{element.name} {element.a} {element.b} {element.value}"
