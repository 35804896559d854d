"""The device kinds: their terminals, and which terminals each position connects.

Positions: a switch is ``up`` or ``down``.
Pattern numbers are those of IEC 60669-1 (from memory, not checked against the document).
"""

from dataclasses import dataclass
from typing import Final, Literal

Position = Literal["up", "down"]
#: Opposite ends of a divided supply: between two lines of different legs there are twice the volts.
LEGS: Final = ("A", "B")
DEFAULT_LEG: Final = "A"
POSITIONS: Final[tuple[Position, Position]] = ("up", "down")


@dataclass(frozen=True, slots=True)
class Contact:
    """A pair of terminals of a switch, and the positions in which they are connected."""

    a: str
    b: str
    up: bool
    down: bool


@dataclass(frozen=True, slots=True)
class DeviceKind:
    """One kind of device; `terminals` in the order in which they are listed everywhere."""

    name: str
    title: str
    terminals: tuple[str, ...]
    contacts: tuple[Contact, ...] = ()

    @property
    def is_switch(self) -> bool:
        """True for everything a person can flip."""
        return bool(self.contacts)

    @property
    def switched_terminals(self) -> tuple[str, ...]:
        """The terminals without the ground terminal."""
        return tuple(name for name in self.terminals if name != "ground")


FEED: Final = DeviceKind("feed", "feed", ("line", "neutral", "ground"))
LAMP: Final = DeviceKind("lamp", "lamp", ("contact", "shell", "ground"))
RECEPTACLE: Final = DeviceKind("receptacle", "receptacle", ("line", "neutral", "ground"))
SINGLE_POLE: Final = DeviceKind(
    "single-pole",
    "single-pole switch",
    ("s1", "s2", "ground"),
    (Contact("s1", "s2", up=True, down=False),),
)
THREE_WAY: Final = DeviceKind(
    "three-way",
    "three-way switch",
    ("common", "traveler-1", "traveler-2", "ground"),
    (
        Contact("common", "traveler-1", up=True, down=False),
        Contact("common", "traveler-2", up=False, down=True),
    ),
)
FOUR_WAY: Final = DeviceKind(
    "four-way",
    "four-way switch",
    ("a1", "a2", "b1", "b2", "ground"),
    (
        Contact("a1", "b1", up=True, down=False),
        Contact("a2", "b2", up=True, down=False),
        Contact("a1", "b2", up=False, down=True),
        Contact("a2", "b1", up=False, down=True),
    ),
)

KINDS: Final[dict[str, DeviceKind]] = {
    kind.name: kind for kind in (FEED, LAMP, RECEPTACLE, SINGLE_POLE, THREE_WAY, FOUR_WAY)
}
ALIASES: Final[dict[str, str]] = {
    "two-way": "three-way",
    "intermediate": "four-way",
    "one-way": "single-pole",
}


def canonical_kind(name: str) -> str:
    """Return the North American name of a kind, given by either of its names.

    An unknown name is returned unchanged.
    """
    return ALIASES.get(name, name)
