"""This orders what stands along the upper and the lower edge of a box's wiring channel.

Along the upper edge are incoming cables and feeds, along the lower one outgoing cables and devices.
Devices, and the conductors of each cable, are ordered so that few lines cross.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from catalogue.drawing.channel import Pin, PinNet, fewest_crossings, route
from catalogue.drawing.dimensions import (
    BOX_MARGIN,
    GRID,
    MARGIN,
    PAGE_WIDTH,
    PITCH,
    RIBBON_PITCH,
    SMALL,
    TERMINAL_PITCH,
    WIDEST_CABLE_LABEL,
)
from catalogue.drawing.text import text_width
from catalogue.drawing.tree import BoxTree
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, End, box_end, conductor_name

_DRAWN_ORDER: Final = {
    # The symbol's upper contacts stand inside, so that no line in it crosses another.
    "four-way": ("a2", "a1", "b1", "b2", "ground"),
}
_UNUSUAL_ORDER: Final = 0.2
_LENGTH: Final = 0.0004
_AWAY: Final = (
    0.006  # from the left side: the middle of the first outgoing cable, where the next box is
)
_PASSES: Final = 6
_ROOM: Final = PAGE_WIDTH - 2 * MARGIN - 2 * BOX_MARGIN
_FURTHEST_SHIFT: Final = 210


def drawn_terminals(device: Device) -> tuple[str, ...]:
    """Return the terminals of a device from left to right."""
    return _DRAWN_ORDER.get(device.kind, device.form.terminals)


def cable_label(cable: Cable) -> tuple[str, str]:
    """Return the two lines written beside a cable: its name, and what else is known of it."""
    facts = [cable.size] if cable.size else []
    if cable.length_m is not None:
        facts.append(f"{cable.length_m:g} m")
    return cable.name, " · ".join(facts)


def label_width(cable: Cable) -> float:
    """Return how much room is kept for a cable's label."""
    return min(WIDEST_CABLE_LABEL, max(text_width(line, SMALL) for line in cable_label(cable)))


@dataclass(frozen=True, slots=True)
class Item:
    """One thing along an edge: a cable's conductors, a device's terminals, or a metal box.

    `pins` are the names of its ends from left to right, the first `lead` from its left side.
    `label` is the room that a cable's label takes to the right of its middle.
    """

    kind: str  # cable | device | box
    name: str
    pins: tuple[str, ...]
    pitch: int
    lead: int
    label: float = 0
    places: int = 0  # the number of pins that there is room for, if that is more than it has

    @property
    def width(self) -> int:
        """The width that is kept for its pins."""
        return 2 * self.lead + self.pitch * (max(self.places, len(self.pins)) - 1)


def _cable_item(cable: Cable, order: Sequence[str], *, labelled: bool) -> Item:
    pins = tuple(conductor_name(cable.name, colour) for colour in order)
    label = RIBBON_PITCH * len(order) / 2 + 12 + label_width(cable) if labelled else 0
    return Item("cable", cable.name, pins, PITCH, GRID if labelled else PITCH, label)


def _device_item(device: Device, places: int) -> Item:
    pins = tuple(f"{device.name}.{terminal}" for terminal in drawn_terminals(device))
    lead = TERMINAL_PITCH // 2
    return Item("device", device.name, pins, TERMINAL_PITCH, lead, places=places)


def _box_item(box: str) -> Item:
    return Item("box", box, (box_end(box),), TERMINAL_PITCH, TERMINAL_PITCH // 2)


@dataclass(frozen=True)
class BoxOrder:
    """The order of everything along the edges of all boxes.

    `terminals` says how many terminals each device needs room for, `gaps` how much room is kept
    free before each item.
    """

    circuit: Circuit
    tree: BoxTree
    colours: Mapping[str, tuple[str, ...]]
    devices: Mapping[str, tuple[str, ...]]
    children_first: Mapping[str, int]
    terminals: Mapping[str, int]
    gaps: Mapping[str, tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=dict)

    def above(self, box: str) -> list[Item]:
        """Return the items along the upper edge, from left to right."""
        items = [
            _cable_item(cable, self.colours[cable.name], labelled=True)
            for cable in self.tree.up[box]
        ]
        for cable in self.tree.extras_at(box):
            # A cable goes up from one box and down into the other, which reverses the order.
            order = self.colours[cable.name][:: -1 if cable.between[0] == box else 1]
            items.append(_cable_item(cable, order, labelled=True))
        feeds = [_device_item(feed, 0) for feed in self.circuit.feeds if feed.box == box]
        return [*items, *feeds]

    def below(self, box: str) -> list[Item]:
        """Return the items along the lower edge, from left to right."""
        cables = [
            [_cable_item(cable, self.colours[cable.name], labelled=False) for cable in bundle]
            for bundle in self.tree.down[box].values()
        ]
        first = self.children_first[box]
        devices = [
            _device_item(self.circuit.device(name), self.terminals[name])
            for name in self.devices[box]
        ]
        items = [item for bundle in cables[:first] for item in bundle]
        items += devices
        items += [item for bundle in cables[first:] for item in bundle]
        if any(b.name == box and b.is_metal for b in self.circuit.boxes):
            items.append(_box_item(box))
        if sum(item.width for item in items) > _ROOM:
            # Where there is room cables are set apart.
            return [
                replace(item, lead=min(item.lead, GRID)) if item.kind == "cable" else item
                for item in items
            ]
        return items

    def edges(self, box: str) -> tuple["Edge", "Edge"]:
        """Return both edges with the place of every pin."""
        above, below = self.above(box), self.below(box)
        gaps = self.gaps.get(box, ((0,) * len(above), (0,) * len(below)))
        return Edge.of(above, gaps[0], 0), Edge.of(below, gaps[1], GRID)


@dataclass(frozen=True)
class Edge:
    """Items along an edge, each with the place of its left side, measured from that of the box."""

    items: tuple[Item, ...]
    starts: tuple[int, ...]

    @classmethod
    def of(cls, items: Sequence[Item], gaps: Sequence[int], phase: int) -> "Edge":
        """Set items side by side; without a gap every pin is `phase` beyond a multiple of `PITCH`.

        The phases of the upper and the lower edge differ, so that no pin stands above another.
        """
        starts = []
        x = BOX_MARGIN
        label_end = 0.0
        for item, gap in zip(items, gaps, strict=True):
            if item.label:
                x = max(x, int(label_end - item.width / 2) // GRID * GRID + GRID)
            x += (phase - x - item.lead) % PITCH + gap
            starts.append(x)
            if item.label:
                label_end = x + item.width / 2 + item.label + 8 + RIBBON_PITCH * 5
            x += item.width
        return cls(tuple(items), tuple(starts))

    @property
    def right(self) -> int:
        """The place where the last item ends."""
        return self.starts[-1] + self.items[-1].width if self.items else BOX_MARGIN

    @property
    def first_cable(self) -> int:
        """The place of the first cable, 0 if there is none."""
        pairs = zip(self.items, self.starts, strict=True)
        return next((start for item, start in pairs if item.kind == "cable"), 0)

    @property
    def label_right(self) -> float:
        """The place where the last label ends."""
        ends = (
            start + item.width / 2 + item.label
            for item, start in zip(self.items, self.starts, strict=True)
        )
        return max(ends, default=0)

    def pins(self) -> Iterator[tuple[str, int]]:
        """Yield each end's name with its place."""
        for item, start in zip(self.items, self.starts, strict=True):
            for number, name in enumerate(item.pins):
                yield name, start + item.lead + number * item.pitch


def pinned(groups: Sequence[tuple[End, ...]], edges: tuple[Edge, Edge]) -> list[PinNet]:
    """Return the joins as nets of pins."""
    places = {name: Pin(x, True) for name, x in edges[0].pins()}
    places |= {name: Pin(x, False) for name, x in edges[1].pins()}
    return [PinNet([places[end.name] for end in group]) for group in groups]


class _Search:
    """A local search over the order of things: box after box until nothing improves."""

    def __init__(self, rows: BoxOrder) -> None:
        self.rows = rows
        circuit = rows.circuit
        self.groups: dict[str, list[tuple[End, ...]]] = {box.name: [] for box in circuit.boxes}
        for group in circuit.grouped_ends:
            self.groups[group[0].box].append(group)
        self.usual = {
            cable.name: {colour: i for i, colour in enumerate(cable.conductors)}
            for cable in circuit.cables
        }
        self.costs = {box: self._cost(rows, box) for box in self.groups}

    def run(self) -> BoxOrder:
        for _ in range(_PASSES):
            before = sum(self.costs.values())
            for cable in self.rows.circuit.cables:
                self._order_colours(cable)
            for box in self.groups:
                self._order_devices(box)
            if sum(self.costs.values()) >= before:
                break
        gaps = {box: self._gaps(box) for box in self.groups}
        return replace(self.rows, gaps=gaps)

    def _cost(self, rows: BoxOrder, box: str) -> float:
        edges = rows.edges(box)
        nets = pinned(self.groups[box], edges)
        length = sum(net.right - net.left for net in nets)
        return fewest_crossings(nets) + _LENGTH * length + _AWAY * edges[1].first_cable

    def _try(self, rows: BoxOrder, boxes: Sequence[str], penalty: float = 0) -> bool:
        costs = {box: self._cost(rows, box) for box in boxes}
        if sum(costs.values()) + penalty < sum(self.costs[box] for box in boxes) - 1e-9:
            self.rows = rows
            self.costs |= costs
            return True
        return False

    def _order_colours(self, cable: Cable) -> None:
        usual = self.usual[cable.name]
        for place in range(len(cable.conductors) - 1):
            order = list(self.rows.colours[cable.name])
            one, other = order[place : place + 2]
            order[place : place + 2] = other, one
            penalty = _UNUSUAL_ORDER if usual[one] < usual[other] else -_UNUSUAL_ORDER
            colours = {**self.rows.colours, cable.name: tuple(order)}
            self._try(replace(self.rows, colours=colours), cable.between, penalty)

    def _order_devices(self, box: str) -> None:
        for first in range(len(self.rows.tree.down[box]) + 1):
            split = {**self.rows.children_first, box: first}
            self._try(replace(self.rows, children_first=split), [box])
        for place in range(len(self.rows.devices[box]) - 1):
            order = list(self.rows.devices[box])
            order[place : place + 2] = reversed(order[place : place + 2])
            devices = {**self.rows.devices, box: tuple(order)}
            self._try(replace(self.rows, devices=devices), [box])

    def _gaps(self, box: str) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Return room before items that lets lines run straight, where no other line gets worse."""
        above, below = self.rows.above(box), self.rows.below(box)
        groups = self.groups[box]
        gaps = [[0] * len(above), [0] * len(below)]

        def cost() -> float:
            edges = Edge.of(above, gaps[0], 0), Edge.of(below, gaps[1], GRID)
            nets = pinned(groups, edges)
            routing = route(nets)
            if routing is None:
                return float("inf")
            bends = sum(net.size > 1 and not net.is_straight for net in nets)
            length = sum(net.right - net.left for net in nets)
            width = max(edge.right for edge in edges)
            return (
                4 * routing.crossings
                + 2 * bends
                + routing.height
                + length / 40
                + width / GRID
                + sum(gaps[0]) / GRID  # an incoming cable stays on the left, where it comes from
                + sum(gaps[1]) / 200
            )

        best = cost()
        for _ in range(2):
            before = best
            for side, items in enumerate((above, below)):
                for number in range(len(items)):
                    for gap in self._promising(box, above, below, gaps, (side, number)):
                        old = gaps[side][number]
                        gaps[side][number] = gap
                        new = cost()
                        if new < best - 1e-9:
                            best = new
                        else:
                            gaps[side][number] = old
            if best >= before:
                break
        return tuple(gaps[0]), tuple(gaps[1])

    def _promising(
        self,
        box: str,
        above: Sequence[Item],
        below: Sequence[Item],
        gaps: Sequence[Sequence[int]],
        place: tuple[int, int],
    ) -> Sequence[int]:
        """Return no gap, and the gaps that bring a pin of an item opposite to its partner."""
        side, number = place
        edges = Edge.of(above, gaps[0], 0), Edge.of(below, gaps[1], GRID)
        own, opposite = dict(edges[side].pins()), dict(edges[1 - side].pins())
        pins = (above, below)[side][number].pins
        now = gaps[side][number]
        found = {
            now + opposite[end.name] - own[pin]
            for group in self.groups[box]
            for pin in pins
            if any(end.name == pin for end in group)
            for end in group
            if end.name in opposite
        }
        return [0, *sorted(gap for gap in found if 0 < gap <= _FURTHEST_SHIFT)]


def arranged_boxes(circuits: Sequence[Circuit], tree: BoxTree) -> BoxOrder:
    """Choose a good order for the first circuit, with room for the devices of all."""
    circuit = circuits[0]
    devices: dict[str, list[str]] = {box.name: [] for box in circuit.boxes}
    for device in circuit.devices:
        if device.kind != "feed":
            devices[device.box].append(device.name)
    rows = BoxOrder(
        circuit,
        tree,
        {cable.name: cable.conductors for cable in circuit.cables},
        {box: tuple(names) for box, names in devices.items()},
        {box: len(children) for box, children in tree.down.items()},
        {
            device.name: max(len(each.device(device.name).form.terminals) for each in circuits)
            for device in circuit.devices
        },
    )
    return _Search(rows).run()
