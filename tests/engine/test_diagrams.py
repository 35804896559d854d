"""The engine on decision diagrams: as the others where they can follow, and far beyond."""

import random
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given

from catalogue.cli import main
from verify.behaviour.judgement import Judgement
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable
from verify.engine.diagrams import DiagramsEngine
from verify.engine.paths import StateGraph, WireGraph
from verify.engine.words import WordsEngine
from verify.fault.contract import Fault
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout
from verify.strategies import faulted_circuits
from verify.verdict.evidence import Prover
from verify.verdict.judging import judge
from verify.verdict.rechecking import examine

DIAGRAMS, WORDS = DiagramsEngine(), WordsEngine()


@cache
def chain(locations: int) -> Circuit:
    """A traveler chain from box to box, the lamp beyond the last."""
    parents = [locations, "f", *range(1, locations)]
    return Layout.parse(".".join(map(str, parents))).circuit("chain")


def essence(found: Judgement) -> tuple[object, ...]:
    """All of a judgement but the list of states and what is made from it."""
    return found.verdict, found.state, found.switch, found.lamp, found.hazard_states


def check_evidence(circuit: Circuit, found: Judgement) -> None:
    """Replay each witness by paths; raises BugError where it does not hold."""
    prover = Prover(circuit)
    if found.state is not None:
        switch = None if found.switch is None else circuit.switches[found.switch].name
        lamp = None if found.lamp is None else circuit.lamps[found.lamp].name
        prover.find(found.verdict, found.state, switch, lamp)
    for hazard, state in found.hazard_states:
        prover.find(hazard, state)


@given(faulted_circuits())
def test_it_is_as_the_other_engines(circuit_and_fault: tuple[Circuit, Fault]) -> None:
    """Every set of states, and verdict and witnesses without listing them."""
    circuit, _ = circuit_and_fault
    assert DIAGRAMS.observe(circuit) == WORDS.observe(circuit)
    assert essence(DIAGRAMS.prove(circuit)) == essence(judge(circuit, WORDS))


@pytest.mark.parametrize("scheme", ["chain", "tied"])
def test_it_is_as_the_others_on_every_fault(scheme: str) -> None:
    """All single faults of a layout of three locations."""
    circuit = Layout.parse("3.f.1.2").circuit(scheme)
    faults = all_faults(circuit)
    seen = WORDS.observe_faults(circuit, faults)
    for row, fault in enumerate(faults):
        faulted = fault.apply(circuit)
        assert DIAGRAMS.observe(faulted) == seen.observation(row), fault.label
        assert essence(DIAGRAMS.prove(faulted)) == essence(judge(faulted, WORDS)), fault.label


@pytest.mark.parametrize("locations", [16, 64])
def test_witnesses_hold_for_many_switches(locations: int) -> None:
    """Sampled faults of long chains: what is claimed is found by paths, in the state named."""
    circuit = chain(locations)
    assert DIAGRAMS.prove(circuit).verdict == "sound"
    for fault in random.Random(locations).sample(all_faults(circuit), 25):
        faulted = fault.apply(circuit)
        found = DIAGRAMS.prove(faulted)
        check_evidence(faulted, found)
        if found.any_location:
            wiring = WireGraph(faulted)
            first = StateGraph(wiring, 0).lit_sides(wiring.lamps[0]) is not None
            state = random.Random(0).getrandbits(locations)
            at = StateGraph(wiring, state)
            assert (at.lit_sides(wiring.lamps[0]) is not None) == first ^ (state.bit_count() % 2)


def test_a_chain_of_256_is_proved() -> None:
    """Two to the power of 256 states, none of them listed."""
    assert DIAGRAMS.prove(chain(256)) == Judgement("sound", None, None)


@pytest.mark.slow
def test_faults_of_a_chain_of_256() -> None:
    """A hundred sampled faults of the long chain, each with its witnesses replayed by paths."""
    circuit = chain(256)
    for fault in random.Random(256).sample(all_faults(circuit), 100):
        faulted = fault.apply(circuit)
        check_evidence(faulted, DIAGRAMS.prove(faulted))


@pytest.mark.slow
def test_a_chain_of_1000_is_proved() -> None:
    """A thousand locations, healthy."""
    assert DIAGRAMS.prove(chain(1000)).verdict == "sound"


def test_ends_may_be_more_than_short_numbers() -> None:
    """Numbers of 16 bits, with which other engines work, do not bound this one: 33,028 ends."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    between = circuit.cables[0].between
    spare = (Cable(f"spare-{n}", between, ("black", "white", "bare")) for n in range(5500))
    many = replace(circuit, cables=(*circuit.cables, *spare))
    assert len(many.ends) > 1 << 15
    assert DIAGRAMS.prove(many).verdict == "sound"


def test_it_gives_up_and_says_why() -> None:
    """Beyond the limit of nodes the verdict is undecided, with the limit as its reason."""
    found = DiagramsEngine(most_nodes=10).prove(chain(16))
    assert found.verdict == "undecided"
    assert found.reason == "the decision diagrams of 16 switches grew beyond 10 nodes"


def test_states_of_many_switches_are_not_listed() -> None:
    """The contract of engines lists states; what has too many of them is refused."""
    with pytest.raises(ValueError, match="switches=17"):
        DIAGRAMS.observe(chain(17))


def test_check_judges_many_switches(tmp_path: Path) -> None:
    """`miswire check` proves a circuit of forty locations, and finds the fault of another."""
    circuit = chain(40)
    fault = next(f for f in all_faults(circuit) if f.kind == "bridged" and "switch-20" in f.label)
    for found, verdict, status in ((circuit, "sound", 0), (fault.apply(circuit), "", 1)):
        path = tmp_path / "many.toml"
        path.write_text(dump(found), "utf-8")
        result = CliRunner().invoke(main, ["check", str(path)])
        assert result.exit_code == status
        assert "all 2^40 combinations, without listing them" in " ".join(result.output.split())
        assert examine(found).judgement.verdict == (verdict or DIAGRAMS.prove(found).verdict)
