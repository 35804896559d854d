"""Suspects are matched with what was seen, in groups that no flip can tell apart, likeliest first.

A group is all suspects that do the same in every state. Shares follow Bayes' rule from the stated
priors: a suspect counts by its prior and by the part of the ways of naming positions (and, where it
is not known which switch is which, of ordering the switches) under which it does what was seen.
"""

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from catalogue.desk.suspect_pool import Suspect, SuspectPool
from catalogue.desk.symptoms import SIGHTS, SIGN, SOME_LIT, SOME_OVER, Symptoms
from verify.base.sentences import counted
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import OVER, Signature, canonical, trip_code, unpacked
from verify.hazard.definitions import HAZARD_NAMES

Numbers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SuspectGroup:
    """Suspects that do the same in every state, compared with what was seen.

    `codes` is the pool's behaviour as the person named the positions; `matched`, `contradicted`
    and `untested` count states and signs. `share` is 0 where something is contradicted.
    """

    signature: Signature
    name: str
    codes: tuple[int, ...]
    suspects: tuple[Suspect, ...]
    matched: int
    contradicted: int
    untested: int
    share: float

    def __repr__(self) -> str:
        seen = f"{self.matched} matched, {self.contradicted} contradicted, {self.untested} untested"
        what = f"{self.name!r}: {counted(self.faults, 'fault')}, {self.share:.1%}"
        return f"<{type(self).__name__} {what}; {seen}>"

    @property
    def families(self) -> list[tuple[str, int]]:
        """The names that people have for these mistakes, with how many faults each stands for."""
        counts: Counter[str] = Counter()
        for suspect in self.suspects:
            counts[suspect.family] += suspect.faults
        return counts.most_common()

    @property
    def faults(self) -> int:
        """The number of faults that the group stands for."""
        return sum(suspect.faults for suspect in self.suspects)

    @property
    def hazards(self) -> list[tuple[str, int]]:
        """The hazards of its faults, with how many faults have each."""
        return [
            (name, faults)
            for number, name in enumerate(HAZARD_NAMES)
            if (faults := sum(s.faults for s in self.suspects if s.hazards >> number & 1))
        ]

    @property
    def example(self) -> Suspect:
        """The suspect that stands for most faults."""
        return max(self.suspects, key=lambda suspect: suspect.faults)


@dataclass(frozen=True, eq=False)  # arrays have no one truth
class Match:
    """The suspects of `pool` compared with `symptoms`.

    `priors` weigh fault kinds; 1 is usual. With `any_order` it is not known which switch is which.
    """

    pool: SuspectPool
    symptoms: Symptoms
    priors: Mapping[str, float]
    any_order: bool = False

    def __repr__(self) -> str:
        everyone = counted(len(self.pool.suspects), "suspect")
        return f"<{type(self).__name__}: {len(self.suspects):,} of {everyone} fit what was seen>"

    @cached_property
    def readings(self) -> Numbers:
        """The state of the pool for each state as named, for each way to read the positions.

        Shape (readings, 2^switches); the first is the plain one.
        """
        states = np.arange(1 << self.pool.switches)
        orders = (
            itertools.permutations(range(self.pool.switches))
            if self.any_order
            else [tuple(range(self.pool.switches))]
        )
        masks = states if self.symptoms.as_found or self.pool.is_canonical else states[:1]
        return np.array([_reordered(states, order) ^ mask for order in orders for mask in masks])

    @cached_property
    def _seen(self) -> tuple[Numbers, Numbers]:
        """The numbers of matched and contradicted states of each behaviour in each reading."""
        shape = (len(self.pool.codes), len(self.readings))
        matched = np.zeros(shape, np.int64)
        contradicted = np.zeros(shape, np.int64)
        for state, outcome in self.symptoms.seen.items():
            fits = _fits(self.pool.codes, outcome, self.pool.lamps)[:, self.readings[:, state]]
            matched += fits
            contradicted += ~fits
        return matched, contradicted

    def consistent_readings(self, suspect: Suspect) -> Numbers:
        """Return the readings in which a suspect does all that was seen; none if a sign fails."""
        if self.signs(suspect)[1]:
            return np.zeros(0, np.int64)
        return self._consistent[suspect.codes]

    @cached_property
    def _consistent(self) -> list[Numbers]:
        """The readings, for each behaviour, under which nothing that was seen contradicts it."""
        return [np.flatnonzero(contradicted == 0) for contradicted in self._seen[1]]

    def signs(self, suspect: Suspect) -> tuple[int, int]:
        """Return how many of the signs that can be judged a suspect shows, and how many not."""
        shown = failed = 0
        for name in self.symptoms.signs:
            sign = SIGN[name]
            if sign.is_computed:
                has = bool(suspect.hazards & self.symptoms.hazard_mask(name))
                if sign.needs_trip:
                    trip = trip_code(self.pool.lamps)
                    has = has or bool((self.pool.codes[suspect.codes] == trip).any())
                shown, failed = shown + has, failed + (not has)
        return shown, failed

    def prior(self, suspect: Suspect) -> float:
        """Return the weight of a suspect before anything was seen."""
        return self.priors.get(suspect.kind, 1.0) * suspect.faults

    def weight(self, suspect: Suspect) -> float:
        """Return its prior times the share of the readings that fit; 0 if none does."""
        return self.prior(suspect) * len(self.consistent_readings(suspect)) / len(self.readings)

    @cached_property
    def suspects(self) -> list[Suspect]:
        """The suspects that fit everything that was seen."""
        return [s for s in self.pool.suspects if len(self.consistent_readings(s))]

    @cached_property
    def groups(self) -> list[SuspectGroup]:
        """All groups, the best first: those with fewest contradictions, then by share."""
        members: dict[tuple[object, int, int], list[Suspect]] = {}
        for suspect in self.pool.suspects:
            shown, failed = self.signs(suspect)
            members.setdefault((self._behaviour(suspect.codes), shown, failed), []).append(suspect)
        total = sum(map(self.weight, self.pool.suspects)) or 1.0
        groups = [
            self._group(suspects, shown, failed, total)
            for (_, shown, failed), suspects in members.items()
        ]
        return sorted(
            groups, key=lambda g: (g.contradicted, -g.share, -g.matched, g.signature.word)
        )

    @cached_property
    def _signatures(self) -> list[Signature]:
        return [canonical(codes, self.pool.lamps) for codes in self.pool.codes]

    def _behaviour(self, codes: int) -> object:
        """Return what the suspects of one group have in common."""
        return self._signatures[codes].word if len(self.readings) > 1 else codes

    def _group(
        self, suspects: Sequence[Suspect], shown: int, failed: int, total: float
    ) -> SuspectGroup:
        codes = suspects[0].codes
        matched, contradicted = self._seen
        best = int(np.lexsort((-matched[codes], contradicted[codes]))[0])
        signature = self._signatures[codes]
        untested = len(self.symptoms.untried) + sum(
            not SIGN[name].is_computed for name in self.symptoms.signs
        )
        return SuspectGroup(
            signature=signature,
            name=signature_name(signature),
            codes=tuple(self.pool.codes[codes][self.readings[best]].tolist()),
            suspects=tuple(suspects),
            matched=int(matched[codes, best]) + shown,
            contradicted=int(contradicted[codes, best]) + failed,
            untested=untested,
            share=sum(map(self.weight, suspects)) / total,
        )


def _reordered(states: Numbers, order: Sequence[int]) -> Numbers:
    """Return states with bit i of each moved to the place `order[i]`."""
    moved = np.zeros_like(states)
    for bit, place in enumerate(order):
        moved |= (states >> bit & 1) << place
    return moved


def _fits(codes: Numbers, outcome: int, lamps: int) -> npt.NDArray[np.bool_]:
    """Return where every lamp does what was seen."""
    fitting = [
        code for code in np.unique(codes).tolist() if set(unpacked(code, lamps)) == {outcome}
    ]
    return np.isin(codes, fitting)


def sights(codes: Sequence[int], lamps: int) -> Iterator[str]:
    """Yield what a person sees in each state of a behaviour."""
    words = {outcome: sight for sight, outcome in SIGHTS.items()}
    for code in codes:
        outcomes = set(unpacked(code, lamps))
        if len(outcomes) == 1:
            yield words[outcomes.pop()]
        else:
            yield SOME_OVER if OVER in outcomes else SOME_LIT
