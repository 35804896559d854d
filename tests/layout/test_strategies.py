"""Strategies: what they draw is what they say, and shrinks to the smallest circuit there is."""

from collections.abc import Callable
from typing import TypeVar

import pytest
from hypothesis import find, given, settings
from hypothesis import strategies as st

from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.engine.words import WordsEngine
from verify.fault.contract import Fault, FaultKind
from verify.fault.registry import all_faults, fault_kinds, find_fault
from verify.layout.enumeration import layouts
from verify.layout.routing import Arrangement
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES
from verify.strategies import (
    arrangements,
    circuits,
    failing_circuits,
    faulted_circuits,
    faults,
    furnished_circuits,
    miswired_circuits,
    rewirings,
    schemes,
    sound_schemes,
    states,
)
from verify.verdict.judging import judge

WORDS = WordsEngine()

_Found = TypeVar("_Found")


def smallest(
    strategy: st.SearchStrategy[_Found], shows: Callable[[_Found], bool] = lambda _: True
) -> _Found:
    """The simplest value that Hypothesis finds, the same in every run."""
    return find(
        strategy, shows, settings=settings(derandomize=True, database=None, max_examples=2000)
    )


def assert_smallest(circuit: Circuit) -> None:
    """Hold a circuit to having nothing that it could do without."""
    assert [switch.kind for switch in circuit.switches] == ["three-way", "three-way"]
    assert len(circuit.lamps) == 1
    assert [(box.name, box.material) for box in circuit.boxes] == [
        ("box-1", "plastic"),
        ("box-2", "plastic"),
    ]
    assert len(circuit.cables) == 1
    assert circuit.palette == "us"


def test_circuit_shrinks_to_two_locations() -> None:
    """Where nothing is asked of it a circuit has two boxes, two switches, a lamp and a cable."""
    assert_smallest(smallest(circuits()))


@pytest.mark.slow
@pytest.mark.parametrize(
    "strategy",
    [
        circuits().flatmap(rewirings),
        furnished_circuits(),
        miswired_circuits(),
        failing_circuits(miswired_circuits()),
    ],
    ids=["rewirings", "furnished", "miswired", "failing"],
)
def test_circuit_with_anything_wrong_shrinks_to_a_right_one(
    strategy: st.SearchStrategy[Circuit],
) -> None:
    """Where nothing is asked for, the simplest circuit has no mistake and no further device."""
    assert smallest(strategy) == smallest(circuits())


@pytest.mark.parametrize("verdict", ["mimic", "misbehaves", "trips"])
def test_fault_with_a_verdict_shrinks_to_two_locations(verdict: str) -> None:
    """The example of a bad verdict is a fault of the smallest circuit."""

    def shows(circuit_and_fault: tuple[Circuit, Fault]) -> bool:
        circuit, fault = circuit_and_fault
        return judge(fault.apply(circuit), WORDS).verdict == verdict

    circuit, fault = smallest(faulted_circuits(), shows)
    assert_smallest(circuit)
    assert judge(fault.apply(circuit), WORDS).verdict == verdict


def test_mimic_scheme_shrinks_to_two_locations() -> None:
    """So is the example of a scheme that passes every flip and is wrong."""
    circuit = smallest(
        circuits(schemes=schemes()), lambda circuit: judge(circuit, WORDS).verdict == "mimic"
    )
    assert_smallest(circuit)
    assert "in the neutral" in circuit.name


@pytest.mark.slow
def test_several_mistakes_shrink_to_one() -> None:
    """If one mistake shows it, the example has no other, and is the smallest of its scheme.

    Which scheme that is stays as it was found: another one has other faults under their numbers.
    """
    circuit = smallest(miswired_circuits(), lambda circuit: bool(WORDS.observe(circuit).trips))
    assert_smallest(circuit)
    intact = [smallest(circuits(schemes=st.just(scheme))) for scheme in SOUND_SCHEMES]
    assert any(circuit == fault.apply(sound) for sound in intact for fault in all_faults(sound))


def test_what_is_asked_for_is_all_there_is() -> None:
    """A property keeps what it needs and nothing else: four locations, metal, a second lamp."""
    four = smallest(circuits(), lambda circuit: len(circuit.switches) == 4)
    assert (len(four.boxes), len(four.lamps), len(four.cables)) == (2, 1, 1)
    metal = smallest(circuits(), lambda circuit: circuit.boxes[1].is_metal)
    assert (len(metal.boxes), len(metal.lamps)) == (2, 1)
    assert not metal.boxes[0].is_metal
    lamps = smallest(circuits(), lambda circuit: len(circuit.lamps) > 1)
    assert (len(lamps.boxes), len(lamps.lamps), len(lamps.switches)) == (2, 2, 2)


@given(arrangements(most_locations=5))
def test_arrangements_keep_to_their_limit(place: Arrangement) -> None:
    """There are two to `most_locations` locations, and the two three-ways stand apart."""
    assert 2 <= len(place.switch_boxes) <= 5
    assert place.switch_boxes[0] != place.switch_boxes[-1]


@pytest.mark.parametrize("parents", [layout.parents for layout in layouts(2)], ids=str)
def test_every_tree_of_three_boxes_can_be_drawn(parents: tuple[int, ...]) -> None:
    """Each of the nine rooted trees on three boxes is found (Cayley; OEIS A000169, from memory)."""
    smallest(arrangements(most_locations=2), lambda place: place.parents == parents)


@given(circuits())
def test_circuits_are_sound(circuit: Circuit) -> None:
    """Without a mistake every drawn circuit is sound."""
    assert judge(circuit, WORDS).verdict == "sound"


def test_every_sort_of_further_device_is_drawn() -> None:
    """Furnished circuits have feeds of both legs, receptacles and single-pole switches."""
    found: set[tuple[str, str | None]] = set()

    @given(furnished_circuits(circuits(most_locations=2)))
    def collect(circuit: Circuit) -> None:
        found.update((device.kind, device.leg) for device in circuit.devices[1:])

    collect()
    assert found >= {("feed", "A"), ("feed", "B"), ("receptacle", None), ("single-pole", None)}


@settings(max_examples=50)
@given(failing_circuits(furnished_circuits().flatmap(rewirings)))
def test_drawn_circuits_can_be_written_and_read_back(circuit: Circuit) -> None:
    """Whatever is drawn, the file gives it back."""
    assert loads(dump(circuit)) == circuit


@given(circuits(most_locations=3), st.data())
def test_faults_are_listed_faults(circuit: Circuit, data: st.DataObject) -> None:
    """A drawn fault is one that the circuit has, with a label that finds it."""
    fault = data.draw(faults(circuit))
    assert find_fault(circuit, fault.label) == fault


@pytest.mark.parametrize("kind", fault_kinds(), ids=lambda kind: kind.name)
def test_every_kind_of_fault_is_drawn(kind: FaultKind) -> None:
    """No kind that a circuit can have is left out, however few sites it has there."""
    drawn = faults(kind.examples[0].circuit())
    found = find(drawn, lambda fault: fault.kind == kind.name, settings=settings(max_examples=2000))
    assert found.kind == kind.name


@given(circuits(), st.data())
def test_states_exist(circuit: Circuit, data: st.DataObject) -> None:
    """A state is a number with a bit for each switch."""
    assert 0 <= data.draw(states(circuit)) < 1 << len(circuit.switches)


def test_state_shrinks_to_every_switch_up() -> None:
    """The simplest state is 0."""
    assert smallest(circuits().flatmap(states)) == 0


def test_schemes_are_all_schemes() -> None:
    """The strategies of schemes draw each of them, the sound ones first."""
    assert smallest(schemes()) == smallest(sound_schemes()) == SOUND_SCHEMES[0]
    for name in SCHEMES:
        assert smallest(schemes(), name.__eq__) == name
