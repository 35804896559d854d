"""The facts of the desk's answer: which suspects fit, the way so far, and what to check next."""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from catalogue.desk.answer import NOTHING_FITS, OTHER, Answer
from catalogue.desk.checks import CLEAR, Hypothesis, check_kinds
from catalogue.desk.match import SuspectGroup, sights
from catalogue.desk.planner import Proposal
from catalogue.desk.stops import panel_form, phrase, stop_forms
from catalogue.desk.suspect_pool import NO_FAULT, Suspect
from catalogue.desk.symptoms import SIGN
from catalogue.pages.contract import Facts, RefusalError, Visit
from catalogue.pages.deskask import DeskQuestion
from catalogue.pages.deskwiring import AnyLayout, OneCircuit
from verify.base.problems import UserError
from verify.behaviour.findings import position
from verify.hazard.definitions import HAZARDS

_SHOWN_IN_FULL: Final = 5
_PROPOSALS: Final = 4
_NOTHING_WRONG: Final = "Nothing may be wrong at all: a light wired as intended does this too."
_WEIGHTS: Final = "Weights of your own can be set with the command: miswire suspects --priors FILE."


def answer_of(question: DeskQuestion) -> Answer:
    """Return the desk's answer. Raises RefusalError for findings that no check here can give."""
    answer = Answer(
        question.wiring.pool,
        question.symptoms,
        {},
        check_kinds(),
        question.wiring.any_order,
        question.steps,
    )
    try:
        answer.steps  # noqa: B018 - goes through them
    except UserError as error:
        raise RefusalError(f"{error}. Go back to the page that you came from.") from error
    return answer


def gray(switches: int) -> list[int]:
    """Return all states in an order in which each is one flip from the one before."""
    return [number ^ number >> 1 for number in range(1 << switches)]


def positions(question: DeskQuestion, state: int) -> list[Facts]:
    """Return each switch by name with its position in a state."""
    return [
        {"name": name, "position": position(state, bit)}
        for bit, name in enumerate(question.wiring.names)
    ]


def answer_facts(visit: Visit, question: DeskQuestion) -> Facts:
    """Return everything that the page of an answer shows."""
    answer = answer_of(question)
    shown = (answer.groups or answer.nearest)[:_SHOWN_IN_FULL]
    left = {hypothesis.suspect for hypothesis in answer.hypotheses}
    names = {answer.pool.suspects[number].family for number in left}
    return {
        "stop": stop_forms(answer.stops),
        "stop_panel": panel_form(answer.stops),
        "ending": answer.ending,
        "watch": phrase("watch"),
        "as_intended": phrase("as_intended") if answer.stops else _NOTHING_WRONG,
        "wiring": question.wiring.in_words(),
        "is_known": isinstance(question.wiring, OneCircuit),
        "circuit": getattr(question.wiring, "label", None),
        "unsound": _unsound(question),
        "query": question.query(),
        "before": question.query(answer.observed.seen, 0),
        "path": _path(question, answer),
        "fits": bool(answer.groups),
        "has_shares": answer.has_shares,
        "undecided": answer.undecided,
        "nothing_fits": None if answer.groups else NOTHING_FITS,
        "groups_total": len(answer.groups),
        "suspects_left": len(left),
        "names_left": len(names),
        "groups": [_group(visit, question, answer, group) for group in shown],
        "more_groups": [
            {"name": question.wiring.named(g.name), "share": g.share, "faults": _faults(g)}
            for g in answer.groups[_SHOWN_IN_FULL:]
        ],
        "uncertainty_bits": round(answer.uncertainty, 2),
        "next": [
            _check(question, answer.hypotheses, proposal)
            for proposal in answer.next_checks[:_PROPOSALS]
        ],
        "next_step": f"step{len(question.steps) + 1}",
        "notes": [
            question.wiring.in_words(),
            *map(question.wiring.told, answer.notes[1:]),
            _WEIGHTS,
        ],
    }


def _unsound(question: DeskQuestion) -> str | None:
    """Return the verdict on a known circuit as it is, if it is not sound."""
    if not isinstance(question.wiring, OneCircuit):
        return None
    verdict = next(s.verdict for s in question.wiring.pool.suspects if s.family == NO_FAULT)
    return None if verdict == "sound" else verdict


def _path(question: DeskQuestion, answer: Answer) -> Facts:
    """Return what was seen first, then each check with its finding and a link back to before it."""
    symptoms = question.symptoms
    return {
        "seen": [
            {"positions": positions(question, state), "saw": next(sights([outcome], 1))}
            for state, outcome in ((s, symptoms.seen.get(s)) for s in gray(symptoms.switches))
            if outcome is not None
        ],
        "signs": [SIGN[name].question for name in sorted(symptoms.signs)],
        "steps": [
            {
                "title": question.wiring.told(step.title),
                "found": question.wiring.told(step.found),
                "left": step.left,
                "before": question.query(steps=number),
            }
            for number, step in enumerate(answer.steps)
        ],
    }


def _faults(group: SuspectGroup) -> int:
    return sum(suspect.faults for suspect in group.suspects if suspect.family != NO_FAULT)


def _group(visit: Visit, question: DeskQuestion, answer: Answer, group: SuspectGroup) -> Facts:
    wiring = question.wiring
    word = group.signature.word
    families = [name for name in group.families if name[0] != NO_FAULT]
    return {
        "name": wiring.named(group.name),
        "signature": word,
        "has_page": visit.row("select 1 from signature where word = ?", word) is not None,
        "matched": group.matched,
        "contradicted": group.contradicted,
        "untested": group.untested,
        "share": group.share,
        "faults": _faults(group),
        "circuits": wiring.circuits(group),
        "may_be_nothing": len(families) < len(group.families),
        "families": [{"name": wiring.told(name), "faults": faults} for name, faults in families],
        "hazards": list(_hazards(group)),
        "states": list(_group_states(question, answer, group)),
        "example": _example(question, wiring.example(group)),
        "all": _all(question, word),
    }


def _hazards(group: SuspectGroup) -> Iterator[Facts]:
    counts = dict(group.hazards)
    for hazard in HAZARDS:
        if hazard.name in counts:
            yield {
                "name": hazard.name,
                "title": hazard.title,
                "danger": hazard.danger,
                "faults": counts[hazard.name],
            }


def _group_states(question: DeskQuestion, answer: Answer, group: SuspectGroup) -> Iterator[Facts]:
    """Yield what the suspects of a group do in each state, or in those seen if there are many."""
    seen = answer.observed.seen
    switches = question.wiring.switches
    for state in gray(switches):
        if switches <= 3 or state in seen:
            does = next(sights([group.codes[state]], question.wiring.pool.lamps))
            saw = next(sights([seen[state]], 1)) if state in seen else None
            yield {
                "positions": positions(question, state),
                "does": does,
                "saw": saw,
                "agrees": saw in (None, does),
            }


def _example(question: DeskQuestion, suspect: Suspect | None) -> Facts | None:
    if suspect is None:
        return None
    label = suspect.label
    if isinstance(question.wiring, OneCircuit):
        label = f"{question.wiring.label}/{label}" if question.wiring.label else ""
    circuit, kind, site = label.split("/", 2) if label else ("", "", "")
    whole = {"circuit": circuit} if label else dict(question.wiring.query)
    return {
        "description": suspect.description,
        "circuit": circuit,
        "kind": kind or suspect.kind,
        "site": site,
        "verdict": suspect.verdict,
        "picture": {**whole, "fault": f"{kind}/{site}" if label else suspect.label},
    }


def _all(question: DeskQuestion, word: str) -> dict[str, str] | None:
    """Return the filters of the list with all faults of a group, if there is such a list."""
    wiring = question.wiring
    if isinstance(wiring, OneCircuit) and wiring.label:
        return {"signature": word, "circuit": wiring.label}
    if isinstance(wiring, AnyLayout) and len(wiring.schemes) > 1:
        return {"signature": word, "locations": str(wiring.locations)}
    return None


def _check(question: DeskQuestion, hypotheses: Sequence[Hypothesis], proposal: Proposal) -> Facts:
    check, told = proposal.check, question.wiring.told
    numbers = np.array([hypothesis.suspect for hypothesis in hypotheses])
    weights = np.array([hypothesis.weight for hypothesis in hypotheses])
    outcomes = np.array(check.outcomes)
    shares = np.bincount(outcomes, weights, len(check.results)) / weights.sum()
    counts = [len(np.unique(numbers[outcomes == number])) for number in range(len(shares))]
    # The finding that all is as intended comes first, then the likeliest.
    order = sorted(
        (number for number, suspects in enumerate(counts) if suspects),
        key=lambda number: (check.results[number][0] != CLEAR, -shares[number], number),
    )
    return {
        "check": check.key,
        "kind": check.kind.name,
        "kind_title": check.kind.title,
        "title": told(check.title),
        "how": check.how,
        "caution": check.kind.caution,
        "cost": check.kind.cost,
        "bits": round(proposal.gain, 2),
        "suspects": len(np.unique(numbers)),
        "leaves": round(float(shares @ np.array(counts)), 1),
        "results": [
            {
                "finding": told(check.results[number][1]),
                "step": f"{check.key}={check.results[number][0]}",
                "suspects": counts[number],
            }
            for number in order
        ],
        "other": f"{check.key}={OTHER}",
    }
