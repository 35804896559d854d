"""Sketches of layouts, and the shapes of layouts that somebody can tell apart.

Nobody can see from a room which switch the current meets first, so a shape leaves it open: its
switches have letters, A nearest to the feed, and all ways to number them are one shape.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from catalogue.pages.contract import Facts
from verify.layout.enumeration import LAMP_BOX, Layout, layouts
from verify.layout.routing import ROOT

LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_STEP: Final = (
    58,
    46,
)  # the distances from a box to one that hangs on it, and to the next beside it
_EDGE: Final = 22
_FEED: Final = 34  # the room for the feed's arrow


def letters(switches: int) -> list[str]:
    """Return the letters of that many switches."""
    return list(LETTERS[:switches])


@dataclass(frozen=True, slots=True)
class Shape:
    """A layout whose numbers are places: place 1 is that of switch A, and so on."""

    layout: Layout

    def numbered(self) -> Iterator[tuple[Layout, tuple[int, ...]]]:
        """Yield every layout of this shape, with the place of each of its switches in order."""
        for places in itertools.permutations(range(1, self.layout.locations + 1)):
            yield _renumbered(self.layout, places), places

    def in_words(self) -> str:
        """Return where the feed arrives and which cables lead where, in words."""
        names = ["the lamp", *letters(self.layout.locations)]
        below = _below(self.layout)
        root, *others = _outwards(self.layout)
        parts = [f"Feed at {names[root]}"]
        for box in (root, *others):
            *most, last = [names[other] for other in below[box]] or [""]
            if last:
                onward = f"{', '.join(most)} and {last}" if most else last
                parts.append(f"from {names[box]} on to {onward}")
        return "; ".join(parts)

    def sketch(self) -> Facts:
        """Return its sketch, see `sketch`."""
        return sketch(self.layout, letters(self.layout.locations), self.in_words())


def sketch(layout: Layout, names: Sequence[str], words: str) -> Facts:
    """Return boxes and cables with their places, in the units of an SVG picture.

    `names` are those of the switches, `words` describe the same in words.
    """
    below = _below(layout)
    root = layout.parents.index(ROOT)
    at: dict[int, tuple[int, int]] = {}
    rows = itertools.count()

    def put(box: int, depth: int) -> int:
        heights = [put(other, depth + 1) for other in below[box]]
        row = (heights[0] + heights[-1]) // 2 if heights else next(rows) * _STEP[1]
        at[box] = (_FEED + _EDGE + depth * _STEP[0], _EDGE + row)
        return row

    put(root, 0)
    return {
        "width": max(x for x, _ in at.values()) + _EDGE,
        "height": max(y for _, y in at.values()) + _EDGE,
        "feed": {"x": at[root][0], "y": at[root][1]},
        "boxes": [
            {"x": x, "y": y, "name": ["lamp", *names][box], "is_lamp": box == LAMP_BOX}
            for box, (x, y) in sorted(at.items())
        ],
        "cables": [
            {"x1": at[box][0], "y1": at[box][1], "x2": at[other][0], "y2": at[other][1]}
            for box in at
            for other in below[box]
        ],
        "words": words,
    }


@cache
def shapes(locations: int) -> tuple[Shape, ...]:
    """Return all shapes of a size: those with the feed at the lamp first, then by depth."""
    seen: set[Layout] = set()
    found = []
    for layout in layouts(locations):
        if layout in seen:
            continue
        alike = {other for other, _ in Shape(layout).numbered()}
        seen |= alike
        found.append(Shape(min(alike, key=_lettering)))
    return tuple(sorted(found, key=lambda shape: _order(shape.layout)))


def _lettering(layout: Layout) -> tuple[list[int], tuple[int, ...]]:
    """Return a sort key, which is smaller the more the numbers rise from the feed outwards."""
    return [box for box in _outwards(layout) if box != LAMP_BOX], layout.parents


def _order(layout: Layout) -> tuple[object, ...]:
    depths = _depths(layout)
    lamp = depths[LAMP_BOX]
    return lamp > 0, -max(depths.values()), -len(_below(layout)[_outwards(layout)[0]]), lamp


def _depths(layout: Layout) -> dict[int, int]:
    depths: dict[int, int] = {}
    for box in _outwards(layout):
        parent = layout.parents[box]
        depths[box] = 0 if parent == ROOT else depths[parent] + 1
    return depths


def _below(layout: Layout) -> list[list[int]]:
    boxes = range(len(layout.parents))
    return [[other for other in boxes if layout.parents[other] == box] for box in boxes]


def _outwards(layout: Layout) -> list[int]:
    """Return the boxes outwards from that of the feed, nearer ones before farther ones."""
    below = _below(layout)
    queue = [layout.parents.index(ROOT)]
    for box in queue:
        queue += below[box]
    return queue


def _renumbered(layout: Layout, places: Sequence[int]) -> Layout:
    """Return the layout in which place `places[i - 1]` of `layout` has the number i."""
    number = {LAMP_BOX: LAMP_BOX, ROOT: ROOT}
    number |= {place: i for i, place in enumerate(places, 1)}
    parents = [ROOT] * len(layout.parents)
    for box, parent in enumerate(layout.parents):
        parents[number[box]] = number[parent]
    return Layout(tuple(parents))
