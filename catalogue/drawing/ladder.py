"""A schematic: nets are upright lines from line to neutral, and each contact or load is a rung.

Boxes and cables are left out. A net is what conductors alone connect, failed parts included, so
that any circuit can be drawn.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import networkx as nx

from catalogue.drawing.dimensions import MARGIN, NORMAL, SMALL
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Caption, Disc, DrawnJoin, Stroke, Terminal, Wire
from catalogue.drawing.state_view import StateView
from catalogue.drawing.symbols import SymbolInside, SymbolState, condition_of
from catalogue.drawing.text import Fitted, fitted, text_width
from verify.circuit.devices import Contact
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End
from verify.engine.paths import WireGraph, closes

_BETWEEN_LAYERS = 112
_BETWEEN_NETS = 30
_ROW = 34
_AFTER_DEVICE = 20
_HALF_SYMBOL = 22
_RAIL_LABEL = 30
_RAIL_ROW = 20
_LABEL_INDENT = 12
_WIDEST_LABEL = 300


@dataclass(frozen=True, slots=True)
class Diagram:
    """A schematic; its origin is the upper left corner."""

    width: float
    height: float
    joins: tuple[DrawnJoin, ...]
    strokes: tuple[Stroke, ...]
    discs: tuple[Disc, ...]
    words: tuple[Caption, ...]
    terminals: tuple[Terminal, ...]


@dataclass(frozen=True, slots=True)
class _Rung:
    """A contact or a load between the nets of two terminals."""

    device: Device
    a: End
    b: End
    contact: Contact | None
    label: str


def diagram(circuit: Circuit, view: StateView) -> Diagram:
    """Lay out the schematic of any circuit, in a state if `view` has one."""
    return _Ladder(circuit, view).drawn()


def _rungs(circuit: Circuit) -> Iterator[_Rung]:
    for device in circuit.devices:
        form = device.form
        if form.is_switch:
            for contact in form.contacts:
                when = "up" if contact.up else "down"
                yield _Rung(
                    device,
                    circuit.terminal(device, contact.a),
                    circuit.terminal(device, contact.b),
                    contact,
                    f"{when}: {contact.a} – {contact.b}",
                )
        elif device.kind != "feed":
            a, b, *_ = form.terminals
            yield _Rung(
                device,
                circuit.terminal(device, a),
                circuit.terminal(device, b),
                None,
                f"{a} – {b}",
            )


class _Ladder:
    def __init__(self, circuit: Circuit, view: StateView) -> None:
        self.circuit = circuit
        self.view = view
        self.wiring = WireGraph(circuit)
        self.rungs = list(_rungs(circuit))
        self.rails = self._rails()
        layers = self._layers()
        self.layer = {net: number for number, nets in enumerate(layers) for net in nets}
        self.left = self._label_width() + 2 * MARGIN
        self.x: dict[int, float] = {}
        self.gap: list[float] = []  # x of the middle of the room on the right of each layer
        x = self.left
        for nets in layers:
            for net in nets:
                self.x[net] = x
                x += _BETWEEN_NETS
            x += _BETWEEN_LAYERS - _BETWEEN_NETS
            self.gap.append(x - _BETWEEN_LAYERS / 2)
        self.width = max(
            x - _BETWEEN_LAYERS / 2 + MARGIN + _HALF_SYMBOL,
            *(
                self.x[net] + text_width(self._rail_label(net).text, NORMAL, bold=True) + MARGIN
                for net in self.rails
            ),
        )
        self.inside = SymbolInside()
        self.terminals: list[Terminal] = []
        self.feet: dict[int, list[float]] = {net: [] for net in self.x}
        self.lines: dict[int, list[tuple[Point, ...]]] = {net: [] for net in self.x}

    def net(self, end: End) -> int:
        return self.wiring.component(end)

    def _rails(self) -> Mapping[int, list[End]]:
        """Return the nets of the feeds' terminals, ground only where something else is on it."""
        used = {self.net(end) for rung in self.rungs for end in (rung.a, rung.b)}
        rails: dict[int, list[End]] = {}
        for name in ("line", "neutral", "ground"):
            for feed in self.circuit.feeds:
                end = self.circuit.terminal(feed, name)
                net = self.net(end)
                if name != "ground" or net in used or net in rails:
                    rails.setdefault(net, []).append(end)
        return rails

    def _layers(self) -> list[list[int]]:
        """Order the nets from left to right: by the number of contacts from line, returns last."""
        sources = [net for net, ends in self.rails.items() if ends[0].part == "line"]
        returns = [net for net in self.rails if net not in sources]
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(sources)
        for rung in self.rungs:
            graph.add_edge(self.net(rung.a), self.net(rung.b))
        inner = graph.subgraph(net for net in graph if net not in returns)
        depth = {
            net: number for number, nets in enumerate(nx.bfs_layers(inner, sources)) for net in nets
        }
        deepest = max(depth.values())
        for piece in nx.connected_components(inner):
            if not piece & depth.keys():
                # Nothing from line reaches these nets: they stand near the returns, or anywhere.
                depth |= dict.fromkeys(piece, max(deepest, 1))
        layers: list[list[int]] = [[] for _ in range(max(depth.values()) + 1)]
        order = {net: number for number, net in enumerate(self._first_met())}
        for net in sorted(depth, key=order.__getitem__):
            layers[depth[net]].append(net)
        return [*layers, returns] if returns else layers

    def _first_met(self) -> Sequence[int]:
        """Return all nets in the order of the circuit's ends."""
        return list(dict.fromkeys(self.net(end) for end in self.circuit.ends))

    def _label_width(self) -> float:
        labels = [rung.label for rung in self.rungs]
        names = [text_width(rung.device.name, NORMAL, bold=True) for rung in self.rungs]
        return min(
            _WIDEST_LABEL,
            max(*names, *(text_width(label, SMALL) + _LABEL_INDENT for label in labels), 0),
        )

    def drawn(self) -> Diagram:
        top = max(map(self._rail_top, self.rails)) + 8
        y = float(top)
        devices = [d for d in self.circuit.devices if any(r.device is d for r in self.rungs)]
        for device in sorted(devices, key=self._first_layer):
            y = self._device(device, y)
        bottom = y - _AFTER_DEVICE / 2
        joins = tuple(self._net_lines(bottom))
        inside = self.inside
        return Diagram(
            self.width,
            bottom + MARGIN,
            joins,
            tuple(inside.strokes),
            tuple(inside.discs),
            tuple(inside.words),
            tuple(self.terminals),
        )

    def _first_layer(self, device: Device) -> tuple[bool, int]:
        layers = [
            self.layer[self.net(end)]
            for rung in self.rungs
            if rung.device is device
            for end in (rung.a, rung.b)
        ]
        return not device.form.is_switch, min(layers)

    def _device(self, device: Device, y: float) -> float:
        condition = replace(
            condition_of(self.circuit, device), position=self.view.positions.get(device.name)
        )
        room = self.left - 2 * MARGIN
        name, full = fitted(device.name, room, NORMAL, bold=True)
        self.inside.words.append(Caption(Point(MARGIN, y), name, NORMAL, bold=True, full=full))
        y += 24
        middles = []
        for rung in self.rungs:
            if rung.device is device:
                middles.append(Point(self._middle(rung), y))
                self.inside.words.append(
                    Caption(Point(MARGIN + _LABEL_INDENT, y + 4.5), rung.label, SMALL, tone="soft")
                )
                y = self._rung(rung, condition, y)
        if len({middle.x for middle in middles}) == 1 and len(middles) > 1:
            ends = middles[0].moved(0, 2), middles[-1].moved(0, -12)
            self.inside.line(*ends, tone="ghost")
        return y + _AFTER_DEVICE

    def _middle(self, rung: _Rung) -> float:
        return self.gap[min(self.layer[self.net(end)] for end in (rung.a, rung.b))]

    def _rung(self, rung: _Rung, condition: SymbolState, y: float) -> float:
        """Draw one rung; return the height of the next."""
        a, b = sorted((rung.a, rung.b), key=lambda end: self.x[self.net(end)])
        middle = self._middle(rung)
        sides = Point(middle - _HALF_SYMBOL, y), Point(middle + _HALF_SYMBOL, y)
        far = self.x[self.net(b)]
        self._reach(a, (Point(self.x[self.net(a)], y), sides[0]))
        if far > middle:
            self._reach(b, (Point(far, y), sides[1]))
            after = y + _ROW
        else:
            # Both nets are on the left, or are one net: the far side turns back below.
            turn, below = sides[1].x + 12, y + _ROW / 2 + 4
            self._reach(b, (Point(far, below), Point(turn, below), Point(turn, y), sides[1]))
            after = below + _ROW
        if rung.contact is not None:
            self._contact(rung.contact, condition, middle, y)
        else:
            self._load(rung.device, condition, middle, y)
        for end, side in zip((a, b), sides, strict=True):
            self.terminals.append(Terminal(end, side, True))
        return after

    def _reach(self, end: End, points: tuple[Point, ...]) -> None:
        net = self.net(end)
        self.feet[net].append(points[0].y)
        self.lines[net].append(points)

    def _contact(self, contact: Contact, condition: SymbolState, x: float, y: float) -> None:
        half = _HALF_SYMBOL
        left, right = (x - half, y), (x + half, y)
        failure = condition.failed_contacts.get(frozenset((contact.a, contact.b)))
        position = condition.stuck or condition.position
        raised = (x + half - 6, y - 15)
        if failure == "contact-welded":
            self.inside.line(left, right, tone="welded")
            self.inside.disc(x, y, 4.5, "solid")
        elif failure == "contact-open":
            self.inside.line(left, raised, tone="blade")
            for side in (-1, 1):
                self.inside.line((x - 6, y - 6 * side), (x + 6, y + 6 * side), tone="failed")
        elif position is not None and closes(contact, position):
            self.inside.line(left, right, tone="blade")
        else:
            self.inside.line(left, raised, tone="blade")

    def _load(self, device: Device, condition: SymbolState, x: float, y: float) -> None:
        inside, half, r = self.inside, _HALF_SYMBOL, 14
        is_lit = device.name in self.view.lit
        inside.line((x - half, y), (x - r, y))
        inside.line((x + r, y), (x + half, y))
        if device.kind != "lamp":
            for across in (-r, r):
                inside.line((x - r, y + across / 2), (x + r, y + across / 2))
                inside.line((x + across, y - r / 2), (x + across, y + r / 2))
            return
        inside.disc(x, y, r, "lit" if is_lit else "outline")
        if is_lit:
            inside.rays(x, y, r - 2)
        d = r * 0.7071
        inside.line((x - d, y - d), (x + d, y + d))
        inside.line((x - d, y + d), (x + d, y - d))
        if condition.failure:
            for side in (-1, 1):
                inside.line((x - 17, y - 17 * side), (x + 17, y + 17 * side), tone="failed")

    def _net_lines(self, bottom: float) -> Iterator[DrawnJoin]:
        for net, x in self.x.items():
            feet = self.feet[net]
            rail = self.rails.get(net)
            ends = tuple(end for end in self.circuit.ends if self.net(end) == net)
            is_live = ends[0] in self.view.live
            name = ", ".join(end.name for end in ends)
            span = [self._rail_top(net), *feet, bottom] if rail else feet
            wires = [Wire(points, None, name, is_live) for points in self.lines[net]]
            if span and min(span) < max(span):
                upright = (Point(x, min(span)), Point(x, max(span)))
                wires.append(Wire(upright, None, name, is_live))
            dots = [Point(x, foot) for foot in sorted(set(feet))] if len(span) > 1 else []
            for foot in feet if len(span) == 1 else ():
                self.inside.disc(x, foot, 4)
            yield DrawnJoin(ends, tuple(wires), tuple(dots))
            if rail:
                name, full = self._rail_label(net)
                at = Point(x - 6, self._rail_top(net) - 12)
                self.inside.words.append(Caption(at, name, NORMAL, bold=True, full=full))
                start = Point(x, self._rail_top(net))
                self.terminals += (Terminal(end, start, True) for end in rail)

    def _rail_label(self, net: int) -> Fitted:
        names = dict.fromkeys(self._rail_name(end) for end in self.rails[net])
        return fitted(" = ".join(names), _WIDEST_LABEL, NORMAL, bold=True)

    def _rail_top(self, net: int) -> float:
        """Return the height where a rail begins; of adjacent rails the left label is highest."""
        beside = [other for other in self.rails if self.layer[other] == self.layer[net]]
        return _RAIL_LABEL + _RAIL_ROW * beside.index(net) + 6

    def _rail_name(self, end: End) -> str:
        return end.part if len(self.circuit.feeds) == 1 else end.name.replace(".", " ")
