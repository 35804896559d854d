"""Signatures: the smallest of the words that exchanging positions makes, and its name."""

from itertools import product

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.behaviour.findings import Findings
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import (
    DARK,
    DIM,
    LIT,
    MOST_LAMPS,
    OVER,
    SYMBOLS,
    TRIP,
    Signature,
    canonical,
    packed,
    state_codes,
    unpacked,
)
from verify.circuit.model import Circuit
from verify.engine.words import WordsEngine
from verify.strategies import circuits, miswired_circuits, states

WORDS = WordsEngine()

Codes = npt.NDArray[np.int64]


def outcomes(lamps: int) -> st.SearchStrategy[tuple[int, ...]]:
    """What all lamps do in one state: a trip is everybody's."""
    light = st.tuples(*[st.sampled_from((DARK, DIM, LIT, OVER))] * lamps)
    return st.one_of(light, st.just((TRIP,) * lamps))


@st.composite
def words(draw: st.DrawFn, *, most_switches: int = 5) -> tuple[Codes, int]:
    """The packed outcomes in every state and the number of lamps; half of them repeat themselves.

    A word that depends on some switches only, or on their parity, has few different images.
    """
    switches = draw(st.integers(0, most_switches))
    lamps = draw(st.integers(1, 3))
    mask = draw(st.integers(0, (1 << switches) - 1))
    table = draw(st.lists(outcomes(lamps), min_size=1 << switches, max_size=1 << switches))
    kept = [table[state & mask] for state in range(1 << switches)]
    return np.array([packed(each) for each in kept], np.int64), lamps


@settings(max_examples=200)
@given(words())
def test_signature_is_the_smallest_word(word: tuple[Codes, int]) -> None:
    """No exchange of positions on any set of switches makes a word that comes first."""
    codes, lamps = word
    every = [tuple(int(codes[s ^ mask]) for s in range(len(codes))) for mask in range(len(codes))]
    assert canonical(codes, lamps).codes == min(every)


@given(words(most_switches=7), st.data())
def test_exchanging_positions_keeps_the_signature(
    word: tuple[Codes, int], data: st.DataObject
) -> None:
    """Who calls up down sees the same signature."""
    codes, lamps = word
    mask = data.draw(st.integers(0, len(codes) - 1))
    exchanged = codes[np.arange(len(codes)) ^ mask]
    assert canonical(exchanged, lamps) == canonical(codes, lamps)


def test_parity_of_sixteen_switches_has_a_signature() -> None:
    """Also the longest word, which half of all exchanges leave as it is, is found at once."""
    parity = np.array([LIT * (state.bit_count() & 1) for state in range(1 << 16)], np.int64)
    found = canonical(parity[::-1].copy(), 1)
    assert found.codes[:4] == (DARK, LIT, LIT, DARK)
    assert found.any_location


@given(words())
def test_word_is_read_back(word: tuple[Codes, int]) -> None:
    """The written word of a signature stands for it."""
    codes, lamps = word
    signature = canonical(codes, lamps)
    assert Signature.parse(signature.word, lamps) == signature


def test_word_is_written_state_by_state() -> None:
    """One symbol a lamp, dots between states of several lamps, a single T for a trip."""
    assert canonical(np.array([DARK, LIT, OVER, TRIP], np.int64), 1).word == "-LOT"
    two = [packed(each) for each in ((DARK, LIT), (TRIP, TRIP))]
    assert canonical(np.array(two, np.int64), 2).word == "-L.T"
    assert SYMBOLS[DIM] == "d"


@pytest.mark.parametrize(("word", "smallest"), [("L-", "-L"), ("LL-L", "-LLL"), ("T-", "-T")])
def test_word_that_is_no_signature_is_refused(word: str, smallest: str) -> None:
    """A word that is not the smallest of its kind is none, and the message names that one."""
    with pytest.raises(ValueError, match=f"word='{word}' is not canonical; that is '{smallest}'"):
        Signature.parse(word)


@given(st.integers(1, MOST_LAMPS).flatmap(outcomes))
def test_outcomes_are_packed_and_unpacked(each: tuple[int, ...]) -> None:
    """The code of a state fits 64 bits and says what every lamp does."""
    code = packed(each)
    assert code < 1 << 63
    assert unpacked(code, len(each)) == each


@given(miswired_circuits(circuits()), st.data())
def test_signature_says_what_was_observed(circuit: Circuit, data: st.DataObject) -> None:
    """Up to which position is called up, outcomes are trip, lit and dark as the engine found."""
    seen = WORDS.observe(circuit)
    found = Findings.of([seen], switches=seen.switches, lamps=len(seen.lit))
    (codes,) = state_codes(found)
    state = data.draw(states(circuit))
    expected = tuple(
        TRIP if seen.trips >> state & 1 else LIT if lit >> state & 1 else DARK for lit in seen.lit
    )
    assert unpacked(int(codes[state]), len(seen.lit)) == expected
    signature = canonical(codes, len(seen.lit))
    assert sorted(signature.codes) == sorted(map(int, codes))


@given(words())
def test_any_location_is_every_flip_changing_every_lamp(word: tuple[Codes, int]) -> None:
    """As the definition has it, state by state and switch by switch."""
    codes, lamps = word
    signature = canonical(codes, lamps)
    table = [signature.outcomes(state) for state in range(len(codes))]
    flips = all(
        {before, after} == {DARK, LIT}
        for state in range(len(table))
        for switch in range(signature.switches)
        for before, after in zip(table[state], table[state ^ 1 << switch], strict=True)
    )
    assert signature.any_location == (flips and signature.switches > 0)


def test_two_switches_have_seven_signatures_with_seven_names() -> None:
    """What one lamp can do with two switches, without trips (7: OEIS A000231, read)."""
    names = {}
    for lights in product((DARK, LIT), repeat=4):
        signature = canonical(np.array(lights, np.int64), 1)
        names[signature.word] = signature_name(signature)
    assert names == {
        "----": "never lights",
        "---L": "lit in one combination of switches 1 and 2 only",
        "--LL": "switch 2 works; switch 1 does nothing",
        "-L-L": "switch 1 works; switch 2 does nothing",
        "-LL-": "works from every switch",
        "-LLL": "dark in one combination of switches 1 and 2 only",
        "LLLL": "always lit",
    }


def test_three_switches_have_forty_six_names() -> None:
    """Each of the 46 signatures of one lamp with three switches is called something else."""
    names = {}
    for lights in product((DARK, LIT), repeat=8):
        signature = canonical(np.array(lights, np.int64), 1)
        names[signature.word] = signature_name(signature)
    assert len(set(names.values())) == len(names) == 46


@given(words(most_switches=4))
def test_every_signature_has_a_name(word: tuple[Codes, int]) -> None:
    """There are words for whatever lamps and protection do."""
    codes, lamps = word
    name = signature_name(canonical(codes, lamps))
    assert name
    assert name.isprintable()
