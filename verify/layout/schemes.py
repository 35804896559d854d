"""The ways to control a light from n places, as nets: which terminals are connected.

Two are sound. Three more pass every flip and are wrong; they enter the catalogue as whole-circuit
faults. No scheme knows boxes.

A scheme also says how its currents run, which is what routing needs to keep every cable balanced:
`sequence` lists the strands in the order in which one current meets them, each carrying it whole;
the strands of `bundle` share or divide it, so they belong in one cable with whatever is left over.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

FEED: Final = -1
LAMPS: Final = -2


class Landing(NamedTuple):
    """One terminal of a net: of switch `place` (0 first), of the feed, or of every lamp."""

    place: int
    terminal: str


@dataclass(frozen=True, slots=True)
class Net:
    """Terminals that are to be connected."""

    name: str
    landings: tuple[Landing, ...]


Strand = tuple[Net, ...]


@dataclass(frozen=True, slots=True)
class SchemeNets:
    """The nets of a scheme for some number of switches, as strands (see the module)."""

    sequence: tuple[Strand, ...]
    bundle: tuple[Strand, ...]

    @property
    def nets(self) -> tuple[Net, ...]:
        """Every net once."""
        return tuple(net for strand in (*self.sequence, *self.bundle) for net in strand)


@dataclass(frozen=True, slots=True)
class Scheme:
    """One way to connect `n` switches so that every flip works."""

    name: str
    title: str
    description: str
    is_sound: bool
    plan: Callable[[int], SchemeNets]


def switch_kinds(locations: int) -> tuple[str, ...]:
    """Return the kinds of the switches in the order in which a scheme meets them.

    Two three-ways and n − 2 four-ways have 4(n − 1) contacts: C. E. Shannon, Trans. AIEE 57 (1938).
    Raises ValueError for fewer than two locations.
    """
    if locations < 2:
        raise ValueError(f"locations={locations} must be at least 2")
    return ("three-way", *("four-way",) * (locations - 2), "three-way")


def _traveler_pairs(locations: int) -> list[Strand]:
    """Return the traveler pairs between consecutive switches, first to last."""
    last = locations - 1
    strands = []
    for place in range(last):
        leaving = ("traveler-1", "traveler-2") if place == 0 else ("b1", "b2")
        entering = ("traveler-1", "traveler-2") if place + 1 == last else ("a1", "a2")
        strands.append(
            tuple(
                Net(
                    f"traveler {place + 1}-{wire + 1}",
                    (Landing(place, leaving[wire]), Landing(place + 1, entering[wire])),
                )
                for wire in (0, 1)
            )
        )
    return strands


def _chain(locations: int) -> SchemeNets:
    return SchemeNets(
        sequence=(
            (Net("line", (Landing(FEED, "line"), Landing(0, "common"))),),
            *_traveler_pairs(locations),
        ),
        bundle=(
            (Net("leg", (Landing(locations - 1, "common"), Landing(LAMPS, "contact"))),),
            (Net("neutral", (Landing(LAMPS, "shell"), Landing(FEED, "neutral"))),),
        ),
    )


def _chain_in_neutral(locations: int) -> SchemeNets:
    return SchemeNets(
        sequence=(
            (Net("neutral", (Landing(FEED, "neutral"), Landing(0, "common"))),),
            *_traveler_pairs(locations),
        ),
        bundle=(
            (Net("return", (Landing(locations - 1, "common"), Landing(LAMPS, "shell"))),),
            (Net("line", (Landing(LAMPS, "contact"), Landing(FEED, "line"))),),
        ),
    )


def _tied(
    locations: int,
    first: tuple[str, Landing],
    second: tuple[str, Landing],
    direct: Strand,
) -> SchemeNets:
    """Return the nets with commons tied.

    `first` and `second` ride on the wires of the first traveler pair.
    """
    pair, *further = _traveler_pairs(locations)
    tie = Net("tie", (Landing(0, "common"), Landing(locations - 1, "common")))
    return SchemeNets(
        sequence=(*further, (tie,)),
        bundle=(
            *(
                (Net(name, (extra, *wire.landings)),)
                for (name, extra), wire in zip((first, second), pair, strict=True)
            ),
            direct,
        ),
    )


def _tied_commons(locations: int) -> SchemeNets:
    return _tied(
        locations,
        ("line", Landing(FEED, "line")),
        ("leg", Landing(LAMPS, "contact")),
        (Net("neutral", (Landing(LAMPS, "shell"), Landing(FEED, "neutral"))),),
    )


def _tied_commons_in_neutral(locations: int) -> SchemeNets:
    return _tied(
        locations,
        ("neutral", Landing(FEED, "neutral")),
        ("return", Landing(LAMPS, "shell")),
        (Net("line", (Landing(LAMPS, "contact"), Landing(FEED, "line"))),),
    )


def _both_poles(locations: int) -> SchemeNets:
    pair, *further = _traveler_pairs(locations)
    poles = (("line", Landing(FEED, "line")), ("neutral", Landing(FEED, "neutral")))
    return SchemeNets(
        sequence=tuple(further),
        bundle=(
            *(
                (Net(name, (pole, *wire.landings)),)
                for (name, pole), wire in zip(poles, pair, strict=True)
            ),
            (Net("lamp side 1", (Landing(0, "common"), Landing(LAMPS, "contact"))),),
            (Net("lamp side 2", (Landing(locations - 1, "common"), Landing(LAMPS, "shell"))),),
        ),
    )


_ALL: Final = (
    Scheme(
        "chain",
        "traveler chain",
        "Line to the first switch's common, travelers through every four-way, "
        "the last switch's common to the lamp.",
        True,
        _chain,
    ),
    Scheme(
        "tied",
        "tied commons",
        "The commons of the two three-ways are joined; line rides on one traveler, the switch leg "
        "on the other; four-ways sit in the traveler pair.",
        True,
        _tied_commons,
    ),
    Scheme(
        "chain-in-neutral",
        "traveler chain in the neutral",
        "The lamp is always on line; the switches open and close its return.",
        False,
        _chain_in_neutral,
    ),
    Scheme(
        "tied-in-neutral",
        "tied commons in the neutral",
        "The lamp is always on line; neutral and the lamp's return ride on the travelers between "
        "tied commons.",
        False,
        _tied_commons_in_neutral,
    ),
    Scheme(
        "both-poles",
        "both poles on the travelers",
        "Line and neutral ride on the two travelers; the lamp hangs between the commons.",
        False,
        _both_poles,
    ),
)
SCHEMES: Final[Mapping[str, Scheme]] = {scheme.name: scheme for scheme in _ALL}
SOUND_SCHEMES: Final = tuple(scheme.name for scheme in _ALL if scheme.is_sound)
WRONG_SCHEMES: Final = tuple(scheme.name for scheme in _ALL if not scheme.is_sound)
