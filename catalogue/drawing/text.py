"""Text in pictures: how wide it is, and what is written of a name that is too long."""

import unicodedata
from typing import Final, NamedTuple

from catalogue.drawing.measures import SMALL

_NARROW: Final = frozenset("fijltrI.,:;'|!()[]- ·")
_BROAD: Final = frozenset("mwMW@%—…")
#: For Arial and the faces made to its measure, a little more than their letters take.
_NARROW_WIDTH: Final = 0.31
_BROAD_WIDTH: Final = 0.88
_CAPITAL_WIDTH: Final = 0.72
_USUAL_WIDTH: Final = 0.57
_BOLD: Final = 1.07


class Fitted(NamedTuple):
    """A text as it is written, and in full if something was left out."""

    text: str
    full: str | None


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """How wide a line of text is, estimated."""
    return sum(map(_letter_width, text)) * size * (_BOLD if bold else 1)


def _letter_width(letter: str) -> float:
    if unicodedata.combining(letter):
        return 0
    if unicodedata.east_asian_width(letter) in "WF":
        return 1.05
    if letter in _NARROW:
        return _NARROW_WIDTH
    if letter in _BROAD:
        return _BROAD_WIDTH
    if letter.isascii() and not letter.isupper():
        return _USUAL_WIDTH
    return _CAPITAL_WIDTH


def fitted(text: str, width: float, size: float, *, bold: bool = False) -> Fitted:
    """The text, or as much of its beginning as fits in `width` with ``…``."""
    if text_width(text, size, bold=bold) <= width:
        return Fitted(text, None)
    kept = text
    while kept and text_width(f"{kept}…", size, bold=bold) > width:
        kept = kept[:-1]
    return Fitted(f"{kept}…", text)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """The text in lines of at most `width`, broken between words where that is possible."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(fitted(word, width, size, bold=bold).text)
    return lines


_SHORT_COLOURS: Final = {"green-yellow": "gn-ye"}


def sleeve_text(colour: str) -> str:
    """What is written on the sleeve of a conductor: its colour, short enough for the sleeve."""
    if colour in _SHORT_COLOURS:
        return _SHORT_COLOURS[colour]
    name, dash, number = colour.partition("-")
    return f"{name[:2]}{name[-1]}-{number}" if dash else colour


def sleeve_width(text: str) -> float:
    """How broad a sleeve is."""
    return text_width(text, SMALL) + 6
