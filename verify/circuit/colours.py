"""Insulation colours: which conductor of a cable may do what, by palette.

``us``: common practice, no source for the order of the line colours.
``iec``: IEC 60445 for line, neutral and protective colours (read).
"""

import re
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Palette:
    """Line colours in the order in which cables use them, then neutral, then ground."""

    name: str
    line: tuple[str, ...]
    neutral: str
    ground: tuple[str, ...]
    numbered: str = ""

    def knows(self, colour: str) -> bool:
        """Return True if a conductor of this palette may have that colour."""
        if self.numbered and re.fullmatch(rf"{self.numbered}-[1-9][0-9]?", colour):
            return True
        return colour == self.neutral or colour in self.line or colour in self.ground

    def line_colour(self, index: int) -> str:
        """Return the colour of line conductor `index` of a cable, counted from 0.

        Raises IndexError where the palette has no further colour.
        """
        if index < len(self.line):
            return self.line[index]
        if not self.numbered:
            raise IndexError(f"palette {self.name} has no line colour {index}")
        return f"{self.numbered}-{index - len(self.line) + 1}"

    def listing(self) -> str:
        """Return the colours as a person would list them."""
        numbered = (f"{self.numbered}-1 to {self.numbered}-99",) if self.numbered else ()
        return ", ".join((*self.line, *numbered, self.neutral, *self.ground))


PALETTES: Final[dict[str, Palette]] = {
    "us": Palette(
        "us",
        ("black", "red", "blue", "yellow", "orange", "brown", "violet", "pink"),
        "white",
        ("bare", "green"),
    ),
    "iec": Palette("iec", ("brown", "black", "grey"), "blue", ("green-yellow",), "black"),
}
GROUND_COLOURS: Final = frozenset({"bare", "green", "green-yellow"})
