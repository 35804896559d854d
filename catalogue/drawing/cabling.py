"""Cables in a picture: sheaths, the conductors in them from box to box, and failed conductors."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from catalogue.drawing.box_order import cable_label
from catalogue.drawing.dimensions import RIBBON_PITCH, SMALL, SPREAD, WIDEST_CABLE_LABEL
from catalogue.drawing.floor_plan import FloorPlan
from catalogue.drawing.placement import CablePath, Point, ribbon, sheath_width
from catalogue.drawing.scene import Caption, Sheath, Wire
from catalogue.drawing.state_view import StateView
from catalogue.drawing.text import fitted
from verify.base.problems import BugError
from verify.circuit.model import Circuit
from verify.circuit.parts import End, conductor_name

_HALF_BREAK: Final = 7


@dataclass(frozen=True, slots=True)
class Place:
    """The place of an end in its box: where its line begins, and on which side of the channel.

    `colour` is that of its insulation, None for a terminal.
    """

    at: Point
    above: bool
    colour: str | None

    @property
    def inwards(self) -> int:
        """The direction from the end to the channel: 1 is downwards, -1 upwards."""
        return 1 if self.above else -1


class Cabling:
    """The cables of one circuit, once the places of their conductors in the boxes are known."""

    def __init__(
        self, circuit: Circuit, plan: FloorPlan, view: StateView, places: Mapping[End, Place]
    ) -> None:
        self.circuit = circuit
        self.plan = plan
        self.view = view
        self.places = places
        self.runs = {run.cable.name: run for run in plan.placement.runs}
        self.conductors: dict[str, tuple[Point, ...]] = {}

    def sheaths(self) -> Iterator[Sheath]:
        """Yield every cable with its conductors."""
        for run in self.plan.placement.runs:
            yield self._sheath(run)

    def _sheath(self, run: CablePath) -> Sheath:
        cable = run.cable
        start_box, end_box = self._boxes_along(run)
        middle = self._middle_line(run, start_box, end_box)
        lines = {
            colour: self._conductor(cable.name, colour, middle, offset, start_box, end_box)
            for colour, offset in self._offsets(run)
        }
        for colour, points in lines.items():
            self.conductors[conductor_name(cable.name, colour)] = points
        name, facts = cable_label(cable)
        label = []
        for corner in run.labels:
            for line, text in enumerate(filter(None, (name, facts))):
                short, full = fitted(text, WIDEST_CABLE_LABEL, SMALL)
                at = corner.moved(0, 15 + 15 * line)
                label.append(Caption(at, short, SMALL, "start", False, "soft", full))
        conductors: list[Wire] = []
        breaks, shorts = self._failures_in(run)
        for colour, points in lines.items():
            wire_name = conductor_name(cable.name, colour)
            live = [End(box, wire_name) in self.view.live for box in (start_box, end_box)]
            pieces = _cut(points, breaks[colour]) if colour in breaks else [points]
            conductors += (
                Wire(piece, colour, wire_name, is_live)
                for piece, is_live in zip(pieces, live, strict=False)
            )
        return Sheath(
            cable.name,
            f"Cable {cable.name} between {cable.between[0]} and {cable.between[1]}: "
            f"{', '.join(cable.conductors)}",
            middle,
            sheath_width(cable),
            tuple(label),
            tuple(conductors),
            tuple(breaks.values()),
            tuple(shorts),
        )

    def _boxes_along(self, run: CablePath) -> tuple[str, str]:
        """Return the box where the run begins and the one where it ends."""
        one, other = run.cable.between
        if run.cable in self.plan.tree.up[one]:
            return other, one
        return one, other

    def _middle_line(self, run: CablePath, start_box: str, end_box: str) -> tuple[Point, ...]:
        """Return the run with its pieces inside the boxes, up to where the conductors spread."""
        first, *between, last = run.points
        colour = run.cable.conductors[0]
        ends = []
        for point, box in ((first, start_box), (last, end_box)):
            place = self.places[End(box, conductor_name(run.cable.name, colour))]
            ends.append(Point(point.x, place.at.y - place.inwards * SPREAD))
        return (ends[0], *between, ends[1])

    def _offsets(self, run: CablePath) -> Iterator[tuple[str, float]]:
        order = self.plan.rows.colours[run.cable.name]
        for number, colour in enumerate(order):
            yield colour, RIBBON_PITCH * (number - (len(order) - 1) / 2)

    def _conductor(
        self,
        cable: str,
        colour: str,
        middle: Sequence[Point],
        offset: float,
        start_box: str,
        end_box: str,
    ) -> tuple[Point, ...]:
        name = conductor_name(cable, colour)
        return (
            self.places[End(start_box, name)].at,
            *ribbon(middle, offset),
            self.places[End(end_box, name)].at,
        )

    def spots(self, run: CablePath, count: int) -> list[tuple[Point, Point]]:
        """Return places on the longest piece of a cable, from its first box, with directions."""
        start_box, end_box = self._boxes_along(run)
        middle = self._middle_line(run, start_box, end_box)
        a, b = max(pairwise(middle), key=_length)
        spots = []
        for number in range(count):
            share = (number + 1) / (count + 1)
            if start_box != run.cable.between[0]:
                share = 1 - share
            spots.append(
                (
                    Point(a.x + (b.x - a.x) * share, a.y + (b.y - a.y) * share),
                    Point((b.x > a.x) - (b.x < a.x), (b.y > a.y) - (b.y < a.y)),
                )
            )
        return spots

    def _failures_in(self, run: CablePath) -> tuple[dict[str, Point], list[Wire]]:
        """Return where conductors are broken, by colour, and the lines that stand for shorts.

        Shorts are drawn nearer to the cable's first box, since the engines place them there.
        """
        name = run.cable.name
        here = [
            failure
            for kind in ("conductors-shorted", "conductor-open")
            for failure in self.circuit.failures
            if failure.kind == kind and failure.at[0].partition(".")[0] == name
        ]
        offsets = dict(self._offsets(run))
        breaks: dict[str, Point] = {}
        shorts = []
        for failure, (spot, way) in zip(here, self.spots(run, len(here)), strict=True):
            # Offsets go to the side that `ribbon` calls right.
            across = [
                spot.moved(way.y * offset, -way.x * offset)
                for offset in (offsets[part.partition(".")[2]] for part in failure.at)
            ]
            if failure.kind == "conductor-open":
                breaks[failure.at[0].partition(".")[2]] = across[0]
            else:
                live = End(run.cable.between[0], failure.at[0]) in self.view.live
                shorts.append(Wire(tuple(across), None, " + ".join(failure.at), live))
        return breaks, shorts


def _length(piece: tuple[Point, Point]) -> float:
    (ax, ay), (bx, by) = piece
    return abs(ax - bx) + abs(ay - by)


def _cut(points: Sequence[Point], at: Point) -> list[tuple[Point, ...]]:
    """Return a line with a gap at a point that lies on one of its level or upright pieces."""
    for number, (a, b) in enumerate(pairwise(points)):
        on_upright = a.x == b.x == at.x and min(a.y, b.y) <= at.y <= max(a.y, b.y)
        on_level = a.y == b.y == at.y and min(a.x, b.x) <= at.x <= max(a.x, b.x)
        if on_upright or on_level:
            dx = (b.x > a.x) - (b.x < a.x)
            dy = (b.y > a.y) - (b.y < a.y)
            before = at.moved(-dx * _HALF_BREAK, -dy * _HALF_BREAK)
            after = at.moved(dx * _HALF_BREAK, dy * _HALF_BREAK)
            return [(*points[: number + 1], before), (after, *points[number + 1 :])]
    raise BugError(f"a break at {at} is not on its conductor")
