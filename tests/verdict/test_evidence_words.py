"""The words of evidence, pinned: a change of phrasing is a choice, never an accident."""

import pytest
from boathouse import (
    BARE_ON_LINE,
    LINE_ON_BOTH_SIDES,
    LINE_ON_SHELL,
    NEUTRAL_ON_A_TRAVELER,
    NEUTRAL_THROUGH_SWITCHES,
    NEUTRAL_WITH_GROUND,
    NO_NEUTRAL,
    SWITCH_NOT_GROUNDED,
    TRAVELER_LEFT_OFF,
    failed,
    stair,
    stair_with_outlet,
)

from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Failure, Join
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES
from verify.verdict.evidence import find_evidence

LINE_TO_LAMP = (
    "line leaves the feed in the landing box on slipway-run black, "
    "enters slipway-switch at common in the slipway box, "
    "leaves it at traveler-1 (up) on slipway-run red, "
    "is joined in the landing box to workshop-run red, "
    "enters workshop-switch at traveler-1 in the workshop box, "
    "leaves it at common (up) on workshop-run black "
    "and reaches lamp at contact in the landing box"
)
RETURN = "the return leaves lamp at shell in the landing box and reaches the feed at neutral"


def words(circuit: Circuit, claim: str, state: int = 0) -> tuple[str, ...]:
    """The evidence's sentences; ``misbehaves`` is about the slipway switch."""
    if claim == "misbehaves":
        return find_evidence(circuit, claim, state, "slipway-switch", "lamp").path_words
    return find_evidence(circuit, claim, state).path_words


# What the sentences are, by claim

TOLD: dict[str, tuple[Circuit, str, int, tuple[str, ...]]] = {
    "trip through the lampholder": (
        stair({}, failed("lamp-shorted", "lamp")),
        "trips",
        3,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "enters slipway-switch at common in the slipway box, "
            "leaves it at traveler-2 (down) on slipway-run white, "
            "is joined in the landing box to workshop-run white, "
            "enters workshop-switch at traveler-2 in the workshop box, "
            "leaves it at common (down) on workshop-run black, "
            "enters lamp at contact in the landing box, "
            "leaves it at shell (lamp shorted) and reaches the feed at neutral",
        ),
    ),
    "trip through a short in a cable": (
        stair({}, failed("conductors-shorted", "workshop-run.bare", "workshop-run.red")),
        "trips",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "enters slipway-switch at common in the slipway box, "
            "leaves it at traveler-1 (up) on slipway-run red, "
            "is joined in the landing box to workshop-run red, "
            "crosses to workshop-run bare through the short in workshop-run (broken insulation) "
            "and reaches the ground terminal of the feed in the landing box",
        ),
    ),
    "trip through a short at the feed": (
        stair({}, failed("conductors-shorted", "slipway-run.bare", "slipway-run.black")),
        "trips",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "crosses to slipway-run bare through the short in slipway-run (broken insulation) "
            "and reaches the ground terminal of the feed in the landing box",
        ),
    ),
    "lit in both states, two ways": (
        stair({}, failed("contact-welded", "slipway-switch.common", "slipway-switch.traveler-1")),
        "misbehaves",
        0,
        (
            "lamp is lit",
            LINE_TO_LAMP,
            RETURN,
            "with slipway-switch moved to down, lamp is still lit",
            LINE_TO_LAMP.replace("traveler-1 (up)", "traveler-1 (contact welded)"),
            RETURN,
        ),
    ),
    "lit in both states, one way": (
        stair({}, failed("switch-stuck", "slipway-switch", position="up")),
        "misbehaves",
        1,
        (
            "lamp is lit",
            LINE_TO_LAMP.replace("traveler-1 (up)", "traveler-1 (stuck up)"),
            RETURN,
            "with slipway-switch moved to up, lamp is still lit in the same way",
        ),
    ),
    "dark in both states, for two reasons": (
        stair({}, failed("conductor-open", "slipway-run.red")),
        "misbehaves",
        0,
        (
            "lamp is dark: line does not reach it",
            "line leads only to the break in slipway-run red",
            "with slipway-switch moved to down, lamp is still dark: line does not reach it",
            "line leads only to workshop-switch at traveler-2 (open)",
        ),
    ),
    "dark in both states, line left off": (
        stair({"feed.line slipway-run.black": ""}),
        "misbehaves",
        0,
        (
            "lamp is dark: line does not reach it",
            "line leads to nothing: it is unconnected",
            "with slipway-switch moved to down, lamp is still dark for the same reason",
        ),
    ),
    "dark in both states, line on both sides in one": (
        stair(LINE_ON_BOTH_SIDES),
        "misbehaves",
        0,
        (
            "lamp is dark: line reaches both of its sides",
            LINE_TO_LAMP,
            "line leaves the feed in the landing box and reaches lamp at shell",
            "with slipway-switch moved to down, lamp is still dark: "
            "line reaches its shell but no return leads from its contact",
            "line leaves the feed in the landing box and reaches lamp at shell",
            "lamp at contact leads only to slipway-switch at traveler-1 (open)",
        ),
    ),
    "lamp-live-dark": (
        stair({}, failed("lamp-open", "lamp")),
        "lamp-live-dark",
        0,
        ("lamp is dark: it has failed (open)", LINE_TO_LAMP),
    ),
    "lamp-reversed": (
        stair(LINE_ON_SHELL),
        "lamp-reversed",
        0,
        (
            LINE_TO_LAMP.replace("contact", "shell"),
            RETURN.replace("shell", "contact"),
        ),
    ),
    "neutral-switched": (
        stair(NEUTRAL_THROUGH_SWITCHES),
        "neutral-switched",
        3,
        (
            "line leaves the feed in the landing box and reaches lamp at shell",
            "the return leaves lamp at contact in the landing box on workshop-run black, "
            "enters workshop-switch at common in the workshop box, "
            "leaves it at traveler-2 (down) on workshop-run white, "
            "is joined in the landing box to slipway-run white, "
            "enters slipway-switch at traveler-2 in the slipway box, "
            "leaves it at common (down) on slipway-run black "
            "and reaches the feed at neutral in the landing box",
            "by conductors alone lamp at contact leads only to workshop-switch at common",
        ),
    ),
    "both-poles-on-switch": (
        stair(NEUTRAL_ON_A_TRAVELER),
        "both-poles-on-switch",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black "
            "and reaches slipway-switch at common in the slipway box",
            "neutral leaves the feed in the landing box on slipway-run white "
            "and reaches slipway-switch at traveler-2 in the slipway box",
        ),
    ),
    "metal-live": (
        stair(
            {
                "slipway-run.red slipway-switch.traveler-1": (
                    "slipway-run.red slipway-switch.traveler-1 box.slipway"
                )
            },
            metal=["slipway"],
        ),
        "metal-live",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "enters slipway-switch at common in the slipway box, "
            "leaves it at traveler-1 (up) and reaches the metal of the slipway box",
        ),
    ),
    "metal-floating": (
        stair(SWITCH_NOT_GROUNDED),
        "metal-floating",
        0,
        (
            "by conductors alone the ground terminal of slipway-switch leads to nothing: "
            "it is unconnected",
        ),
    ),
    "metal-floating, ground left off at the feed": (
        stair(BARE_ON_LINE),
        "metal-floating",
        0,
        (
            "by conductors alone the ground terminal of slipway-switch leads only to "
            "the feed at line and slipway-switch at common",
        ),
    ),
    "ground-wire-live": (
        stair(BARE_ON_LINE),
        "ground-wire-live",
        0,
        ("line leaves the feed in the landing box on slipway-run bare",),
    ),
    "ground-carries-load": (
        stair(NEUTRAL_WITH_GROUND),
        "ground-carries-load",
        0,
        (
            LINE_TO_LAMP,
            "the return leaves lamp at shell in the landing box "
            "and reaches the ground terminal of the feed",
        ),
    ),
    "neutral-ground-tied": (
        stair(NEUTRAL_WITH_GROUND),
        "neutral-ground-tied",
        0,
        ("neutral leaves the feed in the landing box and reaches the ground terminal of the feed",),
    ),
    "live-stub": (
        stair(TRAVELER_LEFT_OFF),
        "live-stub",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "enters slipway-switch at common in the slipway box, "
            "leaves it at traveler-1 (up) on slipway-run red and comes to the landing box",
            "slipway-run red is joined to nothing in the landing box",
        ),
    ),
    "live-stub beyond a break": (
        stair(TRAVELER_LEFT_OFF, failed("conductor-open", "slipway-run.red")),
        "live-stub",
        0,
        (
            "line leaves the feed in the landing box on slipway-run black, "
            "enters slipway-switch at common in the slipway box "
            "and leaves it at traveler-1 (up) on slipway-run red",
            "slipway-run red is joined to nothing in the landing box",
        ),
    ),
    "backfed": (
        stair(
            {
                "feed.neutral lamp.shell": "lamp.shell slipway-run.white",
                **{
                    "slipway-run.white workshop-run.white": "",
                    "slipway-run.white slipway-switch.traveler-2": "",
                },
            }
        ),
        "backfed",
        0,
        (
            LINE_TO_LAMP,
            "lamp at shell leads only to the free end of slipway-run white in the slipway box",
        ),
    ),
    "receptacle on the switch leg": (
        stair_with_outlet("workshop-run.black lamp.contact", "feed.neutral lamp.shell"),
        "receptacle-switched",
        1,
        (
            "outlet is dead: line does not reach its line terminal",
            "outlet at line leads only to lamp at contact and slipway-switch at traveler-1 (open)",
        ),
    ),
    "receptacle reversed": (
        stair_with_outlet("feed.neutral lamp.shell", "feed.line slipway-run.black"),
        "receptacle-switched",
        0,
        (
            "outlet is reversed: line reaches its neutral terminal",
            "line leaves the feed in the landing box and reaches outlet at neutral",
        ),
    ),
    "receptacle without neutral": (
        stair_with_outlet("feed.line slipway-run.black", None),
        "receptacle-switched",
        0,
        (
            "outlet is dead: no return leads from its neutral terminal",
            "outlet at neutral leads to nothing: it is unconnected",
        ),
    ),
}


@pytest.mark.parametrize("case", TOLD)
def test_words(case: str) -> None:
    """A person who holds the words beside the circuit can trace them, step by step."""
    circuit, claim, state, told = TOLD[case]
    assert words(circuit, claim, state) == told


def test_words_for_every_claim_are_pinned() -> None:
    """No claim about connections is without an example of its words above."""
    claims = {"trips", "misbehaves", *HAZARD_NAMES} - ELECTRICAL
    assert {claim for _, claim, _, _ in TOLD.values()} == claims


def four_way_in_a_box(*joins: str, failures: tuple[Failure, ...] = ()) -> Circuit:
    """A four-way switch between feed and lamp, in one box."""
    return Circuit(
        "Loft",
        (Box("loft-box"),),
        (
            Device("supply", "feed", "loft-box"),
            Device("lamp", "lamp", "loft-box"),
            Device("turn", "four-way", "loft-box"),
        ),
        (),
        tuple(Join("loft-box", tuple(join.split())) for join in joins),
        failures,
    )


def test_way_through_two_contacts_of_one_switch() -> None:
    """Current that turns around inside a switch is told as passing on, not as leaving it."""
    circuit = four_way_in_a_box(
        "supply.line turn.a1",
        "turn.a2 supply.neutral",
        failures=(failed("contact-welded", "turn.a2", "turn.b1"),),
    )
    assert words(circuit, "trips") == (
        "line leaves the feed in loft-box, enters turn at a1, passes to b1 (up), "
        "leaves it at a2 (contact welded) and reaches the feed at neutral",
    )


def test_way_that_enters_a_switch_twice() -> None:
    """A jumper between two terminals leads out of the switch and into it again."""
    circuit = four_way_in_a_box("supply.line turn.a1", "turn.b1 turn.b2", "turn.a2 supply.neutral")
    assert words(circuit, "trips") == (
        "line leaves the feed in loft-box, enters turn at a1, leaves it at b1 (up), "
        "enters turn at b2, leaves it at a2 (up) and reaches the feed at neutral",
    )


def test_dead_ends_at_a_switch() -> None:
    """Line stops at a contact that failed open, or behind a closed one at a bare terminal."""
    joins = ("supply.line turn.a1 turn.a2",)
    broken = (failed("contact-open", "turn.a1", "turn.b1"),)
    (_, reason, *_) = find_evidence(
        four_way_in_a_box(*joins, failures=broken), "misbehaves", 0, "turn", "lamp"
    ).path_words
    assert reason == (
        "line leads only to turn at a1 (contact failed open) and turn at b2 (unconnected)"
    )


def test_way_in_a_circle_ends_nowhere() -> None:
    """Where every way leads back, the places on it are named; a break in the circle ends it."""
    rewire = {
        **NO_NEUTRAL,
        "workshop-run.black lamp.contact": "lamp.contact slipway-run.red slipway-run.white",
        "slipway-run.red workshop-run.red": "",
        "slipway-run.white workshop-run.white": "",
        "slipway-run.red slipway-switch.traveler-1": "slipway-run.red slipway-run.white",
        "slipway-run.white slipway-switch.traveler-2": "",
        "feed.line slipway-run.black": "feed.line lamp.shell",
    }
    assert words(stair(rewire), "backfed")[-1] == (
        "lamp at contact leads only in a circle through slipway-run red and slipway-run white"
    )
    broken = failed("conductor-open", "slipway-run.red")
    assert words(stair(rewire, broken), "backfed")[-1] == (
        "lamp at contact leads only to the break in slipway-run red"
    )


def test_long_lists_are_cut_and_counted() -> None:
    """Of many dead ends the first seven are named and the rest are counted."""
    bells = [f"bell-{number}" for number in range(12)]
    circuit = stair(
        {"feed.neutral lamp.shell": "lamp.shell " + " ".join(f"{bell}.line" for bell in bells)},
        devices=[Device(bell, "receptacle", "landing") for bell in bells],
    )
    named = ", ".join(f"{bell} at line" for bell in bells[:7])
    assert words(circuit, "backfed")[-1] == f"lamp at shell leads only to {named} and 5 more places"


def test_equally_short_paths_go_by_the_first_cable() -> None:
    """Of two cables side by side the evidence follows the first, whatever the joins' order."""
    cables = tuple(Cable(name, ("quay", "loft"), ("black",)) for name in ("north", "south"))
    joins = (
        Join("quay", ("feed.line", "south.black", "north.black")),
        Join("loft", ("south.black", "north.black", "lamp.contact")),
        Join("loft", ("lamp.shell", "switch.s1")),
    )
    devices = (
        Device("feed", "feed", "quay"),
        Device("lamp", "lamp", "loft"),
        Device("switch", "single-pole", "loft"),
    )
    boxes = (Box("quay"), Box("loft"))
    found = {
        find_evidence(
            Circuit("Quay", boxes, devices, cables, order), "lamp-live-dark", 0
        ).path_words[1]
        for order in (joins, joins[::-1])
    }
    assert found == {
        "line leaves the feed in the quay box on north black "
        "and reaches lamp at contact in the loft box"
    }
