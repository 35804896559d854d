"""Evidence: its paths are walked again by code that knows no graph, false claims are refused."""

from collections.abc import Iterator
from itertools import pairwise

import pytest
from boathouse import (
    BARE_ON_LINE,
    NEUTRAL_ON_A_TRAVELER,
    NEUTRAL_THROUGH_SWITCHES,
    NO_NEUTRAL,
    SWITCHES,
    TRAVELER_LEFT_OFF,
    failed,
    stair,
    stair_with_outlet,
)

from catalogue.report.json_forms import evidence_form
from verify.base.problems import BugError
from verify.behaviour.findings import Observation, states_in
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Failure
from verify.engine.paths import PathsEngine
from verify.fault.registry import all_faults
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES
from verify.verdict.evidence import Coverage, Evidence, Prover, find_evidence


def touch(circuit: Circuit, state: int, a: End, b: End) -> bool:
    """True if one join, conductor, closed contact or short connects the two."""
    if any(a in join and b in join for join in circuit.grouped_ends):
        return True
    failures = circuit.failures
    if a.name == b.name and a.box != b.box:
        return Failure("conductor-open", (a.name,)) not in failures
    names = tuple(sorted((a.name, b.name)))
    if Failure("conductors-shorted", names) in failures:
        cable = next(cable for cable in circuit.cables if cable.name == a.owner)
        return a.box == b.box == cable.between[0]
    if a.owner == b.owner and Failure("lamp-shorted", (a.owner,)) in failures:
        return True
    return touch_in_switch(circuit, state, a, b)


def touch_in_switch(circuit: Circuit, state: int, a: End, b: End) -> bool:
    """True if the two are terminals that one switch connects."""
    for number, switch in enumerate(circuit.switches):
        for contact in switch.form.contacts:
            ends = {circuit.terminal(switch, name) for name in (contact.a, contact.b)}
            if ends != {a, b}:
                continue
            at = tuple(sorted(end.name for end in ends))
            is_down = bool(state >> number & 1)
            for failure in circuit.failures:
                if failure.kind == "switch-stuck" and failure.at == (switch.name,):
                    is_down = failure.position == "down"
            closed = contact.down if is_down else contact.up
            welded = Failure("contact-welded", at) in circuit.failures
            return (closed or welded) and Failure("contact-open", at) not in circuit.failures
    return False


def claims(circuit: Circuit, seen: Observation) -> Iterator[tuple[str, int, str | None]]:
    """What can be claimed of a circuit with one lamp: claim, first state, and switch moved."""
    if seen.trips:
        yield "trips", next(states_in(seen.trips)), None
    for name, states in zip(HAZARD_NAMES, seen.hazards, strict=True):
        if states:
            yield name, next(states_in(states)), None
    for state in range(1 << seen.switches):
        for number, switch in enumerate(circuit.switches):
            other = state ^ 1 << number
            tripping = (seen.trips >> state | seen.trips >> other) & 1
            if not tripping and (seen.lit[0] >> state ^ seen.lit[0] >> other) & 1 == 0:
                yield "misbehaves", state, switch.name


SUBJECTS_OF_PATHS = {
    # claim: where its first path begins, and the ends where it may end
    "trips": ("feed.line", "feed.neutral feed.ground"),
    "lamp-live-dark": ("feed.line", "lamp.contact lamp.shell"),
    "lamp-reversed": ("feed.line", "lamp.shell"),
    "neutral-switched": ("feed.line", "lamp.contact lamp.shell"),
    "ground-carries-load": ("feed.line", "lamp.contact lamp.shell"),
    "neutral-ground-tied": ("feed.neutral", "feed.ground"),
    "backfed": ("feed.line", "lamp.contact lamp.shell"),
}


def check_first_path(evidence: Evidence) -> None:
    """The first path begins and ends where the claim says."""
    if evidence.claim in ("misbehaves", "metal-floating", "receptacle-switched"):
        return
    ends = evidence.walks[0].ends
    if evidence.claim in SUBJECTS_OF_PATHS:
        start, goals = SUBJECTS_OF_PATHS[evidence.claim]
        assert ends[0].name == start
        assert ends[-1].name in goals.split()
    elif evidence.claim == "both-poles-on-switch":
        assert ends[-1].owner == evidence.switch
    else:
        assert ends[-1].name == evidence.part


def test_paths_of_every_single_fault_can_be_walked() -> None:
    """Every two consecutive ends of a path touch, in the state it is told for; all claims hold.

    That is every claim about every single fault of the stair, of the stair with the neutral
    through its switches, and of the stair with an outlet at the feed.
    """
    engine = PathsEngine()
    walked = set()
    outlet = stair_with_outlet("feed.line slipway-run.black", "feed.neutral lamp.shell")
    for sound in (stair(), stair(NEUTRAL_THROUGH_SWITCHES), outlet):
        for fault in all_faults(sound):
            circuit = fault.apply(sound)
            prover = Prover(circuit)
            for claim, state, switch in claims(circuit, engine.observe(circuit)):
                evidence = prover.find(claim, state, switch, "lamp" if switch else None)
                check_first_path(evidence)
                for walk in evidence.walks:
                    for a, b in pairwise(walk.ends):
                        assert touch(circuit, walk.state, a, b), (fault, claim, walk)
                    assert walk.words in evidence.path_words
                walked.add(claim)
    assert walked == {"trips", "misbehaves", *HAZARD_NAMES} - ELECTRICAL


def test_paths_by_conductors_alone_pass_no_switch() -> None:
    """What is on both poles is shown without a contact, even where a contact would be shorter."""
    evidence = find_evidence(stair(NEUTRAL_ON_A_TRAVELER), "both-poles-on-switch", 0)
    for walk in evidence.walks:
        owners = [end.owner for end in walk.ends if end.owner in SWITCHES]
        assert owners == [evidence.switch]


# Refusals


@pytest.mark.parametrize("claim", ["trips", "misbehaves", *HAZARD_NAMES])
def test_claims_that_do_not_hold_are_refused(claim: str) -> None:
    """Of the sound stair nothing bad can be shown: whoever claims it has a bug."""
    prover = Prover(stair())
    for state in range(4):
        with pytest.raises(BugError, match=claim):
            prover.find(
                claim, state, *(("slipway-switch", "lamp") if claim == "misbehaves" else ())
            )


def test_claims_are_refused_outside_their_states_and_subjects() -> None:
    """A hazard is refused where it does not hold, and for a lamp that does not show it."""
    prover = Prover(stair(TRAVELER_LEFT_OFF, devices=[Device("porch", "lamp", "landing")]))
    assert prover.find("live-stub", 0).part == "slipway-run.red"
    with pytest.raises(BugError, match="slipway-switch down, workshop-switch up"):
        prover.find("live-stub", 1)
    prover = Prover(stair(NO_NEUTRAL, devices=[Device("porch", "lamp", "landing")]))
    assert prover.find("backfed", 0, lamp="lamp").lamp == "lamp"
    assert prover.find("metal-floating", 0).part == "porch.ground"
    with pytest.raises(BugError, match="of porch"):
        prover.find("backfed", 0, lamp="porch")


def test_the_lamp_asked_for_is_the_one_shown() -> None:
    """Where two lamps show a hazard, evidence is about the one asked for, else about the first."""
    side_by_side = {
        **NO_NEUTRAL,
        "workshop-run.black lamp.contact": "workshop-run.black lamp.contact porch.contact",
    }
    prover = Prover(stair(side_by_side, devices=[Device("porch", "lamp", "landing")]))
    porch = prover.find("backfed", 0, lamp="porch")
    assert (porch.lamp, porch.walks[0].ends[-1].name) == ("porch", "porch.contact")
    assert prover.find("backfed", 0).lamp == "lamp"


def test_a_switch_that_trips_when_moved_does_not_misbehave() -> None:
    """A state that trips is no witness that moving a switch leaves the lamp alone."""
    prover = Prover(stair(NEUTRAL_ON_A_TRAVELER))
    with pytest.raises(BugError, match="misbehaves"):
        prover.find("misbehaves", 2, "slipway-switch", "lamp")


def test_questions_without_sense_are_errors_of_the_caller() -> None:
    """Unknown claims, states, switches and lamps are ValueErrors, not contradictions."""
    prover = Prover(stair(TRAVELER_LEFT_OFF))
    with pytest.raises(ValueError, match="claim='sound'"):
        prover.find("sound", 0)
    with pytest.raises(ValueError, match="state=4"):
        prover.find("live-stub", 4)
    with pytest.raises(ValueError, match="switch=None"):
        prover.find("misbehaves", 0, lamp="lamp")
    with pytest.raises(ValueError, match="lamp=porch"):
        prover.find("misbehaves", 0, "slipway-switch", "porch")


# JSON


def test_json_of_each_kind_of_subject() -> None:
    """The state by switch, what the claim is about, and the path; nothing that is not there."""
    up = {"slipway-switch": "up", "workshop-switch": "up"}
    stuck = stair({}, failed("switch-stuck", "slipway-switch", position="up"))
    found = evidence_form(find_evidence(stuck, "misbehaves", 0, "slipway-switch", "lamp"))
    assert found["state"] == up
    assert (found["switch"], found["lamp"]) == ("slipway-switch", "lamp")
    assert evidence_form(find_evidence(stair(BARE_ON_LINE), "ground-wire-live", 1)) == {
        "state": {"slipway-switch": "down", "workshop-switch": "up"},
        "part": "slipway-run.bare",
        "path": ["line leaves the feed in the landing box on slipway-run bare"],
    }
    both_poles = evidence_form(
        find_evidence(stair(NEUTRAL_ON_A_TRAVELER), "both-poles-on-switch", 0)
    )
    assert list(both_poles) == ["state", "switch", "path"]


def test_json_of_a_covered_verdict() -> None:
    """What stands behind sound and mimic is an engine and how many states it went through."""
    assert evidence_form(Coverage("sound", "words", 4)) == {"engine": "words", "states": 4}
