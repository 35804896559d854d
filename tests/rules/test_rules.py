"""Every rule has a circuit that raises it and one that does not, and says what raised it."""

from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

import pytest
from boathouse import (
    BARE_ON_LINE,
    LINE_ON_SHELL,
    NEUTRAL_THROUGH_SWITCHES,
    NEUTRAL_WITH_GROUND,
    RETURN_ON_GROUND,
    SWITCH_NOT_GROUNDED,
    failed,
    stair,
)
from ruling import (
    NEUTRAL_APART,
    NEUTRAL_BESIDE,
    NEUTRAL_TWICE,
    findings,
    switch_loop,
    two_cables,
    two_feeds,
)

from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Device
from verify.rules.book import BookChoice, rules
from verify.rules.remarks import LOOKS, remarks

SHIPPED = {path.stem: load(path) for path in sorted(data_path("circuits").glob("*.toml"))}
BOTH = ("slipway-switch", "workshop-switch")
RUNS = ("slipway-run", "workshop-run")
BOXES = ("landing", "slipway", "workshop")
WITH_SOCKET = [Device("socket", "receptacle", "landing")]

GROUND_BY_SWITCH = {
    "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
        "feed.ground slipway-run.bare workshop-run.bare tester.s1 | lamp.ground tester.s2"
    )
}
SOCKET_REVERSED = {
    "feed.line slipway-run.black": "feed.line slipway-run.black socket.neutral",
    "feed.neutral lamp.shell": "feed.neutral lamp.shell socket.line",
}
SOCKET_RIGHT = {
    "feed.line slipway-run.black": "feed.line slipway-run.black socket.line",
    "feed.neutral lamp.shell": "feed.neutral lamp.shell socket.neutral",
}
NEUTRAL_BY_SWITCH_TO_GROUND = {
    "feed.neutral lamp.shell": "feed.neutral lamp.shell tester.s1",
    "feed.ground lamp.ground slipway-run.bare workshop-run.bare": (
        "feed.ground lamp.ground slipway-run.bare workshop-run.bare tester.s2"
    ),
}
NEUTRALS_APART = """
workshop: feed-1.neutral lamp-1.shell
workshop: feed-2.neutral lamp-2.shell"""
NEUTRALS_BORROWED = """
workshop: feed-1.neutral lamp-2.shell
workshop: feed-2.neutral lamp-1.shell"""
NEUTRALS_TOGETHER = "workshop: feed-1.neutral feed-2.neutral lamp-1.shell lamp-2.shell"
TESTER = [Device("tester", "single-pole", "landing")]


def sized(circuit: Circuit, size: str, amps: float) -> Circuit:
    """A circuit with another size of all cables and another breaker."""
    return replace(
        circuit,
        cables=tuple(replace(cable, size=size) for cable in circuit.cables),
        devices=tuple(
            replace(device, breaker_amps=amps) if device.kind == "feed" else device
            for device in circuit.devices
        ),
    )


class Case(NamedTuple):
    """A rule, a circuit, and the standing and parts of all that the rule finds in it."""

    rule: str
    circuit: Circuit
    found: list[tuple[str, tuple[str, ...]]]
    jurisdiction: str = "us"


def is_seen(*parts: str) -> tuple[str, tuple[str, ...]]:
    """A finding in the wiring as drawn."""
    return "seen", parts


def is_open(*parts: str) -> tuple[str, tuple[str, ...]]:
    """A finding that depends on what a file does not hold."""
    return "open", parts


CASES = [
    Case("switching-ungrounded", stair(NEUTRAL_THROUGH_SWITCHES), [is_seen(*BOTH)]),
    Case("switching-ungrounded", stair(NEUTRAL_THROUGH_SWITCHES), [is_seen(*BOTH)], "ca"),
    Case(
        "switching-ungrounded",
        SHIPPED["faulty-line-and-neutral-on-travelers"],
        [is_seen(*BOTH)],
    ),
    Case("switching-ungrounded", switch_loop("neutral", "black"), []),  # one switch, not several
    Case("switching-ungrounded", stair(), []),
    Case("switching-ungrounded", stair(), [], "ca"),
    Case("no-switch-in-neutral", stair(NEUTRAL_THROUGH_SWITCHES), [is_seen(*BOTH)]),
    Case("no-switch-in-neutral", stair(NEUTRAL_THROUGH_SWITCHES), [is_seen(*BOTH)], "uk"),
    Case("no-switch-in-neutral", switch_loop("neutral", "black"), [is_seen("switch")]),
    Case("no-switch-in-neutral", switch_loop("line", "black"), []),
    Case("no-switch-in-neutral", stair(), [], "uk"),
    Case("neutral-at-switch", stair(), [is_seen(*BOTH)]),
    Case("neutral-at-switch", stair(), [is_seen(*BOTH)], "ca"),
    Case(
        "neutral-at-switch",
        SHIPPED["slipway-feed-at-first-switch"],
        [is_open("workshop-switch")],
    ),
    Case(
        "neutral-at-switch",
        SHIPPED["slipway-feed-at-first-switch"],
        [is_seen("workshop-switch")],
        "ca",
    ),
    Case("neutral-at-switch", SHIPPED["workshop-feed-and-lamp-at-ends"], []),
    Case("neutral-at-switch", SHIPPED["workshop-feed-and-lamp-at-ends"], [], "ca"),
    Case("neutral-colour-on-line", stair(), [is_open("slipway-run.white", "workshop-run.white")]),
    Case("neutral-colour-on-line", switch_loop("line", "blue", "iec"), [is_open("run.blue")], "uk"),
    Case(
        "neutral-colour-on-line",
        stair(),
        [is_open("slipway-run.white", "workshop-run.white")],
        "uk",
    ),
    Case("neutral-colour-on-line", SHIPPED["workshop-feed-and-lamp-at-ends"], []),
    Case("neutral-colour-on-line", SHIPPED["winch-room-two-way-iec"], [], "uk"),
    Case("supply-not-return", switch_loop("line", "black"), [is_seen("run.white")]),
    Case("supply-not-return", switch_loop("line", "white"), []),
    Case("supply-not-return", stair(), [is_seen("slipway-run.white")]),
    Case("supply-not-return", SHIPPED["stair-feed-at-lamp"], []),
    Case("supply-not-return", switch_loop("line", "brown", "iec"), []),  # not about blue
    Case("shell-on-neutral", stair(LINE_ON_SHELL), [is_seen("lamp")]),
    Case("shell-on-neutral", stair(LINE_ON_SHELL), [is_seen("lamp")], "uk"),
    Case("shell-on-neutral", stair(NEUTRAL_THROUGH_SWITCHES), [is_seen("lamp")]),
    Case("shell-on-neutral", stair(), []),
    Case("shell-on-neutral", stair(), [], "uk"),
    Case("polarity", stair(LINE_ON_SHELL), [is_seen("lamp")]),
    Case("polarity", stair(SOCKET_REVERSED, devices=WITH_SOCKET), [is_seen("socket")]),
    Case("polarity", stair(SOCKET_RIGHT, devices=WITH_SOCKET), []),
    Case(
        "conductors-together",
        two_cables(NEUTRAL_APART),
        [is_seen("short-way"), is_seen("long-way")],
    ),
    Case("conductors-together", two_cables(NEUTRAL_BESIDE), []),
    Case("conductors-together", two_cables(NEUTRAL_TWICE), [is_open("short-way", "long-way")]),
    Case(
        "induced-heating",
        two_cables(NEUTRAL_APART, ["loft"]),
        [is_seen("short-way"), is_seen("long-way")],
    ),
    Case(
        "induced-heating",
        two_cables(NEUTRAL_APART, ["loft"]),
        [is_seen("short-way"), is_seen("long-way")],
        "uk",
    ),
    Case("induced-heating", two_cables(NEUTRAL_APART), []),
    Case("induced-heating", two_cables(NEUTRAL_BESIDE, ["loft"]), [], "uk"),
    Case("separate-circuits", stair(), [is_open()], "uk"),
    Case("separate-circuits", two_feeds(NEUTRALS_APART), [], "uk"),
    Case(
        "separate-circuits",
        two_feeds(NEUTRALS_BORROWED),
        [is_seen("lamp-1", "feed-1", "feed-2"), is_seen("lamp-2", "feed-2", "feed-1")],
        "uk",
    ),
    Case("separate-circuits", two_feeds(NEUTRALS_TOGETHER), [is_seen("feed-1", "feed-2")], "uk"),
    Case(
        "ground-continuous",
        SHIPPED["faulty-ground-left-off"],
        [is_seen("yard-door-run.green"), is_seen("box.yard-door")],
    ),
    Case(
        "ground-continuous",
        stair(BARE_ON_LINE),
        [is_seen("feed.ground", "slipway-run.bare", "workshop-run.bare")],
    ),
    Case(
        "ground-continuous",
        stair(GROUND_BY_SWITCH, devices=TESTER),
        [is_seen("lamp.ground")],
    ),
    Case("ground-continuous", stair(), []),
    Case("ground-continuous", SHIPPED["boat-hall-metal-boxes"], []),
    Case("yoke-grounded", stair(SWITCH_NOT_GROUNDED), [is_seen("slipway-switch")]),
    Case(
        "yoke-grounded",
        stair({}, failed("conductor-open", "workshop-run.bare")),
        [is_seen("workshop-switch")],
    ),
    Case("yoke-grounded", stair(), []),
    Case(
        "neutral-ground-tied", stair(NEUTRAL_WITH_GROUND), [is_seen("feed.neutral", "lamp.shell")]
    ),
    Case(
        "neutral-ground-tied",
        stair(NEUTRAL_BY_SWITCH_TO_GROUND, devices=TESTER),
        [is_seen("feed.neutral")],
    ),
    Case("neutral-ground-tied", stair(RETURN_ON_GROUND), []),
    Case("objectionable-current", stair(RETURN_ON_GROUND), [is_seen("lamp")]),
    Case("objectionable-current", stair(NEUTRAL_WITH_GROUND), [is_seen("lamp")]),
    Case("objectionable-current", stair(), []),
    Case("one-conductor-a-terminal", stair(), [is_open("lamp.ground")]),
    Case(
        "one-conductor-a-terminal",
        two_feeds("workshop: feed-1.neutral lamp-1.shell"),
        [is_open("lamp-1.ground", "lamp-2.ground")],
    ),
    Case("one-conductor-a-terminal", switch_loop("line", "white"), []),
    Case(
        "size-against-breaker",
        sized(stair(), "14 AWG", 20),
        [is_seen("slipway-run", "feed"), is_seen("workshop-run", "feed")],
    ),
    Case("size-against-breaker", stair(), [is_open(*RUNS)]),
    Case("size-against-breaker", sized(stair(), "1.5 mm²", 15), [is_open(*RUNS)]),
    Case("size-against-breaker", sized(stair(), "12 AWG", 20), []),
    Case("box-fill", sized(stair(), "1.5 mm²", 15), [is_open(box) for box in BOXES]),
    Case("box-fill", stair(), [("note", (box,)) for box in BOXES]),
    Case("free-conductor", stair(), [("note", BOXES)]),
]


@pytest.mark.parametrize(
    "case", CASES, ids=[f"{case.rule}-{number}" for number, case in enumerate(CASES)]
)
def test_a_rule_finds_what_it_is_about_and_nothing_else(case: Case) -> None:
    """Each finding has its standing and names the parts of the circuit that raised it."""
    found = findings(case.circuit, case.rule, case.jurisdiction)
    assert [(finding.standing, finding.raised_by) for finding in found] == case.found


#: Rules that say something of every circuit: there is no circuit that they keep silent about.
ALWAYS = {"box-fill", "free-conductor"}


def test_every_rule_has_both_sides() -> None:
    """No rule is without a circuit that raises it and one that does not, in each jurisdiction."""
    places = {(rule.id, text.jurisdiction.name) for rule in rules() for text in rule.texts}
    raised = {(case.rule, case.jurisdiction) for case in CASES if case.found}
    quiet = {(case.rule, case.jurisdiction) for case in CASES if not case.found}
    assert raised == places
    assert quiet == {place for place in places if place[0] not in ALWAYS}
    assert LOOKS.keys() == {rule.id for rule in rules()}


def test_sentences_say_what_raised_a_rule() -> None:
    """A person can go and look: positions, terminals, boxes and amperes are in the sentence."""
    wanted = {
        ("no-switch-in-neutral", "us"): "slipway-switch (common, traveler-1, traveler-2)",
        ("neutral-at-switch", "us"): "slipway and workshop, the boxes of slipway-switch",
        ("shell-on-neutral", "us"): "shell of lamp with slipway-switch up and workshop-switch up",
        ("polarity", "us"): "Neutral is on lamp.contact and line on lamp.shell",
        ("neutral-ground-tied", "us"): "in landing, by way of feed.neutral and lamp.shell",
        ("objectionable-current", "us"): "leaves by lamp.shell, which is on ground",
        ("size-against-breaker", "us"): "slipway-run is 14 AWG, for 15 A at most, and the breaker"
        " of feed has 20 A.",
        ("conductors-together", "us"): "the current of lamp passes through short-way one way",
        ("induced-heating", "uk"): "enters a box of metal",
        ("separate-circuits", "uk"): "The file has one feed",
    }
    for (rule, jurisdiction), words in wanted.items():
        told = [
            finding.because
            for case in CASES
            if (case.rule, case.jurisdiction) == (rule, jurisdiction)
            for finding in findings(case.circuit, rule, jurisdiction)
        ]
        assert any(words in because for because in told), (rule, told)
        assert all(because[-1] == "." and because[0] != " " for because in told)


def test_what_currents_decide_is_left_to_them() -> None:
    """Where the neutral has two ways, how the current divides is a matter of ohms."""
    (finding,) = findings(two_cables(NEUTRAL_TWICE), "conductors-together")
    assert "not decided without currents" in finding.because


def test_colours_of_another_palette_are_said_to_be_such() -> None:
    """A rule about blue has nothing to say of a file whose neutral is white."""
    (finding,) = findings(stair(), "neutral-colour-on-line", "uk")
    assert (
        "white is the neutral's colour in this file, whose palette, us, is not" in finding.because
    )
    (finding,) = findings(stair(), "neutral-colour-on-line")
    assert finding.because.endswith("a file does not say whether the white is marked.")


#: What the rules find in the sound circuits of the boathouse beyond the note on each box, by rule
#: and standing. The white of the stair's two cables carries supply; no neutral comes to a switch.
SOUND: Mapping[str, list[tuple[str, str, tuple[str, ...]]]] = {
    "slipway-feed-at-first-switch": [
        ("neutral-at-switch", "open", ("workshop-switch",)),
        ("neutral-colour-on-line", "open", ("workshop-run.white",)),
        ("one-conductor-a-terminal", "open", ("slipway-switch.ground",)),
    ],
    "stair-feed-at-lamp": [
        ("neutral-at-switch", "seen", BOTH),
        ("neutral-colour-on-line", "open", ("slipway-run.white", "workshop-run.white")),
        ("one-conductor-a-terminal", "open", ("lamp.ground",)),
    ],
    "workshop-feed-and-lamp-at-ends": [
        ("one-conductor-a-terminal", "open", ("slipway-switch.ground", "workshop-switch.ground")),
    ],
    "loft-stair-three-switches": [
        (
            "one-conductor-a-terminal",
            "open",
            ("slipway-switch.ground", "landing-switch.ground", "loft-switch.ground"),
        ),
    ],
    "boat-hall-metal-boxes": [
        (
            "one-conductor-a-terminal",
            "open",
            (
                "quay-door-switch.ground",
                "boat-hall-switch.ground",
                "yard-door-switch.ground",
                "lamp.ground",
            ),
        ),
    ],
    "quay-walk-four-switches": [
        (
            "neutral-at-switch",
            "seen",
            ("quay-switch", "jetty-switch", "sail-store-switch", "slipway-switch"),
        ),
        (
            "neutral-colour-on-line",
            "open",
            ("jetty-run.white", "quay-run.white", "sail-store-run.white", "slipway-run.white"),
        ),
        (
            "one-conductor-a-terminal",
            "open",
            ("lamp.ground", "jetty-switch.ground", "sail-store-switch.ground"),
        ),
    ],
    "sail-store-tied-commons": [
        ("neutral-at-switch", "open", ("slip-door-switch",)),
        ("neutral-colour-on-line", "open", ("slip-door-run.white",)),
        (
            "one-conductor-a-terminal",
            "open",
            (
                "quay-door-switch.traveler-1",
                "quay-door-switch.ground",
                "quay-door-switch.traveler-2",
            ),
        ),
    ],
    "winch-room-two-way-iec": [("separate-circuits", "open", ())],
    "net-loft-two-legs": [
        ("neutral-at-switch", "open", ("stair-switch",)),
        ("neutral-colour-on-line", "open", ("stair-run.white",)),
        ("one-conductor-a-terminal", "open", ("hatch-switch.ground",)),
    ],
    "chart-room-two-feeds": [
        ("neutral-at-switch", "open", ("stair-switch",)),
        ("neutral-colour-on-line", "open", ("stair-run.white",)),
        ("one-conductor-a-terminal", "open", ("door-switch.ground", "lamp.ground")),
    ],
}


def test_sound_circuits_that_ship_are_all_here() -> None:
    """No sound circuit ships without a list of what the rules find in it."""
    assert SOUND.keys() == {name for name in SHIPPED if not name.startswith("faulty-")}


@pytest.mark.parametrize("name", SOUND)
def test_sound_circuits_raise_exactly_these(name: str) -> None:
    """What works and is free of hazards may still ask for a mark, a neutral or a larger box."""
    circuit = SHIPPED[name]
    found = remarks(circuit, BookChoice().book(circuit.palette))
    told = [
        (remark.rule.id, remark.finding.standing, remark.finding.raised_by)
        for remark in found
        if remark.finding.standing != "note"
    ]
    assert told == SOUND[name]
    notes = [remark for remark in found if remark.finding.standing == "note"]
    boxes = [box.name for box in circuit.boxes]
    if circuit.palette == "us":
        assert [note.finding.raised_by for note in notes] == [*((b,) for b in boxes), tuple(boxes)]
    else:
        assert notes == []


def test_more_switches_than_can_be_gone_through_are_said_so() -> None:
    """What was not looked for is never taken for not found."""
    switches = [Device(f"more-{number}", "single-pole", "landing") for number in range(15)]
    circuit = stair(devices=switches)
    book = BookChoice().book("us")
    found = remarks(circuit, book)
    assert [remark.rule for remark in found] == [rule for rule, _ in book.rules]
    for remark in found:
        assert remark.finding.standing == "open"
        assert "17 switches are more than the 16" in remark.finding.because
