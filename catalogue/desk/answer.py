"""The whole answer: what was seen and checked so far, who is left, and what to check next.

The command and the pages show the same answer; `to_json` is its form for programs.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from catalogue.desk.checks import POWER_OFF_KINDS, Bench, Check, CheckKind, Hypothesis
from catalogue.desk.match import Group as Suspected
from catalogue.desk.match import Match, sights
from catalogue.desk.planner import Plan, Proposal, entropy, make_plan, proposals
from catalogue.desk.pool import NO_FAULT, Pool
from catalogue.desk.priors import UNIFORM_SENTENCE
from catalogue.desk.stops import Stop, panel_form, phrase, power_off, reasons, stop_forms
from catalogue.desk.symptoms import SIGHTS, SIGN, SIGNS, Symptoms
from catalogue.desk.telling import check_told, group_told, plan_told, stop_alarm, stopped_end
from verify.base.cautions import cautions
from verify.base.problems import Problem, UserError, shown
from verify.base.sentences import counted
from verify.base.telling import Group, Words, cautions_group, heading, html, plain
from verify.behaviour.findings import position

#: The word for a finding that no suspect predicts.
OTHER: Final = "other"
_NEAREST: Final = 3
_MOST_GROUPS_SHOWN: Final = 5
_MOST_CHECKS_SHOWN: Final = 3
_ALIKE: Final = "no flip tells the members of a group apart"

NOTHING_FITS: Final = (
    "No single fault within this scope does all that was seen. Two faults at once, a loose "
    "connection, another kind of switch, or a wiring outside the scope may; so may a slip in what "
    "was noted: these come nearest."
)

_NOTHING_WRONG: Final = (
    "A circuit without any fault does all that was seen too, and so do mistakes that no flip can "
    "show."
)


@dataclass(frozen=True, slots=True)
class Step:
    """A check that was made: its title, what was found, and how many suspects were left then."""

    key: str
    title: str
    found: str
    left: int


@dataclass(frozen=True, eq=False, repr=False)  # arrays have no one truth
class Answer:
    """Everything the desk says to some symptoms and the results of checks so far."""

    pool: Pool
    symptoms: Symptoms
    priors: Mapping[str, float]
    kinds: dict[str, CheckKind]
    any_order: bool = False
    results: tuple[tuple[str, str], ...] = ()

    @cached_property
    def match(self) -> Match:
        """All suspects held against what was seen."""
        return Match(self.pool, self.symptoms, self.priors, self.any_order)

    @cached_property
    def _bench(self) -> Bench:
        return Bench(self.match, self.kinds)

    @cached_property
    def _after(self) -> tuple[list[Hypothesis], list[Step]]:
        """The hypotheses that are left after the results, and the way there.

        Raises UserError for the first result that names no check or no finding: what could be
        checked after it nobody knows.
        """
        left = self._bench.hypotheses()
        steps: list[Step] = []
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
            steps.append(Step(key, check.title, found, len({h.suspect for h in left})))
        return left, steps

    @property
    def hypotheses(self) -> list[Hypothesis]:
        """What is left."""
        return self._after[0]

    @property
    def steps(self) -> list[Step]:
        """The checks that were made."""
        return self._after[1]

    @cached_property
    def observed(self) -> Symptoms:
        """The symptoms together with what flips have shown since."""
        flips = {
            int(key.partition(":")[2]): SIGHTS[word]
            for (key, word), _ in zip(self.results, self.steps, strict=True)
            if key.startswith("flip:") and word in SIGHTS
        }
        return replace(self.symptoms, seen={**self.symptoms.seen, **flips})

    @cached_property
    def groups(self) -> list[Suspected]:
        """The groups of what is left, the likeliest first."""
        left = {hypothesis.suspect for hypothesis in self.hypotheses}
        pool = replace(
            self.pool,
            suspects=tuple(s for number, s in enumerate(self.pool.suspects) if number in left),
            faults=(),
        )
        return Match(pool, self.observed, self.priors, self.any_order).groups if left else []

    @cached_property
    def nearest(self) -> list[Suspected]:
        """Where nothing is left, the groups that contradict least of what was seen."""
        return [] if self.groups else self.match.groups[:_NEAREST]

    @cached_property
    def stops(self) -> tuple[Stop, ...]:
        """Why nothing may be flipped or measured live, the gravest reason first."""
        return reasons(self.pool, self.observed, self.results)

    @cached_property
    def next_checks(self) -> list[Proposal]:
        """The checks that tell what is left apart, best first; after a stop with the power off.

        What was checked already stays as it is: it was done.
        """
        checks = self._bench.checks(self.hypotheses, power_off=bool(self.stops))
        return proposals(power_off(checks, self.stops), self.hypotheses)

    @cached_property
    def plan(self) -> Plan:
        """The whole plan from here."""
        return make_plan(self._bench, self.hypotheses, self.stops, self.observed.seen)

    @property
    def ending(self) -> str | None:
        """After a stop: what to do where no check with the power off leads any further."""
        if not self.stops or self.next_checks:
            return None
        return stopped_end([s for group in self.groups for s in group.suspects])

    @property
    def uncertainty(self) -> float:
        """Bits between here and one suspect, on average: no plan of yes-or-no checks beats it."""
        weights: dict[int, float] = {}
        for hypothesis in self.hypotheses:
            weights[hypothesis.suspect] = weights.get(hypothesis.suspect, 0.0) + hypothesis.weight
        return entropy(list(weights.values()))

    @property
    def notes(self) -> list[str]:
        """What the answer rests on and leaves out, in sentences."""
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
        return notes

    def told(
        self,
        most: int = _MOST_GROUPS_SHOWN,
        *,
        with_plan: bool = False,
        result: str = "results=",
        more: str = "groups has them all",
    ) -> Iterator[Group]:
        """The answer with at most so many groups, and the whole plan of checks if wanted.

        `result` is how the finding of a check is handed in, `more` where groups are that are left
        out.
        """
        if self.stops:
            yield [stop_alarm(self.stops)]
        if self.steps:
            yield [
                Words(f"{step.title} Found: {step.found}. Left: {step.left}.", marker="- ")
                for step in self.steps
            ]
        if self.groups:
            what = counted(len(self.groups), "group fits", "groups fit")
            alike = "members of a group look alike" if self.stops else _ALIKE
            yield [heading(f"{what} what was seen; {alike}")]
        else:
            yield [Words(NOTHING_FITS)]
        for number, group in enumerate((self.groups or self.nearest)[:most], 1):
            yield [*group_told(number, group, self.stops)]
        if len(self.groups) > most:
            yield [Words(f"… and {counted(len(self.groups) - most, 'more group')}; {more}.")]
        needs_power = any(p.check.kind.name not in POWER_OFF_KINDS for p in self.next_checks)
        watch = [Words(f"{phrase('watch')} (--sign)", marker="! ")] if needs_power else []
        if with_plan:
            yield [
                heading("Plan"),
                *watch,
                *plan_told(self.plan, "", self.stops),
                Words(
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
        yield [Words(note) for note in self.notes]

    def __repr__(self) -> str:
        return plain([*self.told(), cautions_group()])

    def _repr_html_(self) -> str:
        return html([*self.told(), cautions_group()])

    def to_json(self, most_groups: int = 10, most_checks: int = 5) -> dict[str, object]:
        """The answer for programs."""
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
            "notes": [NOTHING_FITS, *self.notes] if self.nearest else self.notes,
            "cautions": [caution.short for caution in cautions()],
        }

    def positions(self, state: int) -> dict[str, str]:
        """The position of each switch in a state as the person named it."""
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
    """Results of checks, from texts such as ``look:landing=clear``.

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
