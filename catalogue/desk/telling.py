"""The desk's answer is put into blocks here: the panel of a stop, suspects, checks and plans."""

from collections.abc import Iterator, Sequence
from typing import Final

from catalogue.desk.match import SuspectGroup
from catalogue.desk.planner import CheckPlan, Proposal
from catalogue.desk.stops import Panel, Stop, phrase
from catalogue.desk.suspect_pool import NO_FAULT, Suspect
from verify.base.sentences import counted, with_and
from verify.base.telling import Alarm, Passage, heading

_MOST_FAMILIES_SHOWN: Final = 6
_INDENT: Final = "   "
#: After a stop sign something is wrong, so the suspect "nothing wrong" is called this.
_NO_MISTAKE: Final = "no single mistake in the connections"


def stop_alarm(stops: Sequence[Stop]) -> Alarm:
    """Return the panel that comes first: what to do, whom to call, what not to do."""
    panel = Panel(tuple(stops))
    listed = [Passage(text, marker=f"{number}. ") for number, text in enumerate(panel.do, 1)]
    for title, sentences in (("Call:", panel.call), ("Do not:", panel.do_not)):
        listed += [Passage(title), *(Passage(text, marker=" - ") for text in sentences)]
    return Alarm(
        panel.title,
        (
            [Passage(f"{stop.noticed} {stop.why}") for stop in panel.stops],
            listed,
            [Passage(phrase("after"))],
        ),
    )


def stopped_end(suspects: Sequence[Suspect], stops: Sequence[Stop]) -> str:
    """Return what to do about the suspects that remain after stops, where no check is left.

    Nothing is switched on again unless every suspect explains every sign.
    """
    names = {suspect.family for suspect in suspects}
    if not names:
        return phrase("nothing_fits")
    if NO_FAULT in names:
        return phrase("as_intended")
    explained = [[stop.is_explained_by(suspect) for suspect in suspects] for stop in stops]
    unexplained = [s.called for s, by in zip(stops, explained, strict=True) if not any(by)]
    if unexplained:
        return phrase("unexplained").format(with_and(unexplained))
    return phrase("one_left" if len(names) == 1 and all(map(all, explained)) else "end")


def group_told(
    number: int, group: SuspectGroup, stops: Sequence[Stop], *, has_share: bool
) -> Iterator[Passage]:
    """Yield one group of suspects, which is shown as number `number`, with its share or without."""
    share = f"{group.share:.0%} of what fits, " if has_share else ""
    yield heading(f"{number}. {group.name}: {share}{counted(group.faults, 'fault')}")
    yield Passage(
        f"matched {group.matched}, contradicted {group.contradicted}, untested {group.untested}",
        _INDENT,
    )
    for name, faults in group.families[:_MOST_FAMILIES_SHOWN]:
        called = _NO_MISTAKE if stops and name == NO_FAULT else name
        yield Passage(f"{called} ({faults})", _INDENT, "- ")
    left_out = len(group.families) - _MOST_FAMILIES_SHOWN
    if left_out > 0:
        yield Passage(f"and {counted(left_out, 'other name')}", _INDENT, "- ")
    if group.hazards:
        hazards = ", ".join(f"{name} ({faults})" for name, faults in group.hazards)
        yield Passage(f"Hazards: {hazards}", _INDENT)


def check_told(proposal: Proposal, result: str) -> Iterator[Passage]:
    """Yield a check that can come next; `result` says how to hand in its finding."""
    check = proposal.check
    yield Passage(f"{check.title} {check.how}", marker="- ")
    if check.kind.caution:
        yield Passage(check.kind.caution, "  ")
    words = ", ".join(word for word, _ in check.results[:_MOST_FAMILIES_SHOWN])
    yield Passage(f"Tells {proposal.gain:.2f} bits. Then: {result}'{check.key}=…' ({words})", "  ")


def plan_told(plan: CheckPlan, indent: str, known: Sequence[Stop]) -> Iterator[Passage]:
    """Yield a plan from some point on; `known` are the reasons to stop that were told before."""
    if plan.stops and plan.stops != tuple(known):
        panel = Panel(plan.stops)
        sentences = (panel.title, *panel.do, *panel.call, *panel.do_not, phrase("after"))
        yield Passage(" ".join(sentences), indent, "!!! ")
    if plan.check is None:
        names = "; or ".join(dict.fromkeys(suspect.description for suspect in plan.suspects))
        if plan.stops:
            names = f"{names.removesuffix('.')}. {stopped_end(plan.suspects, plan.stops)}"
        yield Passage(f"{names} ({plan.weight:.0%})", indent, "= ")
        return
    how = "" if plan.check.kind.name == "flip" else f" {plan.check.how}"
    yield Passage(f"{plan.check.title}{how}", indent, "? ")
    for found, branch in plan.branches:
        yield Passage(f"{found}:", indent + "  ")
        yield from plan_told(branch, indent + "    ", plan.stops)
    if plan.stops:
        yield Passage(phrase("otherwise"), indent + "  ")
