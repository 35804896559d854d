"""The whole plan of checks from some point on, as a page to print."""

from collections.abc import Iterator, Sequence
from typing import Final

from catalogue.desk.answer import Answer
from catalogue.desk.planner import CheckPlan
from catalogue.desk.stops import Stop, panel_form, phrase, stop_forms
from catalogue.desk.telling import stopped_end
from catalogue.pages.contract import Facts, Page, RefusalError, Visit
from catalogue.pages.deskanswer import answer_of
from catalogue.pages.deskask import NotSearchedError, asked
from catalogue.pages.deskstart import start
from catalogue.pages.deskwiring import KnownWiring

_MOST_HYPOTHESES: Final = 1_000


def plan(visit: Visit) -> Page:
    """Show what to check, what one may find, and what to check then."""
    try:
        question = asked(visit)
    except NotSearchedError as refusal:
        return start(visit, [str(refusal)], "That cannot be answered here", refusal.status)
    if question is None:
        raise RefusalError(
            "A plan is for a circuit: take the link on the page of a circuit, or in an answer of "
            "the symptom desk."
        )
    answer = answer_of(question)
    no_plan = _no_plan(answer)
    if no_plan and not answer.stops:
        raise RefusalError(no_plan)
    return Page(
        "CheckPlan of checks",
        "desk_plan",
        {
            "stop": stop_forms(answer.stops),
            "stop_panel": panel_form(answer.stops),
            "wiring": question.wiring.in_words(),
            "circuit": getattr(question.wiring, "label", None),
            "query": question.query(),
            "is_blank": question.is_blank,
            "no_plan": no_plan,
            **({} if no_plan else _whole(question.wiring, answer)),
            "notes": [question.wiring.told(note) for note in answer.notes[1:]],
        },
        400 if no_plan else 200,
    )


def _no_plan(answer: Answer) -> str:
    """Return why there is no plan, empty if there is one."""
    if not answer.hypotheses:
        nothing = "Nothing fits what was seen, so there is nothing to plan."
        return f"{nothing} {phrase('nothing_fits')}" if answer.stops else nothing
    if len(answer.hypotheses) <= _MOST_HYPOTHESES:
        return ""
    many = "Too many suspects fit for a plan on paper."
    if answer.stops:
        return f"{many} {phrase('leave_to')}"
    return f"{many} Flip and look first, and ask again with what you saw."


def _whole(wiring: KnownWiring, answer: Answer) -> Facts:
    whole = answer.plan
    return {
        "suspects": len(whole.suspects),
        "checks": round(whole.checks, 2),
        "cost": round(whole.cost, 1),
        "uncertainty_bits": round(answer.uncertainty, 2),
        "plan": _plan_facts(wiring, whole, answer.stops),
        "watch": "" if answer.stops else phrase("watch"),
        "mind": list(dict.fromkeys(_minded(whole))),
    }


def _minded(here: CheckPlan) -> Iterator[str]:
    """Yield the cautions of all checks of a plan."""
    if here.check is not None:
        if here.check.kind.caution:
            yield f"{here.check.kind.title}: {here.check.kind.caution}"
        for _, branch in here.branches:
            yield from _minded(branch)


def _plan_facts(wiring: KnownWiring, here: CheckPlan, known: Sequence[Stop]) -> Facts:
    """Return a plan from some point on; `known` are the reasons to stop that were told before."""
    names = dict.fromkeys(
        suspect.description if wiring.pool.circuit else suspect.family for suspect in here.suspects
    )
    stop = panel_form(here.stops) if here.stops != tuple(known) else None
    if here.check is None:
        ending = stopped_end(here.suspects, here.stops) if here.stops else ""
        told_names = [wiring.told(name) for name in names]
        return {"share": here.weight, "stop": stop, "suspects": told_names, "ending": ending}
    kind = here.check.kind
    found: list[str] = []
    branches: list[Facts] = []
    for finding, branch in here.branches:
        told = wiring.told(finding)
        facts = _plan_facts(wiring, branch, here.stops)
        is_told = facts.get("ending") in ("", phrase("one_left"))
        if facts.get("suspects") == [told] and not facts["stop"] and is_told:
            found.append(told)
        else:
            branches.append({"finding": told, "then": facts})
    return {
        "share": here.weight,
        "stop": stop,
        "kind": kind.name,
        "kind_title": kind.title,
        "title": wiring.told(here.check.title),
        "how": here.check.how,
        "caution": kind.caution,
        "branches": branches,
        "found": found,
        "otherwise": phrase("otherwise") if here.stops else "",
        "one_left": phrase("one_left") if here.stops and found else "",
    }
