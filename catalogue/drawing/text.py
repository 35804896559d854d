"""Text in pictures: this measures how wide it is and shortens names that are too long."""

import unicodedata
from typing import Final, NamedTuple

from catalogue.drawing.dimensions import SMALL
from catalogue.drawing.typeface import advances

#: Widths of letters that the typeface lacks, in whatever font a machine writes them: generous
#: shares of the size. `svg.text_element` has them squeezed or stretched to just this.
_FOREIGN_WIDE: Final = 1.1
_FOREIGN_CAPITAL: Final = 0.85
_FOREIGN_USUAL: Final = 0.72


class Fitted(NamedTuple):
    """A text as it is written, and the full text if something was left out."""

    text: str
    full: str | None


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is: the sum of its letters, without kerning."""
    known = advances(bold=bold)
    return size * sum(
        known[letter] if letter in known else _foreign_width(letter) for letter in text
    )


def _foreign_width(letter: str) -> float:
    category = unicodedata.category(letter)
    if category in ("Mn", "Me", "Cf"):  # the letter is written over the one before, or not at all
        return 0
    if unicodedata.east_asian_width(letter) in "WF" or category.startswith("S"):
        return _FOREIGN_WIDE
    return _FOREIGN_CAPITAL if letter.isupper() else _FOREIGN_USUAL


def fitted(text: str, width: float, size: float, *, bold: bool = False) -> Fitted:
    """Return the text, or as much of its beginning as fits in `width` with ``…``."""
    if text_width(text, size, bold=bold) <= width:
        return Fitted(text, None)
    kept = text
    while kept and text_width(f"{kept}…", size, bold=bold) > width:
        kept = kept[:-1]
    return Fitted(f"{kept}…", text)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Split the text into lines of at most `width`, between words where that is possible."""
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
    """Return the colour to write on a conductor's sleeve, short enough to fit on it."""
    if colour in _SHORT_COLOURS:
        return _SHORT_COLOURS[colour]
    name, dash, number = colour.partition("-")
    return f"{name[:2]}{name[-1]}-{number}" if dash else colour


def sleeve_width(text: str) -> float:
    """Return how broad a sleeve is."""
    return text_width(text, SMALL) + 6
