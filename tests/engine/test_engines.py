"""What every engine must say of circuits small enough to be judged by hand.

States of the stair: 0 both up, 1 slipway down, 2 workshop down, 3 both down; the sets of states
below have bit s set for state s. Sound, the lamp is lit in 0 and 3.
"""

import pytest
from boathouse import (
    BARE_ON_LINE,
    LINE_ON_BOTH_SIDES,
    LINE_ON_SHELL,
    NEUTRAL_ON_A_TRAVELER,
    NEUTRAL_THROUGH_SWITCHES,
    NEUTRAL_WITH_GROUND,
    NO_NEUTRAL,
    RETURN_ON_GROUND,
    SWITCH_NOT_GROUNDED,
    TRAVELER_LEFT_OFF,
    failed,
    stair,
    stair_with_outlet,
)

from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Failure, Join
from verify.engine.contract import Engine
from verify.engine.diagrams import DiagramsEngine
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES

LIT_WHEN_ALIKE = 0b1001
LIT_WHEN_DIFFERENT = 0b0110
ALWAYS = 0b1111
SLIPWAY_UP = 0b0101
COMMON, TRAVELER_1, TRAVELER_2 = (
    f"slipway-switch.{terminal}" for terminal in ("common", "traveler-1", "traveler-2")
)
OPEN_RED = failed("conductor-open", "slipway-run.red")

ENGINES: dict[str, Engine] = {
    "words": WordsEngine(),
    "paths": PathsEngine(),
    "bdd": DiagramsEngine(),
}


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> Engine:
    """Each engine in turn."""
    return ENGINES[request.param]


def hazards_of(engine: Engine, circuit: Circuit) -> dict[str, int]:
    """The hazards that hold, each with its set of states."""
    seen = engine.observe(circuit)
    return {name: states for name, states in zip(HAZARD_NAMES, seen.hazards, strict=True) if states}


def in_one_box(*joins: str, **kinds: str) -> Circuit:
    """A circuit without cables; devices by name and kind, besides feed and lamp."""
    return Circuit(
        "Loft",
        (Box("loft"),),
        (
            Device("feed", "feed", "loft"),
            Device("lamp", "lamp", "loft"),
            *(Device(name, kind, "loft") for name, kind in kinds.items()),
        ),
        (),
        tuple(Join("loft", tuple(join.split())) for join in joins),
    )


def test_stair_as_drawn_is_sound(engine: Engine) -> None:
    """The usual hookup trips nowhere, is lit when the switches stand alike, and has no hazard."""
    seen = engine.observe(stair())
    assert (seen.switches, seen.trips, seen.lit) == (2, 0, (LIT_WHEN_ALIKE,))
    assert hazards_of(engine, stair()) == {}


HAZARDS_HELD = {
    "neutral left off": (NO_NEUTRAL, (), {"lamp-live-dark": 0b1001, "backfed": 0b1001}),
    "lamp open": ({}, (failed("lamp-open", "lamp"),), {"lamp-live-dark": 0b1001}),
    "line on both sides of the lamp": (
        LINE_ON_BOTH_SIDES,
        (),
        {"lamp-live-dark": ALWAYS, "backfed": LIT_WHEN_DIFFERENT},
    ),
    "lampholder reversed": (LINE_ON_SHELL, (), {"lamp-reversed": LIT_WHEN_ALIKE}),
    "neutral through the switches": (
        NEUTRAL_THROUGH_SWITCHES,
        (),
        {
            "lamp-live-dark": LIT_WHEN_DIFFERENT,
            "lamp-reversed": LIT_WHEN_ALIKE,
            "neutral-switched": LIT_WHEN_ALIKE,
            "backfed": LIT_WHEN_DIFFERENT,
        },
    ),
    "neutral through welded contacts": (
        NEUTRAL_THROUGH_SWITCHES,
        (
            failed("contact-welded", COMMON, TRAVELER_1),
            failed("contact-welded", "workshop-switch.traveler-1", "workshop-switch.common"),
        ),
        {"lamp-reversed": ALWAYS, "neutral-switched": ALWAYS},
    ),
    "neutral on a traveler": (
        NEUTRAL_ON_A_TRAVELER,
        (),
        # Slipway down trips: that leaves 0, and 2 where line comes as far as the open contact.
        {"both-poles-on-switch": SLIPWAY_UP},
    ),
    "ground on a traveler": (
        {
            "slipway-run.white workshop-run.white": "",
            "slipway-run.bare slipway-switch.ground": "",
            "slipway-run.white slipway-switch.traveler-2": (
                "slipway-run.bare slipway-switch.ground slipway-switch.traveler-2"
            ),
        },
        (),
        {"both-poles-on-switch": SLIPWAY_UP},
    ),
    "switch plate on line": (
        {
            **SWITCH_NOT_GROUNDED,
            "slipway-run.black slipway-switch.common": (
                "slipway-run.black slipway-switch.common slipway-switch.ground"
            ),
        },
        (),
        {"metal-live": ALWAYS, "metal-floating": ALWAYS},
    ),
    "switch plate not grounded": (SWITCH_NOT_GROUNDED, (), {"metal-floating": ALWAYS}),
    "ground left off at the feed": (
        {
            "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
                "lamp.ground slipway-run.bare workshop-run.bare"
            )
        },
        (),
        {"metal-floating": ALWAYS},
    ),
    "bare conductor on line": (
        BARE_ON_LINE,
        (),
        {"metal-live": ALWAYS, "metal-floating": ALWAYS, "ground-wire-live": ALWAYS},
    ),
    "return on ground": (RETURN_ON_GROUND, (), {"ground-carries-load": LIT_WHEN_ALIKE}),
    "return on ground from a reversed lampholder": (
        {
            "workshop-run.black lamp.contact": "workshop-run.black lamp.shell",
            "feed.neutral lamp.shell": "",
            "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
                "feed.ground lamp.ground slipway-run.bare workshop-run.bare lamp.contact"
            ),
        },
        (),
        {"lamp-reversed": LIT_WHEN_ALIKE, "ground-carries-load": LIT_WHEN_ALIKE},
    ),
    "neutral joined to ground": (
        NEUTRAL_WITH_GROUND,
        (),
        {"ground-carries-load": LIT_WHEN_ALIKE, "neutral-ground-tied": ALWAYS},
    ),
    "neutral and ground on one switch": (
        {
            "feed.line slipway-run.black": "",
            "slipway-run.red workshop-run.red": "slipway-run.red feed.neutral lamp.shell",
            "feed.neutral lamp.shell": "",
            "slipway-run.black slipway-switch.common": "",
            "slipway-run.bare slipway-switch.ground": (
                "slipway-run.bare slipway-switch.ground slipway-switch.common"
            ),
        },
        (),
        {"neutral-ground-tied": SLIPWAY_UP},
    ),
    "traveler left off": (TRAVELER_LEFT_OFF, (), {"live-stub": SLIPWAY_UP}),
    "traveler left off and broken": (TRAVELER_LEFT_OFF, (OPEN_RED,), {"live-stub": SLIPWAY_UP}),
    "traveler broken": ({}, (OPEN_RED,), {}),
    "stub beyond a break": (
        {"slipway-run.red slipway-switch.traveler-1": ""},
        (OPEN_RED, failed("conductors-shorted", "slipway-run.red", "slipway-run.black")),
        {"live-stub": ALWAYS},
    ),
}


@pytest.mark.parametrize("case", HAZARDS_HELD)
def test_hazards_hold_in_the_states_found_by_hand(engine: Engine, case: str) -> None:
    """Each hazard holds exactly where its condition does, and no other hazard with it."""
    rewire, failures, hazards = HAZARDS_HELD[case]
    assert hazards_of(engine, stair(rewire, *failures)) == hazards


FEED_LINE = "feed.line slipway-run.black"
FEED_NEUTRAL = "feed.neutral lamp.shell"
OUTLETS: dict[str, tuple[str | None, str | None, int]] = {
    "always served": (FEED_LINE, FEED_NEUTRAL, 0),
    "on the switch leg": ("workshop-run.black lamp.contact", FEED_NEUTRAL, LIT_WHEN_DIFFERENT),
    "on a traveler": ("slipway-run.red workshop-run.red", FEED_NEUTRAL, 0b1010),
    "reversed": (FEED_NEUTRAL, FEED_LINE, ALWAYS),
    "without neutral": (FEED_LINE, None, ALWAYS),
}


@pytest.mark.parametrize("case", OUTLETS)
def test_receptacles_are_judged(engine: Engine, case: str) -> None:
    """A receptacle is to be served in every state, with line on its line terminal."""
    line, neutral, states = OUTLETS[case]
    held = {"receptacle-switched": states} if states else {}
    assert hazards_of(engine, stair_with_outlet(line, neutral)) == held


def test_every_hazard_was_seen_to_hold() -> None:
    """No hazard of connections is without a circuit above, and the sound stair shows none."""
    shown = {name for _, _, hazards in HAZARDS_HELD.values() for name in hazards}
    assert shown | {"receptacle-switched"} == set(HAZARD_NAMES) - ELECTRICAL


def test_metal_box_is_judged_like_a_ground_terminal(engine: Engine) -> None:
    """A metal box floats unless it is grounded, and is live with the traveler that touches it."""
    assert hazards_of(engine, stair(metal=["slipway"])) == {"metal-floating": ALWAYS}
    grounded = {
        "slipway-run.bare slipway-switch.ground": (
            "slipway-run.bare slipway-switch.ground box.slipway"
        )
    }
    assert hazards_of(engine, stair(grounded, metal=["slipway"])) == {}
    touching = {
        "slipway-run.red slipway-switch.traveler-1": (
            "slipway-run.red slipway-switch.traveler-1 box.slipway"
        )
    }
    assert hazards_of(engine, stair(touching, metal=["slipway"])) == {
        "metal-live": SLIPWAY_UP,
        "metal-floating": ALWAYS,
    }


def test_receptacle_is_a_load_with_a_ground_terminal(engine: Engine) -> None:
    """A receptacle between line and neutral connects nothing; its ground terminal is metal."""
    outlet = Device("bench-outlet", "receptacle", "landing")
    fed = {
        "feed.line slipway-run.black": "feed.line slipway-run.black bench-outlet.line",
        "feed.neutral lamp.shell": "feed.neutral lamp.shell bench-outlet.neutral",
    }
    circuit = stair(fed, devices=[outlet])
    assert engine.observe(circuit).trips == 0
    assert hazards_of(engine, circuit) == {"metal-floating": ALWAYS}


@pytest.mark.parametrize("colour", ["green", "green-yellow", "brown"])
def test_ground_colours_of_both_palettes(engine: Engine, colour: str) -> None:
    """Green and green-yellow are ground conductors as bare is; a line colour is not."""
    circuit = Circuit(
        "Loft",
        (Box("loft"), Box("quay")),
        (
            Device("feed", "feed", "loft"),
            Device("lamp", "lamp", "loft"),
            Device("switch", "single-pole", "loft"),
        ),
        (Cable("run", ("loft", "quay"), (colour,)),),
        (
            Join("loft", ("feed.line", f"run.{colour}")),
            Join("loft", ("feed.ground", "lamp.ground", "switch.ground")),
        ),
        palette="us" if colour == "green" else "iec",
    )
    assert ("ground-wire-live" in hazards_of(engine, circuit)) == (colour != "brown")


FAILURES: dict[str, tuple[tuple[Failure, ...], int, int]] = {
    "a broken traveler": ((OPEN_RED,), 0, 0b1000),
    "travelers shorted": (
        (failed("conductors-shorted", "slipway-run.red", "slipway-run.white"),),
        0,
        ALWAYS,
    ),
    "line shorted to ground": (
        (failed("conductors-shorted", "slipway-run.black", "slipway-run.bare"),),
        ALWAYS,
        0,
    ),
    # Red is broken between the switch and the short, which is at the cable's first box.
    "the short on the landing side of the break": (
        (OPEN_RED, failed("conductors-shorted", "slipway-run.red", "slipway-run.white")),
        0,
        0b1010,
    ),
    "a contact that never closes": ((failed("contact-open", TRAVELER_1, COMMON),), 0, 0b1000),
    "a welded contact": ((failed("contact-welded", COMMON, TRAVELER_1),), 0, 0b1011),
    "a switch stuck up": ((failed("switch-stuck", "slipway-switch", position="up"),), 0, 0b0011),
    "a switch stuck down": (
        (failed("switch-stuck", "slipway-switch", position="down"),),
        0,
        0b1100,
    ),
    "an open contact in a stuck switch": (
        (
            failed("switch-stuck", "slipway-switch", position="up"),
            failed("contact-open", COMMON, TRAVELER_1),
        ),
        0,
        0,
    ),
    "a welded contact in a stuck switch": (
        (
            failed("switch-stuck", "slipway-switch", position="up"),
            failed("contact-welded", COMMON, TRAVELER_2),
        ),
        0,
        ALWAYS,
    ),
    "an open lamp": ((failed("lamp-open", "lamp"),), 0, 0),
    "a shorted lamp": ((failed("lamp-shorted", "lamp"),), LIT_WHEN_ALIKE, 0),
}


@pytest.mark.parametrize("case", FAILURES)
def test_failed_parts_do_what_they_did_by_hand(engine: Engine, case: str) -> None:
    """Failures change connections as the circuit file says: open beats welded beats stuck."""
    failures, trips, lit = FAILURES[case]
    seen = engine.observe(stair({}, *failures))
    assert (seen.trips, seen.lit) == (trips, (lit,))


def test_no_hazard_and_no_light_where_protection_trips(engine: Engine) -> None:
    """A state that trips is in no other set, however much else is wrong with the circuit."""
    circuit = stair({**SWITCH_NOT_GROUNDED, **LINE_ON_SHELL}, failed("lamp-shorted", "lamp"))
    seen = engine.observe(circuit)
    assert seen.trips == LIT_WHEN_ALIKE
    assert hazards_of(engine, circuit) == {"metal-floating": LIT_WHEN_DIFFERENT}


def test_four_way_between_three_ways_makes_parity(engine: Engine) -> None:
    """With a reversing switch between two three-ways the lamp is the parity of the three."""
    circuit = in_one_box(
        "feed.line first.common",
        "first.traveler-1 middle.a1",
        "first.traveler-2 middle.a2",
        "middle.b1 last.traveler-1",
        "middle.b2 last.traveler-2",
        "last.common lamp.contact",
        "lamp.shell feed.neutral",
        first="three-way",
        middle="four-way",
        last="three-way",
    )
    expected = sum(1 << state for state in range(8) if state.bit_count() % 2 == 0)
    assert engine.observe(circuit).lit == (expected,)


def test_single_pole_conducts_when_up(engine: Engine) -> None:
    """A single-pole switch is closed up and open down."""
    circuit = in_one_box(
        "feed.line switch.s1",
        "switch.s2 lamp.contact",
        "lamp.shell feed.neutral",
        switch="single-pole",
    )
    assert engine.observe(circuit).lit == (0b01,)


def test_lamps_are_reported_in_file_order(engine: Engine) -> None:
    """Each lamp has its own set of states: the second, across the feed, is always lit."""
    circuit = stair(
        {
            "feed.line slipway-run.black": "feed.line slipway-run.black porch.contact",
            "feed.neutral lamp.shell": "feed.neutral lamp.shell porch.shell",
        },
        devices=[Device("porch", "lamp", "landing")],
    )
    assert engine.observe(circuit).lit == (LIT_WHEN_ALIKE, ALWAYS)


def test_faults_are_rows_in_their_order(engine: Engine) -> None:
    """Row k is what the circuit with fault k does."""
    faults = [
        fault
        for fault in all_faults(stair())
        if fault.kind in ("switch-stuck", "lamp-open", "lamp-shorted")
    ]
    found = engine.observe_faults(stair(), faults)
    assert found.lit.shape == (len(faults), 1, 1)
    seen = [found.observation(row) for row in range(len(found))]
    assert {row.lit[0] for row in seen} == {0b0011, 0b1100, 0b0101, 0b1010, 0}
    assert seen == [engine.observe(fault.apply(stair())) for fault in faults]


def test_too_many_switches_are_refused(engine: Engine) -> None:
    """Beyond its limit the engine says so; it does not begin what it cannot end."""
    circuit = in_one_box(
        **{f"switch-{number}": "single-pole" for number in range(engine.most_switches + 1)}
    )
    with pytest.raises(ValueError, match="switches=17"):
        engine.observe(circuit)
