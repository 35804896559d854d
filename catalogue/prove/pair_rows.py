"""These rows are about two mistakes at once: counts of all pairs, and the pairs worth a look."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Final, NamedTuple

import numpy as np

from verify.behaviour.judgement import VERDICTS
from verify.circuit.model import Circuit
from verify.fault.contract import Fault
from verify.study.detection import changes_function, plan_flips
from verify.study.pairs.survey import OUTCOMES, PairSurvey, of_outcome, survey_pairs

#: Circuits with so many locations have all their pairs judged, or a sample of them.
ALL_PAIRS_AT: Final = 2
SAMPLED_AT: Final = 3
PAIRS_AT: Final = (ALL_PAIRS_AT, SAMPLED_AT)
_SAMPLE: Final = 1000
#: Pairs with these outcomes are stored one by one; the others are only counted.
TOLD: Final = ("hides-both", "hides-one", "makes-mimic", "breaks")


class PairRow(NamedTuple):
    """A pair worth a look: its faults by their places among those of the circuit."""

    one: int
    other: int
    outcome: str
    verdict: str
    hazard_set: int


@dataclass(frozen=True, slots=True)
class PairRows:
    """The pairs of one circuit.

    `counts` go by both kinds and the outcome; `shown` says for each state how many single faults
    and how many pairs do other than intended in it; `states_one` and `states_two` are the sizes of
    the smallest sets of states that detect every single fault, and every pair.
    """

    faults: int
    existing: int
    judged: int
    states_one: int
    states_two: int
    counts: Mapping[tuple[str, str, str], int]
    shown: Sequence[tuple[int, int]]
    told: Sequence[PairRow]


def pair_rows(circuit: Circuit, faults: Sequence[Fault]) -> PairRows:
    """Judge the pairs that `faults` of a circuit with `PAIRS_AT` locations make."""
    locations = len(circuit.switches)
    survey = survey_pairs(circuit, faults, _SAMPLE if locations == SAMPLED_AT else None)
    place = {fault.label: number for number, fault in enumerate(faults)}
    at = [place[fault.label] for fault in survey.faults]
    return PairRows(
        faults=len(survey.faults),
        existing=survey.existing,
        judged=len(survey),
        states_one=_states_needed(survey, single=True),
        states_two=_states_needed(survey, single=False),
        counts=_counts(survey),
        shown=_shown_by_state(survey),
        told=[
            PairRow(
                at[survey.first[row]],
                at[survey.second[row]],
                OUTCOMES[survey.outcome[row]],
                VERDICTS[survey.verdict[row]],
                int(survey.hazards[row]),
            )
            for row in of_outcome(survey, *TOLD)
        ],
    )


def _states_needed(survey: PairSurvey, *, single: bool) -> int:
    codes = survey.single_codes if single else survey.codes
    return len(plan_flips(codes, survey.intended, positions_known=True).states)


def _counts(survey: PairSurvey) -> dict[tuple[str, str, str], int]:
    kinds = list(dict.fromkeys(fault.kind for fault in survey.faults))
    number = np.array([kinds.index(fault.kind) for fault in survey.faults], np.intp)
    # Faults are listed kind by kind, so of the two the kind listed first comes first.
    keys = (number[survey.first] * len(kinds) + number[survey.second]) * len(OUTCOMES)
    counted = Counter(dict(zip(*np.unique(keys + survey.outcome, return_counts=True), strict=True)))
    return {
        (
            kinds[key // len(OUTCOMES) // len(kinds)],
            kinds[key // len(OUTCOMES) % len(kinds)],
            OUTCOMES[key % len(OUTCOMES)],
        ): int(count)
        for key, count in counted.items()
    }


def _shown_by_state(survey: PairSurvey) -> list[tuple[int, int]]:
    """Count, for each state, the single faults and pairs that it shows to change the function."""
    columns = [
        (codes[changes_function(codes, survey.intended)] != survey.intended).sum(axis=0).tolist()
        for codes in (survey.single_codes, survey.codes)
    ]
    return list(zip(*columns, strict=True))


def write_pairs(
    connection: Connection,
    circuit_id: int,
    first_fault: int,
    rows: PairRows,
    ids: Mapping[str, Mapping[str, int]],
) -> None:
    """Store the pairs of a circuit whose faults have the ids from `first_fault` on.

    `ids` maps tables and names of the vocabulary to ids.
    """
    kinds, verdicts = ids["fault_kind"], ids["verdict"]
    connection.execute(
        "insert into pair_set (id, faults, existing, judged, states_one, states_two)"
        " values (?,?,?,?,?,?)",
        (
            circuit_id,
            rows.faults,
            rows.existing,
            rows.judged,
            rows.states_one,
            rows.states_two,
        ),
    )
    connection.executemany(
        "insert into pair_count (circuit_id, kind_id, other_id, outcome, pairs) values (?,?,?,?,?)",
        [
            (circuit_id, kinds[one], kinds[other], outcome, number)
            for (one, other, outcome), number in rows.counts.items()
        ],
    )
    connection.executemany(
        "insert into pair_state (circuit_id, state, faults, pairs) values (?,?,?,?)",
        [(circuit_id, state, *numbers) for state, numbers in enumerate(rows.shown)],
    )
    connection.executemany(
        "insert into pair (fault_id, other_id, outcome, verdict_id, hazard_set) values (?,?,?,?,?)",
        [
            (
                first_fault + row.one,
                first_fault + row.other,
                row.outcome,
                verdicts[row.verdict],
                row.hazard_set,
            )
            for row in rows.told
        ],
    )
