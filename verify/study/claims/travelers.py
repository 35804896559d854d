"""Claims about travelers, commons and four-ways: what may change places and what may not."""

from typing import Final

from verify.study.claims.cases import StudyCase
from verify.study.claims.contract import Claim, Every
from verify.study.claims.domains import (
    CHAIN,
    CHAIN_OF_THREE,
    CHAIN_OF_TWO,
    THREE,
    TIED_OF_TWO,
    TWO,
    TWO_AND_THREE,
    Bypassed,
    DrawnCircuits,
    Layouts,
)
from verify.study.claims.vocabulary import (
    common_exchanged,
    count,
    exchanged_terminals,
    is_traveler,
    nets_touching,
    opened,
    pairs_of,
    scheme_title,
    touching,
    travelers_exchanged,
)

_THEME: Final = "travelers and commons"
_LANDED: Final = ("exchanged",)
_STRAIGHT: Final = (("a1", "b1"), ("a2", "b2"))
_CROSSED: Final = (("a1", "b2"), ("a2", "b1"))
_SAME_SIDE: Final = (frozenset(("a1", "a2")), frozenset(("b1", "b2")))


def _any_travelers(case: StudyCase) -> bool | None:
    """Say whether the result is sound, where two traveler conductors of one box are exchanged."""
    roles = case.study.roles
    devices = {device.name for device in case.circuit.devices}
    for box, one, other in case.sites:
        both_conductors = not {one.partition(".")[0], other.partition(".")[0]} & devices
        if (
            both_conductors
            and is_traveler(roles.at(box, one))
            and is_traveler(roles.at(box, other))
        ):
            # Where a traveler only passes through the box, exchanging its ends makes a loop.
            return case.verdict == "sound" if _lead_away(case, box, one, other) else None
    return None


def _lead_away(case: StudyCase, box: str, one: str, other: str) -> bool:
    """Return True if each of two conductors is landed on a device in this box."""
    joins = {end.name: group for group in case.circuit.grouped_ends for end in group}
    devices = {device.name for device in case.circuit.devices}
    return all(
        any(end.box == box and end.owner in devices for end in joins[name]) for name in (one, other)
    )


def _two_screws(case: StudyCase) -> bool | None:
    return case.verdict == "sound" if travelers_exchanged(case) else None


def _sense_only(case: StudyCase) -> bool | None:
    if travelers_exchanged(case) is None:
        return None
    turned = case.everything & ~case.intended.lit
    return case.verdict == "sound" and case.lit == turned


def _one_position(case: StudyCase) -> bool | None:
    if common_exchanged(case) is None:
        return None
    # For each switch: it works in some position of another switch, and in some it does not.
    idle = [case.idle(number) for number in range(len(case.circuit.switches))]
    return not case.trips and all(0 < count(states) < count(case.everything) for states in idle)


def _misplaced_common(case: StudyCase) -> bool | None:
    return not case.works if common_exchanged(case) else None


def _looks_like_misplaced_common(case: StudyCase) -> bool | None:
    if not is_traveler(opened(case)):
        return None
    misplaced = {other.signature for other in case.study.cases(_LANDED) if common_exchanged(other)}
    return case.signature not in misplaced


def _one_combination(case: StudyCase) -> bool | None:
    if common_exchanged(case) is None:
        return None
    return count(case.lit) == 1 and not case.trips


def _unlike_chain(case: StudyCase) -> bool | None:
    if common_exchanged(case) is None:
        return None
    usual = case.study.wired_as("chain").cases(_LANDED)
    return case.signature not in {other.signature for other in usual if common_exchanged(other)}


def _one_hot(case: StudyCase) -> bool:
    return all(
        case.live(one) ^ case.live(other) == case.everything
        for switch in case.circuit.switches
        for one, other in pairs_of(switch)
    )


def _feed_common(case: StudyCase) -> bool:
    first = case.circuit.switches[0]
    always = {
        f"{switch.name}.{part}"
        for switch in case.circuit.switches
        for part in switch.form.switched_terminals
        if case.live(f"{switch.name}.{part}") == case.everything
    }
    return always == {f"{first.name}.common"}


def _within_pair(case: StudyCase) -> bool | None:
    found = [parts for _, parts in exchanged_terminals(case) if parts in _SAME_SIDE]
    return case.verdict == "sound" if found else None


def _is_mixed(case: StudyCase) -> bool:
    return any(
        switch.kind == "four-way" and parts not in _SAME_SIDE
        for switch, parts in exchanged_terminals(case)
    )


def _mixed_kills(case: StudyCase) -> bool | None:
    return not case.lit and not case.trips if _is_mixed(case) else None


def _mixed_shows(case: StudyCase) -> bool | None:
    return not case.works if _is_mixed(case) else None


def _is_sound(case: StudyCase) -> bool:
    return case.verdict == "sound"


def _half_of_the_time(case: StudyCase) -> bool | None:
    """Say whether the light works in one position of an end switch and is dark in the other."""
    if not is_traveler(opened(case)):
        return None
    shown = case.lit
    for end in (0, len(case.circuit.switches) - 1):
        down = case.down(end)
        for kept in (down, case.everything & ~down):
            if shown == case.intended.lit & kept:
                return True
    return False


def _touching_is_on(case: StudyCase) -> bool | None:
    roles = touching(case)
    if roles is None or not all(map(is_traveler, roles)):
        return None
    return case.lit == case.everything


def _pair_touching_is_on(case: StudyCase) -> bool | None:
    held = _touching_is_on(case)
    roles, nets = touching(case), nets_touching(case)
    if held is None or roles is None or nets is None:
        return None
    return held if roles[0] == roles[1] and nets[0] != nets[1] else None


CLAIMS: Final = (
    Claim(
        "any-travelers-interchangeable",
        _THEME,
        "Travelers can change places as they like.",
        "If two traveler conductors that are landed on switches in one box, of whatever pairs, "
        "change places, the circuit stays sound.",
        Every(
            (CHAIN,),
            _any_travelers,
            _LANDED,
            "At a four-way the wires of the two sides are both called travelers, and which side a "
            "wire belongs to matters: with one of each side changed over, the four-way connects "
            "two wires that come from the same switch. Mark the pairs before taking them off.",
            named=lambda site: not any(name.startswith("switch-") for name in site[1:]),
        ),
    ),
    Claim(
        "own-travelers-interchangeable",
        _THEME,
        "The two travelers on one three-way switch can change places.",
        "If the two traveler screws of one three-way change places, the circuit stays sound.",
        Every((TWO_AND_THREE,), _two_screws, _LANDED),
    ),
    Claim(
        "crossing-turns-sense",
        _THEME,
        "Crossing the travelers at one end only turns the sense of the handles.",
        "If the two traveler screws of one three-way change places, the circuit stays sound and "
        "the lamp is lit in exactly the states in which it was dark.",
        Every((TWO_AND_THREE,), _sense_only, _LANDED),
    ),
    Claim(
        "misplaced-common-one-position",
        _THEME,
        "A common exchanged with a traveler always makes a switch work in one position of the "
        "others only.",
        "If common and a traveler of a three-way change places, nothing trips and each switch "
        "changes the lamp in some states and does nothing in others.",
        Every((TWO_AND_THREE,), _one_position, _LANDED),
    ),
    Claim(
        "misplaced-common-one-combination",
        _THEME,
        "With two switches a common exchanged with a traveler gives a light that comes on in one "
        "combination only.",
        "In two locations, if common and a traveler of a three-way change places, nothing trips "
        "and the lamp is lit in exactly one of the four states.",
        Every(
            (TWO,),
            _one_combination,
            _LANDED,
            "With tied commons the same slip gives the opposite picture, a light that goes off in "
            "one combination only: whoever waits for the usual pattern looks elsewhere.",
            by=scheme_title,
        ),
    ),
    Claim(
        "misplaced-common-always-shows",
        _THEME,
        "A misplaced common is always noticed by trying the switches.",
        "If common and a traveler of a three-way change places, some switch does nothing in some "
        "state or something trips.",
        Every((TWO_AND_THREE,), _misplaced_common, _LANDED),
    ),
    Claim(
        "open-traveler-looks-different",
        _THEME,
        "An open traveler looks different from a misplaced common.",
        "In a traveler chain of two locations no open traveler has the signature of a common "
        "exchanged with a traveler of the same circuit.",
        Every(
            (CHAIN_OF_TWO,),
            _looks_like_misplaced_common,
            ("left-off", "conductor-open"),
            "A common exchanged with a traveler on one of the switches of this very circuit shows "
            "the same: the light comes on in one combination of the handles. Flipping cannot "
            "tell a broken wire from a misplaced one; looking at the screws, or continuity "
            "of the conductor with the power off, can.",
        ),
    ),
    Claim(
        "tied-common-shows-differently",
        _THEME,
        "With tied commons a misplaced common shows in another way than usual.",
        "In tied commons of two locations, if common and a traveler of a three-way change places, "
        "the signature is none that this has in a traveler chain of the same layout.",
        Every((TIED_OF_TWO,), _unlike_chain, _LANDED),
    ),
    Claim(
        "one-traveler-hot",
        _THEME,
        "In a healthy circuit exactly one traveler of each pair is hot, whatever the switches do.",
        "In a circuit as intended, of the two screws of each pair of travelers exactly one is "
        "live in every state.",
        Every(
            (TWO_AND_THREE,),
            _one_hot,
            because="With tied commons the pair carries line on one wire and the switch leg on the "
            "other, so that both are hot whenever the light is on. A meter that finds both hot "
            "has found no fault there.",
            by=scheme_title,
        ),
    ),
    Claim(
        "feed-common-always-hot",
        _THEME,
        "The conductor that is hot in all positions belongs on the common of the feed's switch.",
        "In a circuit as intended the common of the first switch, and no other screw of any "
        "switch, is live in every state.",
        Every(
            (TWO_AND_THREE,),
            _feed_common,
            because="With tied commons line lands on a traveler screw of both switches, and the "
            "commons are hot only part of the time. Whoever moves the always-hot wire to the "
            "common breaks a circuit that was right.",
            by=scheme_title,
        ),
    ),
    Claim(
        "four-way-pair-order",
        _THEME,
        "Within one pair of a four-way switch the order does not matter.",
        "If the two screws of one side of a four-way change places, the circuit stays sound.",
        Every((THREE,), _within_pair, _LANDED),
    ),
    Claim(
        "mixed-pairs-kill",
        _THEME,
        "Mixing the pairs of a four-way switch kills the light.",
        "If a screw of one side of a four-way and one of the other change places, the lamp is "
        "dark in every state and nothing trips.",
        Every(
            (THREE,),
            _mixed_kills,
            _LANDED,
            "In one position of the four-way the exchanged wires still lead through, and the two "
            "other switches work as ever; only in its other position does the light not obey. "
            "Tried with the handle where it happens to be, it seems fine.",
        ),
    ),
    Claim(
        "mixed-pairs-show",
        _THEME,
        "A four-way with mixed pairs is noticed when every handle is tried.",
        "If a screw of one side of a four-way and one of the other change places, some switch "
        "does nothing in some state.",
        Every((THREE,), _mixed_shows, _LANDED),
    ),
    Claim(
        "any-number-of-four-ways",
        _THEME,
        "Any number of four-way switches can be added.",
        "In a circuit as intended of any number of locations every flip of every switch changes "
        "every lamp, and there is no hazard.",
        Every((Layouts((2, 3)), DrawnCircuits(400, 11, 4, 9)), _is_sound),
    ),
    Claim(
        "four-way-bypassed-straight",
        _THEME,
        "A dead four-way switch can be bypassed by joining like travelers.",
        "With the four-way taken out and a1 joined with b1, a2 with b2, both three-ways change "
        "the lamp in every state and there is no hazard.",
        Every((Bypassed(_STRAIGHT),), _is_sound),
    ),
    Claim(
        "four-way-bypassed-crossed",
        _THEME,
        "Bypassing a four-way switch, it does not matter which traveler is joined with which of "
        "the other side.",
        "With the four-way taken out and a1 joined with b2, a2 with b1, both three-ways change "
        "the lamp in every state and there is no hazard.",
        Every((Bypassed(_CROSSED),), _is_sound),
    ),
    Claim(
        "open-traveler-of-three",
        _THEME,
        "With three switches an open traveler kills the light half of the time at one end.",
        "In a traveler chain of three locations with one traveler open, one position of one end "
        "switch leaves the lamp dark whatever the others do, and in its other position they work.",
        Every((CHAIN_OF_THREE,), _half_of_the_time, ("left-off", "conductor-open")),
    ),
    Claim(
        "touching-travelers-of-three",
        _THEME,
        "With three switches travelers that touch mean that the light is always on.",
        "In a traveler chain of three locations, if two travelers of whatever pairs touch, the "
        "lamp is lit in every state.",
        Every(
            (CHAIN_OF_THREE,),
            _touching_is_on,
            ("bridged", "conductors-shorted"),
            "These two belong to different pairs, before and after the four-way: they bypass it "
            "on one wire only, and the light still goes off in some combinations.",
        ),
    ),
    Claim(
        "touching-pair-of-three",
        _THEME,
        "With three switches the two travelers of one pair that touch keep the light on.",
        "In a traveler chain of two or three locations, if the two travelers of one pair touch, "
        "the lamp is lit in every state.",
        Every((CHAIN,), _pair_touching_is_on, ("bridged", "conductors-shorted")),
    ),
    Claim(
        "tied-commons-as-good",
        _THEME,
        "Commons joined, with feed and switch leg on the travelers, is as good as the usual way.",
        "Wired as tied commons, every layout is sound: every flip of every switch changes the "
        "lamp, and none of the hazards of connections holds.",
        Every((Layouts((2, 3), ("tied",)),), _is_sound),
    ),
)
