"""The engines agree with each other on everything, and *words* with itself.

Observations hold trips, every lamp and every hazard in every state, so equal ones agree on all.
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from verify.behaviour.findings import states_in
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.engine import words
from verify.engine.contract import Engine
from verify.engine.paths import PathsEngine, StateGraph, WireGraph
from verify.engine.words import WordsEngine
from verify.fault.change import Change, NumberedCircuit, changed
from verify.fault.contract import Fault
from verify.fault.mixed_supplies import SUPPLY_KINDS
from verify.fault.network import Flattener
from verify.fault.registry import all_faults, fault_kinds
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES
from verify.strategies import (
    circuits,
    failing_circuits,
    faulted_circuits,
    faults,
    furnished_circuits,
    miswired_circuits,
    rewirings,
    schemes,
)

WORDS = WordsEngine()
PATHS = PathsEngine()
ENGINES: dict[str, Engine] = {"words": WORDS, "paths": PATHS}

# --- the engines agree


@given(failing_circuits(miswired_circuits(circuits(schemes=schemes()))))
def test_engines_agree_on_circuits_with_several_mistakes_and_failures(circuit: Circuit) -> None:
    """Two ways that share no code say the same of any circuit a few mistakes away from a plan."""
    assert WORDS.observe(circuit) == PATHS.observe(circuit)


@given(failing_circuits(miswired_circuits(furnished_circuits(circuits(most_locations=3)))))
def test_engines_agree_on_circuits_with_more_feeds_and_receptacles(circuit: Circuit) -> None:
    """They agree on what several feeds of either leg, receptacles and single-pole switches do."""
    assert WORDS.observe(circuit) == PATHS.observe(circuit)


@given(failing_circuits(circuits(most_locations=3, schemes=schemes()).flatmap(rewirings)))
def test_engines_agree_on_circuits_joined_in_any_way(circuit: Circuit) -> None:
    """They agree however little the wiring makes sense."""
    assert WORDS.observe(circuit) == PATHS.observe(circuit)


@given(faulted_circuits(miswired_circuits(furnished_circuits(), most_faults=1)))
def test_engines_agree_on_faults(circuit_and_fault: tuple[Circuit, Fault]) -> None:
    """A fault as rows of arrays and as a circuit of its own, also on top of another: the same."""
    circuit, fault = circuit_and_fault
    expected = PATHS.observe(fault.apply(circuit))
    for found in (each.observe_faults(circuit, [fault]) for each in ENGINES.values()):
        assert found.observation(0) == expected


@given(faulted_circuits(circuits(most_locations=3, schemes=schemes())))
def test_live_terminals_are_those_that_paths_reach(
    circuit_and_fault: tuple[Circuit, Fault],
) -> None:
    """What a tester would show is found by *words* as *paths* finds it."""
    circuit, fault = circuit_and_fault
    assume(fault.kind != "wrong-device")  # its terminals have other names afterwards
    wiring = WireGraph(fault.apply(circuit))
    at = [StateGraph(wiring, state) for state in range(1 << len(circuit.switches))]
    names = words.terminals(circuit)
    found = WORDS.live_terminals(circuit, [fault])
    assert found.shape == (1, len(names), 1)
    for name, states in zip(names, found[0, :, 0], strict=True):
        end = End(circuit.device(name.partition(".")[0]).box, name)
        live = {g.state for g in at if not g.trips and g.is_live(end)}
        assert set(states_in(int(states))) == live, name


@settings(max_examples=30)
@given(miswired_circuits(circuits(most_locations=9), most_faults=2))
def test_engines_agree_beyond_one_word_of_states(circuit: Circuit) -> None:
    """Also where the states of up to nine switches take several 64-bit words."""
    assert WORDS.observe(circuit) == PATHS.observe(circuit)


@pytest.mark.slow
@pytest.mark.parametrize("index", range(40))
def test_engines_agree_on_large_samples(index: int) -> None:
    """They agree on drawn circuits of seven to nine locations and some of their faults."""
    circuit = sample(3, index, fewest=7, most=9).circuit
    some = all_faults(circuit)[index::400]
    found = WORDS.observe_faults(circuit, some)
    for row, fault in enumerate(some):
        assert found.observation(row) == PATHS.observe(fault.apply(circuit)), fault.label


# --- one row of a batch is one circuit

WITH_EVERY_KIND = {
    **{
        f"{code} {scheme}": Layout.parse(code).circuit(scheme)
        for code in ("1.f.1", "f.L.L.1")
        for scheme in SOUND_SCHEMES
    },
    # What is fed by other conductors than its own has several feeds or outlets.
    **{example.label: example.circuit() for kind in SUPPLY_KINDS for example in kind.examples},
}


def assert_rows_are_circuits(circuit: Circuit) -> None:
    """Hold each row that *words* finds in one call to the faulted circuit judged by *paths*."""
    every = all_faults(circuit)
    found = WORDS.observe_faults(circuit, every)
    for row, fault in enumerate(every):
        assert found.observation(row) == PATHS.observe(fault.apply(circuit)), fault.label


@pytest.mark.parametrize("name", WITH_EVERY_KIND)
def test_row_of_a_batch_is_the_faulted_circuit(name: str) -> None:
    """Every fault of every kind is the same mistake as arrays and as a circuit of its own."""
    assert_rows_are_circuits(WITH_EVERY_KIND[name])


def test_rows_were_compared_for_every_kind() -> None:
    """No kind of fault is without a site in the circuits above."""
    seen = {fault.kind for circuit in WITH_EVERY_KIND.values() for fault in all_faults(circuit)}
    assert seen == {kind.name for kind in fault_kinds()}


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SCHEMES)
def test_row_of_a_batch_is_the_faulted_circuit_in_every_small_layout(scheme: str) -> None:
    """The same for all layouts of two locations, by wrong schemes too."""
    for layout in layouts(2):
        assert_rows_are_circuits(layout.circuit(scheme))


@pytest.mark.slow
@pytest.mark.parametrize("index", range(10))
def test_row_of_a_batch_is_the_faulted_circuit_in_samples(index: int) -> None:
    """The same for drawn circuits."""
    assert_rows_are_circuits(sample(4, index, most=4).circuit)


@given(miswired_circuits(circuits(most_locations=7)))
def test_change_of_nothing_changes_nothing(circuit: Circuit) -> None:
    """No change gives the same circuit, and as a row of arrays what the circuit does."""
    assert changed(NumberedCircuit(circuit), Change()) == circuit
    row = WORDS.observe_batch(Flattener(circuit).batch([Change()])).observation(0)
    assert row == PATHS.observe(circuit)


@settings(max_examples=30)
@given(miswired_circuits(circuits(most_locations=7), most_faults=1), st.data())
def test_compiled_kernel_does_what_the_source_says(circuit: Circuit, data: st.DataObject) -> None:
    """Machine code and plain Python fill the same arrays."""
    some = data.draw(st.lists(faults(circuit), min_size=1, max_size=10))
    changes = [fault.change for fault in some if fault.change.rebuilt is None]
    batch = Flattener(circuit).batch(changes)
    compiled = WordsEngine(worth_compiling=0).observe_batch(batch)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(words, "compiled_where", lambda _, kernel: kernel)
        interpreted = WORDS.observe_batch(batch)
    for name in ("trips", "lit", "hazards"):
        np.testing.assert_array_equal(getattr(compiled, name), getattr(interpreted, name))
