"""Judges all pairs of single faults of a circuit, or a seeded sample of them.

It says what each pair does and what it hides. Connections decide (*words*); volts are not computed
for pairs.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.judgement import MIMIC, SOUND
from verify.behaviour.signature import Codes
from verify.circuit.model import Circuit
from verify.engine.words import WordsEngine
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.study.pairs.compose import Rows, Singles
from verify.study.pairs.pairing import PAIRED_KINDS, existing_pairs
from verify.verdict.judging import NONE, Numbers, verdicts, why_unprovable

#: Raised whenever pairs or their outcomes may change.
VERSION: Final = 1

#: The outcomes of two mistakes; a mistake shows if alone it breaks any-location control.
OUTCOMES: Final = (
    "hides-both",
    "hides-one",
    "makes-mimic",
    "breaks",
    "shows",
    "stays",
)
MEANINGS: Final = {
    "hides-both": "Each alone shows, and together every flip works.",
    "hides-one": "One alone shows, and with the other, which does not, every flip works.",
    "makes-mimic": "Each alone is harmless, and together they are a mimic.",
    "breaks": "Neither alone shows, and together they do.",
    "shows": "One alone shows, or both, and so they do together.",
    "stays": "Neither alone shows, nor do they together.",
}

#: Pairs judged in one call, which bounds the memory used.
_AT_ONCE: Final = 65_536

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PairSurvey:
    """The pairs of one circuit that were judged; shapes begin (pairs,) unless they say otherwise.

    - `faults`: the single faults of which pairs are made; `single`: the verdict on each, (faults,)
    - `existing`: how many pairs there are; `first`, `second`: those judged, as places in `faults`
    - `verdict`: index into `VERDICTS`; `outcome`: index into `OUTCOMES`
    - `hazards`: a number whose bit i is set when hazard i of `HAZARDS` holds in some state
    - `codes` (pairs, states), `single_codes` (faults, states), `intended` (states,): the packed
      outcomes of the pairs, of the single faults and of the circuit without a fault, see
      `verify.behaviour.signature`
    """

    faults: tuple[Fault, ...]
    existing: int
    first: Rows
    second: Rows
    single: Numbers
    verdict: Numbers
    outcome: Numbers
    hazards: Numbers
    codes: Codes
    single_codes: Codes
    intended: Codes

    def __len__(self) -> int:
        return len(self.first)

    @property
    def is_complete(self) -> bool:
        """True if every pair was judged."""
        return len(self) == self.existing


def survey_pairs(circuit: Circuit, faults: Sequence[Fault], most: int | None = None) -> PairSurvey:
    """Judge the pairs that `faults` of a circuit make; with `most` a sample of that many.

    The sample is the same on every machine. Raises ValueError if *words* cannot judge the circuit.
    """
    engine = WordsEngine()
    reason = why_unprovable(circuit, engine)
    if reason:
        raise ValueError(reason)
    chosen = tuple(fault for fault in faults if fault.kind in PAIRED_KINDS)
    first, second = np.nonzero(np.triu(existing_pairs(NumberedCircuit(circuit), chosen)))
    existing = len(first)
    if most is not None and most < existing:
        rows = _sampled_pairs(existing, most)
        first, second = first[rows], second[rows]
    singles = Singles(circuit, chosen)
    # The first row is the circuit without a fault.
    alone = verdicts(engine.observe_batch(singles.alone))
    single, intended = alone.verdict[1:], alone.codes[0]
    verdict, hazards, codes = [single[:0]], [single[:0]], [alone.codes[:0]]
    for start in range(0, len(first), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        found = verdicts(engine.observe_batch(singles.together(first[part], second[part])))
        verdict.append(found.verdict)
        hazards.append(_hazard_sets(found.hazard_state))
        codes.append(found.codes)
    together = np.concatenate(verdict)
    return PairSurvey(
        faults=chosen,
        existing=existing,
        first=first,
        second=second,
        single=single,
        verdict=together,
        outcome=_outcomes(single[first], single[second], together),
        hazards=np.concatenate(hazards),
        codes=np.concatenate(codes),
        single_codes=alone.codes[1:],
        intended=intended,
    )


def _sampled_pairs(existing: int, most: int) -> Rows:
    """Return `most` different numbers below `existing`, in order."""
    draw = random.Random(0)
    rows: set[int] = set()
    while len(rows) < most:
        rows.add(int(draw.random() * existing))
    return np.array(sorted(rows), np.intp)


def _hazard_sets(hazard_state: Numbers) -> Numbers:
    bits = np.left_shift(1, np.arange(hazard_state.shape[1], dtype=np.int32))
    sets: Numbers = ((hazard_state != NONE) * bits).sum(axis=1, dtype=np.int32)
    return sets


def _outcomes(one: Numbers, other: Numbers, together: Numbers) -> Numbers:
    one_shows, other_shows, show = one > MIMIC, other > MIMIC, together > MIMIC
    harmless = (one == SOUND) & (other == SOUND)
    conditions = [
        one_shows & other_shows & ~show,
        (one_shows ^ other_shows) & ~show,
        harmless & (together == MIMIC),
        ~one_shows & ~other_shows & show,
        show,
    ]
    outcome: Numbers = np.select(conditions, list(range(5)), len(OUTCOMES) - 1).astype(np.int32)
    return outcome


def of_outcome(survey: PairSurvey, *names: str) -> Iterator[int]:
    """Yield the places in a survey of the pairs with one of these outcomes, in order."""
    wanted = [OUTCOMES.index(name) for name in names]
    yield from np.flatnonzero(np.isin(survey.outcome, wanted)).tolist()
