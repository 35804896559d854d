"""Single faults: described, labelled, told apart, and written to a file and read again."""

import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings

import environment
from verify.base.problems import UserError
from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import Failure
from verify.engine.contract import Engine
from verify.engine.paths import PathsEngine
from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.fault.change import NumberedCircuit, changed
from verify.fault.contract import FaultKind
from verify.fault.registry import all_faults, fault_kind, fault_kinds, find_fault
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES, WRONG_SCHEMES
from verify.strategies import circuits, failing_circuits
from verify.verdict.judging import judge

WORDS = WordsEngine()
PATHS = PathsEngine()
VOLTS = VoltsEngine()
KINDS = {kind.name: kind for kind in fault_kinds()}

CHAIN, TIED = (Layout.parse("1.f.1").circuit(scheme) for scheme in SOUND_SCHEMES)
SIDE_BY_SIDE = Layout.parse("f.L.L.1").circuit("chain")
DRAWN = [sample(7, index, most=4).circuit for index in range(6)]


@pytest.mark.parametrize("kind", KINDS)
def test_kind_is_described(kind: str) -> None:
    """Every kind has a title, a description in sentences, a version and examples."""
    described = KINDS[kind]
    assert described.name == kind
    assert described.title
    assert described.description.endswith(".")
    assert described.version >= 1
    assert described.examples


@pytest.mark.parametrize("engine", [WORDS, PATHS, VOLTS], ids=lambda engine: engine.name)
@pytest.mark.parametrize(
    ("kind", "place"),
    [(kind, place) for kind in KINDS.values() for place in range(len(kind.examples))],
    ids=lambda value: value.name if isinstance(value, FaultKind) else str(value),
)
def test_examples_have_their_verdict(kind: FaultKind, place: int, engine: Engine) -> None:
    """What a kind's page shows is so: the site exists, and the verdict is the one it states.

    Engines that know no volts say what the example says of them.
    """
    example = kind.examples[place]
    circuit = example.circuit()
    fault = find_fault(circuit, f"{kind.name}/{','.join(example.site)}")
    assert fault.site == example.site
    knows_volts = engine is VOLTS or example.by_connections is None
    wanted = example.verdict if knows_volts else example.by_connections
    assert example.by_connections != example.verdict
    assert judge(fault.apply(circuit), engine).verdict == wanted
    assert example.why.endswith(".")


@pytest.mark.parametrize("circuit", [CHAIN, SIDE_BY_SIDE, *DRAWN])
def test_labels_and_sentences_tell_faults_apart(circuit: Circuit) -> None:
    """Every fault of a circuit has a label and a sentence that no other has."""
    every = all_faults(circuit)
    assert len({fault.label for fault in every}) == len(every)
    sentences = [KINDS[fault.kind].in_words(fault.site) for fault in every]
    assert len(set(sentences)) == len(every)
    for sentence in sentences:
        assert sentence[0].isupper(), sentence
        assert sentence.endswith("."), sentence


def test_label_finds_its_fault() -> None:
    """Each label of a circuit leads back to the fault; a label of nothing is our KeyError."""
    circuit = SIDE_BY_SIDE
    for fault in all_faults(circuit)[::20]:
        assert find_fault(circuit, fault.label) == fault
    for unknown in ("moved/box-1,no.such,end", "painted-over/lamp", ""):
        with pytest.raises(KeyError, match=f"fault={unknown}: ") as refusal:
            find_fault(circuit, unknown)
        assert isinstance(refusal.value, UserError)


LISTING = """
from verify.fault.registry import all_faults
from verify.layout.sampler import sample
drawn = sample(7, 0, most=4)
print(drawn.label, *(fault.label for fault in all_faults(drawn.circuit)), sep="\\n")
"""


def test_order_does_not_depend_on_hashing() -> None:
    """Another process, in which Python hashes text differently, lists the same in that order."""
    drawn = sample(7, 0, most=4)
    expected = [drawn.label, *(fault.label for fault in all_faults(drawn.circuit))]
    for seed in ("1", "2"):
        run = subprocess.run(
            [sys.executable, "-c", LISTING],
            cwd=environment.ROOT,
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(environment.ROOT)},
            capture_output=True,
            text=True,
            check=True,
        )
        assert run.stdout.splitlines() == expected


@pytest.mark.parametrize("circuit", [CHAIN, TIED, SIDE_BY_SIDE])
def test_faulted_circuit_survives_the_file(circuit: Circuit) -> None:
    """Every faulted circuit can be written to a file and is the same circuit when read again."""
    for fault in all_faults(circuit):
        faulted = fault.apply(circuit)
        assert loads(dump(faulted)) == faulted, fault.label
    assert [f.label for f in all_faults(loads(dump(circuit)))] == [
        f.label for f in all_faults(circuit)
    ]


@pytest.mark.parametrize("circuit", [CHAIN, SIDE_BY_SIDE])
def test_fault_changes_something(circuit: Circuit) -> None:
    """A fault is not the circuit itself, but where like conductors of one splice change places."""
    for fault in all_faults(circuit):
        if fault.apply(circuit) == circuit:
            assert fault.kind == "cables-mixed"


def test_mixed_cables_do_not_show() -> None:
    """Conductors mixed up at both ends leave every connection, so no switch and no lamp can tell.

    The currents are another matter.
    """
    mixed = 0
    for layout in layouts(3):
        circuit = layout.circuit("chain")
        for fault in fault_kind("cables-mixed").faults(NumberedCircuit(circuit)):
            mixed += 1
            assert WORDS.observe(fault.apply(circuit)) == WORDS.observe(circuit)
    assert mixed > 0


@settings(max_examples=30)
@given(failing_circuits(circuits(most_locations=3)))
def test_failed_part_does_not_fail_again(circuit: Circuit) -> None:
    """No fault of a circuit contradicts or repeats what has failed in it already."""
    for fault in all_faults(circuit):
        if fault.change.failure is not None:
            assert len(fault.apply(circuit).failures) == len(circuit.failures) + 1, fault.label


def test_broken_switch_is_not_replaced() -> None:
    """A failed contact would go with the switch, so replacing it would be two changes."""
    circuit = CHAIN
    contact = Failure("contact-open", ("switch-1.common", "switch-1.traveler-1"))
    broken = replace(circuit, failures=(contact,))
    replaced = {
        fault.site[0] for fault in fault_kind("wrong-device").faults(NumberedCircuit(broken))
    }
    assert replaced == {"switch-2"}


@pytest.mark.parametrize("scheme", WRONG_SCHEMES)
def test_whole_circuit_is_the_layout_by_the_wrong_scheme(scheme: str) -> None:
    """The mistaken idea is carried out in the same boxes with the same devices."""
    for layout in layouts(2):
        circuit = layout.circuit("chain")
        faulted = find_fault(circuit, f"whole-circuit/{scheme}").apply(circuit)
        assert faulted == replace(layout.circuit(scheme), name=circuit.name)


@pytest.mark.parametrize("kind", fault_kinds(), ids=lambda kind: kind.name)
def test_every_site_leads_to_the_fault_that_has_its_result(kind: FaultKind) -> None:
    """A label whose site is not listed is not dead: it leads to the listed one of its result."""
    circuit = Layout.parse("f.L.L.1").circuit("tied")
    wiring = NumberedCircuit(circuit)
    listed = {fault.label for fault in kind.faults(wiring)}
    led = set()
    for site, change in kind.changes(wiring):
        fault = find_fault(circuit, f"{kind.name}/{','.join(site)}")
        assert fault.label in listed
        assert fault.apply(circuit) == changed(wiring, change)
        led.add(fault.label)
    assert led == listed
