"""Two mistakes at once: a pair is what one makes of the other's circuit, in either order."""

import itertools
import random
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.base.resources import data_path
from verify.behaviour.judgement import VERDICTS
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Failure
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.registry import all_faults, fault_kinds, find_fault
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.strategies import circuits
from verify.study.pairs.compose import Singles, both_made
from verify.study.pairs.pairing import PAIRED_KINDS, existing_pairs
from verify.study.pairs.survey import MEANINGS, OUTCOMES, PairSurvey, of_outcome, survey_pairs
from verify.verdict.judging import judge

CHAIN = Layout.parse("1.f.1").circuit("chain")
TIED = Layout.parse("2.L.f").circuit("tied")
THREE = Layout.parse("2.f.1.2").circuit("chain")


def paired(circuit: Circuit) -> list[Fault]:
    """The faults of a circuit of which pairs are made."""
    return [fault for fault in all_faults(circuit) if fault.kind in PAIRED_KINDS]


def found_again(intended: Circuit, fault: Fault, circuit: Circuit) -> Fault:
    """The same mistake at the same ends in `circuit`, which has another one; raises KeyError.

    Only what a site calls a join can change: its first end, in the order in which sites name ends.
    """
    wiring = NumberedCircuit(circuit)
    site = list(fault.site)
    if fault.kind in ("moved", "bridged", "split"):
        box = site[0]
        places = {"moved": [2], "bridged": [1, 2], "split": [1]}[fault.kind]
        for place in places:
            join = wiring.join_of[wiring.number(box, site[place])]
            site[place] = (
                wiring.name(wiring.joins[join][0])
                if fault.kind == "split"
                else wiring.join_name(join)
            )
        if fault.kind == "bridged":
            order = [wiring.name(end) for end in wiring.site_order[box]]
            site[1:] = sorted(site[1:], key=order.index)
    return find_fault(circuit, f"{fault.kind}/{','.join(site)}")


def one_then_other(circuit: Circuit, one: Fault, other: Fault) -> Circuit:
    """One mistake, then the other found in the circuit that results; raises KeyError."""
    faulted = one.apply(circuit)
    return found_again(circuit, other, faulted).apply(faulted)


def hold(circuit: Circuit, faults: Sequence[Fault], pairs: Sequence[tuple[int, int]]) -> None:
    """Composed arrays say what the independent engine says of the circuit, in either order."""
    first, second = (np.array(column, np.intp) for column in zip(*pairs, strict=True))
    found = WordsEngine().observe_batch(Singles(circuit, faults).together(first, second))
    paths = PathsEngine()
    for row, (one, other) in enumerate(pairs):
        label = f"{faults[one].label} and {faults[other].label}"
        forth = one_then_other(circuit, faults[one], faults[other])
        back = one_then_other(circuit, faults[other], faults[one])
        assert (forth.joins, forth.failures, forth.devices) == (
            back.joins,
            back.failures,
            back.devices,
        ), label
        both = both_made(circuit, faults[one], faults[other])
        assert (both.joins, both.failures, both.devices) == (
            forth.joins,
            forth.failures,
            forth.devices,
        ), label
        assert found.observation(row) == paths.observe(forth), label


def drawn_pairs(existing: np.ndarray, seed: int, most: int) -> list[tuple[int, int]]:
    """Some pairs that exist, in both orders."""
    draw = random.Random(seed)
    pairs = [(one, other) for one, other in np.argwhere(existing).tolist()]
    return [pairs[int(draw.random() * len(pairs))] for _ in range(most)] if pairs else []


@pytest.mark.parametrize("circuit", [CHAIN, TIED, THREE], ids=["chain", "tied", "three"])
def test_a_pair_is_one_after_the_other(circuit: Circuit) -> None:
    """Kind by kind: pairs are what finding the second in the circuit of the first gives."""
    faults = paired(circuit)
    existing = existing_pairs(NumberedCircuit(circuit), faults)
    by_kinds: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for one, other in np.argwhere(existing).tolist():
        by_kinds.setdefault((faults[one].kind, faults[other].kind), []).append((one, other))
    draw = random.Random(7)
    pairs = [same[int(draw.random() * len(same))] for same in by_kinds.values() for _ in range(2)]
    assert len(by_kinds) > 100
    hold(circuit, faults, pairs)


def test_mistakes_in_one_join_are_pairs_too() -> None:
    """Pairs that touch a join in common, where order could matter, hold like the others."""
    faults = paired(TIED)
    wiring = NumberedCircuit(TIED)
    existing = existing_pairs(wiring, faults)

    def touched(fault: Fault) -> set[int]:
        moves = fault.change.moves
        return {wiring.join_of[end] for end, _ in moves} | {
            join for _, join in moves if join < len(wiring.joins)
        }

    joins = [touched(fault) for fault in faults]
    close = [
        (one, other)
        for one, other in np.argwhere(np.triu(existing)).tolist()
        if joins[one] & joins[other]
    ]
    draw = random.Random(3)
    assert len(close) > 1000
    hold(TIED, faults, [close[int(draw.random() * len(close))] for _ in range(120)])


@given(circuit=circuits(), seed=st.integers(0, 2**16))
def test_order_does_not_matter_in_any_circuit(circuit: Circuit, seed: int) -> None:
    """Random circuits, with junctions, several lamps and outlets, keep the law."""
    faults = paired(circuit)
    draw = random.Random(seed)
    some = [fault for fault in faults if draw.random() < 40 / len(faults)]
    pairs = drawn_pairs(existing_pairs(NumberedCircuit(circuit), some), seed, 6)
    if pairs:
        hold(circuit, some, pairs)


def test_what_is_no_pair_cannot_be_told() -> None:
    """Where no mistake moves an end that the other names, no part fails twice and no switch is
    replaced, two are a pair exactly if each is found in the circuit of the other.
    """
    faults = [fault for fault in paired(CHAIN) if fault.change.moves]
    faults = [fault for fault in faults if fault.change.replacement is None]
    existing = existing_pairs(NumberedCircuit(CHAIN), faults)
    ends = [ends_told(fault) for fault in faults]
    apart = [
        (one, other)
        for one, other in np.argwhere(np.triu(~existing, 1)).tolist()
        if not ends[one][0] & ends[other][1] and not ends[other][0] & ends[one][1]
    ]
    assert len(apart) > 20
    for one, other in apart:
        a, b = faults[one], faults[other]
        found = []
        for first, second in ((a, b), (b, a)):
            with suppress(KeyError):
                found.append(found_again(CHAIN, second, first.apply(CHAIN)))
        assert len(found) < 2, f"{a.label} and {b.label}"


def ends_told(fault: Fault) -> tuple[set[tuple[str, ...]], set[tuple[str, ...]]]:
    """The ends that a mistake moves, and those that it moves or names, by box and name."""
    wiring = NumberedCircuit(CHAIN)
    moved = {tuple(wiring.circuit.ends[end]) for end, _ in fault.change.moves}
    if fault.kind == "cables-mixed":
        return moved, moved
    box, *names = fault.site
    return moved, moved | {(box, name) for text in names for name in text.split("+")}


@pytest.mark.parametrize(
    ("one", "other", "is_pair"),
    [
        # The two ends of one join: with one off, the other is connected to nothing already.
        ("left-off/box-2,switch-2.common", "left-off/box-2,box-2-run.red", False),
        # The same end cannot be in two places.
        ("left-off/box-1,feed.ground", "moved/box-1,feed.ground,switch-1.common", False),
        ("left-off/box-1,feed.ground", "left-off/box-1,lamp-box-run.bare", True),
        ("lamp-open/lamp", "lamp-shorted/lamp", False),
        ("switch-stuck/switch-1,up", "switch-stuck/switch-1,down", False),
        ("switch-stuck/switch-1,up", "switch-stuck/switch-2,down", True),
        (
            "contact-open/switch-1.common,switch-1.traveler-1",
            "contact-welded/switch-1.common,switch-1.traveler-1",
            False,
        ),
        ("contact-open/switch-1.common,switch-1.traveler-1", "switch-stuck/switch-1,up", True),
        (
            "wrong-device/switch-1,single-pole,common+traveler-1",
            "switch-stuck/switch-1,up",
            False,
        ),
        (
            "wrong-device/switch-1,single-pole,common+traveler-1",
            "wrong-device/switch-2,single-pole,common+traveler-1",
            True,
        ),
        (
            "wrong-device/switch-1,single-pole,common+traveler-1",
            "exchanged/box-1,switch-1.common,switch-1.traveler-1",
            False,
        ),
    ],
)
def test_which_pairs_there_are(one: str, other: str, is_pair: bool) -> None:
    """Two mistakes are a pair unless they take each other's ends, joins, parts or switches."""
    faults = [find_fault(CHAIN, label) for label in (one, other)]
    assert existing_pairs(NumberedCircuit(CHAIN), faults).tolist() == [
        [False, is_pair],
        [is_pair, False],
    ]


def test_every_kind_is_paired_or_left_out_for_a_reason() -> None:
    """What pairs leave out shows in no connection, changes everything, or is about supplies."""
    others = {kind.name for kind in fault_kinds()} - set(PAIRED_KINDS)
    assert {"loose-join", "whole-circuit", "borrowed-neutral", "neutral-lost"} <= others
    assert set(PAIRED_KINDS) < {kind.name for kind in fault_kinds()}


@cache
def surveyed() -> PairSurvey:
    """The pairs of the traveler chain with feed and lamp at the first switch."""
    return survey_pairs(CHAIN, all_faults(CHAIN))


def test_what_hides_what_is_so() -> None:
    """Every pair that hides, and every one that breaks what looks good, by the engine *paths*."""
    survey = surveyed()
    paths = PathsEngine()
    alone = {number: judge(fault.apply(CHAIN), paths) for number, fault in enumerate(survey.faults)}
    told = [*of_outcome(survey, "hides-both", "hides-one", "makes-mimic", "breaks")]
    assert len(told) > 250
    for place in told:
        one, other = int(survey.first[place]), int(survey.second[place])
        circuit = one_then_other(CHAIN, survey.faults[one], survey.faults[other])
        together = judge(circuit, paths)
        shows = [not alone[number].any_location for number in (one, other)]
        expected = {
            "hides-both": ([True, True], True),
            "hides-one": (sorted(shows), True),
            "breaks": ([False, False], False),
        }[OUTCOMES[survey.outcome[place]]]
        assert (sorted(shows), together.any_location) == expected
        assert VERDICTS[survey.verdict[place]] == together.verdict
        held = [i for i, name in enumerate(HAZARD_NAMES) if name in together.hazards]
        assert survey.hazards[place] == sum(1 << i for i in held)
        if OUTCOMES[survey.outcome[place]] == "hides-one":
            assert sorted(shows) == [False, True]


def test_two_harmless_ones_make_a_mimic() -> None:
    """In the layout with the feed beyond the lamp two mistakes, each harmless, float the metal
    or switch the neutral together: the engine *paths* says so of every such pair.
    """
    circuit = Layout.parse("2.L.f").circuit("chain")
    survey = survey_pairs(circuit, all_faults(circuit))
    paths = PathsEngine()
    places = [*of_outcome(survey, "makes-mimic")]
    assert places
    for place in places:
        pair = [survey.faults[int(column[place])] for column in (survey.first, survey.second)]
        assert [judge(fault.apply(circuit), paths).verdict for fault in pair] == ["sound"] * 2
        assert judge(one_then_other(circuit, *pair), paths).verdict == "mimic"


def test_outcomes_follow_from_verdicts() -> None:
    """Each pair has the outcome that its three verdicts give, said in another way."""
    survey = surveyed()
    good = [verdict in (0, 1) for verdict in range(len(VERDICTS))]
    for place in range(0, len(survey), 7):
        one = int(survey.single[survey.first[place]])
        other = int(survey.single[survey.second[place]])
        together = int(survey.verdict[place])
        broken = [good[one], good[other]].count(False)
        if good[together]:
            name = ("stays", "hides-one", "hides-both")[broken]
            if (one, other, VERDICTS[together]) == (0, 0, "mimic"):
                name = "makes-mimic"
        else:
            name = "shows" if broken else "breaks"
        assert OUTCOMES[survey.outcome[place]] == name
    assert set(MEANINGS) == set(OUTCOMES)


def test_a_sample_is_of_the_pairs_and_always_the_same() -> None:
    """A sample holds that many different pairs of those that exist, with their outcomes."""
    whole = surveyed()
    sample, again = (survey_pairs(CHAIN, all_faults(CHAIN), 500) for _ in range(2))
    assert (len(sample), sample.existing, sample.is_complete) == (500, len(whole), False)
    assert whole.is_complete
    pairs = list(zip(sample.first.tolist(), sample.second.tolist(), strict=True))
    assert len(set(pairs)) == 500
    outcome = dict(
        zip(
            zip(whole.first.tolist(), whole.second.tolist(), strict=True),
            whole.outcome.tolist(),
            strict=True,
        )
    )
    assert [outcome[pair] for pair in pairs] == sample.outcome.tolist()
    assert pairs == list(zip(again.first.tolist(), again.second.tolist(), strict=True))
    assert len(survey_pairs(CHAIN, all_faults(CHAIN), len(whole) + 1)) == len(whole)


def test_pairs_come_on_top_of_what_has_failed() -> None:
    """A circuit with failed parts has pairs too: what has failed already does not fail again."""
    circuit = replace(
        load(data_path("circuits") / "stair-feed-at-lamp.toml"),
        failures=(
            Failure("conductors-shorted", ("slipway-run.red", "slipway-run.white")),
            Failure("contact-open", ("workshop-switch.common", "workshop-switch.traveler-1")),
        ),
    )
    faults = paired(circuit)
    hold(circuit, faults, drawn_pairs(existing_pairs(NumberedCircuit(circuit), faults), 5, 60))


def test_few_faults_make_no_pair() -> None:
    """One mistake alone, or none, makes no pair."""
    for faults in ([], all_faults(CHAIN)[:1]):
        survey = survey_pairs(CHAIN, faults)
        assert (len(survey), survey.existing) == (0, 0)
    assert not existing_pairs(NumberedCircuit(CHAIN), []).size


def test_pairs_of_a_layout_are_counted_once() -> None:
    """Each unordered pair is judged once, and never a mistake with itself."""
    survey = surveyed()
    assert (survey.first < survey.second).all()
    assert len(survey) < len([*itertools.combinations(survey.faults, 2)])
