"""Claims that infer a mistake from a symptom, and claims about what flipping can show."""

from typing import Final

from verify.fault.families import place
from verify.study.claims.cases import StudyCase
from verify.study.claims.contract import Claim, Every
from verify.study.claims.domains import (
    CHAIN,
    CHAIN_OF_TWO,
    THREE,
    TWO,
    TWO_AND_THREE,
    DrawnCircuits,
)
from verify.study.claims.vocabulary import (
    ALL_KINDS,
    LANDINGS,
    OPENING,
    TOUCHING,
    brought_together,
    common_exchanged,
    count,
    is_traveler,
    nets_touching,
    roles_involved,
    scheme_title,
    switches_concerned,
    touching,
)

_THEME: Final = "from what is seen to what is wrong"
_FLIPS: Final = "what flipping can show"
_SUPPLY: Final = frozenset({"line", "neutral", "switch leg", "lamp"})


def _one_position_only(case: StudyCase) -> bool | None:
    if case.trips or case.odd or count(case.lit) != 1:
        return None
    return common_exchanged(case) is not None


def _dead_switch(case: StudyCase) -> bool | None:
    """Say whether the wrong landing is at the dead switch, where only one is dead."""
    if case.verdict != "misbehaves" or len(case.dead) != 1:
        return None
    return case.dead[0].name in switches_concerned(case)


def _dead_switch_is_bad(case: StudyCase) -> bool | None:
    if case.verdict != "misbehaves" or len(case.dead) != 1:
        return None
    failed = case.kind in ("contact-open", "contact-welded", "switch-stuck", "wrong-device")
    return failed and case.dead[0].name == case.fault.site[0].partition(".")[0]


def _never_lights(case: StudyCase) -> bool | None:
    if case.lit or case.trips or case.odd:
        return None
    return bool(roles_involved(case) & _SUPPLY)


def _always_on(case: StudyCase) -> bool | None:
    if case.lit != case.everything:
        return None
    roles = brought_together(case)
    return roles is not None and all(map(is_traveler, roles))


def _three_of_four(case: StudyCase) -> bool | None:
    if case.trips or count(case.lit) != 3:
        return None
    roles = brought_together(case)
    if roles is None:
        return False
    return any(map(is_traveler, roles)) and bool({"line", "switch leg"} & {*roles})


def _trips_somewhere(case: StudyCase) -> bool | None:
    if not case.trips or case.trips == case.everything:
        return None
    roles = brought_together(case)
    if roles is None:
        return False
    return any(map(is_traveler, roles)) and bool({"ground", "neutral"} & {*roles})


def _pattern_tells(case: StudyCase) -> bool | None:
    """Say whether all that trips in the same states when grounded is one net."""
    net = _grounded(case)
    if net is None:
        return None
    return all(
        _grounded(other) in (None, net)
        for other in case.study.cases(TOUCHING)
        if other.trips == case.trips
    )


def _grounded(case: StudyCase) -> int | None:
    """Return the net of a traveler or switch leg that touches ground or neutral."""
    roles, nets = touching(case), nets_touching(case)
    if roles is None or nets is None:
        return None
    for role, net, other in zip(roles, nets, reversed(roles), strict=True):
        if other in ("ground", "neutral") and (is_traveler(role) or role == "switch leg"):
            return net
    return None


def _both_down_is_off(case: StudyCase) -> bool:
    return not case.lit >> (case.everything.bit_length() - 1) & 1


def _needs_every_state(case: StudyCase) -> bool:
    """Return True if for each state some mistake is wrong in that state only."""
    shown = {
        (other.lit ^ case.lit) | other.trips | other.odd
        for other in case.study.cases(ALL_KINDS)
        if not other.works
    }
    return all(1 << state in shown for state in range(case.everything.bit_length()))


def _dangerous_shows(case: StudyCase) -> bool | None:
    """Say whether the light does not work, where some hazard holds."""
    return not case.works if case.hazards else None


def _right_in_three(case: StudyCase) -> bool | None:
    """Say whether no state is wrong, where at most one is."""
    wrong = (case.lit ^ case.intended.lit) | case.trips | case.odd
    return wrong == 0 if count(wrong) <= 1 else None


def _trips_in_a_quarter(case: StudyCase) -> bool | None:
    return 4 * count(case.trips) >= count(case.everything) if case.trips else None


def _keeps_sense(case: StudyCase) -> bool | None:
    return case.lit == case.intended.lit if case.verdict == "sound" else None


def _tells_the_box(case: StudyCase) -> bool | None:
    """Say whether every landing error with the same signature is in the same box."""
    if case.verdict != "misbehaves":
        return None
    here = place(case.fault)
    return all(
        place(other.fault) == here
        for other in case.study.cases(LANDINGS)
        if other.signature == case.signature
    )


def _not_only_two_dead(case: StudyCase) -> bool | None:
    """Say whether at most one switch is dead, where some switch still works."""
    if case.verdict != "misbehaves" or len(case.dead) == len(case.circuit.switches):
        return None
    return len(case.dead) < 2


CLAIMS: Final = (
    Claim(
        "one-position-means-misplaced-common",
        _THEME,
        "If the light works only in one position of the other switch, common and traveler are "
        "exchanged.",
        "In a traveler chain of two locations, if the lamp is lit in exactly one state and nothing "
        "trips, the mistake is an exchange of a common with a traveler.",
        Every(
            (CHAIN_OF_TWO,),
            _one_position_only,
            ALL_KINDS,
            "An open traveler does the same, wherever it is open. Before any screw is moved, look "
            "for a wire that has slipped out.",
        ),
    ),
    Claim(
        "dead-switch-is-miswired",
        _THEME,
        "The switch that seems dead is the one that is miswired.",
        "If one switch changes nothing in any state, the others do, and nothing trips, the landing "
        "error is in the box of that switch.",
        Every(
            (TWO_AND_THREE,),
            _dead_switch,
            LANDINGS,
            "The dead switch is wired as it should be: a wire in another box lets the current pass "
            "by it. Opening the box of the switch that still works, or the lamp's, finds it.",
        ),
    ),
    Claim(
        "dead-switch-is-bad",
        _THEME,
        "A switch that does nothing at all is a bad switch.",
        "If one switch changes nothing in any state, the others do, and nothing trips, that switch "
        "has failed or is of the wrong kind.",
        Every(
            (TWO_AND_THREE,),
            _dead_switch_is_bad,
            ALL_KINDS,
            "Nothing has failed, and a new switch in that place would do nothing either: something "
            "is landed wrong.",
        ),
    ),
    Claim(
        "never-lights-supply",
        _THEME,
        "If it never lights it is the lamp, the neutral, the feed or the switch leg.",
        "If the lamp is dark in every state and nothing trips, the mistake is at a part of the "
        "lamp or at an end of line, neutral or switch leg.",
        Every(
            (TWO_AND_THREE,),
            _never_lights,
            ALL_KINDS,
            "The current has the travelers to pass too. Here two of them are taken for each other "
            "so that each leads back to the switch that it comes from, and the light is dark in "
            "every position all the same.",
        ),
    ),
    Claim(
        "never-lights-by-an-opening",
        _THEME,
        "In the usual hookup, a light that never comes on because something is open has the lamp, "
        "the neutral, the feed or the switch leg open.",
        "In a traveler chain, if something is left off, spliced apart, broken, burnt out or never "
        "closes and the lamp is dark in every state, the mistake is at a part of the lamp or at an "
        "end of line, neutral or switch leg.",
        Every((CHAIN,), _never_lights, OPENING),
    ),
    Claim(
        "always-on-means-touching-travelers",
        _THEME,
        "A light that cannot be turned off means travelers that touch.",
        "If the lamp is lit in every state, two travelers touch or one is landed on another.",
        Every(
            (TWO_AND_THREE,),
            _always_on,
            ALL_KINDS,
            "Here the current reaches the lamp past the switches, or through one that is always "
            "closed, and no traveler touches another.",
        ),
    ),
    Claim(
        "three-of-four-means-touching",
        _THEME,
        "On in three of four positions means a traveler touching the feed or the switch leg.",
        "In two locations, if the lamp is lit in three states and nothing trips, a traveler "
        "touches line or the switch leg, or one is landed on the other.",
        Every(
            (TWO,),
            _three_of_four,
            ALL_KINDS,
            "The same picture without any two things touching: a wire landed on the wrong screw, "
            "or a contact that never opens, gives it too.",
        ),
    ),
    Claim(
        "some-trips-mean-grounded-traveler",
        _THEME,
        "If the breaker trips only in some positions, a traveler is grounded.",
        "If some states trip and some do not, a traveler touches ground or neutral, or one is "
        "landed on the other.",
        Every(
            (TWO_AND_THREE,),
            _trips_somewhere,
            ALL_KINDS,
            "Whatever is hot in some positions only can do it: the switch leg, the lamp, or "
            "wires landed so that the switches bring line and neutral together.",
        ),
    ),
    Claim(
        "trip-pattern-tells-conductor",
        _THEME,
        "The positions in which the breaker trips tell which conductor is grounded.",
        "In a traveler chain, two conductors that touch ground or neutral and trip in the same "
        "states are one and the same traveler, or both the switch leg.",
        Every((CHAIN,), _pattern_tells, TOUCHING),
    ),
    Claim(
        "both-down-is-off",
        _THEME,
        "All handles down means that the light is off.",
        "In a circuit as intended the lamp is dark in the state in which every switch is down.",
        Every(
            (TWO_AND_THREE,),
            _both_down_is_off,
            because="Nothing ties the sense of a handle to the light: with the travelers straight "
            "the light is on where both handles point the same way, and crossing them at one end "
            "turns that around. A handle that is down says nothing about the wires behind it.",
            by=lambda case: f"{len(case.circuit.switches)} locations as {scheme_title(case)}",
        ),
    ),
    Claim(
        "every-state-needed",
        _FLIPS,
        "All positions have to be tried to be sure.",
        "For every state of every circuit there is a single mistake that shows in that state only.",
        Every(
            (TWO_AND_THREE,),
            _needs_every_state,
            because="For one of its combinations there is no single mistake that shows in it "
            "alone, so that whoever has found all others right has nothing to learn from it. "
            "Which ones can be spared depends on the circuit.",
            by=lambda case: f"{len(case.circuit.switches)} locations",
        ),
    ),
    Claim(
        "trying-all-positions-suffices",
        _FLIPS,
        "Whoever has tried all positions and found the light right has nothing to fear.",
        "A mistake with a hazard makes some switch do nothing in some state, or trips.",
        Every(
            (TWO_AND_THREE,),
            _dangerous_shows,
            ALL_KINDS,
            "The light does in every position what it should, and the hazard is there. That is "
            "what this catalogue calls a mimic: no flipping finds it, only looking and measuring.",
        ),
    ),
    Claim(
        "right-in-three-of-four",
        _FLIPS,
        "With two switches, a light that is right in three of the four positions is right.",
        "In two locations, if what lamp and protection do is as intended in three states, it is "
        "in the fourth.",
        Every(
            (TWO,),
            _right_in_three,
            ALL_KINDS,
            "Three of four combinations are as they should be; the fourth is the one that was not "
            "tried.",
        ),
    ),
    Claim(
        "trips-in-a-quarter",
        _FLIPS,
        "What trips the breaker at all trips it in at least a quarter of all positions.",
        "In a circuit of any number of locations a mistake that trips in some state trips in at "
        "least a quarter of the states.",
        Every((TWO_AND_THREE, DrawnCircuits(30, 12, 4, 5)), _trips_in_a_quarter, ALL_KINDS),
    ),
    Claim(
        "harmless-keeps-sense",
        _FLIPS,
        "A mistake that does no harm changes nothing that can be seen.",
        "With a mistake after which the circuit is sound, the lamp is lit in the same states.",
        Every(
            (TWO_AND_THREE,),
            _keeps_sense,
            ALL_KINDS,
            "Up and down have changed their meaning at one switch, and that is all.",
        ),
    ),
    Claim(
        "pattern-tells-the-box",
        _FLIPS,
        "What the light does in all positions tells in which box the mistake is.",
        "In two locations no two landing errors in different boxes have the same signature unless "
        "the light works.",
        Every(
            (TWO,),
            _tells_the_box,
            LANDINGS,
            "A mistake in another box of this circuit has the same signature: flipping narrows "
            "down what is wrong, hardly ever where.",
        ),
    ),
    Claim(
        "two-dead-switches-mean-all-dead",
        _FLIPS,
        "With three switches, one mistake never makes two of them dead and leaves the third.",
        "In three locations, if nothing trips and some switch still changes the lamp in some "
        "state, at most one switch does nothing in all states.",
        Every(
            (THREE,),
            _not_only_two_dead,
            ALL_KINDS,
            "One wire past two switches is enough: only the third is still in the current's way.",
        ),
    ),
)
