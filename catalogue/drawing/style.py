"""The style of pictures: insulation colours on a light ground, and the tones of everything else.

A picture carries its own light ground, so that it looks the same on a dark page and on paper.
Nothing depends on colour alone: colours are written on conductors, and live ones have another form.
"""

from typing import Final, NamedTuple

GROUND: Final = "#f6f3ec"
BOX: Final = "#fffdf8"
INK: Final = "#22282c"
SOFT: Final = "#56606a"
EDGE: Final = "#3d4a54"
METAL: Final = "#8d979e"
SHEATH: Final = "#e3ddcf"
SHEATH_EDGE: Final = "#a79f8c"
BODY: Final = "#eef2f2"
STRIP: Final = "#dbe3e4"
LEAD: Final = "#4a545c"
SCREW: Final = "#c9b27a"
FAULT: Final = "#b0125b"
LIVE: Final = "#a86000"
LIT: Final = "#ffd84d"

WIRE: Final = 3.2
CASING: Final = 5.2
CLEARING: Final = 9.0
LIVE_WIDTH: Final = 11.0
LIVE_WIDTH_IN_CABLE: Final = 8.6

TONES: Final = {"ink": INK, "soft": SOFT, "fault": FAULT, "ground": GROUND}


class ConductorPaint(NamedTuple):
    """The colour of a conductor and its outline, and of the stripe along it if it has one."""

    fill: str
    casing: str
    stripe: str | None = None


_PAINTS: Final = {
    "black": ConductorPaint("#26292b", "#26292b"),
    "red": ConductorPaint("#d3261c", "#7d120c"),
    "blue": ConductorPaint("#2a6bc4", "#153c74"),
    "yellow": ConductorPaint("#f2c200", "#7a6100"),
    "orange": ConductorPaint("#ee8012", "#85430a"),
    "brown": ConductorPaint("#85522b", "#482a12"),
    "violet": ConductorPaint("#8447ab", "#482362"),
    "pink": ConductorPaint("#f0a0bf", "#8c4862"),
    "white": ConductorPaint("#ffffff", "#4b545b"),
    "grey": ConductorPaint("#a4abb0", "#545c62"),
    "bare": ConductorPaint("#c98a4b", "#c98a4b"),
    "green": ConductorPaint("#2f9347", "#17512a"),
    "green-yellow": ConductorPaint("#2f9347", "#17512a", "#f2d12e"),
}
_LEAD_PAINT: Final = ConductorPaint(LEAD, LEAD)


def paint(colour: str | None) -> ConductorPaint:
    """Return how a conductor of that colour is drawn, None for a device's own lead."""
    if colour is None:
        return _LEAD_PAINT
    return _PAINTS.get(colour) or _PAINTS[colour.partition("-")[0]]


def casing_width(colour: str | None) -> float:
    """Return how broad the insulation is drawn; that of a bare conductor hides under its wire."""
    return WIRE - 0.6 if colour in (None, "bare") else CASING
