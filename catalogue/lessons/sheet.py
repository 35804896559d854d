"""Everything that the sheets of one case say is worked out from its circuit and proved again.

The verdict comes from the fast engine and every other engine must agree; the evidence is found by
the engine that shares no code with it, as everywhere in Miswire.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

from catalogue.desk.answer import Answer
from catalogue.desk.checks import check_kinds
from catalogue.desk.stops import Panel, phrase
from catalogue.desk.suspect_pool import Suspect, SuspectPool, pool_of_circuit
from catalogue.desk.symptoms import Symptoms
from catalogue.lessons.curated import Case, Resolve, locate, shipped_circuit
from catalogue.lessons.questions import Question, QuestionSubject, seen_in_boxes
from catalogue.lessons.renaming import Renaming
from catalogue.lessons.usage import Usage
from verify.behaviour.signature import OVER, unpacked
from verify.circuit.model import Circuit
from verify.fault.contract import Fault
from verify.rules.book import BookChoice, Rulebook
from verify.rules.remarks import Remark, remarks
from verify.verdict.evidence import Coverage
from verify.verdict.examination import Examination
from verify.verdict.rechecking import examine

#: A function that gives the stored verdict of a case, None if a catalogue does not have the fault.
Stored = Callable[[Case], str | None]

#: A circuit that several cases share is judged once.
_CIRCUITS_KEPT = 32


@dataclass(frozen=True, slots=True)
class SheetStep:
    """A check of the plan: what to do, what to mind, what is found, how many suspects remain."""

    kind: str
    title: str
    how: str
    caution: str
    cost: float
    found: str
    left: int


@dataclass(frozen=True)
class Sheet:
    """One case, worked out; `intended` and `found` are renamed for the story and the usage."""

    case: Case
    usage: Usage
    renaming: Renaming
    intended: Circuit
    fault: Fault
    found: Circuit
    examination: Examination
    seed: int = 0

    @property
    def verdict(self) -> str:
        """The verdict on the circuit with the mistake, as proved now."""
        return self.examination.judgement.verdict

    @property
    def changed(self) -> str:
        """The difference between the entry and what is found now, as a sentence; empty if none."""
        if self.verdict == self.case.verdict:
            return ""
        return (
            f"Do not use this sheet: the entry says that the verdict is {self.case.verdict}, and "
            f"it is {self.verdict}. Either the entry or Miswire has changed."
        )

    @cached_property
    def pool(self) -> SuspectPool:
        """Every single mistake in the intended circuit."""
        return _pool(self.intended)

    @cached_property
    def seen(self) -> Circuit:
        """The circuit as the opened boxes show it."""
        return seen_in_boxes(self.intended, self.fault)

    @cached_property
    def truth(self) -> Suspect:
        """The suspect that is the mistake."""
        return next(s for s in self.pool.suspects if s.label == self.fault.label)

    @cached_property
    def answer(self) -> Answer:
        """The desk's answer to the table of the sheet."""
        codes = self.pool.codes[self.truth.codes]
        outcomes = {
            state: set(unpacked(int(code), self.pool.lamps)) for state, code in enumerate(codes)
        }
        seen = {state: min(found) for state, found in outcomes.items() if len(found) == 1}
        # Where lamps do different things no single sight says that one of them is too bright.
        is_over = any(OVER in found for found in outcomes.values())
        signs = frozenset({"over-bright"} if is_over else ())
        symptoms = Symptoms(self.pool.switches, seen, signs, as_found=False)
        return Answer(self.pool, symptoms, {}, check_kinds())

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        """The questions with their choices."""
        asked = QuestionSubject(
            self.pool, self.truth, self.seen, self.examination.judgement, self.answer
        )
        return asked.questions(f"{self.seed} {self.case.label}")

    @cached_property
    def steps(self) -> tuple[SheetStep, ...]:
        """The checks of the plan in order, with the findings that this mistake gives."""
        return tuple(self._steps())

    def _steps(self) -> Iterator[SheetStep]:
        here = self.answer.plan
        while here.check is not None:
            found, after = next(
                branch for branch in here.branches if self.truth in branch[1].suspects
            )
            kind = here.check.kind
            yield SheetStep(
                kind.title,
                here.check.title,
                here.check.how,
                kind.caution,
                kind.cost,
                found,
                len(after.suspects),
            )
            here = after

    @property
    def stop(self) -> str:
        """The warning before any check if the table shows a danger; empty if it does not."""
        if not self.answer.stops:
            return ""
        panel = Panel(self.answer.stops)
        return " ".join((panel.title, *panel.do_not, phrase("after")))

    @cached_property
    def first_suspects(self) -> int:
        """The number of suspects that fit the table before anything is checked."""
        return len({hypothesis.suspect for hypothesis in self.answer.hypotheses})

    @cached_property
    def difficulty(self) -> tuple[float, float, int]:
        """The numbers that order cases: the plan's expected cost and checks, and the suspects."""
        return self.answer.plan.cost, self.answer.plan.checks, self.first_suspects

    @cached_property
    def book(self) -> Rulebook:
        """The rulebook that goes with the colours."""
        return BookChoice().book(self.found.palette)

    @cached_property
    def rules(self) -> tuple[Remark, ...]:
        """The observations that the mistake raises and the intended circuit does not."""
        before = {(r.rule.id, r.finding) for r in remarks(self.intended, self.book)}
        found = remarks(self.found, self.book)
        return tuple(r for r in found if (r.rule.id, r.finding) not in before)

    @property
    def coverage(self) -> Coverage | None:
        """The proof behind a verdict that no single state shows."""
        item = self.examination.evidence.get(self.verdict)
        return item if isinstance(item, Coverage) else None


def work_out(
    case: Case, usage: Usage = "us", resolve: Resolve = shipped_circuit, seed: int = 0
) -> Sheet:
    """Work out the sheet of a case. Raises KeyError if its label no longer exists."""
    circuit, mistake = locate(case, resolve)
    renaming = Renaming.of(circuit, usage, case.places, case.title)
    intended = renaming.renamed()
    fault = renaming.fault(intended, mistake)
    found = fault.apply(intended)
    return Sheet(case, usage, renaming, intended, fault, found, examine(found), seed)


@lru_cache(maxsize=_CIRCUITS_KEPT)
def _pool(circuit: Circuit) -> SuspectPool:
    return pool_of_circuit(circuit)
