"""The desk's whole answer: what was seen and checked, which suspects remain, what to check next.

The command and the pages show the same answer; `to_json` is its form for programs.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from catalogue.desk.checks import POWER_OFF_KINDS, Check, CheckBench, CheckKind, Hypothesis
from catalogue.desk.match import Match, sights
from catalogue.desk.match import SuspectGroup as Suspected
from catalogue.desk.planner import CheckPlan, Proposal, entropy, make_plan, proposals
from catalogue.desk.priors import UNIFORM_SENTENCE
from catalogue.desk.stops import Stop, panel_form, phrase, power_off, reasons, stop_forms
from catalogue.desk.suspect_pool import NO_FAULT, SuspectPool
from catalogue.desk.symptoms import SIGHTS, SIGN, SIGNS, Symptoms
from catalogue.desk.telling import check_told, group_told, plan_told, stop_alarm, stopped_end
from verify.base.cautions import cautions
from verify.base.problems import Problem, UserError, shown
from verify.base.sentences import counted
from verify.base.telling import Group, Passage, cautions_group, heading, html, plain
from verify.behaviour.findings import position

#: A finding that no suspect predicts is called this.
OTHER: Final = "other"
_NEAREST: Final = 3
_MOST_GROUPS_SHOWN: Final = 5
_MOST_CHECKS_SHOWN: Final = 3
_ALIKE: Final = "no flip tells the members of a group apart"

NOTHING_FITS: Final = (
    "No single fault within this scope does all that was seen. Two faults at once, a loose "
    "connection, another kind of switch, or a wiring outside the scope may; so may a slip in what "
    "was noted."
)
_COME_NEAREST: Final = "These come nearest:"

_NOTHING_WRONG: Final = (
    "A circuit without any fault does all that was seen too, and so do mistakes that no flip can "
    "show."
)


@dataclass(frozen=True, slots=True)
class MadeCheck:
    """A check that was made: its title, its finding, and how many suspects remained then."""

    key: str
    title: str
    found: str
    left: int


@dataclass(frozen=True, eq=False, repr=False)  # arrays have no one truth
class Answer:
    """The desk's answer to some symptoms and the results of checks so far."""

    pool: SuspectPool
    symptoms: Symptoms
    priors: Mapping[str, float]
    kinds: dict[str, CheckKind]
    any_order: bool = False
    results: tuple[tuple[str, str], ...] = ()

    @cached_property
    def match(self) -> Match:
        """All suspects compared with what was seen."""
        return Match(self.pool, self.symptoms, self.priors, self.any_order)

    @cached_property
    def _bench(self) -> CheckBench:
        return CheckBench(self.match, self.kinds)

    @cached_property
    def _after(self) -> tuple[list[Hypothesis], list[MadeCheck]]:
        """The hypotheses that remain after the results, and the checks that led there.

        Raises UserError for the first result that names no check or no finding: nobody knows what
        could be checked after it.
        """
        left = self._bench.hypotheses()
        steps: list[MadeCheck] = []
        for key, word in self.results:
            check = self._bench.check(key, left)
            place = f"result {shown(key)}={shown(word)}"
            if check is None:
                message = "is no check that tells anything here; remove it or name another"
                raise UserError([Problem(place, message)])
            words = [name for name, _ in check.results]
            if word == OTHER:
                left = []
                found = "something that none of the suspects predicts"
            elif word in words:
                number = words.index(word)
                left = [h for h, o in zip(left, check.outcomes, strict=True) if o == number]
                found = check.results[number][1]
            else:
                message = f"must be one of {shown(', '.join([*words, OTHER]), 400)}"
                raise UserError([Problem(place, message)])
            steps.append(MadeCheck(key, check.title, found, len({h.suspect for h in left})))
        return left, steps

    @property
    def hypotheses(self) -> list[Hypothesis]:
        """The hypotheses that remain."""
        return self._after[0]

    @property
    def steps(self) -> list[MadeCheck]:
        """The checks that were made."""
        return self._after[1]

    @cached_property
    def observed(self) -> Symptoms:
        """The symptoms together with what flips have shown since then."""
        flips = {
            int(key.partition(":")[2]): SIGHTS[word]
            for (key, word), _ in zip(self.results, self.steps, strict=True)
            if key.startswith("flip:") and word in SIGHTS
        }
        return replace(self.symptoms, seen={**self.symptoms.seen, **flips})

    @cached_property
    def groups(self) -> list[Suspected]:
        """The groups of suspects that remain, the likeliest first."""
        left = {hypothesis.suspect for hypothesis in self.hypotheses}
        pool = replace(
            self.pool,
            suspects=tuple(s for number, s in enumerate(self.pool.suspects) if number in left),
            faults=(),
        )
        return Match(pool, self.observed, self.priors, self.any_order).groups if left else []

    @cached_property
    def nearest(self) -> list[Suspected]:
        """The groups that show some of what was seen and contradict least, where none fits all."""
        if self.groups:
            return []
        return [group for group in self.match.groups if group.matched][:_NEAREST]

    @property
    def is_told_apart(self) -> bool:
        """False if nothing that was noticed or checked can be held against any suspect."""
        return bool(
            self.observed.seen
            or self.results
            or any(SIGN[name].is_computed for name in self.symptoms.signs)
        )

    @property
    def has_shares(self) -> bool:
        """Whether shares of the groups say anything: they fit, and were told apart if in danger."""
        return bool(self.groups) and (self.is_told_apart or not self.stops)

    @property
    def undecided(self) -> str:
        """What to say after a stop where nothing tells suspects apart; empty elsewhere."""
        if not self.groups or self.has_shares:
            return ""
        left = len({hypothesis.suspect for hypothesis in self.hypotheses})
        return f"Nothing you noticed tells these apart; all {left:,} remain"

    @cached_property
    def stops(self) -> tuple[Stop, ...]:
        """The reasons why nothing may be flipped or measured live, the gravest first."""
        return reasons(self.pool, self.observed, self.results)

    @cached_property
    def next_checks(self) -> list[Proposal]:
        """The checks that tell the remaining suspects apart, best first.

        After a stop only checks with the power off are offered. Checks that were made already stay
        as they are.
        """
        checks = self._bench.checks(self.hypotheses, power_off=bool(self.stops))
        return proposals(power_off(checks, self.stops), self.hypotheses)

    @cached_property
    def plan(self) -> CheckPlan:
        """The whole plan of checks from here."""
        return make_plan(self._bench, self.hypotheses, self.stops, self.observed.seen)

    @property
    def ending(self) -> str | None:
        """What to do after a stop, where no check with the power off leads further; else None."""
        if not self.stops or self.next_checks:
            return None
        return stopped_end([s for group in self.groups for s in group.suspects], self.stops)

    @property
    def uncertainty(self) -> float:
        """The bits from here to one suspect on average: no plan of yes-or-no checks needs fewer."""
        weights: dict[int, float] = {}
        for hypothesis in self.hypotheses:
            weights[hypothesis.suspect] = weights.get(hypothesis.suspect, 0.0) + hypothesis.weight
        return entropy(list(weights.values()))

    @property
    def notes(self) -> list[str]:
        """What the answer rests on and what it leaves out, in sentences."""
        notes = [f"Searched: {self.pool.scope}."]
        if self.priors:
            weights = ", ".join(f"{kind} {weight:g}" for kind, weight in self.priors.items())
            notes.append(f"Shares rest on your weights: {weights}; other kinds weigh 1.")
        else:
            notes.append(f"Shares: {UNIFORM_SENTENCE}")
        if self.any_order:
            notes.append(
                "Which of your switches is which is not taken to be known: they are counted as the "
                "current meets them, from the feed to the lamp, as switch-1, switch-2 and so on."
            )
        notes += [
            SIGN[sign.name].note for sign in SIGNS if sign.name in self.symptoms.signs and sign.note
        ]
        if "dim" in sights(list(self.symptoms.seen.values()), 1):
            notes.append(
                "Dim is computed for lamps that behave as resistances: below 90 % of their volts. "
                "A light-emitting-diode lamp that glows faintly when off is another matter."
            )
        if any(s.family == NO_FAULT for group in self.groups for s in group.suspects):
            notes.append(phrase("as_intended") if self.stops else _NOTHING_WRONG)
        elif self.stops:
            notes.append(phrase("elsewhere"))
        return notes

    def told(
        self,
        most: int = _MOST_GROUPS_SHOWN,
        *,
        with_plan: bool = False,
        result: str = "results=",
        more: str = "groups has them all",
    ) -> Iterator[Group]:
        """Yield the answer as blocks, with at most so many groups, and the whole plan if wanted.

        `result` says how to hand in the finding of a check, `more` where groups that are left out
        can be found.
        """
        if self.stops:
            yield [stop_alarm(self.stops)]
        if self.steps:
            yield [
                Passage(f"{step.title} Found: {step.found}. Left: {step.left}.", marker="- ")
                for step in self.steps
            ]
        if self.undecided:
            yield [heading(self.undecided)]
        elif self.groups:
            what = counted(len(self.groups), "group fits", "groups fit")
            alike = "members of a group look alike" if self.stops else _ALIKE
            yield [heading(f"{what} what was seen; {alike}")]
        else:
            yield [Passage(NOTHING_FITS), *([heading(_COME_NEAREST)] if self.nearest else [])]
        for number, group in enumerate((self.groups or self.nearest)[:most], 1):
            yield [*group_told(number, group, self.stops, has_share=self.has_shares)]
        if len(self.groups) > most:
            yield [Passage(f"… and {counted(len(self.groups) - most, 'more group')}; {more}.")]
        needs_power = any(p.check.kind.name not in POWER_OFF_KINDS for p in self.next_checks)
        watch = [Passage(f"{phrase('watch')} (--sign)", marker="! ")] if needs_power else []
        if with_plan:
            yield [
                heading("CheckPlan"),
                *watch,
                *plan_told(self.plan, "", self.stops),
                Passage(
                    f"Expected: {self.plan.checks:.1f} checks, cost {self.plan.cost:.1f}; "
                    f"{self.uncertainty:.1f} bits to find out."
                ),
            ]
        elif self.next_checks:
            checks = self.next_checks[:_MOST_CHECKS_SHOWN]
            yield [
                heading("Next check, power off" if self.stops else "Next check"),
                *watch,
                *(words for check in checks for words in check_told(check, result)),
            ]
        if self.ending:
            yield [heading(self.ending)]
        yield [Passage(note) for note in self.notes]

    def __repr__(self) -> str:
        return plain([*self.told(), cautions_group()])

    def _repr_html_(self) -> str:
        return html([*self.told(), cautions_group()])

    def to_json(self, most_groups: int = 10, most_checks: int = 5) -> dict[str, object]:
        """Return the answer as JSON."""
        return {
            "format": 1,
            "stop": stop_forms(self.stops),
            "stop_panel": panel_form(self.stops),
            "switches": list(self.pool.switch_names),
            "scope": self.pool.scope,
            "seen": [
                {"positions": self.positions(state), "saw": next(sights([outcome], 1))}
                for state, outcome in sorted(self.symptoms.seen.items())
            ],
            "signs": sorted(self.symptoms.signs),
            "as_found": self.symptoms.as_found,
            "groups_total": len(self.groups),
            "groups": [_group_form(group) for group in self.groups[:most_groups]],
            "nearest": [_group_form(group) for group in self.nearest],
            "steps": [
                {"check": s.key, "title": s.title, "found": s.found, "left": s.left}
                for s in self.steps
            ],
            "uncertainty_bits": round(self.uncertainty, 4),
            "next": [_check_form(proposal) for proposal in self.next_checks[:most_checks]],
            "ending": self.ending,
            "notes": self.notes if self.groups else [NOTHING_FITS, *self.notes],
            "cautions": [caution.short for caution in cautions()],
        }

    def positions(self, state: int) -> dict[str, str]:
        """Return the position of each switch in a state, as the person named it."""
        return {name: position(state, bit) for bit, name in enumerate(self.pool.switch_names)}


def _group_form(group: Suspected) -> dict[str, object]:
    return {
        "signature": group.signature.word,
        "name": group.name,
        "matched": group.matched,
        "contradicted": group.contradicted,
        "untested": group.untested,
        "share": round(group.share, 6),
        "faults": group.faults,
        "families": [{"name": name, "faults": faults} for name, faults in group.families],
        "hazards": [{"name": name, "faults": faults} for name, faults in group.hazards],
        "example": {"label": group.example.label, "description": group.example.description},
    }


def _check_form(proposal: Proposal) -> dict[str, object]:
    check: Check = proposal.check
    return {
        "check": check.key,
        "kind": check.kind.name,
        "title": check.title,
        "how": check.how,
        "caution": check.kind.caution,
        "cost": check.kind.cost,
        "bits": round(proposal.gain, 4),
        "results": [{"word": word, "finding": found} for word, found in check.results],
    }


def parse_results(texts: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Read results of checks from texts such as ``look:landing=clear``.

    Raises UserError for texts of another form.
    """
    problems = []
    results = []
    for text in texts:
        key, mark, word = text.rpartition("=")
        if not mark or not key or not word:
            problems.append(
                Problem(f"result {shown(text)}", "write check=finding, such as look:landing=clear")
            )
        results.append((key, word))
    if problems:
        raise UserError(problems)
    return tuple(results)
