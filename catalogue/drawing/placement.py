"""Boxes are placed in rows, each below the box it hangs on, and cables run without a crossing.

Cables leave a box at its lower edge and enter the next at its upper edge, in the same order from
left to right, so that between two rows they need only be shifted sideways. Boxes that do not fit
beside each other are set in several rows; cables to the lower rows pass on the left.
Cables beyond the tree of boxes, which only odd circuits have, go round on the right.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Final, NamedTuple

from catalogue.drawing.dimensions import (
    BETWEEN_BOXES,
    BETWEEN_RIBBONS,
    CABLE_LABEL_ZONE,
    MARGIN,
    PAGE_WIDTH,
    RIBBON_PITCH,
)
from catalogue.drawing.tree import BoxTree
from verify.circuit.parts import Cable

_SHEATH_WALL: Final = 7
_SMALLEST_GAP: Final = 24
#: A cable runs straight into a lane that is no farther than this from the edge.
_STRAIGHT_WITHIN: Final = 60


class Point(NamedTuple):
    """A place in a picture, y downwards."""

    x: float
    y: float

    def moved(self, dx: float, dy: float) -> "Point":
        """Return the place shifted by `dx` and `dy`."""
        return Point(self.x + dx, self.y + dy)


@dataclass(frozen=True, slots=True)
class BoxSize:
    """The size of a box, and where cables cross its edges, from the left.

    `needed_width` leaves room for the labels of its cables.
    """

    width: float
    height: float
    needed_width: float
    entries: Mapping[str, float]
    exits: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class CablePath:
    """A cable's middle line from the box above to the box below, of level and upright pieces."""

    cable: Cable
    points: tuple[Point, ...]
    labels: tuple[Point, ...]  # the upper left corner of each label


@dataclass(frozen=True, slots=True)
class Placement:
    """The upper left corner of each box, and the path of every cable."""

    boxes: Mapping[str, Point]
    runs: tuple[CablePath, ...]
    width: float
    height: float


def sheath_width(cable: Cable) -> float:
    """Return how broad a cable is drawn."""
    return RIBBON_PITCH * (len(cable.conductors) - 1) + 2 * _SHEATH_WALL


@dataclass(frozen=True, slots=True)
class _Block:
    """A box with everything that hangs on it; the box's own corner is at the origin."""

    width: float
    height: float
    boxes: Mapping[str, Point]
    runs: tuple[CablePath, ...]


@dataclass(frozen=True, slots=True)
class _Strand:
    """A cable on its way down through the rows: its points so far, the last one open."""

    cable: Cable
    child: str
    points: tuple[Point, ...]

    @property
    def x(self) -> float:
        return self.points[-1].x

    def through(self, level: float, x: float) -> "_Strand":
        """Return the strand shifted sideways to `x` at height `level`."""
        if x == self.x:
            return self
        return _Strand(
            self.cable, self.child, (*self.points, Point(self.x, level), Point(x, level))
        )


class _Placer:
    def __init__(self, tree: BoxTree, sizes: Mapping[str, BoxSize]) -> None:
        self.tree = tree
        self.sizes = sizes
        self.narrow = cache(lambda box: self.block(box, 0))

    def extra_zone(self, box: str) -> float:
        """Return the height that cables beyond the tree take above a box."""
        return sum(sheath_width(cable) + BETWEEN_RIBBONS for cable in self.tree.extras_at(box))

    def block(self, box: str, limit: float) -> _Block:
        size = self.sizes[box]
        strands = [
            _Strand(cable, child, (Point(size.exits[cable.name], size.height),))
            for child, bundle in self.tree.down[box].items()
            for cable in bundle
        ]
        boxes = {box: Point(0, 0)}
        runs: list[CablePath] = []
        width, bottom = size.needed_width, size.height
        for row in self._rows(list(self.tree.down[box]), limit):
            here = [strand for strand in strands if strand.child in row]
            passing = [strand for strand in strands if strand.child not in row]
            edge = 0.0
            targets = []
            for strand in passing:
                half = sheath_width(strand.cable) / 2
                is_near = edge + half <= strand.x <= edge + half + _STRAIGHT_WITHIN
                targets.append(strand.x if is_near else edge + half)
                edge = targets[-1] + half + BETWEEN_RIBBONS
            cursor = edge + BETWEEN_BOXES / 2 if passing else 0.0
            placed = []
            for place, child in enumerate(row):
                others = sum(self.narrow(other).width + BETWEEN_BOXES for other in row[place + 1 :])
                block = self._fitting(child, limit - cursor - others)
                own = [strand for strand in here if strand.child == child]
                entries = self.sizes[child].entries
                straight = own[0].x - entries[own[0].cable.name]
                x = max(cursor, straight) if straight + block.width + others <= limit else cursor
                placed.append((child, block, x))
                targets += [x + entries[strand.cable.name] for strand in own]
                cursor = x + block.width + BETWEEN_BOXES
            strands, levels = _shifted([*passing, *here], targets, bottom)
            zone = max(self.extra_zone(child) for child in row)
            top = bottom + levels + CABLE_LABEL_ZONE + zone
            for child, block, x in placed:
                boxes |= {name: at.moved(x, top) for name, at in block.boxes.items()}
                runs += [_moved(run, x, top) for run in block.runs]
                runs += [
                    _landed(strand, top, top - zone - CABLE_LABEL_ZONE)
                    for strand in strands
                    if strand.child == child
                ]
            strands = [strand for strand in strands if strand.child not in row]
            bottom = top + max(block.height for _, block, _ in placed)
            width = max(width, cursor - BETWEEN_BOXES)
        return _Block(width, bottom, boxes, tuple(runs))

    def _fitting(self, box: str, limit: float) -> _Block:
        narrow = self.narrow(box)
        return self.block(box, limit) if narrow.width < limit else narrow

    def _rows(self, children: list[str], limit: float) -> list[list[str]]:
        """Split the children, from the right, into rows of as many as fit beside each other."""
        rows: list[list[str]] = []
        while children:
            row = [children.pop()]
            while children and self._row_width([children[-1], *row], children[:-1]) <= limit:
                row.insert(0, children.pop())
            rows.append(row)
        return rows

    def _row_width(self, row: Sequence[str], passing: Sequence[str]) -> float:
        lanes = sum(
            sheath_width(cable) + BETWEEN_RIBBONS
            for child in passing
            for cable in self.tree.up[child]
        )
        return lanes + sum(self.narrow(child).width + BETWEEN_BOXES for child in row)


def _landed(strand: _Strand, top: float, label: float) -> CablePath:
    points = (*strand.points, Point(strand.x, top))
    return CablePath(strand.cable, points, (_beside(strand.cable, strand.x, label),))


def _beside(cable: Cable, x: float, y: float) -> Point:
    """Return the place of a label on the right of a cable."""
    return Point(x + sheath_width(cable) / 2 + 7, y)


def _moved(run: CablePath, dx: float, dy: float) -> CablePath:
    return CablePath(
        run.cable,
        tuple(p.moved(dx, dy) for p in run.points),
        tuple(at.moved(dx, dy) for at in run.labels),
    )


def _shifted(
    strands: Sequence[_Strand], targets: Sequence[float], top: float
) -> tuple[list[_Strand], float]:
    """Shift every strand to its target without a crossing; return also the height this takes.

    Strands that go left are shifted from left to right, each below the one before; those that go
    right are shifted from right to left.
    """
    pairs = list(zip(strands, targets, strict=True))
    levels: dict[str, float] = {}
    heights = []
    for order, goes in ((pairs, -1), (pairs[::-1], 1)):
        y = top + _SMALLEST_GAP / 2
        for strand, target in order:
            if (target - strand.x) * goes > 0:
                half = sheath_width(strand.cable) / 2
                levels[strand.cable.name] = y + half
                y += 2 * half + BETWEEN_RIBBONS
        heights.append(y - top)
    shifted = [
        strand.through(levels.get(strand.cable.name, top), target) for strand, target in pairs
    ]
    return shifted, max(heights)


def placed(tree: BoxTree, sizes: Mapping[str, BoxSize]) -> Placement:
    """Place all boxes and cables."""
    placer = _Placer(tree, sizes)
    # Cables that go round need room on the right of every box.
    limit = 0 if tree.extras else PAGE_WIDTH - 2 * MARGIN
    boxes: dict[str, Point] = {}
    runs: list[CablePath] = []
    y, width = float(MARGIN), 0.0
    for root in tree.roots:
        block = placer.block(root, limit)
        if tree.extras_at(root):
            y += placer.extra_zone(root) + CABLE_LABEL_ZONE
        boxes |= {name: at.moved(MARGIN, y) for name, at in block.boxes.items()}
        runs += [_moved(run, MARGIN, y) for run in block.runs]
        y += block.height + BETWEEN_BOXES
        width = max(width, block.width)
    height = y - BETWEEN_BOXES + MARGIN
    width += 2 * MARGIN
    levels = {box: at.y - placer.extra_zone(box) for box, at in boxes.items()}
    for cable in tree.extras:
        half = sheath_width(cable) / 2
        lane = width + half
        ends, labels = [], []
        for box in cable.between:
            entry = boxes[box].x + sizes[box].entries[cable.name]
            level = levels[box] + half
            levels[box] += 2 * half + BETWEEN_RIBBONS
            ends.append((entry, level, boxes[box].y))
            label = boxes[box].y - placer.extra_zone(box) - CABLE_LABEL_ZONE
            labels.append(_beside(cable, entry, label))
        (ax, ay, a_top), (bx, by, b_top) = ends
        points = (
            Point(ax, a_top),
            Point(ax, ay),
            Point(lane, ay),
            Point(lane, by),
            Point(bx, by),
            Point(bx, b_top),
        )
        runs.append(CablePath(cable, points, tuple(labels)))
        width = lane + half + BETWEEN_RIBBONS
    if tree.extras:
        width += MARGIN
    return Placement(boxes, tuple(runs), width, height)


def ribbon(points: Sequence[Point], offset: float) -> tuple[Point, ...]:
    """Return a line beside another one of level and upright pieces, `offset` to its right.

    Right is meant as seen along its first piece, if that goes down.
    """
    shifts = []
    for a, b in pairwise(points):
        # The side on the right of a piece that goes down stays the same side round each corner.
        if a.x == b.x:
            shifts.append((offset if b.y > a.y else -offset, 0.0))
        else:
            shifts.append((0.0, -offset if b.x > a.x else offset))
    moved = []
    for number, point in enumerate(points):
        before = shifts[max(0, number - 1)]
        after = shifts[min(number, len(shifts) - 1)]
        moved.append(point.moved(before[0] or after[0], before[1] or after[1]))
    return tuple(moved)
