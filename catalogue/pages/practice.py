"""The page for practice: a curated case to flip, look at and name, with plain links only.

The address holds everything that must be remembered: which case, how the switches stand, which
combinations were seen, whether the boxes are open, and what was answered. Nothing is stored
anywhere.
"""

import random
from collections.abc import Iterator, Sequence
from functools import cached_property, lru_cache
from typing import Final, cast
from urllib.parse import urlencode

from markupsafe import Markup

from catalogue.desk.stops import Panel, named_stops, phrase
from catalogue.lessons.curated import LEVELS, Case, shipped
from catalogue.lessons.html_sheets import Pictures
from catalogue.lessons.json_forms import AnswerForm, sheet_form
from catalogue.lessons.questions import Question, shuffle
from catalogue.lessons.sheet import Sheet, work_out
from catalogue.lessons.usage import USAGE_TITLES, USAGES, Usage, rewording
from catalogue.pages.contract import Facts, Page, RefusalError, Visit
from catalogue.pages.paging import whole_number
from catalogue.pages.rendered import site_place
from catalogue.report.json_forms import StateForm, state_forms
from verify.base.problems import listing

_TITLE: Final = "Practice"
_SHEETS_KEPT: Final = 16
_MOST_SEED: Final = 2**31 - 1
#: This answer asks for the solution.
_TELL: Final = "tell"


def practice(visit: Visit) -> Page:
    """Show one case, as far as its visitor has come with it."""
    query = visit.query
    seed = whole_number(query, "seed") or 0
    level = _one_of("level", query.get("level", ""), ("", *LEVELS))
    usage = cast(Usage, _one_of("terms", query.get("terms") or "us", USAGES))
    cases = [case for case in shipped().cases if level in ("", case.level)]
    if seed > _MOST_SEED or not cases:
        raise RefusalError(f"seed must be a whole number up to {_MOST_SEED}; leave it out.")
    case = _case_of_seed(cases, seed)
    try:
        sheet = _worked(case, usage)
    except KeyError:
        return Page(_TITLE, "practice", {"gone": case.label, "another": _another(query, seed)})
    return _Practice(visit, sheet, seed).page()


def _case_of_seed(cases: Sequence[Case], seed: int) -> Case:
    """Return the case of a number; counting up shows every case before any comes again."""
    round_, place = divmod(seed, len(cases))
    order = list(cases)
    shuffle(order, random.Random(round_))
    return order[place]


@lru_cache(maxsize=_SHEETS_KEPT)
def _worked(case: Case, usage: Usage) -> Sheet:
    return work_out(case, usage)


def _another(query: object, seed: int) -> str:
    kept = cast("dict[str, str]", query)
    given = {key: kept[key] for key in ("level", "terms") if kept.get(key)}
    return "?" + urlencode({"seed": seed + 1, **given})


class _Practice:
    """One visit to one case."""

    def __init__(self, visit: Visit, sheet: Sheet, seed: int) -> None:
        self._visit = visit
        self._sheet = sheet
        self._seed = seed
        self._say = rewording(sheet.usage)
        states = 1 << len(sheet.found.switches)
        self._state = self._number("state", states - 1)
        self._seen = self._number("seen", (1 << states) - 1) | 1 << self._state
        self._question: Question = sheet.questions[0]
        letters = [choice.id for choice in self._question.choices]
        self._answer = _one_of(
            "answer", visit.query.get("answer", ""), ("", *letters, _TELL), show_none=False
        )
        self._is_open = _one_of("boxes", visit.query.get("boxes", ""), ("", "open")) == "open"

    def page(self) -> Page:
        """Show the case, with the solution once it was found or asked for."""
        sheet, case = self._sheet, self._sheet.case
        forms = self._forms()
        chosen = next((c for c in self._question.choices if c.id == self._answer), None)
        is_solved = self._answer == _TELL or (chosen is not None and chosen.is_right)
        facts: Facts = {
            "gone": "",
            "seed": self._seed,
            "label": case.label if is_solved else None,
            "case_title": self._say(case.title),
            "level": case.level,
            "story": self._say(case.story),
            "conversion": sheet.renaming.note,
            "warnings": list(self._warnings()),
            "fault": self._place if is_solved and self._stored is not None else None,
            "left_out": len(shipped().problems),
            "state": forms[self._state],
            "watch": phrase("watch"),
            "stop": self._stop(forms),
            "handles": [] if self._stop(forms) else list(self._handles(forms)),
            "seen": [
                {"state": number, **form}
                for number, form in enumerate(forms)
                if self._seen >> number & 1
            ],
            "combinations": len(forms),
            "all_seen": self._link(seen=str((1 << len(forms)) - 1)),
            "boxes": self._link(boxes="" if self._is_open else "open"),
            "are_boxes_open": self._is_open,
            "prompt": self._say(self._question.prompt),
            "choices": list(self._choices(is_solved=is_solved)),
            "is_right": None if chosen is None else chosen.is_right,
            "why": "" if chosen is None else self._say(chosen.why),
            "tell": self._link(answer=_TELL),
            "solution": self._solution() if is_solved else None,
            "another": _another(self._visit.query, self._seed),
            "levels": [
                {"title": level or "any level", "link": "?" + _practice_query(level=level)}
                for level in ("", *LEVELS)
            ],
            "usages": [
                {"title": USAGE_TITLES[usage], "link": self._link(terms=usage)}
                for usage in USAGES
                if usage != sheet.usage
            ],
        }
        return Page(_TITLE, "practice", facts, drawn=self._drawings(is_solved=is_solved))

    def _number(self, key: str, most: int) -> int:
        number = whole_number(self._visit.query, key) or 0
        if number > most:
            raise RefusalError(f"{key} must be at most {most} for this case; follow a link of it.")
        return number

    def _forms(self) -> list[StateForm]:
        seen = self._sheet.examination.judgement.observation
        return [] if seen is None else list(state_forms(self._sheet.found, seen))

    def _warnings(self) -> Iterator[str]:
        """Yield where the case is no longer as the entry or the catalogue says."""
        sheet = self._sheet
        if sheet.changed:
            yield sheet.changed
        if self._stored not in (None, sheet.verdict):
            yield f"This catalogue holds {self._stored} for the case, and it is {sheet.verdict}."

    @property
    def _place(self) -> Facts:
        """Return how a catalogue addresses the case."""
        case = self._sheet.case
        kind, _, site = case.fault.partition("/")
        return {"circuit": case.circuit, "kind": kind, "site": site}

    @cached_property
    def _stored(self) -> str | None:
        """Return the verdict that the catalogue holds, None if it does not have the fault."""
        case = self._sheet.case
        kind, _, site = case.fault.partition("/")
        circuit = self._visit.row(
            "select id, label, file from circuit where label = ?", case.circuit
        )
        if circuit is None:
            return None
        row = self._visit.row(
            "select verdict.name from fault cross join outcome on outcome.id = outcome_id"
            " join verdict on verdict.id = verdict_id join fault_kind as kind on kind.id = kind_id"
            " where circuit_id = ? and kind.name = ? and site = ?",
            *(circuit["id"], kind, site_place(circuit, kind, site)),
        )
        return None if row is None else str(row["name"])

    def _link(self, **changed: str) -> str:
        """Return the address of this page with some parameters changed."""
        here = {
            "seed": str(self._seed),
            "level": self._visit.query.get("level", ""),
            "terms": self._visit.query.get("terms", ""),
            "state": str(self._state),
            "seen": str(self._seen),
            "boxes": "open" if self._is_open else "",
            "answer": self._answer,
        }
        return "?" + _practice_query(**here | changed)

    def _stop(self, forms: Sequence[StateForm]) -> str:
        """Return what to do where the light shows a danger as the switches stand; else empty."""
        here = forms[self._state]
        trips = here["protection"] == "trips"
        names = [
            *(["over-bright"] if not trips and "over" in here["lamps"].values() else []),
            *(["trips"] if trips else []),
        ]
        if not names:
            return ""
        panel = Panel(named_stops(names))
        return " ".join((panel.title, *panel.do, *panel.do_not, *panel.call))

    def _handles(self, forms: Sequence[StateForm]) -> Iterator[Facts]:
        for bit, switch in enumerate(self._sheet.found.switches):
            yield {
                "switch": switch.name,
                "position": forms[self._state]["positions"][switch.name],
                "link": self._link(state=str(self._state ^ 1 << bit)) + "#light",
            }

    def _choices(self, *, is_solved: bool) -> Iterator[Facts]:
        for choice in self._question.choices:
            fact: Facts = {
                "id": choice.id,
                "text": self._say(choice.text),
                "link": self._link(answer=choice.id) + "#answer",
                "is_chosen": choice.id == self._answer,
            }
            if is_solved:
                fact |= {"is_right": choice.is_right, "why": self._say(choice.why)}
            yield fact

    def _solution(self) -> AnswerForm:
        return sheet_form(self._sheet, 1, with_answers=True)["answer"]

    def _drawings(self, *, is_solved: bool) -> Facts:
        drawn: Facts = {}
        if self._is_open or is_solved:
            pictures = Pictures.of(self._sheet)
            if is_solved:
                drawn["marked"] = Markup(pictures.marked_svg)  # drawn and escaped by us
            else:
                drawn["found"] = Markup(pictures.found_svg)  # drawn and escaped by us
        return drawn


def _practice_query(**parameters: str) -> str:
    return urlencode({key: value for key, value in parameters.items() if value})


def _one_of(key: str, word: str, known: Sequence[str], *, show_none: bool = True) -> str:
    if word not in known:
        words = listing(filter(None, known))
        raise RefusalError(
            f"{key} must be one of {words}; leave it out to begin anew."
            if show_none
            else f"{key} must be one of the choices, or {_TELL}; leave it out to begin anew."
        )
    return word
