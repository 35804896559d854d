"""Several feeds: what is on line, what meets what, and how it is told."""

from dataclasses import replace

import pytest
from feeding import fed_twice, with_feed
from hypothesis import given

from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import Join
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.layout.enumeration import Layout
from verify.verdict.evidence import Prover
from verify.verdict.judging import judge

STAIR = Layout.parse("1.f.1").circuit("chain")


@given(fed_twice())
def test_engines_agree_on_several_feeds(circuit: Circuit) -> None:
    """Protection, lamps and hazards are the same by both engines, and the file says it all."""
    seen = WordsEngine().observe(circuit)
    assert seen == PathsEngine().observe(circuit)
    assert loads(dump(circuit)) == circuit
    prover = Prover(circuit)
    found = judge(circuit, WordsEngine())
    if found.verdict == "trips":
        assert found.state is not None
        assert prover.find("trips", found.state).path_words
    for name, state in found.hazard_states:
        assert prover.find(name, state).path_words


def test_a_second_feed_that_touches_nothing_changes_nothing() -> None:
    """Its line is live, but nothing is there."""
    alone = with_feed(STAIR, "box-2", "B", {})
    assert WordsEngine().observe(alone) == WordsEngine().observe(STAIR)


@pytest.mark.parametrize(("leg", "verdict"), [("A", "sound"), ("B", "trips")])
def test_lines_may_meet_on_one_leg_only(leg: str, verdict: str) -> None:
    """Two lines of one leg are at one voltage; of different legs they are a short circuit."""
    circuit = with_feed(STAIR, "box-1", leg, {"line": "feed.line"})
    assert judge(circuit, WordsEngine()).verdict == verdict
    if verdict == "trips":
        words = Prover(circuit).find("trips", 0).path_words
        assert words[0] == "lines of feeds on different legs are connected"
        assert words[1].startswith("line leaves feed in box-1")


def test_line_of_one_feed_on_the_neutral_of_another_trips() -> None:
    """Neutrals are connected at the service."""
    circuit = with_feed(STAIR, "box-1", "B", {"line": "feed.neutral"})
    found = judge(circuit, WordsEngine())
    assert (found.verdict, found.state) == ("trips", 0)


def test_a_return_to_another_feed_lights_the_lamp() -> None:
    """A borrowed neutral works; nothing in the positions of the switches tells."""
    own = replace(
        STAIR,
        joins=tuple(
            Join(join.box, tuple(end for end in join.ends if end != "feed.neutral"))
            for join in STAIR.joins
        ),
    )
    assert judge(own, WordsEngine()).verdict == "misbehaves"
    borrowed = with_feed(own, "box-1", "A", {"neutral": "lamp-box-run.white"})
    assert judge(borrowed, WordsEngine()).any_location


def test_several_feeds_have_names_in_words() -> None:
    """Where there are several, a path says from which feed line comes."""
    circuit = with_feed(STAIR, "box-2", "A", {"line": "switch-2.common"})
    found = judge(circuit, WordsEngine())
    assert found.verdict == "misbehaves"
    assert found.state is not None
    words = Prover(circuit).find("misbehaves", found.state, "switch-1", "lamp").path_words
    assert words[1].startswith("line leaves spare-feed in box-2")
