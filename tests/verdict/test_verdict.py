"""Verdicts: the first of the fixed words that applies, with the smallest state that shows it."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.behaviour.findings import Findings, Observation, states_in
from verify.behaviour.judgement import VERDICTS, Judgement
from verify.behaviour.signature import MOST_LAMPS
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Device
from verify.engine.contract import Engine
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.contract import Fault
from verify.fault.registry import all_faults
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.layout.sampler import sample
from verify.strategies import faulted_circuits
from verify.verdict import judging as verdict
from verify.verdict.judging import judge, judge_faults, judgement, verdicts

ENGINES: dict[str, Engine] = {"words": WordsEngine(), "paths": PathsEngine()}


@cache
def parity_of(counted: int, switches: int) -> int:
    """The states in which an odd number of the switches in the mask `counted` are down."""
    states = range(1 << switches)
    return sum(1 << state for state in states if (state & counted).bit_count() % 2)


def observations(switches: int, lamps: int) -> st.SearchStrategy[Observation]:
    """What a circuit might do; most lamps are the parity of all or of some of the switches."""
    every = (1 << (1 << switches)) - 1
    some = st.integers(0, every)
    parity = st.builds(
        lambda counted, flip: parity_of(counted, switches) ^ flip,
        st.one_of(st.just(-1), st.integers(0, (1 << switches) - 1)),
        st.sampled_from((0, every)),
    )

    def listed(states: st.SearchStrategy[int], size: int) -> st.SearchStrategy[list[int]]:
        return st.lists(states, min_size=size, max_size=size)

    def observation(
        trips: int, lit: list[int], hazards: list[int], dim: list[int], over: list[int]
    ) -> Observation:
        def held(sets: Sequence[int]) -> tuple[int, ...]:
            return tuple(states & ~trips for states in sets)

        glowing = [states & ~full for states, full in zip(dim, lit, strict=True)]
        above = [x & ~(a | b) for x, a, b in zip(over, lit, dim, strict=True)]
        return Observation(switches, trips, held(lit), held(hazards), held(glowing), held(above))

    rarely = st.one_of(st.just([0] * lamps), listed(st.one_of(st.just(0), some), lamps))
    return st.builds(
        observation,
        st.one_of(st.just(0), some),
        st.one_of(listed(parity, lamps), listed(st.one_of(parity, some), lamps)),
        st.one_of(
            st.just([0] * len(HAZARD_NAMES)),
            listed(st.one_of(st.just(0), some), len(HAZARD_NAMES)),
        ),
        rarely,
        rarely,
    )


@st.composite
def batches(draw: st.DrawFn) -> Sequence[Observation]:
    """Observations of as many switches and lamps each, up to eight and three."""
    size = draw(st.integers(1, 8)), draw(st.integers(1, 3))
    return draw(st.lists(observations(*size), min_size=1, max_size=5))


def by_definition(seen: Observation) -> Judgement:
    """The verdict on what was seen, found by going through the states."""
    shown = zip(HAZARD_NAMES, seen.hazards, strict=True)
    hazards = tuple((name, min(states_in(states))) for name, states in shown if states)
    if seen.trips:
        state = min(states_in(seen.trips))
        return Judgement("trips", seen, None, state, hazard_states=hazards)
    for state in range(1 << seen.switches):
        for switch in range(seen.switches):
            for lamp in range(len(seen.lit)):
                lights = {seen.light(lamp, state), seen.light(lamp, state ^ 1 << switch)}
                if lights != {"dark", "lit"}:
                    return Judgement("misbehaves", seen, None, state, switch, lamp, hazards)
    by_volts = bool(hazards) and {name for name, _ in hazards} <= ELECTRICAL
    verdict = "mimic" if hazards else "sound"
    return Judgement(verdict, seen, None, hazard_states=hazards, by_volts=by_volts)


@settings(max_examples=150)
@given(batches())
def test_verdicts_follow_the_definition(batch: Sequence[Observation]) -> None:
    """The word, and the smallest state, switch and lamp that show it, found by trying them all."""
    found = Findings.of(batch, switches=batch[0].switches, lamps=len(batch[0].lit))
    judged = verdicts(found)
    assert len(judged) == len(batch)
    for row, seen in enumerate(batch):
        assert found.observation(row) == seen
        assert replace(judgement(judged, row, seen), signature=None) == by_definition(seen)


@pytest.mark.parametrize("switches", range(1, 10))
def test_one_idle_switch_is_found(switches: int) -> None:
    """If one lamp ignores one switch, that switch and lamp show it, in the first state."""
    works, none = parity_of(-1, switches), (0,) * len(HAZARD_NAMES)
    for idle in range(switches):
        lit = (works, parity_of(~(1 << idle), switches), works)
        seen = Observation(switches, 0, lit, none, (0, 0, 0), (0, 0, 0))
        judged = verdicts(Findings.of([seen], switches=switches, lamps=3))
        expected = Judgement("misbehaves", seen, None, state=0, switch=idle, lamp=1)
        assert replace(judgement(judged, 0, seen), signature=None) == expected


@given(faulted_circuits())
def test_fault_is_judged_as_the_circuit_it_makes(
    circuit_and_fault: tuple[Circuit, Fault],
) -> None:
    """One row of many has the verdict of the faulted circuit alone, whichever engine judges."""
    circuit, fault = circuit_and_fault
    alone = {name: judge(fault.apply(circuit), engine) for name, engine in ENGINES.items()}
    assert alone["words"] == alone["paths"]
    ((_, found, judged),) = judge_faults(circuit, [fault], ENGINES["words"])
    in_a_row = judgement(judged, 0, found.observation(0))
    assert in_a_row == alone["words"]
    assert in_a_row.signature
    assert in_a_row.any_location == in_a_row.signature.any_location


def test_batches_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    """Faults judged a few at a time have the verdicts that they have all at once, in order."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    every = all_faults(circuit)
    (whole,) = judge_faults(circuit, every, ENGINES["words"])
    monkeypatch.setattr(verdict, "_BATCH_BYTES", 1000)
    parts = list(judge_faults(circuit, every, ENGINES["words"]))
    assert len(parts) > 3
    assert [fault for part, _, _ in parts for fault in part] == every
    listed = [judged.verdict[row] for _, _, judged in parts for row in range(len(judged))]
    assert listed == list(whole[2].verdict)


def test_single_faults_have_every_verdict_that_can_be_proved() -> None:
    """The smallest circuit has single faults of each sort, so none of the words is idle."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    ((_, _, judged),) = judge_faults(circuit, all_faults(circuit), ENGINES["words"])
    assert {VERDICTS[number] for number in judged.verdict} == set(VERDICTS) - {"undecided"}


def in_one_box(switches: int, lamps: int) -> Circuit:
    """A circuit of single-pole switches and lamps in which nothing is connected."""
    devices = (
        Device("feed", "feed", "loft"),
        *(Device(f"lamp-{number}", "lamp", "loft") for number in range(lamps)),
        *(Device(f"switch-{number}", "single-pole", "loft") for number in range(switches)),
    )
    return Circuit("Loft", (Box("loft"),), devices, (), ())


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)
@pytest.mark.parametrize(
    ("switches", "lamps", "reason"),
    [
        (17, 1, "17 switches are more than the 16"),
        (1, MOST_LAMPS + 1, f"{MOST_LAMPS + 1} lamps are more than the {MOST_LAMPS}"),
    ],
)
def test_what_cannot_be_proved_is_undecided(
    switches: int, lamps: int, reason: str, engine: Engine
) -> None:
    """Beyond its limits an engine gives no verdict but the reason, and judges no faults."""
    circuit = in_one_box(switches, lamps)
    judged = judge(circuit, engine)
    assert judged.verdict == "undecided"
    assert judged.observation is None
    assert not judged.any_location
    assert judged.reason.startswith(reason)
    with pytest.raises(ValueError, match=reason):
        list(judge_faults(circuit, [], engine))


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)
def test_as_many_lamps_as_fit_are_judged(engine: Engine) -> None:
    """The limit on lamps is where it is said to be."""
    assert judge(in_one_box(1, MOST_LAMPS), engine).verdict == "misbehaves"


def test_as_many_switches_as_fit_are_judged() -> None:
    """The limit on switches is where it is said to be; *paths* keeps to it but would take long."""
    circuit = sample(1, 0, fewest=16, most=16).circuit
    assert judge(circuit, ENGINES["words"]).verdict == "sound"
