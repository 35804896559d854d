"""Schemes: two are sound, three pass every flip and are wrong, each in the way it is known for."""

from collections import Counter

import pytest

from verify.circuit.devices import KINDS
from verify.engine.words import WordsEngine
from verify.layout.enumeration import Layout, layouts
from verify.layout.routing import ROOT, route
from verify.layout.sampler import sample
from verify.layout.schemes import (
    FEED,
    LAMPS,
    SCHEMES,
    SOUND_SCHEMES,
    WRONG_SCHEMES,
    Landing,
    switch_kinds,
)
from verify.verdict.judging import judge

WORDS = WordsEngine()


def terminals(locations: int) -> set[Landing]:
    """Every terminal that a scheme has to connect."""
    return {
        Landing(FEED, "line"),
        Landing(FEED, "neutral"),
        Landing(LAMPS, "contact"),
        Landing(LAMPS, "shell"),
        *(
            Landing(place, terminal)
            for place, kind in enumerate(switch_kinds(locations))
            for terminal in KINDS[kind].switched_terminals
        ),
    }


@pytest.mark.parametrize("locations", range(2, 9))
@pytest.mark.parametrize("scheme", SCHEMES)
def test_scheme_connects_each_terminal_once(scheme: str, locations: int) -> None:
    """Every terminal of feed, lamp and switches is in exactly one net, and each net joins some."""
    nets = SCHEMES[scheme].plan(locations).nets
    landed = Counter(landing for net in nets for landing in net.landings)
    assert landed == Counter(terminals(locations))
    assert all(len(net.landings) >= 2 for net in nets)
    assert len({net.name for net in nets}) == len(nets)


@pytest.mark.parametrize("locations", [-1, 0, 1])
def test_one_location_is_no_scheme(locations: int) -> None:
    """To control a light from several places takes two."""
    with pytest.raises(ValueError, match=f"locations={locations} must be at least 2"):
        switch_kinds(locations)


def test_schemes_are_described() -> None:
    """Each scheme has a title and sentences about it; it is sound or wrong, not both."""
    for name, scheme in SCHEMES.items():
        assert scheme.name == name
        assert scheme.title
        assert scheme.description.endswith(".")
    assert {*SOUND_SCHEMES} | {*WRONG_SCHEMES} == {*SCHEMES}
    assert not {*SOUND_SCHEMES} & {*WRONG_SCHEMES}


LAMP_ALWAYS_ON_LINE = ("lamp-live-dark", "neutral-switched", "backfed")
WRONG_IN_WHAT = {
    # The lamp hangs on line, and the switches open its return.
    "chain-in-neutral": LAMP_ALWAYS_ON_LINE,
    "tied-in-neutral": LAMP_ALWAYS_ON_LINE,
    # Each side of the lamp is on line in half of the states, so it is reversed in half of the lit
    # ones and has line on both sides, or neutral on both, while dark.
    "both-poles": ("lamp-live-dark", "lamp-reversed", "neutral-switched", "both-poles-on-switch"),
}


@pytest.mark.parametrize("locations", [2, 3])
@pytest.mark.parametrize("scheme", WRONG_SCHEMES)
def test_wrong_scheme_mimics_in_every_layout(scheme: str, locations: int) -> None:
    """It passes every flip, and has the hazards that it is known for and no others."""
    for layout in layouts(locations):
        judged = judge(layout.circuit(scheme), WORDS)
        assert (judged.verdict, judged.hazards) == ("mimic", WRONG_IN_WHAT[scheme]), layout.code


@pytest.mark.parametrize("locations", [4, 5, 6, 9])
@pytest.mark.parametrize("scheme", SCHEMES)
def test_scheme_keeps_its_verdict_with_more_locations(scheme: str, locations: int) -> None:
    """More four-ways in the middle change nothing about it."""
    judged = judge(Layout((ROOT, *range(locations))).circuit(scheme), WORDS)
    assert judged.verdict == ("sound" if SCHEMES[scheme].is_sound else "mimic")
    assert judged.hazards == WRONG_IN_WHAT.get(scheme, ())


@pytest.mark.parametrize("scheme", SCHEMES)
def test_scheme_keeps_its_verdict_wherever_things_are(scheme: str) -> None:
    """Nor do shared boxes, further lamps, metal boxes and a neutral at every switch."""
    for index in range(40):
        circuit = route(scheme, sample(5, index).arrangement, "Boathouse")
        judged = judge(circuit, WORDS)
        assert judged.verdict == ("sound" if SCHEMES[scheme].is_sound else "mimic")
        assert judged.hazards == WRONG_IN_WHAT.get(scheme, ())
