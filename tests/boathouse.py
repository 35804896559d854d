"""The boathouse stair, feed at the lamp, for tests to rewire: sound as it stands.

Line goes on black to the slipway switch, travelers on red and white, back on the other black.
"""

from collections.abc import Iterable, Mapping

from verify.circuit.devices import Position
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Failure, Join

_JOINS = {
    "landing": (
        "feed.line slipway-run.black",
        "slipway-run.red workshop-run.red",
        "slipway-run.white workshop-run.white",
        "workshop-run.black lamp.contact",
        "feed.neutral lamp.shell",
        "feed.ground lamp.ground slipway-run.bare workshop-run.bare",
    ),
    "slipway": (
        "slipway-run.black slipway-switch.common",
        "slipway-run.red slipway-switch.traveler-1",
        "slipway-run.white slipway-switch.traveler-2",
        "slipway-run.bare slipway-switch.ground",
    ),
    "workshop": (
        "workshop-run.black workshop-switch.common",
        "workshop-run.red workshop-switch.traveler-1",
        "workshop-run.white workshop-switch.traveler-2",
        "workshop-run.bare workshop-switch.ground",
    ),
}

SWITCHES = ("slipway-switch", "workshop-switch")


def stair(
    rewire: Mapping[str, str] | None = None,
    *failures: Failure,
    metal: Iterable[str] = (),
    devices: Iterable[Device] = (),
) -> Circuit:
    """The stair with some joins replaced, boxes named in `metal`, and more devices at the end.

    `rewire` maps a join, as above, to what replaces it: no, one or several joins with | between.
    """
    changes = dict(rewire or {})
    joins = [
        Join(box, tuple(part.split()))
        for box, listed in _JOINS.items()
        for text in listed
        for part in changes.pop(text, text).split("|")
        if part.strip()
    ]
    if changes:
        raise ValueError(f"the stair has no join {list(changes)}")
    four = ("black", "red", "white", "bare")
    return Circuit(
        "Boathouse stair",
        tuple(Box(name, "metal" if name in metal else "plastic") for name in _JOINS),
        (
            Device("feed", "feed", "landing"),
            Device("lamp", "lamp", "landing"),
            Device("slipway-switch", "three-way", "slipway"),
            Device("workshop-switch", "three-way", "workshop"),
            *devices,
        ),
        (
            Cable("slipway-run", ("landing", "slipway"), four),
            Cable("workshop-run", ("landing", "workshop"), four),
        ),
        tuple(joins),
        tuple(failures),
    )


def stair_with_lamps(more: int, wired: int | None = None) -> Circuit:
    """The stair with more lamps in the landing box, all or the first `wired` beside the first."""
    beside = range(2, 2 + (more if wired is None else wired))
    joins = {
        "workshop-run.black lamp.contact": "contact",
        "feed.neutral lamp.shell": "shell",
        "feed.ground lamp.ground slipway-run.bare workshop-run.bare": "ground",
    }
    return stair(
        {
            join: " ".join([join, *(f"lamp-{number}.{terminal}" for number in beside)])
            for join, terminal in joins.items()
        },
        devices=[Device(f"lamp-{number}", "lamp", "landing") for number in range(2, 2 + more)],
    )


def failed(kind: str, *at: str, position: Position | None = None) -> Failure:
    """A failure of parts of the stair."""
    return Failure(kind, at, position)


NO_NEUTRAL = {"feed.neutral lamp.shell": ""}
NEUTRAL_THROUGH_SWITCHES = {
    "feed.line slipway-run.black": "feed.neutral slipway-run.black",
    "feed.neutral lamp.shell": "feed.line lamp.shell",
}
LINE_ON_SHELL = {
    "workshop-run.black lamp.contact": "workshop-run.black lamp.shell",
    "feed.neutral lamp.shell": "feed.neutral lamp.contact",
}
LINE_ON_BOTH_SIDES = {
    "feed.line slipway-run.black": "feed.line slipway-run.black lamp.shell",
    "feed.neutral lamp.shell": "",
}
NEUTRAL_ON_A_TRAVELER = {
    "slipway-run.white workshop-run.white": "feed.neutral lamp.shell slipway-run.white",
    "feed.neutral lamp.shell": "",
}
RETURN_ON_GROUND = {
    "feed.neutral lamp.shell": "",
    "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
        "feed.ground lamp.ground slipway-run.bare workshop-run.bare lamp.shell"
    ),
}
NEUTRAL_WITH_GROUND = {
    "feed.neutral lamp.shell": "",
    "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
        "feed.ground lamp.ground slipway-run.bare workshop-run.bare feed.neutral lamp.shell"
    ),
}
BARE_ON_LINE = {
    "feed.line slipway-run.black": "feed.line slipway-run.black slipway-run.bare",
    "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
        "feed.ground lamp.ground workshop-run.bare"
    ),
}
SWITCH_NOT_GROUNDED = {"slipway-run.bare slipway-switch.ground": ""}
TRAVELER_LEFT_OFF = {"slipway-run.red workshop-run.red": ""}


def stair_with_outlet(line: str | None, neutral: str | None) -> Circuit:
    """The stair with a receptacle in the landing box; its terminals go to the joins named."""
    rewire: dict[str, str] = {}
    for join, end in ((line, "outlet.line"), (neutral, "outlet.neutral")):
        if join is not None:
            rewire[join] = f"{rewire.get(join, join)} {end}"
    ground = "feed.ground lamp.ground slipway-run.bare workshop-run.bare"
    rewire[ground] = f"{ground} outlet.ground"
    return stair(rewire, devices=[Device("outlet", "receptacle", "landing")])
