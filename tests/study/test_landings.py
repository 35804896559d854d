"""Every way to land the free ends: the counts are those of going through every way."""

import itertools
import math
import random
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from boathouse import stair
from hypothesis import given, settings
from hypothesis import strategies as st
from landing import (
    BELL,
    Way,
    by_hazards,
    feed_beyond,
    free_ends,
    landed,
    one_box,
    two_cables,
    way_count,
    with_free,
    working_ways,
)

from verify import strategies
from verify.base.problems import CircuitError
from verify.base.resources import data_path
from verify.circuit.file import dump, load, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Failure, Join
from verify.engine.paths import PathsEngine
from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.layout.enumeration import Layout
from verify.study.census.wiring_families import closed_form
from verify.study.landings import search as search_module
from verify.study.landings.instance import LandingInstance
from verify.study.landings.partitions import partitions
from verify.study.landings.search import search
from verify.study.landings.survey import Landings, survey
from verify.verdict.judging import judge

AT_FIRST, AT_LAMP, AT_ENDS = (
    "slipway-feed-at-first-switch",
    "stair-feed-at-lamp",
    "workshop-feed-and-lamp-at-ends",
)
HOOKUPS = (AT_FIRST, AT_LAMP, AT_ENDS)

SWITCH_BOXES = {
    "slipway": (
        *("slipway-switch.common", "slipway-switch.traveler-1", "slipway-switch.traveler-2"),
        *("slipway-run.black", "slipway-run.red", "slipway-run.white"),
    ),
    "workshop": (
        *("workshop-switch.common", "workshop-switch.traveler-1", "workshop-switch.traveler-2"),
        *("workshop-run.black", "workshop-run.red", "workshop-run.white"),
    ),
}
#: Fewer of them, for circuits of which more is different.
FEW = {
    "slipway": SWITCH_BOXES["slipway"],
    "workshop": (
        *("workshop-switch.common", "workshop-switch.traveler-1"),
        *("workshop-run.black", "workshop-run.red"),
    ),
}


def hookup(name: str) -> Circuit:
    """One of the three usual hookups of two locations that ship."""
    return load(data_path("circuits") / f"{name}.toml")


def found_ways(circuit: Circuit) -> set[Way]:
    """What the search finds, as groups of ends."""
    instance = LandingInstance(circuit)
    return {
        frozenset(
            frozenset(circuit.ends[box.ends[place]] for place in np.flatnonzero(row == group))
            for box, number in zip(instance.boxes, way, strict=True)
            for row in [partitions(len(box.ends))[number]]
            for group in set(row.tolist())
        )
        for way in search(instance).tolist()
    }


def counted(found: Landings) -> Counter[frozenset[str]]:
    """The ways that work by exactly which hazards they have."""
    return Counter({frozenset(one.hazards): one.ways for one in found.classes})


SMALL = {
    "both switch boxes": with_free(stair(), SWITCH_BOXES),
    "the lamp's box but for the feed": with_free(
        stair(),
        {
            "landing": (
                *("lamp.contact", "lamp.shell", "feed.neutral"),
                *("slipway-run.red", "slipway-run.white"),
                *("workshop-run.black", "workshop-run.red", "workshop-run.white"),
            ),
        },
    ),
    "all in one box": one_box("three-way", "three-way"),
    "a four-way as a switch": one_box("four-way"),
    "two single-poles": one_box("single-pole", "single-pole"),
    "one switch": one_box("single-pole"),
    "the feed in a box of its own": feed_beyond(),
    "two cables side by side": two_cables(),
    "grounds free as well": with_free(
        stair(),
        {
            "slipway": (*SWITCH_BOXES["slipway"], "slipway-run.bare", "slipway-switch.ground"),
            "workshop": ("workshop-run.red", "workshop-switch.traveler-1"),
        },
    ),
    "a broken conductor": with_free(
        stair(None, Failure("conductor-open", ("slipway-run.red",))), FEW
    ),
    "a welded contact": with_free(
        stair(
            None,
            Failure("contact-welded", ("slipway-switch.common", "slipway-switch.traveler-1")),
        ),
        {"workshop": SWITCH_BOXES["workshop"]},
    ),
    "conductors shorted": with_free(
        stair(None, Failure("conductors-shorted", ("slipway-run.red", "slipway-run.white"))),
        FEW,
    ),
    "a burnt-out lamp": with_free(
        stair(None, Failure("lamp-open", ("lamp",))), {"workshop": SWITCH_BOXES["workshop"]}
    ),
    "nothing free": with_free(stair(), {}),
}


@pytest.mark.parametrize("name", SMALL)
def test_nothing_is_missed_and_nothing_is_made_up(name: str) -> None:
    """The ways found are exactly those that work when every way is judged by itself."""
    circuit = SMALL[name]
    working = working_ways(circuit)
    assert found_ways(circuit) == working.keys()
    found = survey(circuit, WordsEngine())
    assert found.instance.ways == way_count(circuit)
    assert counted(found) == by_hazards(working)


@pytest.mark.slow
def test_hundreds_of_thousands_of_ways_one_by_one() -> None:
    """Of a usual hookup whose feed is fixed, 203 × 203 × 15 ways are judged one by one."""
    circuit = hookup(AT_FIRST)
    joins = tuple(
        replace(join, fixed=join.fixed or any(name.startswith("feed.") for name in join.ends))
        for join in circuit.joins
    )
    circuit = replace(circuit, joins=joins)
    assert way_count(circuit) == 203 * 203 * 15
    working = working_ways(circuit)
    assert found_ways(circuit) == working.keys()
    assert counted(survey(circuit, WordsEngine())) == by_hazards(working)


@st.composite
def small_circuits(draw: st.DrawFn) -> Circuit:
    """Circuits of two or three locations, of any wiring, with at most 1500 ways."""
    scheme = draw(strategies.schemes())
    layouts = [Layout.parse(code) for code in ("1.f.1", "f.L.L", "2.f.1", "1.f.1.2", "f.L.L.L")]
    circuit = draw(st.sampled_from(layouts)).circuit(scheme)
    if draw(st.booleans()):
        circuit = draw(strategies.rewirings(circuit))
    circuit = replace(circuit, failures=draw(strategies.failures(circuit, most=1)))
    free: set[End] = set()
    for group in draw(st.permutations(circuit.grouped_ends)):
        both = free | set(group)
        boxes = Counter(end.box for end in both)
        if math.prod(BELL[count] for count in boxes.values() if count < len(BELL)) <= 1500:
            free = both
    return with_free(
        circuit,
        {box.name: [end.name for end in free if end.box == box.name] for box in circuit.boxes},
    )


@given(small_circuits())
@settings(max_examples=60)
def test_any_small_circuit_is_counted_right(circuit: Circuit) -> None:
    """Whatever is fixed, failed or free: as many ways, and as many with each hazard."""
    working = working_ways(circuit)
    found = survey(circuit, WordsEngine())
    assert found.instance.ways == way_count(circuit)
    assert counted(found) == by_hazards(working)


@pytest.mark.parametrize("name", HOOKUPS)
def test_the_independent_engine_agrees_on_a_sample(name: str) -> None:
    """Around ways that work, a mistake away, the engine paths finds the same ways to work."""
    circuit = hookup(name)
    ways = found_ways(circuit)
    draws = random.Random(5)
    paths = PathsEngine()
    ordered = sorted(ways, key=lambda way: sorted(map(sorted, way)))
    agreed = Counter[bool]()
    for way in draws.sample(ordered, 12):
        near = [way]
        for _ in range(8):
            groups = [set(group) for group in way]
            source = draws.choice([group for group in groups if len(group) > 1])
            end = draws.choice(sorted(source))
            source.discard(end)
            target = draws.choice([g for g in groups if g and next(iter(g)).box == end.box])
            target.add(end)
            if len(target) > 2 and draws.random() < 0.7:
                other = draws.choice(sorted(target - {end}))
                target.discard(other)
                source.add(other)
            near.append(frozenset(frozenset(group) for group in groups if group))
        for one in near:
            verdict = judge(landed(circuit, one).apply(circuit), paths).verdict
            assert (verdict in ("sound", "mimic")) == (one in ways)
            agreed[one in ways] += 1
    assert min(agreed.values()) >= 10


@pytest.fixture(scope="module")
def surveyed() -> dict[str, Landings]:
    """The three usual hookups, counted."""
    return {name: survey(hookup(name), VoltsEngine()) for name in HOOKUPS}


@pytest.mark.parametrize(
    ("name", "free"), [(AT_FIRST, (10, 6, 4)), (AT_LAMP, (10, 6, 6)), (AT_ENDS, (8, 8, 4))]
)
def test_ways_are_products_of_bell_numbers(
    surveyed: dict[str, Landings], name: str, free: tuple[int, ...]
) -> None:
    """Each box has as many ways as its free ends have partitions: OEIS A000110.

    With a cable to each switch there are 115,975 × 203 × 203, about five thousand million.
    """
    instance = surveyed[name].instance
    assert tuple(len(box.ends) for box in instance.boxes) == free
    assert instance.ways == math.prod(BELL[count] for count in free)
    if name == AT_LAMP:
        assert instance.ways == 4_779_213_775


@pytest.mark.parametrize("name", HOOKUPS)
def test_counts_are_consistent(surveyed: dict[str, Landings], name: str) -> None:
    """Every way that works is in one class; a hazard's count is that of the classes with it."""
    found = surveyed[name]
    assert found.any_location == sum(one.ways for one in found.classes)
    assert found.sound == sum(one.ways for one in found.classes if one.verdict == "sound")
    assert len({one.hazards for one in found.classes}) == len(found.classes)
    for hazard, count in found.by_hazard.items():
        assert count == sum(one.ways for one in found.classes if hazard in one.hazards)
        assert 0 < count <= found.any_location - found.sound
    assert all(0 < one.families <= one.ways for one in found.classes)
    assert 0 < found.renamings <= found.sound


@pytest.mark.parametrize("name", HOOKUPS)
def test_every_example_is_what_its_class_says(surveyed: dict[str, Landings], name: str) -> None:
    """The example of a class, written as a file and read again, has the verdict and the hazards.

    Both engines that know volts, and neither of which searched, say so.
    """
    for one in surveyed[name].classes:
        read = loads(dump(one.example))
        assert read == one.example
        judged = judge(read, VoltsEngine())
        assert (judged.verdict, judged.hazards) == (one.verdict, one.hazards)
        connected = judge(read, PathsEngine())
        assert (connected.verdict, connected.hazards) == (one.verdict, one.hazards)


@pytest.mark.parametrize("name", HOOKUPS)
def test_one_judged_for_a_family_speaks_for_all(name: str) -> None:
    """Each way that works, judged by itself with volts, has the hazards that were counted."""
    circuit = hookup(name)
    ways = [landed(circuit, way) for way in found_ways(circuit)]
    engine = VoltsEngine()
    found = engine.observe_faults(circuit, ways)
    single = Counter(frozenset(found.observation(row).hazard_names) for row in range(len(ways)))
    assert single == counted(survey(circuit, engine))


@pytest.mark.parametrize("name", HOOKUPS)
def test_reversed_lampholder_is_one_exchange_away(surveyed: dict[str, Landings], name: str) -> None:
    """Contact and shell exchanged is a single exchange of ends, and so is line for neutral."""
    by_hazards_held = {one.hazards: one for one in surveyed[name].classes}
    assert by_hazards_held[()].exchanges == by_hazards_held[()].moves == 0
    assert by_hazards_held[("lamp-reversed",)].exchanges == 1
    assert by_hazards_held[("lamp-reversed",)].moves == 2


def test_all_in_one_box_are_the_wirings_of_the_census() -> None:
    """Without boxes, landing every end in every way is counting every wiring of two locations."""
    found = survey(one_box("three-way", "three-way"), WordsEngine())
    assert found.instance.ways == BELL[10]
    assert found.any_location == closed_form(2)


def test_currents_decide_where_cables_run_side_by_side() -> None:
    """Out by one cable and back by the other is unbalanced; by one feed's tree it cannot be.

    In a tree all current that a cable takes to its far side has to come back in it (Kirchhoff).
    """
    found = survey(two_cables(), VoltsEngine())
    assert found.any_location == 16
    assert found.by_hazard["cable-unbalanced"] == 16
    assert "cable-unbalanced" not in survey(two_cables(), WordsEngine()).by_hazard


@pytest.mark.parametrize("name", HOOKUPS)
def test_the_number_of_workers_changes_nothing(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One worker or three, work in small pieces or whole: the same ways in the same order."""
    instance = LandingInstance(hookup(name))
    whole = search(instance, workers=1)
    monkeypatch.setattr(search_module, "_AT_ONCE", 5000)
    done: list[tuple[int, int]] = []
    parts = search(instance, workers=3, progress=lambda some, total: done.append((some, total)))
    assert whole.tolist() == parts.tolist() == sorted(parts.tolist())
    assert done == sorted(done)
    assert done[-1][0] == done[-1][1]


def test_a_lamp_that_no_breaker_carries_works_in_no_way() -> None:
    """Connections alone would let it work; 6 kW on 15 A and 120 V trip the breaker."""
    circuit = hookup(AT_LAMP)
    devices = tuple(
        replace(device, watts=6000.0) if device.kind == "lamp" else device
        for device in circuit.devices
    )
    found = survey(replace(circuit, devices=devices), VoltsEngine())
    assert found.any_location == found.renamings == 0
    assert found.by_hazard == {}
    assert found.intended.verdict == "trips"


def test_too_much_for_memory_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """What would not fit is refused with a remedy, not begun."""
    monkeypatch.setattr(search_module, "_MOST_BYTES", 100_000)
    with pytest.raises(CircuitError, match="write fixed = true on joins"):
        survey(hookup(AT_LAMP), WordsEngine())


def test_every_reason_against_counting_is_given_at_once() -> None:
    """Two lamps, two feeds, loads, seven switches, a size that says nothing, too many free ends."""
    circuit = stair(
        devices=[
            Device("loft-feed", "feed", "landing"),
            Device("loft-lamp", "lamp", "landing"),
            Device("outlet", "receptacle", "landing", loads=(60.0,)),
            *(Device(f"more-{number}", "single-pole", "slipway") for number in range(5)),
        ]
    )
    cables = tuple(replace(cable, size="thick") for cable in circuit.cables)
    with pytest.raises(CircuitError) as caught:
        LandingInstance(replace(circuit, cables=cables))
    told = {problem.place: problem.message for problem in caught.value.problems}
    remedies = {
        "lamps=2": "leave one of lamp, loft-lamp",
        "feeds=2": "leave one of feed, loft-feed",
        "device.outlet.loads": "take the loads out",
        "switches=7": "leave some out",
        "cable 'slipway-run'": "leave it out",
        "cable 'workshop-run'": "leave it out",
        "box.landing": "23 ends are free, and 12 are the most",
        "box.slipway": "write fixed = true on joins",
        "joins": "write fixed = true on joins",
    }
    assert all(remedy in told[place] for place, remedy in remedies.items())
    assert told.keys() == remedies.keys()


def test_fixed_joins_stay_and_nothing_joins_them() -> None:
    """An end in a fixed join is in no way with any other end, though it is fixed alone."""
    circuit = stair()
    fixed = Join("landing", ("lamp.contact",), fixed=True)
    joins = [join for join in circuit.joins if "lamp.contact" not in join.ends]
    circuit = replace(circuit, joins=(*joins, fixed))
    assert End("landing", "lamp.contact") not in free_ends(circuit)["landing"]
    alone = with_free(circuit, FEW)
    assert survey(alone, WordsEngine()).any_location == len(working_ways(alone)) == 0


def test_renamings_are_those_of_travelers_and_conductors() -> None:
    """With a cable to each switch: 2 × 2 travelers, 6 × 6 orders of conductors, half of them equal.

    The travelers run unbroken from switch to switch, so exchanging them at both is exchanging the
    conductors between.
    """
    found = survey(hookup(AT_LAMP), WordsEngine())
    orders = len(list(itertools.permutations("abc")))
    assert found.renamings == 2 * 2 * orders * orders // 2
