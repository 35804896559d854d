"""Stored pairs of mistakes are proved again here: each mistake alone, and both together.

Connections decide, as they did when the pairs were stored, but by the engine that traces paths.
"""

import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from sqlite_utils import Database

from verify.behaviour.judgement import Judgement
from verify.circuit.model import Circuit
from verify.engine.paths import PathsEngine
from verify.fault.contract import Fault
from verify.hazard.definitions import HAZARD_NAMES
from verify.study.pairs.compose import both_made
from verify.verdict.judging import judge

#: A pair is named by the ids of its two faults.
Pair = tuple[int, int]

_PAIRS: Final = """
select circuit.id, pair.fault_id, pair.other_id
from pair join fault on fault.id = fault_id join circuit on circuit.id = circuit_id
order by circuit.label, pair.fault_id, pair.other_id
"""
_STORED: Final = """
select outcome, verdict.name, hazard_set,
       one_kind.name || '/' || fault_at(label, file, one_kind.name, one.site),
       other_kind.name || '/' || fault_at(label, file, other_kind.name, other.site)
from pair join verdict on verdict.id = pair.verdict_id
join fault as one on one.id = fault_id join fault_kind as one_kind on one_kind.id = one.kind_id
join fault as other on other.id = other_id
join fault_kind as other_kind on other_kind.id = other.kind_id
join circuit on circuit.id = one.circuit_id
where fault_id = ? and other_id = ?
"""


def choose_pairs(db: Database, sample: int, seed: int) -> Mapping[int, list[Pair]]:
    """Return so many stored pairs, or all, by circuit; the choice does not depend on their ids."""
    rows = db.conn.execute(_PAIRS).fetchall() if sample else []
    chosen: dict[int, list[Pair]] = {}
    for number in sorted(random.Random(seed).sample(range(len(rows)), min(sample, len(rows)))):
        circuit_id, *pair = rows[number]
        chosen.setdefault(circuit_id, []).append((pair[0], pair[1]))
    return chosen


def wrong_pairs(
    db: Database, circuit: Circuit, faults: Mapping[str, Fault], pairs: Sequence[Pair]
) -> Iterator[tuple[str, str, str]]:
    """Yield label, stored outcome and found outcome of each pair that does not come out as stored.

    `faults` maps labels to the faults of the circuit.
    """
    engine = PathsEngine()
    for pair in pairs:
        outcome, verdict, hazard_set, *labels = db.conn.execute(_STORED, pair).fetchone()
        held = [name for bit, name in enumerate(HAZARD_NAMES) if hazard_set >> bit & 1]
        stored, label = _comparable_text(outcome, verdict, held), " with ".join(labels)
        if not set(labels) <= faults.keys():
            yield label, stored, "no such faults"
            continue
        one, other = (faults[each] for each in labels)
        alone = [judge(fault.apply(circuit), engine) for fault in (one, other)]
        both = judge(both_made(circuit, one, other), engine)
        names = [name for name, _ in both.hazard_states]
        found = _comparable_text(_becomes(alone, both), both.verdict, names)
        if found != stored:
            yield label, stored, found


def _becomes(alone: Sequence[Judgement], both: Judgement) -> str:
    """Return the outcome of two mistakes together, given what they do alone and together."""
    showing = sum(not each.any_location for each in alone)
    if not both.any_location:
        return "shows" if showing else "breaks"
    if showing:
        return "hides-both" if showing == len(alone) else "hides-one"
    harmless = all(each.verdict == "sound" for each in alone)
    return "makes-mimic" if harmless and both.verdict == "mimic" else "stays"


def _comparable_text(outcome: str, verdict: str, hazards: Sequence[str]) -> str:
    """Return in one text everything that must come out the same."""
    return f"{outcome} {verdict} hazards: {', '.join(hazards) or 'none'}"
