"""A floor plan holds everything about a picture that does not depend on what is joined to what.

One plan can serve several circuits with the same parts, such as a wiring as intended and as found:
then everything stands in the same place in both pictures.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from catalogue.drawing.box_order import BoxOrder, Edge, arranged_boxes, pinned
from catalogue.drawing.channel import Routing, route
from catalogue.drawing.dimensions import (
    BOX_MARGIN,
    CABLE_ZONE,
    CHANNEL_EDGE,
    DEVICE_ZONE,
    FEED_ZONE,
    LARGE,
    LONGEST_BOX_NAME,
    NAME_ZONE,
    TRACK,
)
from catalogue.drawing.placement import BoxSize, Placement, placed
from catalogue.drawing.text import text_width
from catalogue.drawing.tree import BoxTree, box_tree
from verify.base.problems import BugError
from verify.circuit.model import Circuit
from verify.circuit.parts import End

Groups = list[tuple[End, ...]]
_PLANS_KEPT: Final = 64


@dataclass(frozen=True, slots=True)
class Zones:
    """The heights within a box: above the channel, of the channel, and below it."""

    above: float
    channel: float
    below: float


@dataclass(frozen=True, slots=True)
class FloorPlan:
    """The places of boxes, cables and devices, for circuits with the same parts."""

    rows: BoxOrder
    tree: BoxTree
    zones: Mapping[str, Zones]
    widths: Mapping[str, float]
    placement: Placement

    def edges(self, circuit: Circuit, box: str) -> tuple[Edge, Edge]:
        """Return both edges of a box with their pins."""
        return replace(self.rows, circuit=circuit).edges(box)


def have_same_places(one: Circuit, other: Circuit) -> bool:
    """Return True if two circuits differ only in joins, failures, or the kind of a device."""
    return (
        one.boxes == other.boxes
        and one.cables == other.cables
        and [(d.name, d.box) for d in one.devices] == [(d.name, d.box) for d in other.devices]
    )


def joins_in(circuit: Circuit, box: str) -> Groups:
    """Return the joins in a box, with unconnected ends as joins of their own."""
    return [group for group in circuit.grouped_ends if group[0].box == box]


def routing_in(circuit: Circuit, box: str, edges: tuple[Edge, Edge]) -> tuple[Groups, Routing]:
    """Return the joins in a box and the track of each."""
    groups = joins_in(circuit, box)
    routing = route(pinned(groups, edges))
    if routing is None:
        raise BugError(f"the pins of box {box} stand in each other's way")
    return groups, routing


def plan(circuits: Sequence[Circuit]) -> FloorPlan:
    """Make a plan that fits all of `circuits`, in the order that suits the first.

    The circuits must have the same places, see `have_same_places`.
    """
    return _plan(tuple(circuits))


@lru_cache(maxsize=_PLANS_KEPT)
def _plan(circuits: tuple[Circuit, ...]) -> FloorPlan:
    """Make a plan once for all states: making it takes far longer than drawing by it."""
    tree = box_tree(circuits[0])
    rows = arranged_boxes(circuits, tree)
    boxes = [box.name for box in circuits[0].boxes]
    # Lines that run straight in one circuit may be in the way of lines of another.
    fitting = {box: gaps for box, gaps in rows.gaps.items() if _fits_all(rows, circuits, box)}
    rows = replace(rows, gaps=fitting)
    zones: dict[str, Zones] = {}
    sizes: dict[str, BoxSize] = {}
    for box in boxes:
        zones[box], sizes[box] = _measured(rows, circuits, box)
    return FloorPlan(
        rows, tree, zones, {box: size.width for box, size in sizes.items()}, placed(tree, sizes)
    )


def _fits_all(rows: BoxOrder, circuits: Sequence[Circuit], box: str) -> bool:
    return all(
        route(pinned(joins_in(circuit, box), replace(rows, circuit=circuit).edges(box))) is not None
        for circuit in circuits
    )


def _measured(rows: BoxOrder, circuits: Sequence[Circuit], box: str) -> tuple[Zones, BoxSize]:
    tracks, right, label_right = 1, 0.0, 0.0
    for circuit in circuits:
        edges = replace(rows, circuit=circuit).edges(box)
        tracks = max(tracks, routing_in(circuit, box, edges)[1].height)
        name_right = edges[0].right + name_width(box)
        right = max(right, edges[1].right, name_right)
        label_right = max(label_right, edges[0].label_right)
    above, below = edges
    on_top = {item.kind for item in above.items}
    at_bottom = {item.kind for item in below.items}
    zones = Zones(
        max(
            FEED_ZONE if "device" in on_top else NAME_ZONE,
            CABLE_ZONE if "cable" in on_top else 0,
        ),
        (tracks - 1) * TRACK + 2 * CHANNEL_EDGE,
        max(
            DEVICE_ZONE if at_bottom & {"device", "box"} else CHANNEL_EDGE,
            CABLE_ZONE if "cable" in at_bottom else 0,
        ),
    )
    width = right + BOX_MARGIN
    return zones, BoxSize(
        width,
        zones.above + zones.channel + zones.below,
        max(width, label_right),
        _middles(above),
        _middles(below),
    )


def name_width(box: str) -> float:
    """Return the room that the name of a box takes."""
    return min(LONGEST_BOX_NAME, max(text_width(box, LARGE, bold=True), 70))


def _middles(edge: Edge) -> dict[str, float]:
    return {
        item.name: start + item.width / 2
        for item, start in zip(edge.items, edge.starts, strict=True)
        if item.kind == "cable"
    }
