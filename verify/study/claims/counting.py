"""Claims that are counts: kinds of behaviour, and what all wirings that work have in common."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from verify.study.census.search import run_of, search_batches
from verify.study.census.terminals import parts_of
from verify.study.claims.cases import StudyCase
from verify.study.claims.contract import Claim, ClaimAnswer, ClaimBench, Some, scope
from verify.study.claims.domains import TWO, TWO_AND_THREE
from verify.study.claims.vocabulary import ALL_KINDS, exchanged_terminals

_THEME: Final = "counted"
#: OEIS A000231, read: Boolean functions of n variables up to complementing any set of them.
PUBLISHED: Final[Mapping[int, int]] = {2: 7, 3: 46, 4: 4336}


def behaviours(switches: int) -> int:
    """Return how many ways one lamp can be dark or lit in all states, up to renaming positions.

    Every word over the 2^n states is turned into the smallest of the 2^n words that exchanging
    positions makes of it, and the different ones are counted.
    """
    states = 1 << switches
    words = np.arange(1 << states, dtype=np.int64)
    smallest = words.copy()
    for mask in range(1, states):
        turned = np.zeros_like(words)
        for state in range(states):
            turned |= (words >> (state ^ mask) & 1) << state
        np.minimum(smallest, turned, out=smallest)
    return len(np.unique(smallest))


@dataclass(frozen=True, slots=True)
class CountsAsPublished:
    """The claim that the kinds of behaviour number what the encyclopedia of sequences says."""

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Count the kinds of behaviour of every word of two to four switches."""
        del bench  # it counts words and needs no circuits
        counts = {switches: behaviours(switches) for switches in PUBLISHED}
        cases = sum(1 << (1 << switches) for switches in counts)
        wrong = [n for n, number in counts.items() if number != PUBLISHED[n]]
        told = (
            f"exhaustive over all {cases:,} of them: "
            f"{', '.join(f'{number:,}' for number in counts.values())} up to renaming positions, "
            f"{'not ' if wrong else ''}the terms of OEIS A000231 (read)"
        )
        sizes = ", ".join(map(str, counts))
        scope_words = f"every way in which one lamp can be dark or lit, with {sizes} switches"
        return ClaimAnswer("refuted" if wrong else "proved", scope_words, told, cases, len(wrong))


@dataclass(frozen=True, slots=True)
class AllKindsOccur:
    """The claim that every kind of behaviour is that of some single fault."""

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Collect the signatures of all single faults."""
        (switches,) = TWO.sizes
        total = behaviours(switches)
        found = {
            case.signature.word
            for study in bench.studies(TWO)
            for case in (study.intended, *study.cases(ALL_KINDS))
            if not case.trips and not case.odd
        }
        told = (
            f"exhaustive: {len(found)} of the {total} "
            f"kinds of behaviour occur ({', '.join(sorted(found))}; - dark, L lit)"
        )
        missing = total - len(found)
        return ClaimAnswer(
            "refuted" if missing else "proved", scope((TWO,), ALL_KINDS), told, total, missing
        )


@dataclass(frozen=True, slots=True)
class FourWayBetween:
    """The claim that a four-way is always between the travelers of the two three-ways.

    It is about every wiring that works: one side of the four-way is on the travelers of one
    three-way.
    """

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Go through every wiring of three locations, without boxes."""
        del bench  # the census searches by itself and needs no bench
        parts = parts_of(3)
        wirings = [w for _, found in search_batches(run_of(3).batches) for w in found.wirings]
        where = "every way to join the terminals of feed, lamp, two three-ways and a four-way"
        against = sum(not _is_between(parts.joins(wiring)) for wiring in wirings)
        told = (
            f"exhaustive over all {parts.wirings:,} (miswire census 3): {len(wirings)} never trip "
            f"and let every switch change the lamp in every state; {against} are against it"
        )
        return ClaimAnswer("refuted" if against else "proved", where, told, len(wirings), against)


def _is_between(joins: tuple[tuple[str, ...], ...]) -> bool:
    """Return True if a1 and a2 are on the travelers of one three-way, b1 and b2 of the other."""
    on: dict[str, set[str]] = {
        name: set(join) for join in joins for name in join if name.startswith("four-way")
    }
    beyond = []
    for side in ("a", "b"):
        pair = [on[f"four-way-1.{side}{number}"] for number in (1, 2)]
        travelers = [
            {name for name in join if name.startswith("three-way") and "traveler" in name}
            for join in pair
        ]
        if any(len(names) != 1 for names in travelers):
            return False
        beyond.append({name.partition(".")[0] for names in travelers for name in names})
    return all(len(names) == 1 for names in beyond) and beyond[0] != beyond[1]


def _screws_only(case: StudyCase) -> bool | None:
    """Say, if two screws of one switch changed places, whether the light is always on."""
    return case.lit == case.everything if any(exchanged_terminals(case)) else None


CLAIMS: Final = (
    Claim(
        "kinds-of-behaviour",
        _THEME,
        "How many kinds of misbehaviour can so many switches show? With two there are six.",
        "Up to renaming the positions of each switch, one lamp that is dark or lit can do 7, 46 "
        "and 4,336 things with two, three and four switches, one of them being what it should.",
        CountsAsPublished(),
    ),
    Claim(
        "every-kind-occurs",
        _THEME,
        "Whatever a light with two switches can do, one mistake can make it do.",
        "Each of the seven things that a lamp can do with two switches is what a circuit of two "
        "locations does as intended or with a single mistake.",
        AllKindsOccur(),
    ),
    Claim(
        "four-way-between-three-ways",
        _THEME,
        "Four-way switches must be between the three-ways.",
        "In every wiring of a feed, a lamp, two three-ways and a four-way in which every switch "
        "changes the lamp in every state, one side of the four-way is joined with both travelers "
        "of one three-way, the other side with those of the other.",
        FourWayBetween(),
    ),
    Claim(
        "screws-alone-keep-it-on",
        _THEME,
        "Misplaced screws alone can make a light that never goes off.",
        "Some exchange of two screws of one switch leaves the lamp lit in every state.",
        Some((TWO_AND_THREE,), _screws_only, ("exchanged",)),
    ),
)
