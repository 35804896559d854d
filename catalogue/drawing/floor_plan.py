"""Everything about a picture that does not depend on what is joined to what.

One plan can serve several circuits of the same parts, such as a wiring as intended and as found:
then everything stands in the same place in both pictures.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from catalogue.drawing.box_order import BoxOrder, Edge, arranged_rows, pinned
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
    """The heights in a box: from its top to the channel, the channel, and from it to the bottom."""

    above: float
    channel: float
    below: float


@dataclass(frozen=True, slots=True)
class FloorPlan:
    """Where boxes, cables and devices are, for circuits of the same parts."""

    rows: BoxOrder
    tree: BoxTree
    zones: Mapping[str, Zones]
    widths: Mapping[str, float]
    placement: Placement

    def edges(self, circuit: Circuit, box: str) -> tuple[Edge, Edge]:
        """The pins of a box."""
        return replace(self.rows, circuit=circuit).edges(box)


def have_same_places(one: Circuit, other: Circuit) -> bool:
    """True if the two differ only in what is joined, has failed, or is of another kind."""
    return (
        one.boxes == other.boxes
        and one.cables == other.cables
        and [(d.name, d.box) for d in one.devices] == [(d.name, d.box) for d in other.devices]
    )


def joins_in(circuit: Circuit, box: str) -> Groups:
    """The joins in a box, unconnected ends included."""
    return [group for group in circuit.grouped_ends if group[0].box == box]


def routing_in(circuit: Circuit, box: str, edges: tuple[Edge, Edge]) -> tuple[Groups, Routing]:
    """The joins in a box with the track of each."""
    groups = joins_in(circuit, box)
    routing = route(pinned(groups, edges))
    if routing is None:
        raise BugError(f"the pins of box {box} stand in each other's way")
    return groups, routing


def plan(circuits: Sequence[Circuit]) -> FloorPlan:
    """A plan that fits all of `circuits`, in the order that suits the first.

    They must have the same places, see `have_same_places`.
    """
    return _plan(tuple(circuits))


@lru_cache(maxsize=_PLANS_KEPT)
def _plan(circuits: tuple[Circuit, ...]) -> FloorPlan:
    """A plan takes far longer than to draw by it, and every state is drawn by the same."""
    tree = box_tree(circuits[0])
    rows = arranged_rows(circuits, tree)
    boxes = [box.name for box in circuits[0].boxes]
    # Lines that run straight in one circuit may be in the way of another's.
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
    """The room for the name of a box."""
    return min(LONGEST_BOX_NAME, max(text_width(box, LARGE, bold=True), 70))


def _middles(edge: Edge) -> dict[str, float]:
    return {
        item.name: start + item.width / 2
        for item, start in zip(edge.items, edge.starts, strict=True)
        if item.kind == "cable"
    }
