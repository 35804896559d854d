"""The signs of a picture are drawn the same way in the picture and in the legend."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import hypot
from typing import Final

from catalogue.drawing import style
from catalogue.drawing.dimensions import SMALL
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Band, Cap, Loose, Mark, Stroke, Trail, Wire
from catalogue.drawing.svg import element, number, path_data, text_element, titled

_ROUNDING: Final = 6.0
SCREW: Final = 5.5
_ARROWS_EVERY: Final = 46.0
_STROKES: Final = {
    "lead": (2.0, style.LEAD, None),
    "blade": (3.6, style.INK, None),
    "ghost": (1.8, style.SOFT, "4 4"),
    "failed": (3.0, style.FAULT, None),
    "welded": (5.0, style.FAULT, None),
    "light": (2.4, style.LIVE, None),
}


def _line(points: Sequence[Point], stroke: str, width: float, **more: object) -> str:
    return element(
        "path",
        d=path_data(points, _ROUNDING),
        fill="none",
        stroke=stroke,
        stroke_width=width,
        **more,
    )


def wires(
    lines: Sequence[Wire], ground: str | None = None, *, kind: str | None = "wire"
) -> Iterator[str]:
    """Draw lines that belong together: first what clears the ground around them, then the lines.

    `kind` is the class of the lines, by which pages and tests find them.
    """
    if ground is not None:
        for wire in lines:
            yield _line(wire.points, ground, style.CLEARING)
    for wire in lines:
        if wire.is_live:
            width = style.LIVE_WIDTH if ground else style.LIVE_WIDTH_IN_CABLE
            yield _line(wire.points, style.LIVE, width, stroke_dasharray="2 7")
    for wire in lines:
        yield _line(wire.points, style.paint(wire.colour).casing, style.casing_width(wire.colour))
    for wire in lines:
        paint = style.paint(wire.colour)
        yield _line(
            wire.points,
            paint.fill,
            min(style.WIRE, style.casing_width(wire.colour)),
            class_=kind,
            data_wire=wire.name or None,
            data_live="yes" if wire.is_live else None,
        )
        if paint.stripe:
            yield _line(wire.points, paint.stripe, style.WIRE, stroke_dasharray="7 7")


def dot(at: Point, fill: str) -> str:
    """Draw a splice."""
    return element(
        "circle", class_="dot", cx=at.x, cy=at.y, r=5.5, fill=fill, stroke=style.BOX, stroke_width=1
    )


def short_sign(points: Sequence[Point], *, kind: str | None = "wire") -> Iterator[str]:
    """Draw two conductors that touch."""
    yield element("path", d=path_data(points), class_=kind, stroke=style.FAULT, stroke_width=3.5)
    for point in points:
        yield dot(point, style.FAULT)


def break_sign(at: Point) -> Iterator[str]:
    """Draw the gap in a broken conductor."""
    return _cross(at, 6, style.FAULT)


def _cross(at: Point, half: float, stroke: str) -> Iterator[str]:
    for side in (-1, 1):
        yield element(
            "path",
            d=path_data([at.moved(-half, -half * side), at.moved(half, half * side)]),
            stroke=stroke,
            stroke_width=2.6,
        )


def screw(at: Point, radius: float = SCREW, *, is_landed: bool, **attributes: object) -> str:
    """Draw a terminal, hollow if nothing is landed on it."""
    return element(
        "circle",
        cx=at.x,
        cy=at.y,
        r=radius,
        fill=style.SCREW if is_landed else style.BOX,
        stroke=style.INK,
        stroke_width=1.6,
        stroke_dasharray=None if is_landed else "2.5 2",
        **attributes,
    )


def band(marking: Band) -> str:
    """Draw the marking of a re-identified conductor."""
    at = marking.at
    parts = [
        element("rect", x=at.x - 5.5, y=at.y - 6 + 5 * i, width=11, height=3, fill=style.INK)
        for i in range(3)
    ]
    return titled("Re-identified: not a neutral here", parts, class_="band")


def cap(closed: Cap) -> str:
    """Draw the cap on a conductor's end."""
    return titled(
        f"{closed.end.name.replace('.', ' ')} is connected to nothing here",
        [
            element(
                "path",
                d=f"M{number(closed.at.x - 6)} {number(closed.at.y)}h12"
                f"l-2.5 {'-' if closed.from_below else ''}9h-7z",
                fill="#ffffff",
                stroke=style.INK,
                stroke_width=1.8,
                stroke_linejoin="round",
            )
        ],
        class_="cap",
    )


def bad_contact(at: Point) -> str:
    """Draw a bad contact on an upright wire: a zigzag, as for a resistor."""
    steps = enumerate((0, -1, 1, -1, 1, -1, 0), -3)
    zigzag = [at.moved(5 * side, 3 * step) for step, side in steps]
    return element("path", d=path_data(zigzag), fill="none", stroke=style.FAULT, stroke_width=2.6)


def loose_sign(place: Loose) -> str:
    """Draw a bad contact and the word for it, upright where the next conductor is close."""
    x, y = place.at
    way: dict[str, object] = {"x": x + 9, "y": y + 4.5}
    if place.is_upright:
        turned = f"rotate(-90 {number(x + 16)} {number(y)})"
        way = {"x": x + 16, "y": y, "text_anchor": "middle", "transform": turned}
    word = text_element("loose", SMALL, {**way, "fill": style.FAULT}, bold=True)
    return titled(
        f"{place.end.name.replace('.', ' ')} is loose in its join",
        [bad_contact(place.at), word],
        class_="loose",
    )


def trail(way: Trail) -> Iterator[str]:
    """Draw arrow heads along a way, at least one on each piece."""
    for a, b in pairwise(way.points):
        length = hypot(b.x - a.x, b.y - a.y)
        if length < 12:
            continue
        ux, uy = (b.x - a.x) / length, (b.y - a.y) / length
        count = max(1, round(length / _ARROWS_EVERY))
        for place in range(count):
            share = (place + 0.5) / count
            x, y = a.x + (b.x - a.x) * share, a.y + (b.y - a.y) * share
            tip = Point(x + 6 * ux, y + 6 * uy)
            left = Point(x - 5 * ux - 6 * uy, y - 5 * uy + 6 * ux)
            right = Point(x - 5 * ux + 6 * uy, y - 5 * uy - 6 * ux)
            yield element(
                "path",
                d=f"{path_data([tip, left, right])}z",
                fill=style.INK,
                stroke=style.BOX,
                stroke_width=1.2,
            )


def mark(place: Mark) -> str:
    """Draw the number of a difference."""
    x, y = place.at
    where = {"x": x, "y": y + 4.5, "text_anchor": "middle", "fill": "#ffffff"}
    return element(
        "g",
        element(
            "circle",
            cx=place.at.x,
            cy=place.at.y,
            r=10,
            fill=style.FAULT,
            stroke="#ffffff",
            stroke_width=2,
        )
        + text_element(str(place.number), SMALL, where, bold=True),
        class_="mark",
    )


def stroke(line: Stroke, *, is_live: bool) -> Iterator[str]:
    """Draw a line of a symbol."""
    width, colour, dash = _STROKES[line.tone]
    if is_live and line.tone == "lead":
        yield element(
            "path",
            d=path_data(line.points),
            fill="none",
            stroke=style.LIVE,
            stroke_width=8,
            stroke_dasharray="2 7",
        )
    yield element(
        "path",
        d=path_data(line.points),
        fill="none",
        stroke=colour,
        stroke_width=width,
        stroke_dasharray=dash,
        stroke_linecap=None if dash else "round",
        stroke_linejoin="round",
    )
