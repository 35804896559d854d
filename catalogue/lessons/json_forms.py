"""The content of a sheet as plain dictionaries: for templates, for JSON, and for rows of a table.

Without the answers nothing in a form gives them away, not even the circuit file. `FORMAT` is raised
when a key changes its meaning or goes; `data/lessons.schema.json` describes it.
"""

import csv
import io
import json
from collections.abc import Callable, Sequence
from typing import Final, NotRequired, TypedDict

from catalogue.lessons.questions import Question
from catalogue.lessons.sheet import Sheet
from catalogue.lessons.usage import USAGE_TITLES, Usage, glossary, rewording
from catalogue.report.json_forms import StateForm, short_cautions, state_forms
from verify.behaviour.judgement import MEANINGS
from verify.behaviour.naming import signature_name
from verify.circuit.file import dump
from verify.hazard.definitions import HAZARDS
from verify.rules.book import note
from verify.verdict.evidence import Coverage, Evidence

FORMAT: Final = 1

Say = Callable[[str], str]


class ChoiceForm(TypedDict):
    """One choice as JSON; without the answers it does not say whether it is right."""

    id: str
    text: str
    right: NotRequired[bool]
    why: NotRequired[str]


class QuestionForm(TypedDict):
    """One question as JSON; `multiple` if all right choices are to be marked."""

    id: str
    prompt: str
    multiple: bool
    choices: list[ChoiceForm]


class ProofForm(TypedDict):
    """The reason why something holds, as JSON: the positions, the path, and volts or amperes.

    Where no single state shows it, `positions` and `path` are empty and `states` counts those that
    were gone through.
    """

    positions: dict[str, str]
    path: list[str]
    amounts: list[str]
    states: int


class HazardForm(TypedDict):
    """A hazard with its proof, as JSON."""

    name: str
    title: str
    danger: str
    proof: ProofForm


class StepForm(TypedDict):
    """A check as JSON; `left` suspects remain after it."""

    kind: str
    check: str
    how: str
    caution: str
    found: str
    left: int


class SheetRuleForm(TypedDict):
    """An observation against a published rule, as JSON."""

    section: str
    title: str
    because: str
    says: str
    how_known: str


class AnswerForm(TypedDict):
    """Everything that only the answer sheet says, as JSON."""

    description: str
    family: str
    verdict: str
    meaning: str
    signature: str
    proof: ProofForm
    hazards: list[HazardForm]
    first_suspects: int
    stop: str
    steps: list[StepForm]
    rulebook: str
    rulebook_note: str
    rules: list[SheetRuleForm]
    reason: str
    note: str
    engines: str
    circuit_file: str


class SheetForm(TypedDict):
    """One case as JSON; `changed` is a warning if the entry is no longer true, else empty."""

    number: int
    label: str
    title: str
    level: str
    tags: list[str]
    story: str
    conversion: str
    changed: str
    intended_file: str
    states: list[StateForm]
    questions: list[QuestionForm]
    answer: NotRequired[AnswerForm]


class LessonsForm(TypedDict):
    """A whole set of sheets, as JSON."""

    format: int
    title: str
    terms: Usage
    terms_title: str
    with_answers: bool
    seed: int | None
    glossary: list[list[str]]
    cases: list[SheetForm]
    cautions: list[str]


def sheet_form(sheet: Sheet, number: int, *, with_answers: bool) -> SheetForm:
    """Return a sheet in the words of its usage; `number` is its place in the set, from 1."""
    say = rewording(sheet.usage)
    case = sheet.case
    form = SheetForm(
        number=number,
        label=case.label,
        title=say(case.title),
        level=case.level,
        tags=list(case.tags),
        story=say(case.story),
        conversion=sheet.renaming.note,
        changed=sheet.changed,
        intended_file=dump(sheet.intended),
        states=_state_forms(sheet),
        questions=[_question(question, say, with_answers) for question in sheet.questions],
    )
    if with_answers:
        form["answer"] = _answer(sheet, say)
    return form


def lessons_form(
    sheets: Sequence[SheetForm],
    usage: Usage,
    *,
    with_answers: bool,
    seed: int | None,
) -> LessonsForm:
    """Return a set of sheets."""
    say = rewording(usage)
    return LessonsForm(
        format=FORMAT,
        title=f"{len(sheets)} cases from the boathouse",
        terms=usage,
        terms_title=USAGE_TITLES[usage],
        with_answers=with_answers,
        seed=seed,
        glossary=[list(pair) for pair in glossary(usage)],
        cases=list(sheets),
        cautions=[say(caution) for caution in short_cautions()],
    )


def to_json(form: LessonsForm) -> str:
    """Return a set as JSON text."""
    return json.dumps(form, indent=1, ensure_ascii=False) + "\n"


def to_csv(form: LessonsForm) -> str:
    """Return a set as CSV, a row a question; line breaks part several right choices."""
    fields = ["case", "label", "level", "tags", "title", "question", "prompt", "choices"]
    fields += ["answer", "why"] if form["with_answers"] else []
    out = io.StringIO(newline="")
    rows = csv.DictWriter(out, fields, lineterminator="\r\n")  # RFC 4180
    rows.writeheader()
    for sheet in form["cases"]:
        for question in sheet["questions"]:
            right = [choice for choice in question["choices"] if choice.get("right")]
            row = {
                "case": sheet["number"],
                "label": sheet["label"],
                "level": sheet["level"],
                "tags": " ".join(sheet["tags"]),
                "title": sheet["title"],
                "question": question["id"],
                "prompt": f"{sheet['story']}\n{table_words(sheet)}\n{question['prompt']}",
                "choices": _right_keys_text(question["choices"]),
                "answer": _right_keys_text(right),
                "why": "\n".join(choice.get("why", "") for choice in right),
            }
            rows.writerow({name: row[name] for name in fields})
    return out.getvalue()


def table_words(sheet: SheetForm) -> str:
    """Return the table of a sheet in one line: every combination with what happens."""
    return "; ".join(
        f"{', '.join(f'{name} {where}' for name, where in state['positions'].items())}: "
        f"{seen_words(state)}"
        for state in sheet["states"]
    )


def seen_words(state: StateForm) -> str:
    """Return what can be seen in a state."""
    if state["protection"] == "trips":
        return "trips"
    return ", ".join(
        does if len(state["lamps"]) == 1 else f"{lamp} {does}"
        for lamp, does in state["lamps"].items()
    )


def _right_keys_text(choices: Sequence[ChoiceForm]) -> str:
    return "\n".join(f"{choice['id']}. {choice['text']}" for choice in choices)


def _state_forms(sheet: Sheet) -> list[StateForm]:
    seen = sheet.examination.judgement.observation
    return [] if seen is None else list(state_forms(sheet.found, seen))


def _question(question: Question, say: Say, with_answers: bool) -> QuestionForm:
    return QuestionForm(
        id=question.id,
        prompt=say(question.prompt),
        multiple=question.multiple,
        choices=[
            ChoiceForm(id=c.id, text=say(c.text), right=c.is_right, why=say(c.why))
            if with_answers
            else ChoiceForm(id=c.id, text=say(c.text))
            for c in question.choices
        ],
    )


def _answer(sheet: Sheet, say: Say) -> AnswerForm:
    judgement, evidence = sheet.examination.judgement, sheet.examination.evidence
    hazards = {hazard.name: hazard for hazard in HAZARDS}
    signature = judgement.signature
    return AnswerForm(
        description=say(sheet.truth.description),
        family=say(sheet.truth.family),
        verdict=sheet.verdict,
        meaning=say(judgement.reason if sheet.verdict == "undecided" else MEANINGS[sheet.verdict]),
        signature="" if signature is None else signature_name(signature),
        proof=_proof(evidence.get(sheet.verdict), say),
        hazards=[
            HazardForm(
                name=name,
                title=say(hazards[name].title),
                danger=say(hazards[name].danger),
                proof=_proof(evidence.get(name), say),
            )
            for name in judgement.hazards
        ],
        first_suspects=sheet.first_suspects,
        stop=sheet.stop,
        steps=[
            StepForm(
                kind=say(step.kind),
                check=say(step.title),
                how=say(step.how),
                caution=say(step.caution),
                found=say(step.found),
                left=step.left,
            )
            for step in sheet.steps
        ],
        rulebook=sheet.book.title,
        rulebook_note=note(),
        rules=[
            SheetRuleForm(
                section=remark.section,
                title=remark.rule.title,
                because=say(remark.finding.because),
                says=remark.text.says,
                how_known=remark.how_known,
            )
            for remark in sheet.rules
        ],
        reason=say(sheet.case.reason),
        note=say(sheet.case.note),
        engines=f"{sheet.examination.engine}, checked by {sheet.examination.checker}",
        circuit_file=dump(sheet.found),
    )


def _proof(item: Evidence | Coverage | None, say: Say) -> ProofForm:
    if isinstance(item, Evidence):
        return ProofForm(
            positions=dict(item.positions),
            path=[say(step) for step in item.path_words],
            amounts=[say(amount.words) for amount in item.amounts],
            states=1,
        )
    return ProofForm(positions={}, path=[], amounts=[], states=0 if item is None else item.states)
