"""Each thing in a scene is painted here, from the back to the front."""

from collections.abc import Iterator, Sequence, Set
from typing import Final
from xml.sax.saxutils import escape

from catalogue.drawing import style
from catalogue.drawing.dimensions import SMALL
from catalogue.drawing.ladder import Diagram
from catalogue.drawing.scene import (
    BoxFrame,
    Caption,
    Disc,
    DrawnJoin,
    Scene,
    Sheath,
    Sleeve,
    Stroke,
    Symbol,
    Terminal,
)
from catalogue.drawing.signs import (
    SCREW,
    band,
    break_sign,
    cap,
    dot,
    loose_sign,
    mark,
    screw,
    short_sign,
    stroke,
    trail,
    wires,
)
from catalogue.drawing.svg import element, path_data, titled, words
from catalogue.drawing.text import sleeve_width

_LARGE_DISC: Final = 10  # the circles of lamps have lines in them
_SMALL_SCREW: Final = 3.2


def _frame(frame: BoxFrame) -> Iterator[str]:
    box = {
        "x": frame.corner.x,
        "y": frame.corner.y,
        "width": frame.width,
        "height": frame.height,
    }
    if frame.is_metal:
        yield element("rect", **box, fill=style.BOX, stroke=style.METAL, stroke_width=6)
        yield element(
            "rect", **box, fill="none", stroke="#ffffff", stroke_width=2, stroke_dasharray="10 6"
        )
    else:
        yield element("rect", **box, rx=12, fill=style.BOX, stroke=style.EDGE, stroke_width=2)


def _sheath(sheath: Sheath) -> Iterator[str]:
    for width, colour in ((sheath.width + 3, style.SHEATH_EDGE), (sheath.width, style.SHEATH)):
        yield element(
            "path",
            d=path_data(sheath.points, 14),
            fill="none",
            stroke=colour,
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


def joined(join: DrawnJoin, ground: str = style.BOX) -> Iterator[str]:
    """Paint the lines of a join and its dots, on a ground of that colour."""
    yield from wires(join.wires, ground)
    for point in join.dots:
        yield dot(point, style.INK)


def _symbol(symbol: Symbol) -> Iterator[str]:
    yield element(
        "rect",
        x=symbol.corner.x + 3,
        y=symbol.corner.y,
        width=symbol.width - 6,
        height=symbol.height,
        rx=7,
        fill=style.BODY,
        stroke=style.EDGE,
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
        fill=style.STRIP,
    )
    yield from drawing(symbol.strokes, symbol.discs, symbol.live)
    for text in symbol.words:
        yield words(text)
    for terminal in symbol.terminals:
        yield _terminal(terminal)


def drawing(
    strokes: Sequence[Stroke], discs: Sequence[Disc], live: Set[str] = frozenset()
) -> Iterator[str]:
    """Paint the lines and circles of symbols; `live` are the terminals at line voltage."""
    yield from (circle(disc) for disc in discs if disc.radius > _LARGE_DISC)
    for line in strokes:
        yield from stroke(line, is_live=line.terminal in live)
    yield from (circle(disc) for disc in discs if disc.radius <= _LARGE_DISC)


def circle(disc: Disc) -> str:
    """Paint a circle of a symbol."""
    fill = {"outline": style.BODY, "solid": style.INK, "lit": style.LIT}[disc.tone]
    return element(
        "circle",
        cx=disc.centre.x,
        cy=disc.centre.y,
        r=disc.radius,
        fill="none" if disc.radius > _LARGE_DISC and disc.tone == "outline" else fill,
        stroke=style.INK,
        stroke_width=2,
    )


def _terminal(terminal: Terminal, radius: float = SCREW) -> str:
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
            stroke=style.SOFT,
            stroke_width=1,
        )
        + words(Caption(sleeve.at.moved(0, 4.6), sleeve.text, SMALL, "middle")),
        class_="sleeve",
        data_end=sleeve.end.name,
        data_box=sleeve.end.box,
        data_x=sleeve.at.x,
        data_y=sleeve.at.y,
    )


def scene_content(scene: Scene) -> Iterator[str]:
    """Paint everything in a scene, from the back to the front."""
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
    yield from map(loose_sign, scene.loose)
    for frame in scene.frames:
        yield from map(words, frame.label)
    for sheath in scene.sheaths:
        yield from map(words, sheath.label)
    for way in scene.trails:
        yield from trail(way)
    yield from map(mark, scene.marks)


def ladder_content(ladder: Diagram) -> Iterator[str]:
    """Paint everything in a schematic, from the back to the front."""
    for join in ladder.joins:
        if join.wires:
            title = ", ".join(end.name.replace(".", " ") for end in join.ends)
            yield titled(title, joined(join, style.GROUND), class_="join")
    yield from drawing(ladder.strokes, ladder.discs)
    yield from map(words, ladder.words)
    for terminal in ladder.terminals:
        yield _terminal(terminal, _SMALL_SCREW)
