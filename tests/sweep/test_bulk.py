"""Verdicts on all single faults at once: what *volts* says of each, whatever was judged before."""

import random
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.behaviour.signature import canonical
from verify.circuit.model import Circuit
from verify.circuit.parts import Failure
from verify.engine import volts
from verify.engine.contract import Engine
from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.fault.change import Change
from verify.fault.contract import Fault
from verify.fault.network import FaultBatch
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout, layouts
from verify.layout.routing import ROOT, route
from verify.layout.sampler import arranged, sample
from verify.layout.schemes import SOUND_SCHEMES, WRONG_SCHEMES
from verify.strategies import (
    arrangements,
    circuits,
    failing_circuits,
    miswired_circuits,
    rewirings,
    sound_schemes,
    supplied_circuits,
)
from verify.sweep import fault_judging, interning
from verify.sweep.fault_judging import Bulk, Outcome
from verify.sweep.interning import InternTable, intern_numbers
from verify.sweep.listing import Listing
from verify.sweep.simple import bounds_of
from verify.verdict.judging import NONE, judge_faults

#: One for all tests: what it remembers of other circuits must not matter.
BULK = Bulk()
VOLTS = VoltsEngine()


def by_engine(circuit: Circuit, faults: Sequence[Fault], engine: Engine = VOLTS) -> list[Outcome]:
    """What an engine finds of each fault, put together field by field."""
    return [
        Outcome(
            verdict=int(found.verdict[row]),
            word=canonical(found.codes[row], len(circuit.lamps)).word,
            codes=tuple(found.codes[row].tolist()),
            state=int(found.state[row]),
            switch=int(found.switch[row]),
            lamp=int(found.lamp[row]),
            hazards=tuple(
                (int(hazard), int(found.hazard_state[row, hazard]))
                for hazard in np.flatnonzero(found.hazard_state[row] != NONE)
            ),
            by_volts=bool(found.by_volts[row]),
        )
        for part, _, found in judge_faults(circuit, faults, engine)
        for row in range(len(part))
    ]


def in_bulk(circuit: Circuit, bulk: Bulk = BULK) -> list[Outcome]:
    """What is found of every single fault."""
    judged = bulk.judge(circuit)
    assert len(set(judged.outcomes.every)) == len(judged.outcomes)
    return [judged.outcomes[which] for which in judged.which]


def assert_judged_alike(circuit: Circuit) -> None:
    """Every field of every fault's outcome is that of *volts*."""
    faults = all_faults(circuit)
    for fault, seen, wanted in zip(
        faults, in_bulk(circuit), by_engine(circuit, faults), strict=True
    ):
        assert seen == wanted, f"{circuit.name}: {fault.label}"
    (unharmed,) = by_engine(circuit, [Fault("none", (), Change())])
    assert BULK.judge(circuit).intended == unharmed


def some_layouts(locations: int, count: int) -> Sequence[Layout]:
    """So many of the layouts, the same every time."""
    return random.Random(locations).sample(list(layouts(locations)), count)


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [2, 3])
def test_every_fault_of_every_layout(locations: int, scheme: str) -> None:
    """All of two and three locations."""
    for layout in layouts(locations):
        circuit = layout.circuit(scheme)
        assert bounds_of(circuit) is not None
        assert_judged_alike(circuit)


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [4, 5])
def test_every_fault_of_some_layouts(locations: int, scheme: str) -> None:
    """Cables side by side and wide joins, of which small layouts have none."""
    for layout in some_layouts(locations, 4):
        assert_judged_alike(layout.circuit(scheme))


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize(("locations", "count"), [(4, 250), (5, 40)])
def test_every_fault_of_more_layouts(locations: int, count: int, scheme: str) -> None:
    """As many as are solved in some minutes."""
    for layout in some_layouts(locations, count):
        assert_judged_alike(layout.circuit(scheme))


def assert_wrong_schemes_judged_alike(layout: Layout) -> None:
    """The circuits that are never made do what *volts* sees those do that are made."""
    circuit = layout.circuit("chain")
    judged = BULK.judge(circuit)
    assert list(judged.listing.rebuilt.values()) == list(WRONG_SCHEMES)
    for row, scheme in judged.listing.rebuilt.items():
        (wanted,) = by_engine(layout.circuit(scheme), [Fault("none", (), Change())])
        assert judged.outcomes[judged.which[row]] == wanted, f"{layout.code}: {scheme}"


def test_wrong_schemes() -> None:
    """Some of four to six locations; those of two and three are among all faults above."""
    for locations, count in ((4, 60), (5, 60), (6, 10)):
        for layout in some_layouts(locations, count):
            assert_wrong_schemes_judged_alike(layout)


@pytest.mark.slow
def test_wrong_schemes_in_every_layout_of_four() -> None:
    """All of four locations, and many of five."""
    for layout in (*layouts(4), *some_layouts(5, 600)):
        assert_wrong_schemes_judged_alike(layout)


def test_circuits_by_wrong_schemes_are_not_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of plain layouts; where the lamp shares a box with a switch, they are."""
    made: list[str] = []

    def counting(listing: Listing, scheme: str) -> Circuit:
        made.append(scheme)
        return rewired(listing, scheme)

    rewired = Listing.rewired
    monkeypatch.setattr(Listing, "rewired", counting)
    BULK.judge(Layout.parse("1.f.1").circuit("chain"))
    assert not made
    together = arranged((ROOT, 0), (0, 1), (1,))
    assert_judged_alike(route("chain", together, "Lamp and switch in one box"))
    assert made == [*WRONG_SCHEMES] * 2


def test_currents_that_only_resistances_decide() -> None:
    """Where ways part in more ways than connections tell, the currents are solved."""
    solved = 0
    for layout in some_layouts(5, 40):
        circuit = layout.circuit("tied")
        judged = BULK.judge(circuit)
        if judged.solved and solved < 40:
            solved += judged.solved
            assert_judged_alike(circuit)
    assert solved


@st.composite
def plain_circuits(draw: st.DrawFn, *, most_locations: int = 3) -> Circuit:
    """Circuits with one feed and one lamp: any lengths and sizes, metal boxes, mistakes, voltages.

    Many are simple, and some too long, too thin or too weak for it.
    """
    arrangement = draw(arrangements(most_locations=most_locations))
    alone = replace(
        arrangement,
        lamp_boxes=arrangement.lamp_boxes[:1],
        lamp_names=arrangement.lamp_names[:1],
    )
    circuit = route(draw(sound_schemes()), alone, "Plain circuit")
    sizes = st.sampled_from([None, None, "14 AWG", "10 AWG", "1.5 mm²", "0.75 mm²"])
    lengths = st.none() | st.floats(0.1, 60) | st.sampled_from([1e-3, 2000.0])
    feed = replace(circuit.feed, length_m=draw(lengths), size=draw(sizes))
    watts = draw(st.sampled_from([None, 1.0, 5.0, 60.0, 300.0, 1500.0, 3000.0]))
    (lamp,) = circuit.lamps
    named = {feed.name: feed, lamp.name: replace(lamp, watts=watts)}
    return replace(
        circuit,
        devices=tuple(named.get(device.name, device) for device in circuit.devices),
        cables=tuple(
            replace(cable, size=draw(sizes), length_m=draw(lengths)) for cable in circuit.cables
        ),
        volts=draw(st.sampled_from([120.0, 230.0])),
    )


@settings(max_examples=60)
@given(plain_circuits())
def test_lengths_sizes_and_metal(circuit: Circuit) -> None:
    """What connections tell does not depend on lengths, as long as the circuit is simple."""
    assert_judged_alike(circuit)


@settings(max_examples=40)
@given(miswired_circuits(plain_circuits()))
def test_circuits_with_mistakes(circuit: Circuit) -> None:
    """What is wrong already makes no difference: the first mistake is not special."""
    assert_judged_alike(circuit)


@settings(max_examples=60)
@given(plain_circuits().flatmap(rewirings))
def test_circuits_joined_in_any_way(circuit: Circuit) -> None:
    """Rings, bridges and dead ends without a plan behind them."""
    assert_judged_alike(circuit)


@settings(max_examples=20)
@given(
    st.one_of(
        circuits(most_locations=3),
        supplied_circuits(),
        failing_circuits(circuits(most_locations=3)),
    )
)
def test_other_circuits_go_to_the_engine(circuit: Circuit) -> None:
    """Several lamps and feeds, receptacles and failures, for which paths are not enough."""
    assert_judged_alike(circuit)


def test_drawn_circuits() -> None:
    """Boxes that switches share, and boxes with nothing in them."""
    for index in range(8):
        assert_judged_alike(sample(9, index, most=4).circuit)


def test_what_is_too_much_for_volts_is_judged_by_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where volts are not solved for all faults, see `engine_for`, connections decide alone.

    Of a simple circuit hardly any have to be solved: it is judged as by volts all the same.
    """
    simple = Layout.parse("f.L.L.1").circuit("chain")
    failure = Failure("conductor-open", (f"{simple.cables[0].name}.bare",))
    failed = replace(simple, failures=(failure,))
    assert BULK.judge(failed).engine == "volts"
    monkeypatch.setattr(volts, "MOST_WORK", 1)
    assert BULK.judge(failed).engine == "words"
    words = WordsEngine()
    assert in_bulk(failed) == by_engine(failed, all_faults(failed), words)
    assert by_engine(failed, all_faults(failed), words) != by_engine(failed, all_faults(failed))
    assert BULK.judge(simple).engine == "volts"
    assert in_bulk(simple) == by_engine(simple, all_faults(simple))


@pytest.mark.slow
def test_six_locations_are_judged_by_volts() -> None:
    """Sixty-four states fill a word to its last bit."""
    for scheme in SOUND_SCHEMES:
        circuit = Layout.parse("1.f.1.2.6.L.1").circuit(scheme)
        every = all_faults(circuit)[::9]
        found = dict(zip([f.label for f in all_faults(circuit)], in_bulk(circuit), strict=True))
        assert [found[fault.label] for fault in every] == by_engine(circuit, every)


@cache
def several() -> tuple[Circuit, ...]:
    """Circuits of different sizes and schemes."""
    return tuple(
        layout.circuit(scheme)
        for locations in (2, 3, 4)
        for layout in some_layouts(locations, 5)
        for scheme in SOUND_SCHEMES
    )


@settings(max_examples=10)
@given(st.permutations(range(30)))
def test_memory_does_not_matter(order: Sequence[int]) -> None:
    """One that judged others before, in any order, says the same as one that judged none."""
    bulk = Bulk()
    for number in order[:8]:
        circuit = several()[number]
        assert in_bulk(circuit, bulk) == in_bulk(circuit, Bulk())


def test_forgotten_shapes_are_judged_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for one shape of circuits only, every answer is the same."""
    wanted = [in_bulk(circuit) for circuit in several()]
    monkeypatch.setattr(fault_judging, "_MOST_SHAPES", 1)
    bulk = Bulk()
    assert [in_bulk(circuit, bulk) for circuit in several()] == wanted


def test_networks_are_judged_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was met is not judged again, and different circuits have networks in common."""
    judged: list[int] = []
    observe = WordsEngine.observe_batch

    def counting(engine: WordsEngine, batch: FaultBatch) -> object:
        judged.append(len(batch))
        return observe(engine, batch)

    monkeypatch.setattr(WordsEngine, "observe_batch", counting)
    bulk = Bulk()
    first = [in_bulk(circuit, bulk) for circuit in several()]
    assert 0 < sum(judged) < sum(map(len, first)) / 4
    judged.clear()
    assert [in_bulk(circuit, bulk) for circuit in several()] == first
    assert not judged


def not_simple() -> Iterator[tuple[str, Circuit]]:
    """Circuits that are not simple, each for one reason."""
    plain = Layout.parse("1.f.1").circuit("chain")
    feed, lamp, *switches = plain.devices

    def with_devices(*devices: object) -> Circuit:
        return replace(plain, devices=devices)  # type: ignore[arg-type]

    def long(metres: float) -> Circuit:
        return replace(plain, cables=tuple(replace(c, length_m=metres) for c in plain.cables))

    yield "long runs", long(5000)
    yield "a long feed", with_devices(replace(feed, length_m=5000), lamp, *switches)
    yield (
        "thin conductors",
        replace(
            plain, cables=tuple(replace(c, size="0.01 mm²", length_m=50) for c in plain.cables)
        ),
    )
    yield "a tiny lamp", with_devices(feed, replace(lamp, watts=0.01), *switches)
    yield (
        "a lamp too large for the breaker",
        with_devices(feed, replace(lamp, watts=3000.0), *switches),
    )
    yield "a second feed", with_devices(feed, replace(feed, name="spare"), lamp, *switches)
    yield "a second lamp", with_devices(feed, lamp, replace(lamp, name="other"), *switches)
    drawn = (sample(3, index).circuit for index in range(99))
    yield "a receptacle", next(c for c in drawn if "receptacle" in {d.kind for d in c.devices})
    failing = next(f for f in all_faults(plain) if f.kind == "conductor-open").apply(plain)
    yield "something failed", failing
    yield "a cable of sixteen conductors", with_spares(16)
    yield "seven switches", Layout.parse("1.f.1.2.3.4.5.6").circuit("chain")


def with_spares(count: int) -> Circuit:
    """Two locations and one short cable, which has so many conductors."""
    place = replace(arranged((ROOT, 0), (0, 1), (1,)), palette="iec")
    circuit = route("chain", place, "Spare conductors")
    (cable,) = circuit.cables
    spare = (f"black-{number}" for number in range(70, 70 + count - len(cable.conductors)))
    wide = replace(cable, length_m=0.5, conductors=(*cable.conductors, *spare))
    return replace(circuit, cables=(wide,))


def test_a_cable_of_fifteen_conductors_is_simple() -> None:
    """Sums of currents in a cable are right up to there: one more is one of those below."""
    assert bounds_of(with_spares(15)) is not None
    assert_judged_alike(with_spares(8))


@pytest.mark.parametrize(("why", "circuit"), list(not_simple()), ids=lambda x: str(x)[:30])
def test_what_is_not_simple(why: str, circuit: Circuit) -> None:
    """Where resistances, leakage or other devices have a say, connections do not tell the path."""
    assert bounds_of(circuit) is None, why


@contextmanager
def equal_hashes() -> Iterator[None]:
    """Every key has the same hash, in plain Python: what hashes decide is decided wrongly."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(interning, "compiled", lambda function: function)
        patch.setattr(interning, "hash_of_key", lambda keys, row: np.uint64(4095))
        yield


WORD = st.integers(0, 2) | st.integers(0, 2**64 - 1)
SOME_KEYS = st.lists(st.lists(WORD, min_size=2, max_size=2), max_size=40)


@given(SOME_KEYS)
def test_keys_are_numbered_as_they_come(keys: list[list[int]]) -> None:
    """Whatever the slots they share, equal keys get one number and others the next."""
    assert_numbered_as_they_come(keys)


@settings(max_examples=20)
@given(SOME_KEYS)
def test_keys_of_one_hash_are_told_apart(keys: list[list[int]]) -> None:
    """A hash says where to look, and no more: keys are compared whole."""
    with equal_hashes():
        assert_numbered_as_they_come(keys)


def test_networks_of_one_hash_are_told_apart() -> None:
    """Verdicts do not rest on hashes: if all networks have the same, no outcome changes."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    wanted = in_bulk(circuit, Bulk())
    assert len(set(wanted)) > 10
    with equal_hashes():
        assert in_bulk(circuit, Bulk()) == wanted


def assert_numbered_as_they_come(keys: list[list[int]]) -> None:
    """Intern keys of two words in parts, and hold their numbers to those of a mapping."""
    table = InternTable(width=2)
    met: dict[tuple[int, ...], int] = {}
    for start in range(0, len(keys), 7):
        part = keys[start : start + 7]
        before = list(met)
        found, new = table.of(np.array(part, np.uint64))
        assert found.tolist() == [met.setdefault(tuple(key), len(met)) for key in part]
        assert [tuple(part[row]) for row in new] == list(met)[len(before) :]
        assert len(table) == len(met)


def test_keys_of_another_width_are_refused() -> None:
    """Machine code would write beyond its row and take different keys for equal ones."""
    with pytest.raises(ValueError, match="keys of 2 words in a table of 1"):
        InternTable().of(np.zeros((1, 2), np.uint64))


def test_many_integers_are_numbered() -> None:
    """More than the first table holds, and differing in their highest bits only."""
    table = InternTable()
    keys = np.arange(20_000, dtype=np.int64) << 40
    for part in np.split(keys, 8):
        found, new = table.of_integers(part)
        assert found.tolist() == (part >> 40).tolist()
        assert new.tolist() == list(range(len(part)))
    again, new = table.of_integers(keys[::-1])
    assert again.tolist() == list(range(20_000))[::-1]
    assert not len(new)


@given(st.lists(st.integers(0, 30), max_size=60))
def test_places_as_they_come(numbers: list[int]) -> None:
    """The first number met has place 0, the next other one place 1."""
    placed = np.array(numbers, np.int64)
    place_of, met = np.full(31, -1, np.int64), np.full(31, -1, np.int64)
    count = intern_numbers(placed, place_of, met, 0)
    order = list(dict.fromkeys(numbers))
    assert placed.tolist() == [order.index(number) for number in numbers]
    assert met[:count].tolist() == order
    assert count == len(order)
