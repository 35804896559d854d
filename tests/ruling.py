"""Asking one rule about a circuit, and circuits of the boathouse that the rules tell apart."""

from collections.abc import Sequence

from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Join
from verify.rules.book import BookChoice, Rulebook, jurisdictions
from verify.rules.premises import Finding
from verify.rules.remarks import remarks


def book(jurisdiction: str = "us", edition: int | None = None) -> Rulebook:
    """A rulebook, the latest known of a jurisdiction unless an edition is named."""
    return BookChoice(jurisdictions()[jurisdiction], edition).book("us")


def findings(
    circuit: Circuit, rule: str, jurisdiction: str = "us", edition: int | None = None
) -> list[Finding]:
    """What one rule finds in a circuit."""
    return [
        remark.finding
        for remark in remarks(circuit, book(jurisdiction, edition))
        if remark.rule.id == rule
    ]


def wired(
    boxes: Sequence[str],
    devices: Sequence[Device],
    cables: Sequence[Cable],
    joins: str,
    metal: Sequence[str] = (),
    palette: str = "us",
) -> Circuit:
    """A circuit whose joins are lines of ``box: end end …``."""
    parted = [line.split(":") for line in joins.strip().splitlines()]
    return Circuit(
        "Boathouse",
        tuple(Box(name, "metal" if name in metal else "plastic") for name in boxes),
        tuple(devices),
        tuple(cables),
        tuple(Join(box.strip(), tuple(ends.split())) for box, ends in parted),
        palette=palette,
    )


def two_cables(joins: str, metal: Sequence[str] = ()) -> Circuit:
    """Feed and first switch on the slipway, second switch and lamp in the loft, two cables."""
    grounds = """
        slipway: feed.ground slipway-switch.ground long-way.bare short-way.bare
        loft: lamp.ground loft-switch.ground long-way.bare short-way.bare"""
    return wired(
        ("slipway", "loft"),
        (
            Device("feed", "feed", "slipway"),
            Device("lamp", "lamp", "loft"),
            Device("slipway-switch", "three-way", "slipway"),
            Device("loft-switch", "three-way", "loft"),
        ),
        (
            Cable("short-way", ("slipway", "loft"), ("black", "red", "white", "bare"), "14 AWG"),
            Cable("long-way", ("loft", "slipway"), ("black", "white", "bare"), "14 AWG"),
        ),
        f"{joins}{grounds}",
        metal,
    )


_CHAIN = """
slipway: feed.line slipway-switch.common
slipway: slipway-switch.traveler-1 short-way.black
slipway: slipway-switch.traveler-2 short-way.red
loft: loft-switch.traveler-1 short-way.black
loft: loft-switch.traveler-2 short-way.red
loft: loft-switch.common lamp.contact"""
#: Travelers in one cable, the neutral in the other.
NEUTRAL_APART = f"""{_CHAIN}
slipway: feed.neutral long-way.white
loft: lamp.shell long-way.white"""
#: Travelers and neutral in one cable, nothing in the other.
NEUTRAL_BESIDE = f"""{_CHAIN}
slipway: feed.neutral short-way.white
loft: lamp.shell short-way.white"""
#: Travelers and neutral in one cable, the neutral in the other as well.
NEUTRAL_TWICE = f"""{_CHAIN}
slipway: feed.neutral short-way.white long-way.white
loft: lamp.shell short-way.white long-way.white"""


def two_feeds(joins: str) -> Circuit:
    """Two feeds in the workshop, each with a lamp and a switch of its own."""
    return wired(
        ("workshop",),
        (
            Device("feed-1", "feed", "workshop"),
            Device("feed-2", "feed", "workshop"),
            Device("lamp-1", "lamp", "workshop"),
            Device("lamp-2", "lamp", "workshop"),
            Device("switch-1", "single-pole", "workshop"),
            Device("switch-2", "single-pole", "workshop"),
        ),
        (),
        f"""
        workshop: feed-1.line switch-1.s1
        workshop: switch-1.s2 lamp-1.contact
        workshop: feed-2.line switch-2.s1
        workshop: switch-2.s2 lamp-2.contact
        workshop: feed-1.ground feed-2.ground lamp-1.ground lamp-2.ground
        {joins.strip()}""",
    )


def switch_loop(switched: str, supply: str, palette: str = "us") -> Circuit:
    """Feed and lamp on the landing, one switch on the slipway, and a cable of two to it.

    `switched` is the terminal of the feed that goes to the switch, on the colour `supply`.
    """
    side, direct = ("contact", "shell") if switched == "line" else ("shell", "contact")
    other = "neutral" if switched == "line" else "line"
    colours = ("black", "white", "bare") if palette == "us" else ("brown", "blue", "green-yellow")
    back = colours[0] if supply == colours[1] else colours[1]
    return wired(
        ("landing", "slipway"),
        (
            Device("feed", "feed", "landing"),
            Device("lamp", "lamp", "landing"),
            Device("switch", "single-pole", "slipway"),
        ),
        (Cable("run", ("landing", "slipway"), colours),),
        f"""
        landing: feed.{switched} run.{supply}
        landing: run.{back} lamp.{side}
        landing: feed.{other} lamp.{direct}
        landing: feed.ground run.{colours[2]}
        slipway: run.{supply} switch.s1
        slipway: run.{back} switch.s2
        slipway: run.{colours[2]} switch.ground""",
        palette=palette,
    )
