"""The register of claims: its statuses, its counterexamples, and that none is smaller."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import pytest
from claiming import case_of, paths_bench, thinned, words_observer
from hypothesis import find, settings

from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.electric.readings import readings
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.registry import find_fault
from verify.strategies import circuits, faulted_circuits
from verify.study.claims.cases import Study, StudyCase
from verify.study.claims.contract import STATUSES, Claim, Counterexample, Every, JudgedClaim
from verify.study.claims.counting import PUBLISHED, behaviours
from verify.study.claims.domains import TWO, Layouts
from verify.study.claims.register import CLAIM, CLAIMS, decide, usual_bench
from verify.study.claims.symptoms import CLAIMS as SYMPTOMS
from verify.verdict.judging import judge

#: What came out when each claim was last looked at by a person.
EXPECTED: Final = {
    "any-travelers-interchangeable": "refuted",
    "own-travelers-interchangeable": "proved",
    "crossing-turns-sense": "proved",
    "misplaced-common-one-position": "proved",
    "misplaced-common-one-combination": "depends",
    "misplaced-common-always-shows": "proved",
    "open-traveler-looks-different": "refuted",
    "tied-common-shows-differently": "proved",
    "one-traveler-hot": "depends",
    "feed-common-always-hot": "depends",
    "four-way-pair-order": "proved",
    "mixed-pairs-kill": "refuted",
    "mixed-pairs-show": "proved",
    "any-number-of-four-ways": "holds-in-samples",
    "four-way-bypassed-straight": "proved",
    "four-way-bypassed-crossed": "proved",
    "open-traveler-of-three": "proved",
    "touching-travelers-of-three": "refuted",
    "touching-pair-of-three": "proved",
    "tied-commons-as-good": "proved",
    "one-position-means-misplaced-common": "refuted",
    "dead-switch-is-miswired": "refuted",
    "dead-switch-is-bad": "refuted",
    "never-lights-supply": "refuted",
    "never-lights-by-an-opening": "proved",
    "always-on-means-touching-travelers": "refuted",
    "three-of-four-means-touching": "refuted",
    "some-trips-mean-grounded-traveler": "refuted",
    "trip-pattern-tells-conductor": "proved",
    "both-down-is-off": "depends",
    "every-state-needed": "depends",
    "trying-all-positions-suffices": "refuted",
    "right-in-three-of-four": "refuted",
    "trips-in-a-quarter": "holds-in-samples",
    "harmless-keeps-sense": "refuted",
    "pattern-tells-the-box": "refuted",
    "two-dead-switches-mean-all-dead": "refuted",
    "reversed-feed-works": "proved",
    "reversed-feed-harmless": "refuted",
    "both-poles-works": "proved",
    "both-poles-harmless": "refuted",
    "reversed-lampholder-works": "proved",
    "reversed-lampholder-harmless": "refuted",
    "borrowed-neutral-works": "proved",
    "borrowed-neutral-harmless": "refuted",
    "missing-ground-unseen": "proved",
    "open-neutral-leaves-lamp-live": "proved",
    "metal-never-live": "refuted",
    "live-metal-shows": "refuted",
    "live-ground-wire-trips": "refuted",
    "dark-means-dead-lamp": "refuted",
    "switched-neutral-shows": "refuted",
    "open-conductor-never-mimics": "proved",
    "open-ground-always-mimics": "refuted",
    "opening-never-trips": "proved",
    "opening-never-lights": "proved",
    "touching-never-darkens": "proved",
    "worn-switch-shows": "proved",
    "wrong-switch-shows": "refuted",
    "four-way-for-three-way-works": "refuted",
    "single-pole-for-three-way-shows": "proved",
    "working-cables-balanced": "refuted",
    "never-dim": "proved",
    "reading-proves-live": "refuted",
    "low-impedance-reading-proves-live-when-healthy": "proved",
    "low-impedance-reading-proves-live": "refuted",
    "phantom-feeds-dark-lamp": "proved",
    "continuity-finds-common": "proved",
    "continuity-finds-common-of-any-switch": "refuted",
    "continuity-never-names-wrong": "proved",
    "always-hot-box-is-the-feeds": "depends",
    "kinds-of-behaviour": "proved",
    "every-kind-occurs": "proved",
    "four-way-between-three-ways": "proved",
    "screws-alone-keep-it-on": "refuted",
}
#: Decided from samples or by solving every state of many circuits: not narrowed here.
EVERY: Final = [claim for claim in CLAIMS if isinstance(claim.question, Every)]


@pytest.fixture(scope="module")
def register() -> dict[str, JudgedClaim]:
    """Every claim, decided."""
    return {item.claim.name: item for item in decide()}


def test_statuses(register: dict[str, JudgedClaim]) -> None:
    """A claim whose status changes has become another statement about the world."""
    assert {name: item.answer.status for name, item in register.items()} == EXPECTED


def test_the_register_is_one() -> None:
    """Names are unique, fit for addresses, and every claim says something of its own."""
    assert len(CLAIM) == len(CLAIMS) >= 37 + 15
    assert all(name.replace("-", "").isalnum() and name.islower() for name in CLAIM)
    for part in ("saying", "statement"):
        texts = [getattr(claim, part) for claim in CLAIMS]
        assert len(set(texts)) == len(texts)
        assert all(text[0].isupper() and text.endswith(".") for text in texts)


def test_answers_are_whole(register: dict[str, JudgedClaim]) -> None:
    """A refuted claim has cases against it, a proved one has cases and none against it."""
    for item in register.values():
        answer = item.answer
        assert answer.status in STATUSES
        assert answer.cases > 0
        assert (answer.against > 0) == (answer.status in ("refuted", "depends"))
        if answer.against and item.claim.name != "screws-alone-keep-it-on":
            assert answer.counterexample is not None
            assert answer.counterexample.measure[2] == bool(answer.counterexample.fault)
        else:
            assert answer.counterexample is None


def test_counterexamples_stand_by_themselves(register: dict[str, JudgedClaim]) -> None:
    """From circuit file and label alone the independent engines refute every claim again."""
    bench = paths_bench()
    for item in register.values():
        found, question = item.answer.counterexample, item.claim.question
        if found is None or not isinstance(question, Every):
            continue
        circuit = loads(found.circuit)
        assert dump(circuit) == found.circuit
        observer = bench.volts if question.volts else bench.observer
        case = case_of(Study(circuit, found.label, observer), found.fault)
        assert question.test(case) is False, item.claim.name
        # What the paragraph says of the light is what the independent engine sees.
        faulted = find_fault(circuit, found.fault).apply(circuit) if found.fault else circuit
        if found.fault:
            assert f"Verdict {judge(faulted, observer.engine).verdict}:" in found.why


def test_counterexamples_of_meters_read_so(register: dict[str, JudgedClaim]) -> None:
    """Each reading claim is refuted by a circuit in which a meter does read that."""
    for name, low in (("reading-proves-live", False), ("low-impedance-reading-proves-live", True)):
        found = register[name].answer.counterexample
        assert found is not None
        circuit = loads(found.circuit)
        if found.fault:
            circuit = find_fault(circuit, found.fault).apply(circuit)
        ends = {end.name: end for end in circuit.ends}
        point = next(word.rstrip(",") for word in found.why.split() if word.rstrip(",") in ends)
        pair = (ends[point], circuit.terminal(circuit.feed, "ground"))
        shown = [reading for reading in readings(circuit, [pair]) if reading.phantom is not low]
        texts = [
            f"10 MΩ reads {reading.high:.0f} V there, a low-impedance one {reading.low:.0f} V"
            for reading in shown
        ]
        assert any(text in found.why for text in texts)


def test_counterexamples_are_minimal(register: dict[str, JudgedClaim]) -> None:
    """Where the counterexample has three locations, two have none: gone through again."""
    larger = []
    for item in register.values():
        found = item.answer.counterexample
        if found is None or found.measure[0] == 2 or not isinstance(item.claim.question, Every):
            continue
        larger.append(item.claim.name)
        try:
            answer = thinned(item.claim, 1, 0).question.answer(usual_bench())
        except ValueError as error:
            assert "no case" in str(error)  # noqa: PT017 - either way there is none
        else:
            assert answer.against == 0
    assert "any-travelers-interchangeable" in larger
    found_all = [item.answer.counterexample for item in register.values()]
    assert all(f.measure[1] == f.measure[0] + 1 for f in found_all if f is not None)


def _by(claims: list[Claim], two: int, three: int) -> None:
    fast, slow = usual_bench(), paths_bench()
    for claim in claims:
        narrowed = thinned(claim, two, three)
        try:
            expected = narrowed.question.answer(fast)
        except ValueError:
            continue
        found = narrowed.question.answer(slow)
        for answer in (expected, found):
            assert answer.cases > 0
        assert (found.status, found.cases, found.against) == (
            expected.status,
            expected.cases,
            expected.against,
        ), claim.name
        assert found.counterexample == expected.counterexample


def test_connections_decided_again_by_paths() -> None:
    """Every third layout of two locations: *paths* comes to the same answers as *words*."""
    _by([claim for claim in EVERY if not _needs_volts(claim)], 3, 0)


@pytest.mark.slow
def test_connections_decided_again_by_paths_completely() -> None:
    """All layouts of two locations and some of three: *paths* and *words* agree."""
    _by([claim for claim in EVERY if not _needs_volts(claim)], 1, 24)


def test_volts_decided_again_by_nodal() -> None:
    """Claims about volts and amperes: *nodal* comes to the same answers as *volts*."""
    _by([claim for claim in EVERY if _needs_volts(claim)], 9, 0)


def _needs_volts(claim: Claim) -> bool:
    return isinstance(claim.question, Every) and claim.question.volts


@pytest.mark.parametrize(
    "name",
    ["trying-all-positions-suffices", "right-in-three-of-four", "wrong-switch-shows"],
)
def test_random_circuits_refute_too(name: str, register: dict[str, JudgedClaim]) -> None:
    """Among circuits drawn by Hypothesis there are counterexamples, and none has fewer locations.

    They may have fewer boxes: several devices share one there.
    """
    question = CLAIM[name].question
    assert isinstance(question, Every)
    observer = words_observer()

    def is_against(drawn: tuple[Circuit, Fault]) -> bool:
        circuit, fault = drawn
        if fault.kind not in question.of or len(circuit.switches) > 3:
            return False
        return question.test(case_of(Study(circuit, "drawn", observer), fault.label)) is False

    circuit, fault = find(
        faulted_circuits(circuits(most_locations=3)),
        is_against,
        settings=settings(max_examples=2000, derandomize=True, database=None),
    )
    ours = register[name].answer.counterexample
    assert ours is not None
    assert len(circuit.switches) == ours.measure[0] == 2
    assert len(circuit.boxes) <= ours.measure[1]
    assert fault in list(_faults_of(circuit, fault.kind))


def _faults_of(circuit: Circuit, kind: str) -> list[Fault]:
    from verify.fault.registry import fault_kind

    return list(fault_kind(kind).faults(NumberedCircuit(circuit)))


# --- that questions can fail


def _nothing(_: StudyCase) -> bool | None:
    return None


@pytest.mark.parametrize(
    ("test", "by", "status"),
    [
        (lambda case: case.works, None, "proved"),
        (lambda case: not case.works, None, "refuted"),
        (lambda case: case.study.scheme == "tied", lambda case: case.study.scheme, "depends"),
        (lambda _: False, lambda case: case.study.scheme, "refuted"),
    ],
)
def test_status_follows_from_cases(
    test: Callable[[StudyCase], bool], by: Callable[[StudyCase], str] | None, status: str
) -> None:
    """One case against a statement refutes it; it depends where a whole group has none."""
    answer = Every((TWO,), test, by=by).answer(usual_bench())
    assert (answer.status, answer.cases) == (status, 18)


def test_a_claim_about_nothing_is_none() -> None:
    """A statement that no case of its scope fits is not proved by that."""
    with pytest.raises(ValueError, match="about nothing"):
        Every((TWO,), _nothing).answer(usual_bench())


def test_samples_never_prove() -> None:
    """With a source that is drawn the status says so, and the bound is three over their number."""
    question = CLAIM["any-number-of-four-ways"].question
    assert isinstance(question, Every)
    drawn = replace(question.sources[1], count=30)  # type: ignore[type-var]
    answer = replace(question, sources=(drawn,)).answer(usual_bench())
    assert answer.status == "holds-in-samples"
    assert "fewer than 10.00 % of circuits" in answer.decided_by


def test_smaller_circuits_come_first() -> None:
    """Sources are in the order of locations and boxes, so that the first against it is smallest."""
    for source in (Layouts(), TWO):
        sizes = [(len(c.switches), len(c.boxes)) for _, c in source.circuits()]
        assert sizes == sorted(sizes)


def test_behaviours_are_counted_as_published() -> None:
    """OEIS A000231 (read): 2, 3, 7, 46, 4336 for 0 to 4 variables."""
    assert [behaviours(n) for n in range(5)] == [2, 3, *PUBLISHED.values()] == [2, 3, 7, 46, 4336]


def test_counterexample_says_what_is_wrong() -> None:
    """The paragraph names the circuit, the mistake, the verdict, and explains it."""
    claim = next(c for c in SYMPTOMS if c.name == "dead-switch-is-miswired")
    found = thinned(claim, 1, 0).question.answer(usual_bench()).counterexample
    assert isinstance(found, Counterexample)
    assert found.why.startswith("Traveler chain, 2 locations")
    assert "Verdict misbehaves: switch 2 works; switch 1 does nothing." in found.why
    assert "Opening the box of the switch that still works" in found.why
