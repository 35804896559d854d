"""The parts of a circuit as values: ends, boxes, devices, cables, joins and failed parts.

Their values are not checked here; `verify.circuit.validation` says which make a circuit.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple

from verify.circuit.colours import GROUND_COLOURS
from verify.circuit.devices import KINDS, DeviceKind, Position, canonical_kind

DEFAULT_VOLTS: Final = 120.0


DEFAULT_WATTS: Final = 60.0


DEFAULT_BREAKER_AMPS: Final = 15.0


class End(NamedTuple):
    """A place where something can be connected: a terminal, a conductor's end, a metal box.

    `name` is ``device.terminal``, ``cable.colour`` or ``box.NAME``; with `box` it is unique.
    """

    box: str
    name: str

    @property
    def owner(self) -> str:
        """The device or cable it belongs to, or ``box``."""
        return self.name.partition(".")[0]

    @property
    def part(self) -> str:
        """The terminal, the conductor's colour, or the box's name."""
        return self.name.partition(".")[2]


@dataclass(frozen=True, slots=True)
class Box:
    """A box in the wall; a metal one is itself an end."""

    name: str
    material: str = "plastic"

    @property
    def is_metal(self) -> bool:
        """True if the box can be live."""
        return self.material == "metal"


@dataclass(frozen=True, slots=True)
class Device:
    """A device with terminals, in one box.

    `watts` is a lamp's; `loads` are a receptacle's, in watts, plugged in side by side. A feed has
    `breaker_amps`, and of its run from the service `leg` (``A`` or ``B``, opposite ends of a
    divided supply), `length_m` and `size`.
    """

    name: str
    kind: str
    box: str
    watts: float | None = None
    breaker_amps: float | None = None
    leg: str | None = None
    length_m: float | None = None
    size: str | None = None
    loads: tuple[float, ...] = ()

    @property
    def form(self) -> DeviceKind:
        """The `DeviceKind` of this device; raises KeyError for an unknown kind."""
        return KINDS[canonical_kind(self.kind)]


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable or raceway between two boxes; its conductors are told apart by colour."""

    name: str
    between: tuple[str, str]
    conductors: tuple[str, ...]
    size: str | None = None
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Join:
    """Ends in one box that are connected together, by name (`End.name`)."""

    box: str
    ends: tuple[str, ...]
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed part; `kind` decides what `at` names, as the circuit file describes.

    `position` is where a stuck switch stays, `box` where a loose connection is.
    """

    kind: str
    at: tuple[str, ...]
    position: Position | None = None
    box: str | None = None


def conductor_name(cable: str, colour: str) -> str:
    """Return the name of a conductor: ``cable.colour``."""
    return f"{cable}.{colour}"


def box_end(name: str) -> str:
    """Return the name of a metal box as an end: ``box.NAME``."""
    return f"box.{name}"


def is_ground_colour(colour: str) -> bool:
    """Return True for bare, green and green-yellow."""
    return colour in GROUND_COLOURS
