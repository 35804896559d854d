"""The symptom desk: what was seen leads to the fault, and checks tell the rest apart."""

import itertools
import math
import statistics
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.build.sweep import build
from catalogue.desk.answer import OTHER, Answer, parse_results
from catalogue.desk.checks import Check, CheckBench, Hypothesis, check_kinds
from catalogue.desk.match import Match, SuspectGroup
from catalogue.desk.planner import CheckPlan, entropy, make_plan, proposals
from catalogue.desk.priors import load_priors
from catalogue.desk.suspect_pool import (
    NO_FAULT,
    Suspect,
    SuspectPool,
    pool_of_catalogue,
    pool_of_circuit,
)
from catalogue.desk.symptoms import SIGN, Symptoms, parse_saw, parse_signs
from catalogue.store.schema import open_for_writing
from verify.base.problems import UserError
from verify.base.resources import data_path
from verify.behaviour.signature import DARK, DIM, LIT, TRIP
from verify.circuit.file import load
from verify.engine.paths import PathsEngine
from verify.fault.registry import find_fault
from verify.layout.enumeration import Layout, layouts
from verify.layout.schemes import SOUND_SCHEMES

TWO = [(scheme, layout.code) for scheme in SOUND_SCHEMES for layout in layouts(2)]
OUTCOMES = {0: DARK, 2: LIT, 4: TRIP}


@cache
def pool_of(scheme: str, code: str) -> SuspectPool:
    """Every single fault of one layout."""
    return pool_of_circuit(Layout.parse(code).circuit(scheme))


@pytest.fixture(scope="module")
def catalogue_pool(tmp_path_factory: pytest.TempPathFactory) -> SuspectPool:
    """Every single fault of every layout of two locations, from a real catalogue."""
    path = tmp_path_factory.mktemp("desk") / "two.db"
    build(path, [2])
    db = open_for_writing(str(path))
    pool = pool_of_catalogue(db.conn.execute, 2)
    db.close()
    return pool


def matched(
    pool: SuspectPool,
    seen: dict[int, int],
    *,
    as_found: bool = False,
    signs: frozenset[str] = frozenset(),
) -> Match:
    """Suspects held against what was seen, with uniform priors."""
    return Match(pool, Symptoms(pool.switches, seen, signs, as_found), {})


def behaviours(pool: SuspectPool) -> Iterator[tuple[int, dict[int, int]]]:
    """Every behaviour of a pool, as seen in full."""
    for number, codes in enumerate(pool.codes.tolist()):
        yield number, {state: OUTCOMES[code] for state, code in enumerate(codes)}


def rank_of(suspect: Suspect, groups: Sequence[SuspectGroup]) -> int:
    """The place of the group that holds a suspect, 1 first."""
    return next(place for place, group in enumerate(groups, 1) if suspect in group.suspects)


@pytest.mark.parametrize(("scheme", "code"), TWO)
def test_full_behaviour_leads_to_the_first_group(scheme: str, code: str) -> None:
    """Whatever the fault of a two-location circuit does, fed back in full, puts it first alone."""
    pool = pool_of(scheme, code)
    for number, seen in behaviours(pool):
        first, *others = matched(pool, seen).groups
        assert {s for s in pool.suspects if s.codes == number} == set(first.suspects)
        assert (first.contradicted, first.untested, first.matched) == (0, 0, 4)
        assert all(group.contradicted for group in others)
        assert math.isclose(first.share, 1.0)


@pytest.mark.parametrize("as_found", [False, True])
def test_half_of_the_behaviour_keeps_the_fault_among_the_groups(
    as_found: bool, record_testsuite_property: Callable[[str, object], None]
) -> None:
    """With any two of four states unknown no fault of any two-location circuit is lost."""
    ranks = []
    for scheme, code in TWO:
        pool = pool_of(scheme, code)
        for number, seen in behaviours(pool):
            for known in itertools.combinations(seen, 2):
                match = matched(pool, {s: seen[s] for s in known}, as_found=as_found)
                fitting = [group for group in match.groups if not group.contradicted]
                holding = [s for s in pool.suspects if s.codes == number]
                ranks += [rank_of(holding[0], fitting)] * len(holding)
                assert set(holding) <= set(fitting[ranks[-1] - 1].suspects)
    median = statistics.median(ranks)
    record_testsuite_property(f"median rank, half unknown, as_found={as_found}", median)
    assert median <= 2


def test_names_of_positions_do_not_matter_as_found() -> None:
    """Calling up down on any switches changes neither groups nor shares."""
    pool = pool_of("chain", "1.f.1")
    seen = {0: LIT, 1: DARK, 2: DARK}
    plain = matched(pool, seen, as_found=True).groups
    for mask in range(4):
        renamed = matched(pool, {s ^ mask: o for s, o in seen.items()}, as_found=True).groups
        assert [(g.name, g.share) for g in renamed] == [(g.name, g.share) for g in plain]


def test_a_catalogue_keeps_every_fault(catalogue_pool: SuspectPool) -> None:
    """In a catalogue too full behaviour leads to the one group, whichever way it was named."""
    for number, seen in behaviours(catalogue_pool):
        match = Match(catalogue_pool, Symptoms(2, seen), {}, any_order=True)
        fitting = [group for group in match.groups if not group.contradicted]
        names = {s.codes for group in fitting for s in group.suspects}
        assert number in names
        # In any order of the switches at most the mirror image fits besides.
        assert len(names) <= 2


def test_a_catalogue_counts_every_fault(catalogue_pool: SuspectPool) -> None:
    """Suspects of a catalogue stand for all faults of all layouts."""
    faults = sum(s.faults for s in catalogue_pool.suspects if s.family != NO_FAULT)
    assert faults == sum(len(pool_of(*key).suspects) - 1 for key in TWO)


def test_shares_follow_bayes_rule() -> None:
    """A suspect counts by prior and by the part of the readings under which it fits."""
    pool = pool_of("chain", "1.f.1")
    match = matched(pool, {0: LIT}, as_found=True)
    always = next(g for g in match.groups if g.name == "always lit")
    working = next(g for g in match.groups if g.name == "works from every switch")
    # Always lit fits under every name of the positions, a working light under half of them.
    expected = 2 * always.faults / working.faults
    assert math.isclose(always.share / working.share, expected)


def test_weights_change_shares() -> None:
    """Weights that somebody sets are used."""
    pool = pool_of("chain", "1.f.1")
    symptoms = Symptoms(2, {0: DARK, 1: DARK, 2: DARK, 3: DARK})
    (group, *_) = Match(pool, symptoms, {"lamp-open": 1e9}).groups
    assert group.name == "never lights"
    weights = {s.kind: Match(pool, symptoms, {"lamp-open": 1e9}).weight(s) for s in group.suspects}
    assert max(weights, key=lambda kind: weights[kind]) == "lamp-open"


def test_signs_are_held_against_suspects() -> None:
    """A ticked sign contradicts those that do not show it, and only those."""
    pool = pool_of("chain", "1.f.1")
    match = matched(pool, {}, signs=frozenset({"metal-live"}))
    live = list(match.suspects)
    assert live
    assert all(s.hazards & match.symptoms.hazard_mask("metal-live") for s in live)
    tripping = matched(pool, {}, signs=frozenset({"trips"})).suspects
    assert {s.verdict for s in tripping} == {"trips"}


@pytest.mark.parametrize("name", [name for name, sign in SIGN.items() if not sign.is_computed])
def test_what_is_not_computed_speaks_neither_way(name: str) -> None:
    """A sign without a model leaves the suspects as they are, counts as untested, and is noted."""
    pool = pool_of("chain", "1.f.1")
    with_sign = answer(pool, {0: LIT}, signs=frozenset({name}))
    without = answer(pool, {0: LIT})
    assert with_sign.match.suspects == without.match.suspects
    assert with_sign.groups[0].untested == without.groups[0].untested + 1
    assert SIGN[name].note in with_sign.notes


def test_dim_speaks_for_what_makes_a_lamp_dim() -> None:
    """One lamp has nothing to be in series with; of two, the one behind the other is dim."""
    alone = answer(pool_of("chain", "1.f.1"), {0: DIM})
    assert not alone.match.suspects
    assert any("Dim is computed" in note for note in alone.notes)
    shared = pool_of_circuit(load(data_path("circuits/net-loft-two-legs.toml")))
    seen = answer(shared, {0: DIM})
    # The lamp of 60 W and the 25 W plugged in on the other leg are in series across both: the
    # larger load has the smaller part of the 240 V, 25/85 of them.
    assert {s.kind for s in seen.match.suspects} >= {"split", "neutral-lost"}
    assert all(shared.codes[s.codes][0] == DIM for s in seen.match.suspects)


def answer(
    pool: SuspectPool,
    seen: dict[int, int],
    *,
    results: Sequence[str] = (),
    signs: frozenset[str] = frozenset(),
) -> Answer:
    """What the desk says, positions being those of the circuit."""
    symptoms = Symptoms(pool.switches, seen, signs, as_found=False)
    return Answer(pool, symptoms, {}, check_kinds(), False, parse_results(results))


def test_nothing_fits_names_the_nearest() -> None:
    """What no single fault does leads to near misses and a sentence, not to an empty page."""
    # Trips in one combination and is lit in two others: no fault of this circuit does that.
    impossible = answer(pool_of("chain", "1.f.1"), {0: TRIP, 1: LIT, 2: LIT, 3: DARK})
    assert impossible.groups == []
    assert impossible.nearest
    fewest = min(group.contradicted for group in impossible.match.groups)
    assert impossible.nearest[0].contradicted == fewest
    assert "No single fault" in str(impossible.to_json()["notes"])


def hypotheses_of(pool: SuspectPool, seen: dict[int, int]) -> tuple[CheckBench, list[Hypothesis]]:
    """The checks and the hypotheses that fit."""
    bench = CheckBench(matched(pool, seen), check_kinds())
    return bench, bench.hypotheses()


def test_a_check_by_its_key_is_that_among_all() -> None:
    """A check that is made alone, for a result that somebody brings, is that which was offered."""
    kinds = set()
    for seen in ({}, {0: DARK, 1: DARK, 2: DARK}, {0: TRIP}):
        bench, hypotheses = hypotheses_of(pool_of("chain", "1.f.1"), seen)
        for check in bench.checks(hypotheses):
            assert bench.check(check.key, hypotheses) == check
            kinds.add(check.kind.name)
    assert kinds >= {"flip", "look", "continuity", "voltage"}


def test_flip_checks_predict_what_the_circuit_does() -> None:
    """What a flip is said to show for a suspect is what that faulted circuit does."""
    pool = pool_of("tied", "1.f.1")
    bench, hypotheses = hypotheses_of(pool, {0: LIT})
    circuit = pool.circuit
    assert circuit is not None
    engine = PathsEngine()
    for check in bench.checks(hypotheses):
        if check.kind.name != "flip":
            continue
        state = int(check.key.partition(":")[2])
        for hypothesis, outcome in list(zip(hypotheses, check.outcomes, strict=True))[::7]:
            fault = pool.faults[hypothesis.suspect]
            seen = engine.observe(fault.apply(circuit) if fault else circuit)
            word = check.results[outcome][0]
            light = "lit" if seen.lit[0] >> state & 1 else "dark"
            assert word == ("trips" if seen.trips >> state & 1 else light)


def test_dead_checks_come_first_where_they_tell_as_much() -> None:
    """No voltage check stands first where a check of less risk tells as much."""
    for scheme, code in TWO[::4]:
        pool = pool_of(scheme, code)
        for _, seen in behaviours(pool):
            bench, hypotheses = hypotheses_of(pool, seen)
            ranked = proposals(bench.checks(hypotheses), hypotheses)
            if ranked and ranked[0].check.kind.name == "voltage":
                others = [p.gain for p in ranked if p.check.kind.name != "voltage"]
                assert max(others, default=0.0) < ranked[0].gain


def test_the_plan_ends_at_every_suspect_once() -> None:
    """Every suspect is at the end of some way through the plan, and no check is asked in vain."""
    pool = pool_of("chain", "2.L.f")
    bench, hypotheses = hypotheses_of(pool, {0: DARK, 3: DARK})
    plan = make_plan(bench, hypotheses)
    ends: list[CheckPlan] = []

    def walk(node: CheckPlan) -> None:
        if node.check is None:
            ends.append(node)
            return
        assert len(node.branches) > 1
        for _, branch in node.branches:
            walk(branch)

    walk(plan)
    found = [suspect for end in ends for suspect in end.suspects]
    assert set(found) == {pool.suspects[h.suspect] for h in hypotheses}
    assert math.isclose(sum(end.weight for end in ends), 1.0)


def optimum(checks: Sequence[Check], weights: Sequence[float]) -> float:
    """The least expected cost of any plan, by trying all; for small sets only."""

    @cache
    def least(members: frozenset[int]) -> float:
        best = math.inf
        total = sum(weights[m] for m in members)
        for check in checks:
            parts: dict[int, set[int]] = {}
            for member in members:
                parts.setdefault(check.outcomes[member], set()).add(member)
            if len(parts) > 1:
                rest = sum(
                    sum(weights[m] for m in part) / total * least(frozenset(part))
                    for part in parts.values()
                )
                best = min(best, check.kind.cost + rest)
        return 0.0 if best is math.inf else best

    return least(frozenset(range(len(weights))))


def test_the_greedy_plan_is_near_the_optimum(
    record_testsuite_property: Callable[[str, object], None],
) -> None:
    """Where all plans can be tried, the greedy one costs at most a tenth more on average."""
    ratios = []
    for scheme, code in TWO:
        pool = pool_of(scheme, code)
        for _, seen in behaviours(pool):
            bench, hypotheses = hypotheses_of(pool, {state: seen[state] for state in (0, 1, 2)})
            if not 2 <= len(hypotheses) <= 10:
                continue
            checks = bench.checks(hypotheses)
            best = optimum(checks, [h.weight for h in hypotheses])
            ratios.append(make_plan(bench, hypotheses).cost / best)
    assert len(ratios) > 20
    assert min(ratios) > 1 - 1e-9
    record_testsuite_property("greedy plan to optimum, mean", round(statistics.mean(ratios), 4))
    assert statistics.mean(ratios) <= 1.1


@given(st.lists(st.floats(0.01, 100.0), min_size=1, max_size=12))
def test_entropy_is_scipys(weights: list[float]) -> None:
    """Entropy as a general library computes it."""
    from scipy.stats import entropy as reference

    assert math.isclose(entropy(weights), float(reference(np.array(weights), base=2)), abs_tol=1e-9)


def test_results_narrow_step_by_step() -> None:
    """Each result leaves those that predict it; the way so far is kept."""
    pool = pool_of("chain", "1.f.1")
    seen = {0: DARK, 1: DARK, 2: DARK, 3: DARK}
    start = answer(pool, seen)
    first = answer(pool, seen, results=["lamp:lamp=clear"])
    second = answer(pool, seen, results=["lamp:lamp=clear", "look:lamp-box=clear"])
    lefts = [len({h.suspect for h in a.hypotheses}) for a in (start, first, second)]
    assert lefts == sorted(lefts, reverse=True)
    assert len(set(lefts)) == 3
    assert [step.left for step in second.steps] == lefts[1:]
    assert not any(s.place == "lamp-box" for g in second.groups for s in g.suspects)


def test_a_flip_that_was_found_counts_as_seen() -> None:
    """Flips among the results change groups, counts and shares as if they had been seen before."""
    pool = pool_of("chain", "1.f.1")
    seen = {0: LIT, 1: DARK, 2: DARK}
    told = Answer(pool, Symptoms(2, seen), {}, check_kinds())
    some = Symptoms(2, {0: LIT, 1: DARK})
    found = Answer(pool, some, {}, check_kinds(), results=parse_results(["flip:2=dark"]))
    assert found.groups == told.groups
    assert found.groups[0].untested == 1


def test_a_finding_names_the_fault() -> None:
    """What was found by looking is the fault, and nothing is left to check."""
    circuit = load(data_path("circuits") / "stair-feed-at-lamp.toml")
    pool = pool_of_circuit(circuit)
    label = "left-off/landing,feed.neutral"
    assert find_fault(circuit, label).label == label
    found = answer(pool, {0: DARK, 1: DARK, 2: DARK, 3: DARK}, results=[f"look:landing={label}"])
    assert [s.label for g in found.groups for s in g.suspects] == [label]
    assert found.next_checks == []


def test_something_else_found_leaves_no_suspect() -> None:
    """A finding that nobody predicts is an answer too."""
    other = answer(pool_of("chain", "1.f.1"), {0: DARK, 1: DARK}, results=[f"look:box-1={OTHER}"])
    assert other.groups == []
    assert other.nearest


@pytest.mark.parametrize(
    ("result", "sentence"),
    [
        ("look:attic=clear", "result look:attic=clear: is no check that tells anything here"),
        ("knock:box-1=clear", "result knock:box-1=clear: is no check that tells anything here"),
        ("look:box-1=blue", "result look:box-1=blue: must be one of clear, "),
    ],
)
def test_the_first_wrong_result_ends_the_way(
    result: str, sentence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a result that is none nobody knows what could be checked, so nothing is worked out."""
    asked = []
    find = CheckBench.check

    def noted(bench: CheckBench, key: str, hypotheses: Sequence[Hypothesis]) -> Check | None:
        asked.append(key)
        return find(bench, key, hypotheses)

    monkeypatch.setattr(CheckBench, "check", noted)
    wrong = answer(
        pool_of("chain", "1.f.1"), {0: DARK}, results=[result, *(["look:cellar=clear"] * 50)]
    )
    with pytest.raises(UserError) as caught:
        wrong.to_json()
    assert str(caught.value).startswith(sentence)
    assert asked == [result.partition("=")[0]]


def test_wrong_texts_are_named_together() -> None:
    """Every mistake in what was seen is named with its remedy."""
    with pytest.raises(UserError) as caught:
        parse_saw(
            ["x", "a=left,b=up: dark", "a=up: lit", "a=up,b=up: blue", "c=up,a=up,b=up: lit"],
            ["a", "b"],
        )
    told = str(caught.value)
    for sentence in (
        "write positions, a colon, what you saw: a=up,b=up: dark",
        "a='left' must be up or down",
        "say the position of b too",
        "'blue' must be one of dark, dim, lit, over, trips",
        "there is no switch 'c'",
    ):
        assert sentence in told


def test_contradicting_sights_are_refused() -> None:
    """The same positions cannot be both dark and lit; the remedy names the sign for that."""
    with pytest.raises(UserError, match="for-some-time"):
        parse_saw(["a=up,b=up: dark", "b=up,a=up: lit"], ["a", "b"])


def test_unknown_signs_are_refused() -> None:
    """Signs are a fixed list."""
    with pytest.raises(UserError, match="the signs are"):
        parse_signs(["smoke"])


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", r"has no table \[kind\]"),
        ("[kind]\nbad = 1\nmoved = -2\nsplit = 'x'", "is no fault kind"),
        ("[kind", "cannot be read as weights"),
    ],
)
def test_wrong_weights_are_refused(tmp_path: Path, text: str, sentence: str) -> None:
    """A file of weights is checked like every input."""
    path = tmp_path / "weights.toml"
    path.write_text(text)
    with pytest.raises(UserError, match=sentence) as caught:
        load_priors(path)
    if "bad" in text:
        assert len(caught.value.problems) == 3


def test_wrong_costs_are_refused(tmp_path: Path) -> None:
    """Every kind needs a cost above nothing; all mistakes are named."""
    path = tmp_path / "costs.toml"
    path.write_text("[flip]\ncost = 0\norder = 0\n[look]\ncost = 2\norder = 'x'\n")
    with pytest.raises(UserError) as caught:
        check_kinds(path)
    assert len(caught.value.problems) == 5
