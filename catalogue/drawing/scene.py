"""A scene lists what a wiring picture consists of, as places and sizes; `svg` writes it as text.

A picture is read by these rules, and the tests read it back by them: two lines are connected where
an end of one is an end of the other, or where a dot lies on both. Lines that cross are not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.drawing.placement import Point
from verify.circuit.parts import End


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line of a symbol; `terminal` is the one it leads to, `tone` says how it is drawn."""

    points: tuple[Point, ...]
    tone: str = "lead"  # lead | blade | ghost | failed | welded | light | screw
    terminal: str | None = None


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle of a symbol; `tone` says how it is drawn."""

    centre: Point
    radius: float
    tone: str = "outline"  # outline | solid | lit


@dataclass(frozen=True, slots=True)
class Caption:
    """A line of text: `at` is its anchor on the base line, `full` the text that was shortened."""

    at: Point
    text: str
    size: float
    anchor: str = "start"  # start | middle | end
    bold: bool = False
    tone: str = "ink"
    full: str | None = None


@dataclass(frozen=True, slots=True)
class Terminal:
    """A screw terminal, drawn hollow where nothing is landed."""

    end: End
    at: Point
    is_landed: bool


@dataclass(frozen=True, slots=True)
class Symbol:
    """A device with its terminals; `corner` and sizes are those of its body."""

    name: str
    corner: Point
    width: float
    height: float
    strip: float  # the height of the strip of terminals, negative if it is at the bottom
    strokes: Sequence[Stroke]
    discs: Sequence[Disc]
    words: Sequence[Caption]
    terminals: Sequence[Terminal]
    description: str
    live: frozenset[str]  # the terminals at line voltage


@dataclass(frozen=True, slots=True)
class Wire:
    """A line that conducts along its whole length: part of a join in a box, or in a cable.

    `colour` is its insulation's, None for a lead that belongs to a device.
    """

    points: tuple[Point, ...]
    colour: str | None
    name: str
    is_live: bool = False


@dataclass(frozen=True, slots=True)
class Sleeve:
    """A sleeve with the colour of a conductor written on it, in one box."""

    end: End
    at: Point
    text: str


@dataclass(frozen=True, slots=True)
class Band:
    """The marking that says that a conductor of the neutral's colour is no neutral."""

    end: End
    at: Point


@dataclass(frozen=True, slots=True)
class Cap:
    """The end of a conductor that is connected to nothing; `below` if it comes from below."""

    end: End
    at: Point
    from_below: bool


@dataclass(frozen=True, slots=True)
class Loose:
    """The sign where an end is loose in its join; its word is upright where room is short."""

    end: End
    at: Point
    is_upright: bool


@dataclass(frozen=True, slots=True)
class DrawnJoin:
    """The lines of one join in a box, and the dots where they meet."""

    ends: tuple[End, ...]
    wires: tuple[Wire, ...]
    dots: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Sheath:
    """A cable; `conductors` has one wire for each, or two with a gap where one is broken."""

    name: str
    title: str
    points: tuple[Point, ...]
    width: float
    label: tuple[Caption, ...]
    conductors: tuple[Wire, ...]
    breaks: tuple[Point, ...]
    shorts: tuple[Wire, ...]


@dataclass(frozen=True, slots=True)
class BoxFrame:
    """The frame of a box."""

    name: str
    is_metal: bool
    corner: Point
    width: float
    height: float
    label: tuple[Caption, ...]


@dataclass(frozen=True, slots=True)
class Trail:
    """A piece of the way that some evidence describes, in its direction."""

    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """The number of a difference; equal numbers in two pictures belong together."""

    number: int
    at: Point


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole wiring picture."""

    width: float
    height: float
    title: str
    description: str
    frames: tuple[BoxFrame, ...]
    sheaths: tuple[Sheath, ...]
    joins: tuple[DrawnJoin, ...]
    symbols: tuple[Symbol, ...]
    sleeves: tuple[Sleeve, ...]
    bands: tuple[Band, ...]
    caps: tuple[Cap, ...]
    loose: tuple[Loose, ...] = ()
    trails: tuple[Trail, ...] = ()
    marks: tuple[Mark, ...] = ()
    has_state: bool = False
