"""Examining circuits: rechecked by an engine that shares no code, and told with names."""

from dataclasses import replace
from itertools import product

import pytest
from boathouse import NEUTRAL_ON_A_TRAVELER, SWITCH_NOT_GROUNDED, SWITCHES, TRAVELER_LEFT_OFF, stair

from verify.base.problems import BugError
from verify.behaviour.findings import Observation
from verify.behaviour.judgement import MEANINGS, Judgement
from verify.circuit.model import Circuit
from verify.engine.diagrams import DiagramsEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults, fault_kind
from verify.layout.enumeration import Layout
from verify.layout.sampler import sample
from verify.verdict import rechecking
from verify.verdict.evidence import Evidence
from verify.verdict.rechecking import examine

CHAIN_OF_17 = ".".join(map(str, [17, "f", *range(1, 17)]))


class Contrarian(WordsEngine):
    """An engine that claims every lamp to be in the other state."""

    def observe(self, circuit: Circuit) -> Observation:
        """The opposite of what is."""
        seen = super().observe(circuit)
        every = (1 << (1 << seen.switches)) - 1
        return replace(seen, lit=tuple(lit ^ every for lit in seen.lit))


def test_disagreeing_engines_are_our_bug() -> None:
    """A verdict that the independent engine does not confirm is never reported."""
    with pytest.raises(BugError) as found:
        examine(stair(), Contrarian())
    assert str(found.value) == (
        "the engines words and paths disagree on circuit 'Boathouse stair': with slipway-switch "
        "up, workshop-switch up, words finds lamp dark, protection holds, paths finds lamp lit, "
        "protection holds. This is a mistake in Miswire: trust no verdict on this circuit, and "
        "report it with its file"
    )


class Alarmist(WordsEngine):
    """An engine that sees the first hazard in the last state of a sound circuit."""

    def observe(self, circuit: Circuit) -> Observation:
        """What is, and a hazard."""
        seen = super().observe(circuit)
        last = 1 << ((1 << seen.switches) - 1)
        return replace(seen, hazards=(last, *seen.hazards[1:]))


class Boaster(WordsEngine):
    """An engine that claims that volts decide everywhere."""

    def observe(self, circuit: Circuit) -> Observation:
        """What is, and who decided."""
        return replace(super().observe(circuit), overruled=0b1111)


def test_a_disagreement_is_placed() -> None:
    """The words name the first combination in which anything differs, hazards too."""
    with pytest.raises(BugError, match="down, words finds lamp lit, protection holds, lamp-"):
        examine(stair(), Alarmist())
    with pytest.raises(BugError, match="do not agree in which combinations volts decide"):
        examine(stair(), Boaster())


class Rash(DiagramsEngine):
    """An engine for many switches that takes any circuit for a sound one that it knows."""

    def prove(self, circuit: Circuit) -> Judgement:
        """What is so of the chain."""
        return super().prove(Layout.parse(CHAIN_OF_17).circuit("chain"))


def test_a_wrong_proof_for_many_switches_is_our_bug(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where states cannot be listed, a sample is held against the engine on paths."""
    sound = Layout.parse(CHAIN_OF_17).circuit("chain")
    burnt_out = all_faults(sound, [fault_kind("lamp-open")])[0].apply(sound)
    monkeypatch.setattr(rechecking, "DiagramsEngine", Rash)
    with pytest.raises(BugError, match="any-location control is proved by the first"):
        examine(burnt_out)


def test_large_circuits_are_rechecked_where_the_evidence_is() -> None:
    """Beyond 256 states the second engine goes through those that the evidence speaks of."""
    circuit = sample(1, 0, fewest=9, most=9).circuit
    sound = examine(circuit)
    assert (sound.judgement.verdict, sound.rechecked) == ("sound", 0)
    burnt_out = all_faults(circuit, [fault_kind("lamp-open")])[0]
    faulty = examine(burnt_out.apply(circuit))
    assert faulty.judgement.verdict == "misbehaves"
    assert 1 <= faulty.rechecked <= 1 + len(faulty.judgement.hazards)


def test_states_have_names() -> None:
    """A row a state, in which switches and lamps go by their names."""
    found = examine(stair(NEUTRAL_ON_A_TRAVELER))
    assert [row.positions for row in found.states] == [
        dict(zip(SWITCHES, reversed(where), strict=True))
        for where in product(("up", "down"), repeat=2)
    ]
    assert {row.protection for row in found.states} == {"holds", "trips"}
    assert all(row.lamps == {"lamp": "dark"} for row in found.states if row.protection == "trips")
    assert repr(examine(stair()).states[1]) == (
        "<StateRow slipway-switch down, workshop-switch up: lamp dark; protection holds>"
    )


@pytest.mark.parametrize("rewire", [{}, SWITCH_NOT_GROUNDED, TRAVELER_LEFT_OFF])
def test_what_python_prints_says_it_all(rewire: dict[str, str]) -> None:
    """Name, verdict with its meaning, every state, how it was proved, and all evidence."""
    found = examine(stair(rewire))
    said = " ".join(repr(found).split())
    assert said.startswith(f"Boathouse stair {found.verdict.upper()}: {found.meaning}")
    assert found.meaning == MEANINGS[found.verdict]
    for row in found.states:
        assert " ".join([*row.positions.values(), *row.lamps.values(), row.protection]) in said
    assert found.behaviour in said
    assert found.how_proved in said
    assert [claim for claim in found.evidence if claim != found.verdict] == list(found.hazards)
    for item in found.evidence.values():
        if isinstance(item, Evidence):
            assert all(f"- {words}" in said for words in item.words)
            assert repr(item).startswith(f"{item.claim}, shown with slipway-switch ")
    assert said.rpartition("Cautions: ")[1]


def test_many_states_are_not_all_printed() -> None:
    """Eight switches: sixteen of the states, with short names in a narrow place only."""
    found = examine(sample(1, 0, fewest=8, most=8).circuit)
    assert "and 240 more of 256 combinations; states has them all." in repr(found)
    assert "S1 = switch-1" in repr(found)
    assert '<th scope="col">switch-1</th>' in found._repr_html_()
    assert len(found.states) == 256


def test_what_was_not_listed_is_empty() -> None:
    """Of seventeen switches there are no rows and no name of what the light does."""
    found = examine(Layout.parse(CHAIN_OF_17).circuit("chain"))
    assert (found.verdict, found.states, found.behaviour, found.signature) == (
        "sound",
        (),
        "",
        None,
    )
    assert "without listing them" in repr(found)
