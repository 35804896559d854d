"""Reads a wiring picture back: from the lines of an SVG to what they connect.

It knows the rules by which a person reads the picture, and nothing of how it was made: lines are
connected where their ends meet or a dot lies on both; a line ends on a terminal or leads through
the sleeve on which a conductor's colour is written.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, pairwise

import networkx as nx

from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.engine.paths import WireGraph

SVG = "{http://www.w3.org/2000/svg}"
_NEAR = 0.25
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")

Place = tuple[float, float]
Segment = tuple[Place, Place]
Partition = frozenset[frozenset[End]]


@dataclass
class Line:
    """One line that conducts; `is_in_box` if it belongs to a join."""

    name: str
    points: list[Place]
    is_in_box: bool
    is_live: bool

    @property
    def tips(self) -> tuple[Place, Place]:
        """Its two ends."""
        return self.points[0], self.points[-1]

    @cached_property
    def segments(self) -> list[Segment]:
        """Its straight pieces."""
        return list(pairwise(self.points))

    def passes(self, place: Place) -> bool:
        """True if the place is on the line."""
        (left, top), (right, bottom) = self.corners
        if not (left - 1 < place[0] < right + 1 and top - 1 < place[1] < bottom + 1):
            return False
        return any(distance(place, piece) < _NEAR for piece in self.segments)

    @cached_property
    def corners(self) -> Segment:
        """The upper left and lower right corner of the room that it takes."""
        xs, ys = zip(*self.points, strict=True)
        return (min(xs), min(ys)), (max(xs), max(ys))


@dataclass
class Reading:
    """What was found in one panel of a picture."""

    lines: list[Line] = field(default_factory=list)
    dots: list[Place] = field(default_factory=list)
    terminals: list[tuple[End, Place]] = field(default_factory=list)
    sleeves: list[tuple[End, Place]] = field(default_factory=list)
    caps: int = 0
    bands: int = 0
    marks: int = 0

    @property
    def named(self) -> list[tuple[End, Place]]:
        """Every end that is named in the picture."""
        return self.terminals + self.sleeves

    def connected(self, *, in_boxes_only: bool = False) -> Partition:
        """The named ends, parted by what the lines connect."""
        lines = [line for line in self.lines if line.is_in_box or not in_boxes_only]
        graph: nx.Graph[object] = nx.Graph()
        graph.add_nodes_from(range(len(lines)))
        for (i, one), (j, other) in combinations(enumerate(lines), 2):
            if _are_near(one.corners, other.corners) and any(
                meet(a, b) for a in one.tips for b in other.tips
            ):
                graph.add_edge(i, j)
        for dot in self.dots:
            on = [i for i, line in enumerate(lines) if line.passes(dot)]
            graph.add_edges_from(pairwise(on))
        for end, place in self.named:
            graph.add_node(end)
            for i, line in enumerate(lines):
                on_tip = any(meet(place, tip) for tip in line.tips)
                if on_tip or ((end, place) in self.sleeves and line.passes(place)):
                    graph.add_edge(end, i)
        return frozenset(
            frozenset(node for node in piece if isinstance(node, End))
            for piece in nx.connected_components(graph)
            if any(isinstance(node, End) for node in piece)
        )


def meet(a: Place, b: Place) -> bool:
    """True if two places are the same."""
    return abs(a[0] - b[0]) < _NEAR and abs(a[1] - b[1]) < _NEAR


def distance(place: Place, piece: Segment) -> float:
    """How far a place is from a straight piece of line."""
    (ax, ay), (bx, by), (x, y) = *piece, place
    length = (bx - ax) ** 2 + (by - ay) ** 2
    share = 0.0 if length == 0 else ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length
    share = min(1, max(0, share))
    gap = (x - ax - share * (bx - ax)) ** 2 + (y - ay - share * (by - ay)) ** 2
    return float(gap**0.5)


def path_points(data: str) -> list[Place]:
    """The corners of a path; of a rounded corner the place where it would be without."""
    points: list[Place] = []
    for command, written in re.findall(r"([MLQ])([^MLQ]*)", data):
        numbers = [float(text) for text in _NUMBER.findall(written)]
        assert len(numbers) == (4 if command == "Q" else 2), data
        for place in zip(numbers[::2], numbers[1::2], strict=True):
            if len(points) > 1 and distance(points[-1], (points[-2], place)) < _NEAR:
                points.pop()
            points.append(place)
    return points


def panels(svg: str) -> list[Reading]:
    """Each panel of a picture, from left to right or top to bottom."""
    root = ET.fromstring(svg)
    return [_read(group) for group in root.iter(f"{SVG}g") if group.get("class") == "panel"]


def _read(panel: ET.Element) -> Reading:
    reading = Reading()
    for group in panel:
        is_in_box = group.get("class") == "join"
        for item in group.iter():
            kind = item.get("class")
            if kind == "wire":
                reading.lines.append(
                    Line(
                        item.get("data-wire", ""),
                        path_points(item.attrib["d"]),
                        is_in_box,
                        item.get("data-live") == "yes",
                    )
                )
            elif kind == "dot":
                reading.dots.append((float(item.attrib["cx"]), float(item.attrib["cy"])))
            elif kind == "terminal":
                place = float(item.attrib["cx"]), float(item.attrib["cy"])
                reading.terminals.append((_end(item), place))
            elif kind == "sleeve":
                place = float(item.attrib["data-x"]), float(item.attrib["data-y"])
                reading.sleeves.append((_end(item), place))
            elif kind in ("cap", "band", "mark"):
                setattr(reading, f"{kind}s", getattr(reading, f"{kind}s") + 1)
    return reading


def shown_terminals(circuit: Circuit, reading: Reading) -> Partition:
    """What conductors alone connect, of the terminals that a schematic shows."""
    shown = {end for end, _ in reading.terminals}
    wiring = WireGraph(circuit)
    nets: dict[int, set[End]] = {}
    for end in shown:
        nets.setdefault(wiring.component(end), set()).add(end)
    return frozenset(map(frozenset, nets.values()))


def _end(item: ET.Element) -> End:
    return End(item.attrib["data-box"], item.attrib["data-end"])


def joined(circuit: Circuit) -> Partition:
    """The joins of a circuit, as the lines in its boxes must show them."""
    return frozenset(map(frozenset, circuit.grouped_ends))


def conducting(circuit: Circuit) -> Partition:
    """What joins, conductors that are not broken, and shorts between them connect."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(circuit.ends)
    for group in circuit.grouped_ends:
        graph.add_edges_from(pairwise(group))
    broken = {f.at[0] for f in circuit.failures if f.kind == "conductor-open"}
    first: dict[str, End] = {}
    for cable in circuit.cables:
        for colour in cable.conductors:
            name = f"{cable.name}.{colour}"
            ends = [End(box, name) for box in cable.between]
            first[name] = ends[0]
            if name not in broken:
                graph.add_edge(*ends)
    for failure in circuit.failures:
        if failure.kind == "conductors-shorted":
            graph.add_edge(*(first[name] for name in failure.at))
    return frozenset(map(frozenset, nx.connected_components(graph)))


def overlaps(reading: Reading) -> Iterator[str]:
    """Lines on top of each other, and lines that end on another where no dot says so."""
    for one, other in combinations(reading.lines, 2):
        if not _are_near(one.corners, other.corners):
            continue
        for a in one.segments:
            for b in other.segments:
                if _shared_length(a, b) > 1:
                    yield f"{one.name} runs on {other.name} at {a}"
        for line, crossed in ((one, other), (other, one)):
            for tip in line.tips:
                touches = crossed.passes(tip) and not any(meet(tip, t) for t in crossed.tips)
                if touches and not any(meet(tip, dot) for dot in reading.dots):
                    yield f"{line.name} ends on {crossed.name} without a dot at {tip}"
    for dot in reading.dots:
        names = {line.name for line in reading.lines if line.is_in_box and line.passes(dot)}
        if len(names) > 1:
            yield f"a dot at {dot} lies on lines of {names}"


def _are_near(a: Segment, b: Segment) -> bool:
    return all(a[0][i] - 1 < b[1][i] and b[0][i] - 1 < a[1][i] for i in (0, 1))


def _shared_length(a: Segment, b: Segment) -> float:
    for axis in (0, 1):
        level = [point[axis] for point in (*a, *b)]
        if max(level) - min(level) < _NEAR:
            (a1, a2), (b1, b2) = (sorted(p[1 - axis] for p in piece) for piece in (a, b))
            return min(a2, b2) - max(a1, b1)
    return 0
