"""A plan of checks is made here: the check that tells most for its cost comes first.

Choosing the best sequence of tests is NP-complete (K. R. Pattipati, M. G. Alexandridis, IEEE Trans.
SMC 20(4), 1990; abstract read), so the plan is greedy: the check that tells most bits for its cost.
No plan needs fewer yes-or-no checks on average than the entropy of the suspects.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from catalogue.desk.checks import Check, CheckBench, Hypothesis
from catalogue.desk.match import Numbers
from catalogue.desk.stops import Stop, found_signs, named_stops, power_off
from catalogue.desk.suspect_pool import Suspect
from catalogue.desk.symptoms import SIGHTS
from verify.base.deadline import keep_deadline
from verify.base.sentences import counted


def entropy(weights: Sequence[float]) -> float:
    """Return the uncertainty of a choice with these weights, in bits."""
    total = sum(weights)
    return -sum(w / total * math.log2(w / total) for w in weights if w > 0) if total else 0.0


@dataclass(frozen=True, slots=True)
class Proposal:
    """A check and its value: the bits that it tells on average."""

    check: Check
    gain: float

    def __repr__(self) -> str:
        # Not its title: that tells a person what to do, and goes with its caution only.
        worth = f"{self.gain:.2f} bits, cost {self.check.kind.cost:g}"
        return f"<{type(self).__name__} {self.check.key}: {worth}>"

    @property
    def worth(self) -> float:
        """The bits for one unit of cost."""
        return self.gain / self.check.kind.cost


def proposals(checks: Sequence[Check], hypotheses: Sequence[Hypothesis]) -> list[Proposal]:
    """Return the checks, best first; none comes before one of less risk that tells as much."""
    weights = np.array([hypothesis.weight for hypothesis in hypotheses])
    made = [Proposal(check, _gain(check, weights)) for check in checks]
    best_gain: dict[int, float] = {}
    for proposal in made:
        order = proposal.check.kind.order
        best_gain[order] = max(best_gain.get(order, 0.0), proposal.gain)

    def is_outdone(proposal: Proposal) -> bool:
        return any(
            order < proposal.check.kind.order and gain >= proposal.gain - 1e-12
            for order, gain in best_gain.items()
        )

    return sorted(made, key=lambda p: (is_outdone(p), -p.worth, p.check.kind.order, p.check.key))


def _gain(check: Check, weights: np.ndarray) -> float:
    """Return the mutual information of hypothesis and outcome, which is the outcome's entropy."""
    return entropy(np.bincount(check.outcomes, weights=weights).tolist())


@dataclass(frozen=True)
class CheckPlan:
    """A plan from some point: stop, or make a check and go on by its finding.

    `weight` is the share of all suspects that gets to this point. `stops` are the reasons to stop
    that are known here; if there are any, none of its checks needs power.
    """

    suspects: tuple[Suspect, ...]
    weight: float
    check: Check | None = None
    branches: tuple[tuple[str, "CheckPlan"], ...] = ()
    stops: tuple[Stop, ...] = ()

    def __repr__(self) -> str:
        left = counted(len(self.suspects), "suspect")
        stop = f"; stop: {', '.join(stop.name for stop in self.stops)}" if self.stops else ""
        if self.check is None:
            return f"<{type(self).__name__}: {left}, no further check{stop}>"
        then = f"first {self.check.key}, then {self.checks - 1:.1f} more"
        return f"<{type(self).__name__}: {left}, {then}{stop}>"

    @cached_property
    def checks(self) -> float:
        """The expected number of checks from here."""
        return self._expected(1.0)

    @cached_property
    def cost(self) -> float:
        """The expected cost from here."""
        return self._expected(self.check.kind.cost if self.check else 0.0, of_cost=True)

    def _expected(self, own: float, *, of_cost: bool = False) -> float:
        if self.check is None:
            return 0.0
        return own + sum(
            branch.weight / self.weight * (branch.cost if of_cost else branch.checks)
            for _, branch in self.branches
        )


def make_plan(
    bench: CheckBench,
    hypotheses: Sequence[Hypothesis] | None = None,
    stops: tuple[Stop, ...] = (),
    seen: Mapping[int, int] | None = None,
) -> CheckPlan:
    """Make the greedy plan that ends when no check tells the remaining suspects apart.

    `stops` are the reasons to stop that are known from the beginning, `seen` what the light did in
    the states that were tried. What a check finds can be a reason to stop for all that follows it.
    """
    everyone = bench.hypotheses() if hypotheses is None else list(hypotheses)
    checks = bench.checks(everyone, power_off=bool(stops))
    outcomes = np.array([check.outcomes for check in checks], np.int64)
    outcomes = outcomes.reshape(len(checks), len(everyone))
    total = sum(hypothesis.weight for hypothesis in everyone) or 1.0
    pool = bench.match.pool

    def grow(members: Numbers, stops: tuple[Stop, ...], seen: Mapping[int, int]) -> CheckPlan:
        keep_deadline()
        here = [everyone[member] for member in members.tolist()]
        names = dict.fromkeys(hypothesis.suspect for hypothesis in here)
        suspects = tuple(pool.suspects[number] for number in names)
        weight = sum(hypothesis.weight for hypothesis in here) / total
        end = CheckPlan(suspects, weight, stops=stops)
        if len(suspects) == 1:
            return end
        found = outcomes[:, members]
        useful = np.flatnonzero((found != found[:, :1]).any(axis=1))
        narrowed = [
            replace(checks[number], outcomes=tuple(found[number].tolist()))
            for number in useful.tolist()
        ]
        ranked = proposals(power_off(narrowed, stops), here)
        if not ranked:
            return end
        best = ranked[0].check
        predicted = np.array(best.outcomes)

        def branch(outcome: int) -> tuple[str, CheckPlan]:
            word, told = best.results[outcome]
            signs = {stop.name for stop in stops} | set(found_signs(pool, seen, best.key, word))
            sight = {int(best.key.partition(":")[2]): SIGHTS[word]} if _is_sight(best, word) else {}
            return told, grow(members[predicted == outcome], named_stops(signs), {**seen, **sight})

        branches = tuple(branch(outcome) for outcome in sorted(set(best.outcomes)))
        return replace(end, check=best, branches=branches)

    return grow(np.arange(len(everyone)), stops, seen or {})


def _is_sight(check: Check, word: str) -> bool:
    """Return True if a finding is what the light does in one state."""
    return check.kind.name == "flip" and word in SIGHTS
