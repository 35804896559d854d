"""The whole plan of checks from some point on, as a page to print."""

from collections.abc import Iterator
from typing import Final

from catalogue.desk.planner import Plan
from catalogue.pages.deskanswer import answer_of
from catalogue.pages.deskask import asked
from catalogue.pages.deskwiring import Wiring
from catalogue.pages.visit import Facts, Page, RefusalError, Visit

_MOST_HYPOTHESES: Final = 1_000


def plan(visit: Visit) -> Page:
    """What to check, what one may find, and what to check then."""
    question = asked(visit)
    if question is None:
        raise RefusalError(
            "A plan is for a circuit: take the link on the page of a circuit, or in an answer of "
            "the symptom desk."
        )
    answer = answer_of(question)
    if not answer.hypotheses:
        raise RefusalError("Nothing fits what was seen, so there is nothing to plan.")
    if len(answer.hypotheses) > _MOST_HYPOTHESES:
        raise RefusalError(
            "Too many suspects fit for a plan on paper. Flip and look first, and ask again with "
            "what you saw."
        )
    whole = answer.plan
    return Page(
        "Plan of checks",
        "desk_plan",
        {
            "wiring": question.wiring.in_words(),
            "circuit": getattr(question.wiring, "label", None),
            "query": question.query(),
            "is_blank": question.is_blank,
            "suspects": len(whole.suspects),
            "checks": round(whole.checks, 2),
            "cost": round(whole.cost, 1),
            "uncertainty_bits": round(answer.uncertainty, 2),
            "plan": _facts(question.wiring, whole),
            "mind": list(dict.fromkeys(_minded(whole))),
            "notes": [question.wiring.told(note) for note in answer.notes[1:]],
        },
    )


def _minded(here: Plan) -> Iterator[str]:
    """The cautions of all checks of a plan."""
    if here.check is not None:
        if here.check.kind.caution:
            yield f"{here.check.kind.title}: {here.check.kind.caution}"
        for _, branch in here.branches:
            yield from _minded(branch)


def _facts(wiring: Wiring, here: Plan) -> Facts:
    names = dict.fromkeys(
        suspect.description if wiring.pool.circuit else suspect.family for suspect in here.suspects
    )
    if here.check is None:
        return {"share": here.weight, "suspects": [wiring.told(name) for name in names]}
    kind = here.check.kind
    found: list[str] = []
    branches: list[Facts] = []
    for finding, branch in here.branches:
        told = wiring.told(finding)
        facts = _facts(wiring, branch)
        if facts.get("suspects") == [told]:
            found.append(told)
        else:
            branches.append({"finding": told, "then": facts})
    return {
        "share": here.weight,
        "kind": kind.name,
        "kind_title": kind.title,
        "title": wiring.told(here.check.title),
        "how": here.check.how,
        "caution": kind.caution,
        "branches": branches,
        "found": found,
    }
