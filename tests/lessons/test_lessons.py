"""Teaching material: every answer on every sheet holds, shown from the sheet's own circuit."""

import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from catalogue.desk.suspect_pool import NO_FAULT
from catalogue.lessons.curated import LEVELS, Case, locate, read_curated, shipped
from catalogue.lessons.html_sheets import Pictures
from catalogue.lessons.json_forms import SheetForm, sheet_form
from catalogue.lessons.sheet import Sheet, work_out
from catalogue.lessons.usage import Usage, glossary, reworded_svg, rewording
from verify.base.resources import data_path
from verify.circuit.colours import PALETTES
from verify.circuit.file import loads
from verify.circuit.model import Circuit
from verify.engine.nodal import NodalEngine
from verify.fault.registry import all_faults, fault_kinds
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.enumeration import layouts
from verify.layout.schemes import SOUND_SCHEMES
from verify.verdict.evidence import Prover
from verify.verdict.judging import judge

CASES = shipped().cases


@cache
def worked(label: str, usage: Usage = "us") -> Sheet:
    """The sheet of a case."""
    return work_out(next(case for case in CASES if case.label == label), usage)


@cache
def form(label: str, usage: Usage = "us") -> SheetForm:
    """What that sheet says."""
    return sheet_form(worked(label, usage), 1, with_answers=True)


every_case = pytest.mark.parametrize("case", CASES, ids=lambda case: case.label)


def test_what_is_shipped_can_be_taught() -> None:
    """No entry is wrong in itself, there are at least forty, and each says something of its own."""
    assert shipped().problems == ()
    assert len(CASES) >= 40
    for text in ("title", "story", "reason", "note"):
        assert len({getattr(case, text) for case in CASES}) == len(CASES), text
    assert all(40 <= len(case.story) <= 420 for case in CASES)
    assert all(len(case.note) >= 60 for case in CASES)
    assert {case.level for case in CASES} == set(LEVELS)
    assert {tag for case in CASES for tag in case.tags} == set(shipped().tags)


@every_case
def test_an_entry_still_has_its_verdict(case: Case) -> None:
    """A label that is gone or a verdict that changed is found here before anybody teaches it."""
    assert worked(case.label).changed == ""
    assert worked(case.label).verdict == case.verdict


def test_the_cases_cover_every_kind_and_hazard() -> None:
    """Every fault kind that has a site somewhere, every hazard, both schemes, two and three
    locations, and circuits with two feeds are among the cases."""
    kinds = {worked(case.label).fault.kind for case in CASES}
    assert kinds == {kind.name for kind in fault_kinds()}
    hazards = {h for case in CASES for h in worked(case.label).examination.judgement.hazards}
    assert hazards == set(HAZARD_NAMES)
    labels = {case.circuit.partition("-")[0] for case in CASES}
    assert set(SOUND_SCHEMES) <= labels
    assert {len(worked(case.label).found.switches) for case in CASES} >= {2, 3}
    assert any(len(worked(case.label).found.feeds) == 2 for case in CASES)


@every_case
def test_every_answer_is_proved_again_from_the_sheets_own_file(case: Case) -> None:
    """The circuit file on the answer sheet, read again, has by the independent engine the verdict,
    the table, the hazards and no other, and each path of the evidence is found in it."""
    sheet = form(case.label)
    answer = sheet["answer"]
    circuit = loads(answer["circuit_file"])
    found = judge(circuit, NodalEngine())
    assert found.verdict == answer["verdict"]
    assert found.observation is not None
    for number, state in enumerate(sheet["states"]):
        trips = bool(found.observation.trips >> number & 1)
        assert state["protection"] == ("trips" if trips else "holds")
        for lamp, name in enumerate(state["lamps"]):
            if not trips:
                assert state["lamps"][name] == found.observation.light(lamp, number)
    assert [hazard["name"] for hazard in answer["hazards"]] == list(found.hazards)
    prover = Prover(circuit)
    for name, state_number in found.hazard_states:
        proof = next(h["proof"] for h in answer["hazards"] if h["name"] == name)
        assert proof["path"] == list(prover.find(name, state_number).path_words)
    if answer["verdict"] in ("trips", "misbehaves"):
        assert answer["proof"]["path"]
        assert number_of(circuit, answer["proof"]["positions"]) == found.state


def number_of(circuit: Circuit, positions: dict[str, str]) -> int:
    """The number of a state."""
    return sum(
        1 << bit for bit, switch in enumerate(circuit.switches) if positions[switch.name] == "down"
    )


@every_case
def test_the_first_question_has_one_right_answer(case: Case) -> None:
    """The truth is offered once, and every other choice is another single mistake of the intended
    circuit that the table or the opened boxes refute."""
    sheet = worked(case.label)
    question = next(q for q in sheet.questions if q.id == "wrong")
    (right,) = question.right
    assert right.text == sheet.truth.description
    assert len(question.choices) >= 3
    intended = loads(form(case.label)["intended_file"])
    suspects = {suspect.description: suspect for suspect in sheet.pool.suspects}
    faults = {fault.label: fault for fault in all_faults(intended)}
    truth = NodalEngine().observe(sheet.found)
    for choice in question.choices:
        if choice.is_right:
            continue
        suspect = suspects[choice.text]
        result = intended if suspect.family == NO_FAULT else faults[suspect.label].apply(intended)
        seen = NodalEngine().observe(result)
        acts_alike = (seen.trips, seen.lit, seen.dim, seen.over) == (
            truth.trips,
            truth.lit,
            truth.dim,
            truth.over,
        )
        looks_alike = (result.joins, result.devices, result.cables) == (
            sheet.seen.joins,
            sheet.seen.devices,
            sheet.seen.cables,
        )
        assert not (acts_alike and looks_alike), choice.text
        assert choice.why.startswith("Then " if not acts_alike else "It would do the same")


@every_case
def test_the_other_questions_follow_from_what_is_proved(case: Case) -> None:
    """Exactly the hazards that hold are right, and the right check is the best of the plan, none
    of the others being worth as much. What trips anywhere is dangerous: only the breaker stands
    between, and no hazard is denied beyond the combinations in which it holds."""
    sheet = worked(case.label)
    danger = next(q for q in sheet.questions if q.id == "danger")
    names = {h["title"] for h in form(case.label)["answer"]["hazards"]}
    trips = sheet.verdict == "trips"
    if trips:
        names.add("Only the breaker stands between this fault and a fire or a shock")
        assert not any("In no combination" in choice.why for choice in danger.choices)
    assert {choice.text for choice in danger.right} == (names or {"None of these"})
    asked = [q for q in sheet.questions if q.id == "next"]
    assert bool(asked) == bool(sheet.answer.next_checks)
    for question in asked:
        worth = {p.check.title: p.worth for p in sheet.answer.next_checks}
        (right,) = question.right
        assert right.text == sheet.answer.next_checks[0].check.title
        assert all(
            worth.get(choice.text, 0) < worth[right.text]
            for choice in question.choices
            if not choice.is_right
        )
        again = next(c for c in question.choices if c.text.startswith("Go through all"))
        assert again.why.startswith("It is dangerous") or not (trips or names)


@every_case
def test_the_checks_lead_to_the_mistake(case: Case) -> None:
    """Fewer suspects are left after every check, and the truth is among them to the end."""
    sheet = worked(case.label)
    left = [sheet.first_suspects, *(step.left for step in sheet.steps)]
    assert left == sorted(left, reverse=True)
    assert len(set(left)) == len(left)
    here = sheet.answer.plan
    for step in sheet.steps:
        here = dict(here.branches)[step.found]
    assert sheet.truth in here.suspects


@pytest.mark.parametrize("case", CASES[::5], ids=lambda case: case.label)
def test_without_answers_nothing_tells(case: Case) -> None:
    """A worksheet's form holds no answer, no reason, no circuit file with the mistake in it."""
    bare = sheet_form(worked(case.label), 1, with_answers=False)
    assert "answer" not in bare
    for question in bare["questions"]:
        assert all(set(choice) == {"id", "text"} for choice in question["choices"])
    assert case.note not in str(bare)
    assert case.reason not in str(bare)


@every_case
def test_in_other_terms_the_case_is_the_same(case: Case) -> None:
    """Colours and volts are converted by role and said to be; verdict, hazards and what the lamps
    do stay."""
    here, there = worked(case.label), worked(case.label, "iec")
    assert there.verdict == here.verdict
    assert there.examination.judgement.hazards == here.examination.judgement.hazards
    assert there.examination.judgement.signature == here.examination.judgement.signature
    assert there.fault.kind == here.fault.kind
    known = PALETTES["iec"]
    for cable in there.found.cables:
        assert all(known.knows(colour) for colour in cable.conductors)
    original, _ = locate(case)
    assert bool(there.renaming.note) == (original.palette != "iec")
    for old, new in zip(here.intended.cables, there.intended.cables, strict=True):
        for before, after in zip(old.conductors, new.conductors, strict=True):
            assert (before in PALETTES["us"].ground) == (after in known.ground)
            assert (before == PALETTES["us"].neutral) == (after == known.neutral)


@every_case
def test_iec_sheets_speak_iec(case: Case) -> None:
    """No North American word of the trade is left in the prose of an IEC sheet or its picture."""
    sheet = form(case.label, "iec")
    answer = sheet["answer"]
    prose = [sheet["story"], answer["description"], answer["note"], answer["family"]]
    prose += [choice["text"] for q in sheet["questions"] for choice in q["choices"]]
    prose += [step["check"] + step["found"] for step in answer["steps"]]
    prose += [line for hazard in answer["hazards"] for line in hazard["proof"]["path"]]
    # Names of boxes, cables and switches are names, whatever they are made of.
    foreign = re.compile(r"(?<![\w-])(travelers?|receptacles?|ground(?:ed)?|switch leg)(?![\w-])")
    assert [text for text in prose if foreign.search(text)] == []


def test_words_are_changed_and_names_are_not() -> None:
    """Prose is reworded, with capitals and plurals; names that contain a word are left alone."""
    say = rewording("iec")
    assert say("Travelers and the ground of a three-way switch") == (
        "Strappers and the earth of a two-way switch"
    )
    assert say("the ground-run between light-feed and a receptacle, which feeds an outlet") == (
        "the ground-run between light-feed and a socket-outlet, which supplies an outlet"
    )
    assert say("switch at traveler-1, lamp.ground") == "switch at strapper-1, lamp.earth"
    assert rewording("us")("a traveler") == "a traveler"
    assert reworded_svg("<text x='ground'>ground</text>", "iec") == "<text x='ground'>earth</text>"
    assert ("traveler", "strapper") in glossary("us")


def test_levels_get_harder() -> None:
    """From level to level more of the cases have more than two places or more than one feed, and
    the first year has none: a level is not only somebody's opinion."""
    places = {
        level: Counter(
            len(worked(case.label).found.switches) > 2 or len(worked(case.label).found.feeds) > 1
            for case in CASES
            if case.level == level
        )
        for level in LEVELS
    }
    shares = [places[level][True] / places[level].total() for level in LEVELS]
    assert shares == sorted(shares)
    assert shares[0] == 0 < shares[-1]


def test_what_is_upstream_is_seen_in_no_box() -> None:
    """A neutral that is open upstream of two feeds leaves every box as intended: its worksheet
    shows no terminal with nothing landed, its answer sheet does."""
    case = next(case for case in CASES if "/neutral-lost/" in case.label)
    sheet = worked(case.label)
    assert sheet.seen == sheet.intended != sheet.found
    pictures = Pictures.of(sheet)
    assert "terminal with nothing landed" not in pictures.found_svg
    assert "terminal with nothing landed" in pictures.marked_svg


WRONG = """
[tags]
landing = "somebody did it"
[[case]]
label = "chain-1.f.1/lamp-open/lamp"
title = "one"
verdict = "misbehaves"
level = "first-year"
tags = ["landing"]
places = ["slipway", "workshop", "landing"]
story = '''
[[case]]
not one'''
reason = "because"
note = "note"
[[case]]
label = "chain-1.f.1/lamp-open/lamp"
title = "the same again"
verdict = "wrong"
level = "beginner"
tags = ["unheard-of"]
places = ["slipway", "workshop", "landing"]
story = "story"
note = "note"
colour = "blue"
[[case]]
label = "chain-9.9/lamp-open/lamp"
title = "no circuit"
verdict = "sound"
level = "hard"
tags = []
story = "story"
reason = "because"
note = "note"
[[case]]
label = "chain-1.f.1/left-off/box-1,nothing"
title = 7
verdict = "sound"
level = "hard"
tags = ["landing"]
places = ["slipway", "slipway"]
story = "story"
reason = "because"
note = "note"
[[case]]
label = "stair-feed-at-lamp/vanished/box-1"
title = "no kind"
verdict = "sound"
level = "hard"
tags = ["landing"]
places = ["one"]
story = "story"
reason = "because"
note = "note"
"""


def test_all_mistakes_of_the_entries_are_told_at_once(tmp_path: Path) -> None:
    """Unknown label, duplicate, missing reason, wrong level, unknown tag and the rest come
    together, each with the line of its entry and a remedy; what is right is kept."""
    path = tmp_path / "own.toml"
    path.write_text(WRONG.replace("'''", '"""'), "utf-8")
    read = read_curated(path)
    told = [str(problem) for problem in read.problems]
    lines = [n for n, line in enumerate(path.read_text().splitlines(), 1) if line == "[[case]]"]
    first, _, second, third, fourth, fifth = lines
    for line, words in [
        (second, f"is that of the entry on line {first} too; keep one"),
        (second, "reason is missing"),
        (second, "verdict='wrong' is not known; it is one of sound, mimic"),
        (second, "level='beginner' is not known; it is one of first-year"),
        (second, "tag='unheard-of' is not known"),
        (second, "'colour' is not known; the keys are label"),
        (third, "there is no circuit 'chain-9.9'; write a layout"),
        (third, "tags=[] names none"),
        (fourth, "the circuit has no such fault; sites of left-off are lamp-box,lamp.contact"),
        (fourth, "title=7 must be a text"),
        (fourth, "must be 3 different names"),
        (fifth, "there is no kind 'vanished'; kinds are left-off"),
        (fifth, "goes with layouts only"),
    ]:
        assert any(t.startswith(f"own.toml line {line}: ") and words in t for t in told), words
    assert [case.title for case in read.cases] == ["one"]


def test_a_circuit_too_large_for_a_sheet_is_refused(tmp_path: Path) -> None:
    """Six switches have sixty-four combinations: the entry is refused with the remedy."""
    path = tmp_path / "own.toml"
    entry = """[[case]]
label = "chain-1.f.1.2.3.4.5/lamp-open/lamp"
"""
    path.write_text(entry, "utf-8")
    told = [str(problem) for problem in read_curated(path).problems]
    assert any("has 6 switches" in line and "take a smaller circuit" in line for line in told)


def test_cases_come_from_circuits_that_are_shipped() -> None:
    """A case is of a layout, as every catalogue has them, or of a circuit in `data/circuits`."""
    shipped_names = {path.stem for path in data_path("circuits").iterdir()}
    codes = {
        f"{scheme}-{layout.code}"
        for n in (2, 3)
        for layout in layouts(n)
        for scheme in SOUND_SCHEMES
    }
    assert {case.circuit for case in CASES} <= shipped_names | codes
