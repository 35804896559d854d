"""How each thing in a scene is painted, from the back to the front."""

from collections.abc import Iterator, Sequence, Set
from itertools import pairwise
from math import hypot
from typing import Final
from xml.sax.saxutils import escape

from catalogue.drawing import look
from catalogue.drawing.ladder import Diagram
from catalogue.drawing.measures import SMALL
from catalogue.drawing.place import Point
from catalogue.drawing.scene import (
    Band,
    Cap,
    Disc,
    Frame,
    Join,
    Mark,
    Scene,
    Sheath,
    Sleeve,
    Stroke,
    Symbol,
    Terminal,
    Trail,
    Wire,
    Words,
)
from catalogue.drawing.svg import element, number, path_data, titled, words
from catalogue.drawing.text import sleeve_width

_ROUNDING: Final = 6.0
_LARGE_DISC: Final = 10  # lamps, which have lines in them
_SCREW: Final = 5.5
_SMALL_SCREW: Final = 3.2
_ARROWS_EVERY: Final = 46.0
_STROKES: Final = {
    "lead": (2.0, look.LEAD, None),
    "blade": (3.6, look.INK, None),
    "ghost": (1.8, look.SOFT, "4 4"),
    "failed": (3.0, look.FAULT, None),
    "welded": (5.0, look.FAULT, None),
    "light": (2.4, look.LIVE, None),
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
    """Lines that belong together: first what clears the ground around them, then the lines.

    `kind` is the class of the lines, by which pages and tests find them.
    """
    if ground is not None:
        for wire in lines:
            yield _line(wire.points, ground, look.CLEARING)
    for wire in lines:
        if wire.is_live:
            width = look.LIVE_WIDTH if ground else look.LIVE_WIDTH_IN_CABLE
            yield _line(wire.points, look.LIVE, width, stroke_dasharray="2 7")
    for wire in lines:
        yield _line(wire.points, look.paint(wire.colour).casing, look.casing_width(wire.colour))
    for wire in lines:
        paint = look.paint(wire.colour)
        yield _line(
            wire.points,
            paint.fill,
            min(look.WIRE, look.casing_width(wire.colour)),
            class_=kind,
            data_wire=wire.name or None,
            data_live="yes" if wire.is_live else None,
        )
        if paint.stripe:
            yield _line(wire.points, paint.stripe, look.WIRE, stroke_dasharray="7 7")


def _frame(frame: Frame) -> Iterator[str]:
    box = {
        "x": frame.corner.x,
        "y": frame.corner.y,
        "width": frame.width,
        "height": frame.height,
    }
    if frame.is_metal:
        yield element("rect", **box, fill=look.BOX, stroke=look.METAL, stroke_width=6)
        yield element(
            "rect", **box, fill="none", stroke="#ffffff", stroke_width=2, stroke_dasharray="10 6"
        )
    else:
        yield element("rect", **box, rx=12, fill=look.BOX, stroke=look.EDGE, stroke_width=2)


def _sheath(sheath: Sheath) -> Iterator[str]:
    for width, stroke in ((sheath.width + 3, look.SHEATH_EDGE), (sheath.width, look.SHEATH)):
        yield element(
            "path",
            d=path_data(sheath.points, 14),
            fill="none",
            stroke=stroke,
            stroke_width=width,
            stroke_linejoin="round",
        )


def _conductors(sheath: Sheath) -> Iterator[str]:
    for wire in sheath.conductors:
        yield titled(
            f"{wire.name.replace('.', ' ')}{', live' if wire.is_live else ''}",
            wires([wire]),
            class_="conductor",
        )
    for wire in sheath.shorts:
        yield titled(f"Short between {wire.name}", short_sign(wire.points))
    for point in sheath.breaks:
        yield titled("Broken conductor", break_sign(point))


def short_sign(points: Sequence[Point], *, kind: str | None = "wire") -> Iterator[str]:
    """Two conductors that touch."""
    yield element("path", d=path_data(points), class_=kind, stroke=look.FAULT, stroke_width=3.5)
    for point in points:
        yield dot(point, look.FAULT)


def break_sign(at: Point) -> Iterator[str]:
    """The gap in a broken conductor."""
    return _cross(at, 6, look.FAULT)


def _cross(at: Point, half: float, stroke: str) -> Iterator[str]:
    for side in (-1, 1):
        yield element(
            "path",
            d=path_data([at.moved(-half, -half * side), at.moved(half, half * side)]),
            stroke=stroke,
            stroke_width=2.6,
        )


def dot(at: Point, fill: str) -> str:
    """A splice."""
    return element(
        "circle", class_="dot", cx=at.x, cy=at.y, r=5.5, fill=fill, stroke=look.BOX, stroke_width=1
    )


def joined(join: Join, ground: str = look.BOX) -> Iterator[str]:
    """The lines of a join and its dots, on a ground of that colour."""
    yield from wires(join.wires, ground)
    for point in join.dots:
        yield dot(point, look.INK)


def _symbol(symbol: Symbol) -> Iterator[str]:
    yield element(
        "rect",
        x=symbol.corner.x + 3,
        y=symbol.corner.y,
        width=symbol.width - 6,
        height=symbol.height,
        rx=7,
        fill=look.BODY,
        stroke=look.EDGE,
        stroke_width=1.4,
    )
    strip_top = (
        symbol.corner.y if symbol.strip > 0 else symbol.corner.y + symbol.height + symbol.strip
    )
    yield element(
        "rect",
        x=symbol.corner.x + 3.7,
        y=strip_top + 0.7,
        width=symbol.width - 7.4,
        height=abs(symbol.strip) - 1.4,
        rx=6,
        fill=look.STRIP,
    )
    yield from drawing(symbol.strokes, symbol.discs, symbol.live)
    for text in symbol.words:
        yield words(text)
    for terminal in symbol.terminals:
        yield _terminal(terminal)


def drawing(
    strokes: Sequence[Stroke], discs: Sequence[Disc], live: Set[str] = frozenset()
) -> Iterator[str]:
    """The lines and circles of symbols; `live` are the terminals at line voltage."""
    yield from (circle(disc) for disc in discs if disc.radius > _LARGE_DISC)
    for line in strokes:
        yield from stroke(line, is_live=line.terminal in live)
    yield from (circle(disc) for disc in discs if disc.radius <= _LARGE_DISC)


def stroke(line: Stroke, *, is_live: bool) -> Iterator[str]:
    """A line of a symbol."""
    width, colour, dash = _STROKES[line.tone]
    if is_live and line.tone == "lead":
        yield element(
            "path",
            d=path_data(line.points),
            fill="none",
            stroke=look.LIVE,
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


def circle(disc: Disc) -> str:
    """A circle of a symbol."""
    fill = {"outline": look.BODY, "solid": look.INK, "lit": look.LIT}[disc.tone]
    return element(
        "circle",
        cx=disc.centre.x,
        cy=disc.centre.y,
        r=disc.radius,
        fill="none" if disc.radius > _LARGE_DISC and disc.tone == "outline" else fill,
        stroke=look.INK,
        stroke_width=2,
    )


def screw(at: Point, radius: float = _SCREW, *, is_landed: bool, **attributes: object) -> str:
    """A terminal, hollow if nothing is landed on it."""
    return element(
        "circle",
        cx=at.x,
        cy=at.y,
        r=radius,
        fill=look.SCREW if is_landed else look.BOX,
        stroke=look.INK,
        stroke_width=1.6,
        stroke_dasharray=None if is_landed else "2.5 2",
        **attributes,
    )


def _terminal(terminal: Terminal, radius: float = _SCREW) -> str:
    return screw(
        terminal.at,
        radius,
        is_landed=terminal.is_landed,
        class_="terminal",
        data_end=terminal.end.name,
        data_box=terminal.end.box,
    )


def _sleeve(sleeve: Sleeve) -> str:
    width = sleeve_width(sleeve.text)
    return element(
        "g",
        element("title", escape(sleeve.end.name.replace(".", " ")))
        + element(
            "rect",
            x=sleeve.at.x - width / 2,
            y=sleeve.at.y - 9,
            width=width,
            height=18,
            rx=4,
            fill="#ffffff",
            stroke=look.SOFT,
            stroke_width=1,
        )
        + words(Words(sleeve.at.moved(0, 4.6), sleeve.text, SMALL, "middle")),
        class_="sleeve",
        data_end=sleeve.end.name,
        data_box=sleeve.end.box,
        data_x=sleeve.at.x,
        data_y=sleeve.at.y,
    )


def band(marking: Band) -> str:
    """The marking of a re-identified conductor."""
    at = marking.at
    parts = [
        element("rect", x=at.x - 5.5, y=at.y - 6 + 5 * i, width=11, height=3, fill=look.INK)
        for i in range(3)
    ]
    return titled("Re-identified: not a neutral here", parts, class_="band")


def cap(closed: Cap) -> str:
    """The cap on a conductor's end."""
    return titled(
        f"{closed.end.name.replace('.', ' ')} is connected to nothing here",
        [
            element(
                "path",
                d=f"M{number(closed.at.x - 6)} {number(closed.at.y)}h12"
                f"l-2.5 {'-' if closed.from_below else ''}9h-7z",
                fill="#ffffff",
                stroke=look.INK,
                stroke_width=1.8,
                stroke_linejoin="round",
            )
        ],
        class_="cap",
    )


def trail(way: Trail) -> Iterator[str]:
    """Arrow heads along a way, at least one on each piece."""
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
                fill=look.INK,
                stroke=look.BOX,
                stroke_width=1.2,
            )


def mark(place: Mark) -> str:
    """The number of a difference."""
    return element(
        "g",
        element(
            "circle",
            cx=place.at.x,
            cy=place.at.y,
            r=10,
            fill=look.FAULT,
            stroke="#ffffff",
            stroke_width=2,
        )
        + element(
            "text",
            str(place.number),
            x=place.at.x,
            y=place.at.y + 4.5,
            font_size=13,
            font_weight="bold",
            text_anchor="middle",
            fill="#ffffff",
        ),
        class_="mark",
    )


def scene_content(scene: Scene) -> Iterator[str]:
    """Everything in a scene, from the back to the front."""
    for frame in scene.frames:
        yield titled(f"Box {frame.name}", _frame(frame), class_="box")
    for sheath in scene.sheaths:
        yield titled(sheath.title, _sheath(sheath), class_="cable", data_cable=sheath.name)
    for sheath in scene.sheaths:
        yield from _conductors(sheath)
    for join in scene.joins:
        if join.wires:
            yield element("g", "".join(joined(join)), class_="join")
    for symbol in scene.symbols:
        yield titled(symbol.description, _symbol(symbol), class_="device")
    yield from map(band, scene.bands)
    yield from map(_sleeve, scene.sleeves)
    yield from map(cap, scene.caps)
    for frame in scene.frames:
        yield from map(words, frame.label)
    for sheath in scene.sheaths:
        yield from map(words, sheath.label)
    for way in scene.trails:
        yield from trail(way)
    yield from map(mark, scene.marks)


def ladder_content(ladder: Diagram) -> Iterator[str]:
    """Everything in a schematic, from the back to the front."""
    for join in ladder.joins:
        if join.wires:
            title = ", ".join(end.name.replace(".", " ") for end in join.ends)
            yield titled(title, joined(join, look.GROUND), class_="join")
    yield from drawing(ladder.strokes, ladder.discs)
    yield from map(words, ladder.words)
    for terminal in ladder.terminals:
        yield _terminal(terminal, _SMALL_SCREW)
