"""Verdicts by volts and amperes: two engines, hazards with their amounts, who decided."""

from dataclasses import replace

import pytest
from boathouse import NEUTRAL_WITH_GROUND, NO_NEUTRAL, stair
from feeding import fed_twice, with_feed
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.base.problems import BugError
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, Failure, Join
from verify.engine.nodal import NodalEngine
from verify.engine.volts import MOST_WORK, VoltsEngine, engine_for, why_not_volts
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.strategies import faulted_circuits
from verify.verdict.amounts import amount_text
from verify.verdict.evidence import Evidence, Prover
from verify.verdict.judging import judge

VOLTS, NODAL, WORDS = VoltsEngine(), NodalEngine(), WordsEngine()

AMPS = 60 / 120


def evidence_of(circuit: Circuit, claim: str) -> Evidence:
    """The evidence for a claim that the engine *volts* makes."""
    found = judge(circuit, VOLTS)
    states = dict(found.hazard_states)
    return Prover(circuit).find(claim, states[claim])


@given(faulted_circuits())
def test_both_engines_agree(circuit_and_fault: tuple[Circuit, object]) -> None:
    """Grid and kernel see in every state what plain nodal analysis and traced paths see."""
    circuit, _ = circuit_and_fault
    if len(circuit.switches) <= 4:
        assert VOLTS.observe(circuit) == NODAL.observe(circuit)


@settings(max_examples=60)
@given(fed_twice(), st.lists(st.floats(1, 4000), max_size=2))
def test_both_engines_agree_with_several_feeds_and_loads(
    circuit: Circuit, watts: list[float]
) -> None:
    """The same with a second feed on either leg, and with something plugged in near it."""
    outlet = Device("outlet", "receptacle", circuit.feeds[-1].box, loads=tuple(watts))
    joins = [
        replace(join, ends=(*join.ends, *added))
        for join in circuit.joins
        for added in [
            [f"outlet.{name}" for name in ("line", "neutral") if f"spare-feed.{name}" in join.ends]
        ]
    ]
    circuit = replace(circuit, devices=(*circuit.devices, outlet), joins=tuple(joins))
    if len(circuit.switches) <= 4:
        assert VOLTS.observe(circuit) == NODAL.observe(circuit)


@pytest.mark.parametrize("label", ["1.f.1", "2.L.f"])
@pytest.mark.parametrize("scheme", ["chain", "tied"])
def test_both_engines_agree_on_every_fault(scheme: str, label: str) -> None:
    """Every single fault of three layouts, by arrays and as the circuit that it makes."""
    circuit = Layout.parse(label).circuit(scheme)
    faults = all_faults(circuit)
    found = VOLTS.observe_faults(circuit, faults)
    for row, fault in enumerate(faults):
        assert found.observation(row) == NODAL.observe(fault.apply(circuit)), fault.label


@given(faulted_circuits())
def test_connections_decide_where_volts_do_not_overrule(
    circuit_and_fault: tuple[Circuit, object],
) -> None:
    """Apart from overruled states lamps, protection and the other hazards are as by *words*."""
    circuit, _ = circuit_and_fault
    by_volts, by_words = VOLTS.observe(circuit), WORDS.observe(circuit)
    kept = ~by_volts.overruled
    assert by_volts.trips & kept == by_words.trips & kept
    for one, other in zip(by_volts.lit, by_words.lit, strict=True):
        assert one & kept == other & kept
    for name, one, other in zip(HAZARD_NAMES, by_volts.hazards, by_words.hazards, strict=True):
        if name not in ELECTRICAL:
            assert one & kept == other & kept


def test_a_sound_stair_has_no_electrical_hazard() -> None:
    """Paired strands keep every cable balanced, in every state."""
    found = judge(stair(), VOLTS)
    assert (found.verdict, found.hazards, found.by_volts) == ("sound", (), False)


def test_return_beside_its_cable_is_unbalanced() -> None:
    """Travelers in one cable, return in another: the whole current of the lamp does not cancel.

    A lamp of 100 W at 120 V takes 0.83 A; the wires take less than one per cent off.
    """
    circuit = load(data_path("circuits/faulty-return-in-another-cable.toml"))
    assert judge(circuit, WORDS).verdict == "sound"
    found = judge(circuit, VOLTS)
    assert (found.verdict, found.hazards, found.by_volts) == ("mimic", ("cable-unbalanced",), True)
    evidence = evidence_of(circuit, "cable-unbalanced")
    assert evidence.path_words == ("later-run white carries 0.83 A from workshop to slipway",)
    (amount,) = evidence.amounts
    assert amount.unit == "amperes"
    assert amount.value == pytest.approx(100 / 120, rel=0.01)
    assert amount.words == "the currents of later-run add up to 0.83 A"


def test_every_mixed_pair_of_cables_that_works_is_unbalanced_or_sound() -> None:
    """Conductors of two cables side by side exchanged: balance is all that tells the difference."""
    circuit = Layout.parse("2.L.f").circuit("chain")
    mixed = [fault for fault in all_faults(circuit) if fault.kind == "cables-mixed"]
    found = [judge(fault.apply(circuit), VOLTS) for fault in mixed]
    assert {judged.hazards for judged in found} == {(), ("cable-unbalanced",)}
    assert {judge(fault.apply(circuit), WORDS).verdict for fault in mixed} == {"sound"}


def test_ground_return_tells_its_amperes() -> None:
    """The whole current of the lamp in the grounding conductor, and what protection would do."""
    circuit = load(data_path("circuits/faulty-ground-used-as-neutral.toml"))
    lamp = circuit.lamps[0].watts
    assert lamp is not None
    (amount,) = evidence_of(circuit, "ground-carries-load").amounts
    assert amount.unit == "amperes"
    assert amount.value == pytest.approx(lamp / 120, rel=0.01)
    assert amount.of.endswith(".bare")
    assert "do not return to the feed: a class A device trips within" in amount.words


def test_parallel_neutral_and_ground_share_the_current() -> None:
    """Neutral and ground tied at the lamp: two equal wires, so each carries half."""
    wired = load(data_path("circuits/workshop-feed-and-lamp-at-ends.toml"))
    joins = tuple(
        join for join in wired.joins if not {"lamp.shell", "lamp.ground"} & set(join.ends)
    )
    tied = Join("workshop-lamp", ("lamp.shell", "lamp.ground", "lamp-run.white", "lamp-run.bare"))
    circuit = replace(wired, joins=(*joins, tied))
    (amount,) = evidence_of(circuit, "ground-carries-load").amounts
    assert amount.value == pytest.approx(100 / 120 / 2, rel=0.02)


def test_backfed_tells_its_volts() -> None:
    """What is joined to the far side of a lamp without return has the volts of the line."""
    (amount,) = evidence_of(stair(NO_NEUTRAL), "backfed").amounts
    assert amount.unit == "volts"
    assert amount.value == pytest.approx(120, rel=0.01)


def test_trips_tell_the_fault_current() -> None:
    """A bolted fault: volts over the ohms of source, feeder and cable, far above the breaker."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    faults = {fault.label: fault for fault in all_faults(circuit)}
    shorted = faults["conductors-shorted/box-2-run.white,box-2-run.bare"].apply(circuit)
    found = judge(shorted, VOLTS)
    assert found.verdict == "trips"
    assert found.state is not None
    (amount,) = Prover(shorted).find("trips", found.state).amounts
    assert amount.value > 150
    assert amount.words.endswith("a breaker of 15 A trips at once")


def test_overload_trips() -> None:
    """More plugged in than the breaker carries: it trips, though nothing touches that should not.

    2 × 1500 W at 120 V are 25 A, 1.67 times the rating: above the 1.35 times at which a breaker
    calibrated to UL 489 has tripped within the hour (from memory).
    """
    outlet = Device("outlet", "receptacle", "landing", loads=(1500.0, 1500.0))
    joins = {
        "feed.line slipway-run.black": "feed.line slipway-run.black outlet.line",
        "feed.neutral lamp.shell": "feed.neutral lamp.shell outlet.neutral",
    }
    circuit = stair(joins, devices=[outlet])
    found = judge(circuit, VOLTS)
    assert (found.verdict, found.by_volts) == ("trips", True)
    assert judge(circuit, WORDS).verdict != "trips"
    evidence = Prover(circuit).find("trips", 0)
    assert evidence.path_words == ("feed carries more than its breaker of 15 A holds",)
    (amount,) = evidence.amounts
    assert amount.value == pytest.approx(25, rel=0.03)


def test_lamps_in_series_are_dim_and_misbehave() -> None:
    """Two equal lamps in series have half the volts each: neither lit nor dark."""
    behind = stair(
        {"feed.neutral lamp.shell": "lamp.shell other.contact|feed.neutral other.shell"},
        devices=[Device("other", "lamp", "landing")],
    )
    found = judge(behind, VOLTS)
    assert (found.verdict, found.by_volts) == ("misbehaves", True)
    assert found.signature is not None
    assert set(found.signature.word) == {"-", "d", "."}
    assert None not in (found.state, found.switch, found.lamp)
    evidence = Prover(behind).find("misbehaves", 0, "slipway-switch", "lamp")
    assert any("dim: 59" in told or "dim: 60" in told for told in evidence.path_words)


def test_a_lamp_between_two_legs_is_over() -> None:
    """Between the lines of opposite legs a lamp has twice its volts."""
    circuit = with_feed(stair(NO_NEUTRAL), "landing", "B", {"line": "lamp.shell"})
    found = judge(circuit, VOLTS)
    assert found.observation is not None
    assert any(found.observation.over)
    assert "overvoltage" in found.hazards
    (amount,) = evidence_of(circuit, "overvoltage").amounts
    assert amount.value == pytest.approx(240, rel=0.01)
    assert "200% of its 120 V" in amount.words


def test_a_loose_join_heats() -> None:
    """5 Ω in the way of 0.5 A: about 1.2 W (I²R), and the light works from everywhere."""
    loose = Failure("loose-join", ("lamp.contact",), box="landing")
    found = judge(stair({}, loose), VOLTS)
    assert (found.verdict, found.hazards, found.by_volts) == ("mimic", ("loose-join",), True)
    (amount,) = evidence_of(stair({}, loose), "loose-join").amounts
    assert amount.unit == "watts"
    assert amount.value == pytest.approx(5 * AMPS**2, rel=0.05)


def test_a_loose_join_without_current_is_harmless() -> None:
    """A loose ground connection carries nothing: it heats nowhere."""
    loose = Failure("loose-join", ("slipway-run.bare",), box="slipway")
    assert judge(stair({}, loose), VOLTS).verdict == "sound"


def test_every_electrical_claim_is_told() -> None:
    """Evidence has words, subject and amount for every electrical hazard, or refuses it."""
    for circuit in (stair(NEUTRAL_WITH_GROUND), stair()):
        prover = Prover(circuit)
        held = dict(judge(circuit, VOLTS).hazard_states)
        for hazard in ELECTRICAL - held.keys():
            with pytest.raises(BugError, match=f"does not find '{hazard}'"):
                prover.find(hazard, 0)


def test_too_much_to_solve_is_left_to_connections() -> None:
    """Beyond the declared amount of work *words* decides, and says so by its name."""
    small = stair()
    assert engine_for(small).name == "volts"
    most = MOST_WORK // (4 * len(small.grouped_ends) ** 2)
    assert engine_for(small, most).name == "volts"
    assert engine_for(small, most + 1).name == "words"
    assert "are solved for volts" in why_not_volts(small, most + 1)


@pytest.mark.parametrize(
    ("value", "text"),
    [(712.4, "712 A"), (12.34, "12.3 A"), (0.5, "0.50 A"), (0.05, "50 mA"), (0.0, "0.00 A")],
)
def test_amounts_have_the_digits_that_people_read(value: float, text: str) -> None:
    """Three figures or so, thousandths where the unit is too large."""
    assert amount_text(value, "amperes") == text
