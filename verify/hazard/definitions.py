"""The hazards: dangers of a light that a person may not notice by using it.

Each is a condition on a state in which protection holds; an engine reports the states. Ground
terminals are left out of ``both-poles-on-switch``: a switch's ground terminal is always connected
to ground.

Connections alone decide most of them. The last four depend on volts and amperes: engines that know
only connections never report them.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard: `condition` defines it, `danger` says what can happen to a person.

    `unit` is the unit of the amount that decides it, empty where connections decide.
    """

    name: str
    title: str
    condition: str
    danger: str
    unit: str = ""


HAZARDS: Final[tuple[Hazard, ...]] = (
    Hazard(
        "lamp-live-dark",
        "Lampholder live while dark",
        "a lamp is dark and its contact or its shell is connected to line",
        "Somebody who changes the lamp because it is dark can touch a part at line voltage.",
    ),
    Hazard(
        "lamp-reversed",
        "Shell live while lit",
        "a lamp is lit and its screw shell is the side connected to line",
        "The large outer part of the lampholder, easily touched, is at line voltage.",
    ),
    Hazard(
        "neutral-switched",
        "Return goes through a switch",
        "a lamp is lit and its return side reaches the feed's neutral or ground only through "
        "a switch contact",
        "Switching the light off leaves the lampholder connected to line.",
    ),
    Hazard(
        "both-poles-on-switch",
        "Line and neutral on one switch",
        "one switch has a terminal on line and another on neutral or ground, by conductors alone",
        "The contacts of one switch are all that keeps line from neutral; a worn or dirty switch "
        "can arc across, and whoever opens it meets both.",
    ),
    Hazard(
        "metal-live",
        "Metal at line voltage",
        "a ground terminal of a device other than the feed, or a metal box, is connected to line",
        "Touching a cover screw, a switch plate or a luminaire can kill.",
    ),
    Hazard(
        "metal-floating",
        "Metal not grounded",
        "a ground terminal of a device other than the feed, or a metal box, is not connected to "
        "the feed's ground by conductors alone",
        "Nothing happens today; the next fault makes the metal live and no breaker trips.",
    ),
    Hazard(
        "ground-wire-live",
        "Ground wire at line voltage",
        "a bare, green or green-yellow conductor is connected to line",
        "A conductor that everybody takes for safe to touch is at line voltage.",
    ),
    Hazard(
        "ground-carries-load",
        "Lamp current returns through ground",
        "a lamp is lit and its return side is connected to ground",
        "Current flows in the grounding conductors; where one of them is opened, everything "
        "beyond the opening is at line voltage through the lamp.",
    ),
    Hazard(
        "neutral-ground-tied",
        "Neutral and ground connected downstream",
        "the feed's neutral is connected to its ground within the circuit",
        "Return current divides between neutral and the grounding conductors, which are not "
        "meant to carry it.",
    ),
    Hazard(
        "live-stub",
        "Live conductor ends in nothing",
        "a conductor is connected to line and one of its ends is connected to nothing",
        "A free end in a box is at line voltage, capped or not.",
    ),
    Hazard(
        "backfed",
        "Line voltage through a lamp",
        "a lamp has one side connected to line and the other to nothing that is connected to "
        "line, neutral or ground",
        "What is joined to the far side is at line voltage through the lamp, though no wire "
        "brings it there: a failed lamp counts, since the next one closes the path.",
    ),
    Hazard(
        "receptacle-switched",
        "Receptacle dead or reversed in some state",
        "a receptacle's line terminal is not connected to line, or its neutral terminal not to "
        "neutral or ground",
        "What is plugged in stops with the light, or is still at line voltage when it is switched "
        "off.",
    ),
    Hazard(
        "cable-unbalanced",
        "Currents of a cable do not cancel",
        "the currents of the conductors of one cable do not add up to zero: more than 10 mA remain",
        "The outgoing and the returning current take different ways: the loop between them makes "
        "fields, heats steel around a single conductor, and trips residual-current protection.",
        "amperes",
    ),
    Hazard(
        "ground-current",
        "Grounding conductor carries current",
        "a grounding conductor carries more than 10 mA, other than as the return of a lit lamp",
        "Where such a conductor is opened or loose, everything beyond it is at line voltage "
        "through the load.",
        "amperes",
    ),
    Hazard(
        "loose-join",
        "Loose connection heats",
        "a loose connection carries more than 10 mA: all of it passes a few ohms",
        "The connection gets hotter and looser with every use; it can char insulation and start a "
        "fire though nothing trips.",
        "watts",
    ),
    Hazard(
        "overvoltage",
        "Load above its voltage",
        "a lamp, or what is plugged into a receptacle, has more than 110 % of its volts",
        "Lamps burn out at once and appliances are destroyed or catch fire.",
        "volts",
    ),
)
ELECTRICAL: Final = frozenset(hazard.name for hazard in HAZARDS if hazard.unit)
HAZARD_NAMES: Final = tuple(hazard.name for hazard in HAZARDS)
