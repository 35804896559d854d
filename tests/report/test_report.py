"""The plain-dictionary forms of circuits and faults, as commands print them and pages use them."""

import json
from functools import cache
from pathlib import Path

import pytest
from boathouse import (
    LINE_ON_SHELL,
    NEUTRAL_ON_A_TRAVELER,
    SWITCH_NOT_GROUNDED,
    TRAVELER_LEFT_OFF,
    stair,
)

from catalogue.report.json_forms import (
    check_form,
    fault_forms,
    faults_head,
    faults_json,
    state_forms,
)
from verify.base.resources import data_path
from verify.behaviour.signature import Signature
from verify.circuit.file import load, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Device
from verify.engine.diagrams import DiagramsEngine
from verify.engine.nodal import NodalEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults, fault_kind, fault_kinds
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.verdict import rechecking
from verify.verdict.judging import judge
from verify.verdict.rechecking import examine
from verify.verdict.single_faults import FaultList, faults

SHIPPED = sorted(data_path("circuits").glob("*.toml"))


CHAIN_OF_17 = ".".join(map(str, [17, "f", *range(1, 17)]))


@cache
def surveyed() -> FaultList:
    """Every single fault of the stair."""
    return faults(stair())


def with_many_switches(number: int) -> Circuit:
    """A circuit of that many switches that are connected to nothing."""
    switches = [Device(f"switch-{n}", "single-pole", "landing") for n in range(number)]
    devices = (Device("feed", "feed", "landing"), Device("lamp", "lamp", "landing"), *switches)
    return Circuit("Many switches", (Box("landing"),), devices, (), ())


def test_states_come_in_the_order_of_their_numbers() -> None:
    """The first switch is bit 0 of a state's number, so it changes fastest; set bits are down."""
    seen = judge(stair(), WordsEngine()).observation
    assert seen is not None
    forms = list(state_forms(stair(), seen))
    assert [list(form["positions"].items()) for form in forms] == [
        [("slipway-switch", first), ("workshop-switch", second)]
        for second in ("up", "down")
        for first in ("up", "down")
    ]
    assert [form["lamps"] for form in forms] == [
        {"lamp": outcome} for outcome in ("lit", "dark", "dark", "lit")
    ]
    assert {form["protection"] for form in forms} == {"holds"}


def test_no_lamp_is_lit_where_protection_trips() -> None:
    """A state that trips is said to trip, and lights nothing."""
    form = check_form(examine(stair(NEUTRAL_ON_A_TRAVELER)))
    assert form["verdict"] == "trips"
    tripped = [state for state in form["states"] if state["protection"] == "trips"]
    assert tripped
    assert all(state["lamps"] == {"lamp": "dark"} for state in tripped)


def test_form_of_a_sound_circuit() -> None:
    """A sound circuit's evidence is the engine and the number of states it went through."""
    form = check_form(examine(stair()), "stair.toml")
    assert form["format"] == 1
    assert form["name"] == "Boathouse stair"
    assert (form["verdict"], form["any_location"], form["hazards"]) == ("sound", True, [])
    assert form["evidence"] == {"sound": {"engine": "volts", "states": 4}}
    assert form["recheck"] == {"engine": "nodal", "states": 4}
    assert form["signature"] == {"word": "-LL-", "name": "works from every switch"}
    assert form["file"] == "stair.toml"
    assert "file" not in check_form(examine(stair()))


@pytest.mark.parametrize(
    ("rewire", "verdict", "any_location", "hazards"),
    [
        (SWITCH_NOT_GROUNDED, "mimic", True, ["metal-floating"]),
        (LINE_ON_SHELL, "mimic", True, ["lamp-reversed"]),
        (TRAVELER_LEFT_OFF, "misbehaves", False, ["live-stub"]),
        (NEUTRAL_ON_A_TRAVELER, "trips", False, None),
    ],
)
def test_verdict_with_evidence(
    rewire: dict[str, str], verdict: str, any_location: bool, hazards: list[str] | None
) -> None:
    """The verdict and each hazard has an entry of its own among the evidence, and no one else."""
    form = check_form(examine(stair(rewire)))
    assert form["verdict"] == verdict
    assert form["any_location"] is any_location
    if hazards is not None:
        assert form["hazards"] == hazards
    assert list(form["evidence"]) == [verdict, *form["hazards"]]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_evidence_speaks_of_the_states_it_should(path: Path) -> None:
    """The evidence of every hazard is from a state in which an independent engine sees it."""
    circuit = load(path)
    form = check_form(examine(circuit))
    seen = NodalEngine().observe(circuit)
    assert form["hazards"] == list(seen.hazard_names)
    for hazard in form["hazards"]:
        positions = form["evidence"][hazard]["state"]
        state = next(n for n, s in enumerate(form["states"]) if s["positions"] == positions)
        assert seen.hazards[HAZARD_NAMES.index(hazard)] >> state & 1


class Impatient(DiagramsEngine):
    """An engine for many switches that gives up at once."""

    def __init__(self) -> None:
        super().__init__(most_nodes=10)


def test_undecided_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """What no engine can prove is neither sound nor faulty, and the reason is given."""
    monkeypatch.setattr(rechecking, "DiagramsEngine", Impatient)
    form = check_form(examine(Layout.parse(CHAIN_OF_17).circuit("chain")))
    assert form["verdict"] == "undecided"
    assert not form["any_location"]
    assert (form["states"], form["hazards"], form["signature"]) == ([], [], None)
    reason = form["evidence"]["undecided"]["reason"]
    assert "17 switches grew beyond 10 nodes" in str(reason)


def test_many_switches_are_judged_without_listing_states() -> None:
    """Seventeen locations: no table of states and no signature, but a verdict and its reach."""
    form = check_form(examine(Layout.parse(CHAIN_OF_17).circuit("chain")))
    assert (form["verdict"], form["engine"], form["states"]) == ("sound", "bdd", [])
    assert form["evidence"] == {"sound": {"engine": "bdd", "states": 1 << 17}}
    assert form["recheck"]["engine"] == "paths"
    assert form["recheck"]["states"] > 16
    assert check_form(examine(with_many_switches(17)))["verdict"] == "misbehaves"


def test_cautions_and_json() -> None:
    """Every form carries the cautions and is what JSON can hold, letter by letter."""
    form = check_form(examine(stair(TRAVELER_LEFT_OFF)))
    assert len(form["cautions"]) >= 5
    assert all(caution.endswith(".") for caution in form["cautions"])
    assert json.loads(json.dumps(form)) == form


def test_counts_are_of_every_fault() -> None:
    """Each kind has its four counts, also where there is none, and they add up to the total."""
    head = faults_head(surveyed())
    assert list(head["counts"]) == [kind.name for kind in fault_kinds()]
    assert {tuple(counts) for counts in head["counts"].values()} == {
        ("sound", "mimic", "misbehaves", "trips")
    }
    assert head["total"] == sum(sum(counts.values()) for counts in head["counts"].values())
    assert head["total"] == len(all_faults(stair()))
    assert (head["verdict"], head["hazards"]) == ("sound", [])


def test_every_fault_is_as_the_other_engine_finds_it() -> None:
    """Verdict, signature and hazards in the list are those of the circuit text beside them."""
    engine = NodalEngine()
    forms = list(fault_forms(stair(), surveyed()))
    every = all_faults(stair())
    assert [(form["kind"], form["site"]) for form in forms] == [
        (fault.kind, fault.site_text) for fault in every
    ]
    for form, fault in zip(forms, every, strict=True):
        circuit = loads(form["circuit"])
        assert circuit == fault.apply(stair())
        found = judge(circuit, engine)
        assert found.signature is not None
        assert form["verdict"] == found.verdict
        assert form["signature"] == found.signature.word
        assert form["hazards"] == list(found.hazards)
        assert form["description"] == fault_kind(fault.kind).in_words(fault.site)


def test_equal_signatures_have_equal_names() -> None:
    """The word of a fault decides its name, and is canonical."""
    named = {(judged.signature, judged.signature_name) for judged in surveyed()}
    assert len(named) == len(dict(named))
    for word, _ in named:
        assert Signature.parse(word).word == word


def test_json_in_lines_is_one_document() -> None:
    """The lines make one JSON value: the head with the list, a fault a line."""
    some = [judged for judged in surveyed() if judged.verdict == "mimic"]
    lines = list(faults_json(surveyed(), some))
    document = json.loads("\n".join(lines))
    assert document == {**faults_head(surveyed()), "faults": list(fault_forms(stair(), some))}
    assert len(lines) == len(some) + 2
    assert json.loads("\n".join(faults_json(surveyed(), [])))["faults"] == []


def test_survey_of_a_faulty_circuit_says_how_it_stands() -> None:
    """The faults of a circuit that is not sound are more mistakes in it, and the head says so."""
    head = faults_head(faults(stair(SWITCH_NOT_GROUNDED)))
    assert (head["verdict"], head["hazards"]) == ("mimic", ["metal-floating"])
