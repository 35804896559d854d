"""The legend under a picture explains the signs that are in it, and no others."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from catalogue.drawing import style
from catalogue.drawing.dimensions import MARGIN, SMALL
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Band, Cap, Caption, Mark, Scene, Stroke, Trail, Wire
from catalogue.drawing.signs import (
    bad_contact,
    band,
    break_sign,
    cap,
    dot,
    mark,
    screw,
    short_sign,
    stroke,
    trail,
    wires,
)
from catalogue.drawing.svg import words
from catalogue.drawing.text import text_width
from verify.circuit.parts import End

_ROW: Final = 24
_SIGN: Final = 40
_BETWEEN: Final = 26
_NO_END: Final = End("", "")

_Sign = Callable[[Point], Iterator[str]]


def _wire(at: Point, colour: str, *, is_live: bool = False) -> Iterator[str]:
    return wires([Wire((at.moved(0, 0), at.moved(32, 0)), colour, "", is_live)], kind=None)


def _splice(at: Point) -> Iterator[str]:
    yield from _wire(at, "red")
    yield dot(at.moved(16, 0), style.INK)


def _crossing(at: Point) -> Iterator[str]:
    yield from _wire(at, "red")
    upright = Wire((at.moved(16, -9), at.moved(16, 9)), "blue", "")
    yield from wires([upright], style.GROUND, kind=None)


def _banded(at: Point) -> Iterator[str]:
    upright = Wire((at.moved(16, -10), at.moved(16, 10)), "white", "")
    yield from wires([upright], kind=None)
    yield band(Band(_NO_END, at.moved(16, 0)))


def _capped(at: Point) -> Iterator[str]:
    upright = Wire((at.moved(16, -10), at.moved(16, 1)), "red", "")
    yield from wires([upright], kind=None)
    yield cap(Cap(_NO_END, at.moved(16, 1), False))


def _live(at: Point) -> Iterator[str]:
    return _wire(at, "red", is_live=True)


def _open_screw(at: Point) -> Iterator[str]:
    yield screw(at.moved(16, 0), is_landed=False)


def _ghost(at: Point) -> Iterator[str]:
    yield from stroke(Stroke((at.moved(0, 5), at.moved(32, -6)), "ghost"), is_live=False)


def _broken(at: Point) -> Iterator[str]:
    yield from wires(
        [
            Wire((at, at.moved(9, 0)), "red", ""),
            Wire((at.moved(23, 0), at.moved(32, 0)), "red", ""),
        ],
        kind=None,
    )
    yield from break_sign(at.moved(16, 0))


def _short(at: Point) -> Iterator[str]:
    for y, colour in ((-6, "red"), (6, "blue")):
        yield from _wire(at.moved(0, y), colour)
    yield from short_sign((at.moved(16, -6), at.moved(16, 6)), kind=None)


def _loose(at: Point) -> Iterator[str]:
    upright = Wire((at.moved(16, -11), at.moved(16, 11)), "red", "")
    yield from wires([upright], kind=None)
    yield bad_contact(at.moved(16, 0))


def _path(at: Point) -> Iterator[str]:
    yield from _wire(at, "red")
    yield from trail(Trail((at, at.moved(32, 0))))


def _difference(at: Point) -> Iterator[str]:
    yield mark(Mark(1, at.moved(16, 0)))


def _entries(scene: Scene) -> Iterator[tuple[_Sign, str]]:
    """Yield each sign that is in the picture, with what it means."""
    if any(join.dots for join in scene.joins):
        yield _splice, "splice"
    yield _crossing, "crossing, not connected"
    if scene.bands:
        yield _banded, "re-identified: not a neutral here"
    if scene.caps:
        yield _capped, "conductor capped, connected to nothing"
    if any(not t.is_landed for symbol in scene.symbols for t in symbol.terminals):
        yield _open_screw, "terminal with nothing landed"
    if not scene.has_state and any("switch" in s.description for s in scene.symbols):
        yield _ghost, "contact closed in one position"
        if any("four-way" in symbol.description for symbol in scene.symbols):
            yield _ghost, "four-way: straight when up, crossed when down"
    if scene.has_state:
        yield _live, "connected to line"
    if scene.trails:
        yield _path, "the path told of"
    if any(sheath.breaks for sheath in scene.sheaths):
        yield _broken, "broken conductor"
    if any(sheath.shorts for sheath in scene.sheaths):
        yield _short, "short between conductors"
    if scene.loose:
        yield _loose, "loose in its join"
    if scene.marks:
        yield _difference, "here the two differ"


Entries = Mapping[str, _Sign]


def wiring_entries(scenes: Sequence[Scene]) -> Entries:
    """Return the signs of wiring pictures that stand together, by their meaning."""
    entries: dict[str, _Sign] = {}
    for scene in scenes:
        entries |= {meaning: sign for sign, meaning in _entries(scene)}
    return entries


def schematic_entries(*, has_state: bool) -> Entries:
    """Return the signs of a schematic, by their meaning."""
    entries: dict[str, _Sign] = {"connected": _splice, "crossing, not connected": _crossing}
    return entries | {"connected to line": _live} if has_state else entries


def legend(entries: Entries, width: float, top: float) -> tuple[list[str], float]:
    """Draw the legend; return its elements and the height where it ends."""
    content: list[str] = []
    x, y = float(MARGIN), top + _ROW / 2
    for meaning, sign in entries.items():
        needed = _SIGN + text_width(meaning, SMALL)
        if x > MARGIN and x + needed > width - MARGIN:
            x, y = float(MARGIN), y + _ROW
        content += sign(Point(x, y))
        content.append(words(Caption(Point(x + _SIGN, y + 4), meaning, SMALL, tone="soft")))
        x += needed + _BETWEEN
    return content, y + _ROW / 2
