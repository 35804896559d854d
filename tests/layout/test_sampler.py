"""Drawn circuits: the same on every machine, always sound, and of every sort that is promised."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

import pytest

from verify.circuit.colours import PALETTES
from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.electric import outcomes as electric
from verify.electric.numbers import parameters
from verify.electric.outcomes import DARK, LIT
from verify.engine.paths import WireGraph
from verify.engine.words import WordsEngine
from verify.layout.routing import arrangement_of
from verify.layout.sampler import (
    MOST_JUNCTIONS,
    MOST_LAMPS,
    MOST_OUTLETS,
    Sample,
    random_circuit,
    sample,
)
from verify.layout.schemes import SOUND_SCHEMES
from verify.verdict.judging import judge

WORDS = WordsEngine()
SERIES = [sample(1, index) for index in range(300)]


def assert_all_sound(samples: Iterable[Sample]) -> None:
    """Hold every sample to what is promised of all."""
    for drawn in samples:
        judged = judge(drawn.circuit, WORDS)
        assert judged.verdict == "sound", (drawn.label, judged.hazards)


def test_a_random_circuit_is_that_of_the_sample() -> None:
    """The same numbers give the same circuit, of as many locations as asked for."""
    assert random_circuit(1) == SERIES[0].circuit
    assert random_circuit(1, 2) == SERIES[2].circuit
    assert len(random_circuit(3, fewest=4, most=4).switches) == 4
    with pytest.raises(ValueError, match="fewest=5 and most=4 must be in order"):
        random_circuit(3, fewest=5, most=4)


def test_labels_are_the_same_everywhere() -> None:
    """Labels get printed, so these are for ever: whoever changes the draws starts a new series."""
    assert [drawn.label for drawn in SERIES[:3]] == [
        "drawn-6-irnk4kogsn",
        "drawn-4-ydo7odkygo",
        "drawn-2-6tne667xyt",
    ]
    assert sample(2026, 7, fewest=16, most=16).label == "drawn-16-3rkkouhxfh"


def test_circuit_decides_the_label() -> None:
    """The label is a digest of the circuit as written in a file, wherever it was drawn."""
    by_label: dict[str, Sample] = {}
    for drawn in SERIES:
        form = rf"drawn-{len(drawn.circuit.switches)}-[a-z2-7]{{10}}"
        assert re.fullmatch(form, drawn.label), drawn.label
        assert by_label.setdefault(drawn.label, drawn).circuit == drawn.circuit
    assert len({drawn.circuit for drawn in SERIES}) == len(by_label)


def test_seed_and_index_decide_the_sample() -> None:
    """The same seed and index give the same sample; other seeds and indices give others."""
    assert [sample(1, index) for index in range(3)] == SERIES[:3]
    labels = {sample(seed, index).label for seed in range(1, 6) for index in range(10)}
    assert len(labels) > 45


def test_drawn_circuits_are_sound() -> None:
    """Whatever is drawn works from every location and has no hazard."""
    assert_all_sound(SERIES)


def test_receptacles_stay_energised_and_leave_the_light_alone() -> None:
    """By volts nothing trips, no lamp is dim or over, and every cable is balanced in every state.

    The limits are those of `data/electrical.toml`.
    """
    for drawn in SERIES[:80]:
        found = electric.circuit_outcomes(drawn.circuit)
        assert not found.trips.any(), drawn.label
        assert set(found.lamps.ravel()) <= {DARK, LIT}, drawn.label
        limit = parameters(drawn.circuit.palette).unbalanced_amps
        assert (found.unbalanced_amps < limit).all(), drawn.label
        if any(device.loads for device in drawn.circuit.devices):
            assert (found.load_volts > 0.9 * drawn.circuit.volts).all(), drawn.label


def test_drawn_circuits_of_many_locations_are_sound() -> None:
    """So does what is drawn up to as many locations as the engine takes."""
    assert_all_sound(sample(2, index, fewest=7, most=16) for index in range(12))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10, 20))
def test_thousands_of_drawn_circuits_are_sound(seed: int) -> None:
    """So do thousands."""
    assert_all_sound(sample(seed, index, most=8) for index in range(500))


PROMISED = {
    *(f"{locations} locations" for locations in range(2, 7)),
    *(f"{lamps} lamps" for lamps in range(1, MOST_LAMPS + 1)),
    *(f"{junctions} junction boxes" for junctions in range(MOST_JUNCTIONS + 1)),
    *SOUND_SCHEMES,
    *PALETTES,
    "neutral at every switch",
    "no neutral for its own sake",
    "switches in one box",
    "lamps in one box",
    "lamp and switch in one box",
    "lamp in a box of its own",
    "feed at a junction box",
    "metal boxes",
    "plastic boxes",
    "cables side by side",
    "raceway",
    "no receptacle",
    *(f"{outlets} receptacles" for outlets in range(1, MOST_OUTLETS + 1)),
    "something plugged in",
    "nothing plugged in",
    "receptacles on the feed of the light",
    "second feed on leg A with a neutral of its own",
    "second feed on leg B with a neutral of its own",
    "second feed on leg B with the neutral of the first",
}


def shown(drawn: Sample) -> Iterator[str]:
    """What is special about a sample, among what is promised."""
    place, circuit = drawn.arrangement, drawn.circuit
    switch_boxes, lamp_boxes = set(place.switch_boxes), set(place.lamp_boxes)
    yield f"{len(place.switch_boxes)} locations"
    yield f"{len(place.lamp_boxes)} lamps"
    yield f"{len(place.boxes) - len(switch_boxes | lamp_boxes)} junction boxes"
    yield drawn.scheme
    yield place.palette
    if place.neutral_everywhere:
        yield "neutral at every switch"
    else:
        yield "no neutral for its own sake"
    if len(switch_boxes) < len(place.switch_boxes):
        yield "switches in one box"
    if len(lamp_boxes) < len(place.lamp_boxes):
        yield "lamps in one box"
    if switch_boxes & lamp_boxes:
        yield "lamp and switch in one box"
    if lamp_boxes - switch_boxes:
        yield "lamp in a box of its own"
    if place.root not in switch_boxes | lamp_boxes:
        yield "feed at a junction box"
    yield from (f"{box.material} boxes" for box in circuit.boxes)
    if len({frozenset(cable.between) for cable in circuit.cables}) < len(circuit.cables):
        yield "cables side by side"
    if any(len(cable.conductors) > 5 for cable in circuit.cables):
        yield "raceway"
    yield from shown_outlets(drawn.circuit)


def shown_outlets(circuit: Circuit) -> Iterator[str]:
    """The same of receptacles and what feeds them."""
    receptacles = [device for device in circuit.devices if device.kind == "receptacle"]
    if not receptacles:
        yield "no receptacle"
        return
    yield f"{len(receptacles)} receptacles"
    yield from (f"{'some' if device.loads else 'no'}thing plugged in" for device in receptacles)
    if len(circuit.feeds) == 1:
        yield "receptacles on the feed of the light"
        return
    first, second = circuit.feeds
    neutrals = (circuit.terminal(feed, "neutral") for feed in (first, second))
    shares = WireGraph(circuit).are_wired(*neutrals)
    whose = "the neutral of the first" if shares else "a neutral of its own"
    yield f"second feed on leg {second.leg} with {whose}"


def test_every_sort_is_drawn() -> None:
    """A few hundred samples leave out nothing of what the sampler is for, and add nothing."""
    assert {what for drawn in SERIES for what in shown(drawn)} == PROMISED


def test_every_tree_is_drawn() -> None:
    """All nine rooted trees on three boxes turn up (Cayley; OEIS A000169, from memory)."""
    parents = {
        drawn.arrangement.parents
        for index in range(150)
        for drawn in [sample(3, index, most=2)]
        if len(drawn.arrangement.boxes) == 3
    }
    assert len(parents) == 9


def test_neutral_is_at_every_switch_where_it_should() -> None:
    """Taken to every switch, the neutral reaches each of its boxes by conductors alone."""
    for drawn in SERIES:
        if drawn.arrangement.neutral_everywhere:
            wiring = WireGraph(drawn.circuit)
            neutral = drawn.circuit.terminal(drawn.circuit.feed, "neutral")
            wired = {end.box for end in drawn.circuit.ends if wiring.are_wired(end, neutral)}
            assert {switch.box for switch in drawn.circuit.switches} <= wired, drawn.label


def test_sample_can_be_written_and_read_back() -> None:
    """The file gives the circuit back, and the circuit where everything was put."""
    for drawn in SERIES:
        assert loads(dump(drawn.circuit)) == drawn.circuit
        placed = replace(drawn.arrangement, neutral_everywhere=False)
        has_outlets = "no receptacle" not in shown(drawn)
        assert arrangement_of(drawn.circuit) == (None if has_outlets else placed)


@pytest.mark.parametrize(("fewest", "most"), [(1, 6), (4, 3), (2, 17), (17, 17)])
def test_impossible_numbers_of_locations_are_refused(fewest: int, most: int) -> None:
    """The message names both numbers and the limits."""
    with pytest.raises(ValueError, match=f"fewest={fewest} and most={most} .* 2 and 16"):
        sample(1, 0, fewest=fewest, most=most)
