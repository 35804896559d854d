"""Claims about what is dangerous though the light works, and which mistakes never are."""

from typing import Final

from verify.circuit.parts import is_ground_colour
from verify.study.claims.cases import StudyCase
from verify.study.claims.contract import Claim, Every
from verify.study.claims.domains import CHAIN_OF_TWO, TWO, TWO_AND_THREE, TwoFeeds
from verify.study.claims.vocabulary import (
    ALL_KINDS,
    LANDINGS,
    OPENING,
    PARTS,
    TOUCHING,
    is_exchange_of,
    opened,
)

_THEME: Final = "what works and is dangerous"
_KINDS: Final = "which mistakes can do what"
_LAMP_LEADS: Final = frozenset({"lamp.contact", "lamp.shell"})
_FEED_LEADS: Final = frozenset({"feed.line", "feed.neutral"})
_WHOLE: Final = ("whole-circuit",)
_WORN: Final = ("contact-open", "contact-welded", "switch-stuck")


def _reversed_feed(case: StudyCase) -> bool:
    return is_exchange_of(case, _FEED_LEADS)


def _reversed_feed_works(case: StudyCase) -> bool | None:
    return case.works if _reversed_feed(case) else None


def _reversed_feed_harmless(case: StudyCase) -> bool | None:
    return case.verdict == "sound" if _reversed_feed(case) else None


def _reversed_lamp(case: StudyCase) -> bool:
    return is_exchange_of(case, _LAMP_LEADS)


def _reversed_lamp_works(case: StudyCase) -> bool | None:
    return case.works if _reversed_lamp(case) else None


def _reversed_lamp_harmless(case: StudyCase) -> bool | None:
    return case.verdict == "sound" if _reversed_lamp(case) else None


def _wired_wrong(case: StudyCase, scheme: str) -> bool:
    return case.kind == "whole-circuit" and case.fault.site[0] == scheme


def _both_poles_works(case: StudyCase) -> bool | None:
    return case.works if _wired_wrong(case, "both-poles") else None


def _both_poles_harmless(case: StudyCase) -> bool | None:
    return case.verdict == "sound" if _wired_wrong(case, "both-poles") else None


def _switched_neutral_shows(case: StudyCase) -> bool | None:
    return not case.works if _wired_wrong(case, "chain-in-neutral") else None


def _works(case: StudyCase) -> bool:
    return case.works


def _missing_ground(case: StudyCase) -> bool | None:
    if opened(case) != "ground":
        return None
    return case.lit == case.intended.lit and not case.trips


def _open_neutral(case: StudyCase) -> bool | None:
    """Say whether the unlit lamp is live and backfed, where its own return is open."""
    if opened(case) != "neutral" or case.lit or case.trips:
        return None
    on = case.intended.lit
    return case.live("lamp.contact") & on == on and case.hazard("backfed") & on == on


def _metal_never_live(case: StudyCase) -> bool:
    return not case.hazard("metal-live")


def _live_metal_shows(case: StudyCase) -> bool | None:
    return not case.works if case.hazard("metal-live") else None


def _live_ground_wire_trips(case: StudyCase) -> bool | None:
    return case.verdict == "trips" if case.hazard("ground-wire-live") else None


def _open_conductor_shows(case: StudyCase) -> bool | None:
    """Say whether the break shows, where the open conductor is no ground wire."""
    if is_ground_colour(case.fault.site[0].partition(".")[2]):
        return None
    return case.verdict != "mimic"


def _open_bare_is_mimic(case: StudyCase) -> bool | None:
    if not is_ground_colour(case.fault.site[0].partition(".")[2]):
        return None
    return case.verdict == "mimic"


def _opening_never_trips(case: StudyCase) -> bool:
    return not case.trips


def _opening_never_lights(case: StudyCase) -> bool:
    return not case.lit & ~case.intended.lit


def _touching_never_darkens(case: StudyCase) -> bool:
    return not case.intended.lit & case.dark


def _shows(case: StudyCase) -> bool:
    return not case.works


def _four_way_instead(case: StudyCase) -> bool | None:
    if "four-way" not in case.fault.site:
        return None
    return case.works


def _single_pole_shows(case: StudyCase) -> bool | None:
    if "single-pole" not in case.fault.site:
        return None
    return not case.works


def _balanced(case: StudyCase) -> bool | None:
    """Say whether no cable is out of balance, where every switch works."""
    return not case.hazard("cable-unbalanced") if case.works else None


def _never_odd(case: StudyCase) -> bool:
    return not case.odd


def _borrowed_is_harmless(case: StudyCase) -> bool:
    return not case.hazards


def _dark_while_live(case: StudyCase) -> bool | None:
    """Say whether no dark lamp has a live part, where every switch works."""
    return not case.hazard("lamp-live-dark") if case.works else None


CLAIMS: Final = (
    Claim(
        "reversed-feed-works",
        _THEME,
        "With line and neutral of the feed reversed the light still works.",
        "If line and neutral of the feed change places, every flip of every switch still changes "
        "the lamp and nothing trips.",
        Every((TWO_AND_THREE,), _reversed_feed_works, ("exchanged",)),
    ),
    Claim(
        "reversed-feed-harmless",
        _THEME,
        "A reversed feed does no harm, since a lamp does not know its poles.",
        "If line and neutral of the feed change places, the circuit is sound.",
        Every(
            (TWO_AND_THREE,),
            _reversed_feed_harmless,
            ("exchanged",),
            "The switches now open and close the return: the lampholder is at line voltage while "
            "the light is off, shell included.",
        ),
    ),
    Claim(
        "both-poles-works",
        _THEME,
        "Line and neutral on the two travelers still works.",
        "Wired with line and neutral on the travelers and the lamp between the commons, every "
        "flip of every switch changes the lamp and nothing trips.",
        Every((TWO_AND_THREE,), _both_poles_works, _WHOLE),
    ),
    Claim(
        "both-poles-harmless",
        _THEME,
        "Line and neutral on the travelers is another good way.",
        "Wired with line and neutral on the travelers and the lamp between the commons, the "
        "circuit is sound.",
        Every(
            (TWO_AND_THREE,),
            _both_poles_harmless,
            _WHOLE,
            "Each switch has line and neutral on its screws, with a worn contact between them, and "
            "in half of the dark positions both sides of the lamp are at line voltage.",
        ),
    ),
    Claim(
        "reversed-lampholder-works",
        _THEME,
        "With the leads of the lampholder reversed the light still works.",
        "If contact and shell of the lamp change places, every flip of every switch still changes "
        "the lamp and nothing trips.",
        Every((TWO_AND_THREE,), _reversed_lamp_works, ("exchanged",)),
    ),
    Claim(
        "reversed-lampholder-harmless",
        _THEME,
        "A reversed lampholder does no harm.",
        "If contact and shell of the lamp change places, the circuit is sound.",
        Every(
            (TWO_AND_THREE,),
            _reversed_lamp_harmless,
            ("exchanged",),
            "While the light is on, the screw shell is the side at line voltage: the part that a "
            "hand touches when it turns the lamp out.",
            named=lambda site: {*site[1:]} == _LAMP_LEADS,
        ),
    ),
    Claim(
        "borrowed-neutral-works",
        _THEME,
        "With a neutral borrowed from another circuit the light still works.",
        "If a return is landed on the neutral of another feed in its box, every flip of every "
        "switch still changes the lamp and nothing trips.",
        Every((TwoFeeds(),), _works, ("borrowed-neutral",), volts=True),
    ),
    Claim(
        "borrowed-neutral-harmless",
        _THEME,
        "A borrowed neutral does no harm.",
        "If a return is landed on the neutral of another feed in its box, there is no hazard.",
        Every(
            (TwoFeeds(),),
            _borrowed_is_harmless,
            ("borrowed-neutral",),
            "What goes out in one cable comes back in another, and with the light's own breaker "
            "off that neutral still carries the other circuit's current.",
            volts=True,
        ),
    ),
    Claim(
        "missing-ground-unseen",
        _THEME,
        "A missing ground cannot be seen by using the light.",
        "If a grounding conductor is open or left off somewhere, the lamp is lit in the same "
        "states as intended and nothing trips.",
        Every((TWO_AND_THREE,), _missing_ground, ("left-off", "conductor-open")),
    ),
    Claim(
        "open-neutral-leaves-lamp-live",
        _THEME,
        "An open neutral leaves the lamp's other side live.",
        "If an open neutral keeps the lamp dark, then in every state in which it should be lit "
        "its contact is connected to line, and what is beyond it is at line voltage through it.",
        Every((TWO_AND_THREE,), _open_neutral, ("left-off", "conductor-open")),
    ),
    Claim(
        "metal-never-live",
        _THEME,
        "No single mistake makes metal live.",
        "With one landing error no ground terminal or metal box is connected to line while "
        "protection holds.",
        Every(
            (TWO_AND_THREE,),
            _metal_never_live,
            LANDINGS,
            "A ground taken off its splice and put on something hot is no longer grounded: line "
            "is on the metal, and no breaker trips.",
        ),
    ),
    Claim(
        "live-metal-shows",
        _THEME,
        "Metal that has become live is noticed, because something does not work.",
        "With one mistake that connects metal to line while protection holds, some switch does "
        "nothing in some state or another state trips.",
        Every(
            (TWO_AND_THREE,),
            _live_metal_shows,
            ALL_KINDS,
            "The light works from every switch, and metal that people touch is at line voltage. "
            "Only a tester on the metal shows it.",
        ),
    ),
    Claim(
        "live-ground-wire-trips",
        _THEME,
        "A ground wire at line voltage trips the breaker.",
        "With one mistake that connects a grounding conductor to line in a state in which "
        "protection holds, another state trips.",
        Every(
            (TWO_AND_THREE,),
            _live_ground_wire_trips,
            ALL_KINDS,
            "The conductor is cut off from the feed's ground by the very mistake that puts it on "
            "line, so that no current can flow that a breaker would notice.",
        ),
    ),
    Claim(
        "dark-means-dead-lamp",
        _THEME,
        "If the switches work, a dark lamp has nothing live on it.",
        "With a single mistake that passes every flip, neither side of a dark lamp is connected "
        "to line.",
        Every(
            (TWO_AND_THREE,),
            _dark_while_live,
            ALL_KINDS,
            "The switches interrupt the other side. Whoever changes the lamp because it is dark "
            "touches a part at line voltage.",
        ),
    ),
    Claim(
        "switched-neutral-shows",
        _THEME,
        "Switches in the neutral are noticed by trying them.",
        "Wired as a traveler chain in the neutral, some switch does nothing in some state or "
        "something trips.",
        Every(
            (TWO_AND_THREE,),
            _switched_neutral_shows,
            _WHOLE,
            "Every handle turns the light on and off as it should; the lampholder is at line "
            "voltage all the time.",
        ),
    ),
    Claim(
        "open-conductor-never-mimics",
        _KINDS,
        "One broken wire is noticed or does no harm, unless it is the ground.",
        "If one insulated conductor is open, the circuit either trips, misbehaves or is sound as "
        "before.",
        Every(
            (TWO_AND_THREE,),
            _open_conductor_shows,
            ("conductor-open",),
        ),
    ),
    Claim(
        "open-ground-always-mimics",
        _KINDS,
        "A broken ground wire is always dangerous and never noticed.",
        "If one grounding conductor is open, the circuit passes every flip and has a hazard.",
        Every(
            (TWO_AND_THREE,),
            _open_bare_is_mimic,
            ("conductor-open",),
            "Two cables run side by side here, and each has a grounding conductor that leads to "
            "the same boxes: with one of them broken the other still grounds everything.",
        ),
    ),
    Claim(
        "opening-never-trips",
        _KINDS,
        "What is only open never trips a breaker.",
        "If something is left off, spliced apart, broken, burnt out or never closes, no state "
        "trips.",
        Every((TWO_AND_THREE,), _opening_never_trips, OPENING),
    ),
    Claim(
        "opening-never-lights",
        _KINDS,
        "What is only open never lights the lamp where it should be dark.",
        "If something is left off, spliced apart, broken, burnt out or never closes, the lamp is "
        "lit in no state in which it was dark.",
        Every((TWO_AND_THREE,), _opening_never_lights, OPENING),
    ),
    Claim(
        "touching-never-darkens",
        _KINDS,
        "What only touches never keeps the lamp dark unless the breaker trips.",
        "If two joins of a box or two conductors of a cable touch, in every state in which the "
        "lamp was lit it still is, or protection trips.",
        Every((TWO_AND_THREE,), _touching_never_darkens, TOUCHING),
    ),
    Claim(
        "worn-switch-shows",
        _KINDS,
        "A worn switch is always noticed.",
        "With a contact that never closes or never opens, or a switch that is stuck, some switch "
        "does nothing in some state or something trips.",
        Every((TWO_AND_THREE,), _shows, _WORN),
    ),
    Claim(
        "wrong-switch-shows",
        _KINDS,
        "A switch of the wrong kind is always noticed.",
        "With a switch of another kind in place of one, some switch does nothing in some state or "
        "something trips.",
        Every(
            (TWO_AND_THREE,),
            _shows,
            ("wrong-device",),
            "A four-way with one screw left empty does all that a three-way does: the empty screw "
            "is the only thing that gives it away.",
        ),
    ),
    Claim(
        "four-way-for-three-way-works",
        _KINDS,
        "A four-way switch can always stand in for a three-way.",
        "With a four-way in place of a three-way, whichever of the three wires shares a side with "
        "the empty screw, every flip of every switch changes the lamp and nothing trips.",
        Every(
            (TWO_AND_THREE,),
            _four_way_instead,
            ("wrong-device",),
            "It works only if the wire that belongs on the common has the side with the empty "
            "screw to itself; a traveler there makes a light that half works.",
        ),
    ),
    Claim(
        "single-pole-for-three-way-shows",
        _KINDS,
        "A single-pole switch in place of a three-way is always noticed.",
        "With a single-pole in place of a three-way, whichever two of the three wires it has, "
        "some switch does nothing in some state or something trips.",
        Every((TWO_AND_THREE,), _single_pole_shows, ("wrong-device",)),
    ),
    Claim(
        "working-cables-balanced",
        _KINDS,
        "Where every switch works, what goes out in a cable comes back in it.",
        "In a traveler chain of two locations with one landing error that passes every flip, the "
        "currents of every cable cancel to within 10 mA in every state.",
        Every(
            (CHAIN_OF_TWO,),
            _balanced,
            LANDINGS,
            "The light works, and part of its current takes another way back than it came: the "
            "loop between the two makes fields and heats steel around it.",
            volts=True,
        ),
    ),
    Claim(
        "never-dim",
        _KINDS,
        "One mistake in the wiring of one lamp never makes it dim.",
        "In two locations no single mistake leaves the lamp with less than 90 % or more than "
        "110 % of its volts, unless it is dark.",
        Every((TWO,), _never_odd, (*LANDINGS, *PARTS, "loose-join"), volts=True),
    ),
)
