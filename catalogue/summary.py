"""Counts in place of rows: what is kept of sizes whose single faults are too many for one file.

Faults that a person cannot tell apart, by name, by what the light does and by their hazards, are
one row with their number and an example. It is the same count that full rows would give.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Final, NamedTuple

import numpy as np

from catalogue.plan import Batch, Spec
from catalogue.prove import as_version, words_of
from verify.engines.volts import engine_for
from verify.families import Roles, family
from verify.faults import all_faults
from verify.hazards import HAZARD_NAMES
from verify.verdict import NONE, VERDICTS, judge_faults


class Alike(NamedTuple):
    """What faults of one row have in common; bit i of `hazard_set` is that of hazard i + 1."""

    locations: int
    lamps: int
    scheme: str
    kind: str
    family: str
    verdict: str
    word: str
    hazard_set: int


@dataclass(slots=True)
class Counted:
    """How many faults are alike, in how many circuits, and the first of them by label."""

    faults: int
    circuits: int
    example: str

    def add(self, other: "Counted") -> None:
        """Count the faults of other circuits in."""
        self.faults += other.faults
        self.circuits += other.circuits
        self.example = min(self.example, other.example)


Summary = dict[Alike, Counted]


def summarize(specs: Sequence[Spec]) -> Summary:
    """The single faults of some circuits, counted."""
    total: Summary = {}
    for spec in specs:
        merge_into(total, _of_circuit(spec))
    return total


def summarize_as(versions: tuple[int, int, str, str], batch: Batch) -> Summary:
    """The faults of a batch, counted; see `catalogue.prove.as_version`."""
    as_version(versions)
    return summarize(batch.specs)


def merge_into(total: Summary, more: Summary) -> None:
    """Count in what was counted of other circuits."""
    for alike, counted in more.items():
        if alike in total:
            total[alike].add(counted)
        else:
            total[alike] = counted


def _of_circuit(spec: Spec) -> Summary:
    planned = spec.build()
    circuit = planned.circuit
    every = all_faults(circuit)
    roles = Roles(circuit)
    bits = 1 << np.arange(len(HAZARD_NAMES))
    found: Summary = {}
    for faults, _, verdicts in judge_faults(circuit, every, engine_for(circuit, len(every))):
        columns: Iterable[tuple[int, str, int]] = zip(
            verdicts.verdict.tolist(),
            words_of(verdicts, len(circuit.lamps)),
            ((verdicts.hazard_state != NONE) @ bits).tolist(),
            strict=True,
        )
        for fault, (verdict, word, hazard_set) in zip(faults, columns, strict=True):
            alike = Alike(
                len(circuit.switches),
                len(circuit.lamps),
                planned.scheme,
                fault.kind,
                family(roles, fault),
                VERDICTS[verdict],
                word,
                hazard_set,
            )
            label = f"{planned.label}/{fault.label}"
            if alike in found:
                found[alike].faults += 1
                found[alike].example = min(found[alike].example, label)
            else:
                found[alike] = Counted(1, 1, label)
    return found


def write_summary(
    connection: Connection, summary: Summary, ids: Callable[[Alike], tuple[int, ...]]
) -> None:
    """Count a batch in; `ids` gives kind, family, verdict and signature of a row."""
    connection.executemany(
        _INSERT,
        [
            (
                alike.locations,
                alike.lamps,
                alike.scheme,
                *ids(alike),
                alike.hazard_set,
                counted.faults,
                counted.circuits,
                counted.example,
            )
            for alike, counted in sorted(summary.items())
        ],
    )


#: What becomes of a row that is there already.
COUNT_IN: Final = """
do update set faults = faults + excluded.faults, circuits = circuits + excluded.circuits,
              example = min(example, excluded.example)
"""
_INSERT: Final = f"""
insert into summary (locations, lamps, scheme, kind_id, family_id, verdict_id, signature_id,
                     hazard_set, faults, circuits, example)
values (?,?,?,?,?,?,?,?,?,?,?)
on conflict (locations, lamps, scheme, kind_id, family_id, verdict_id, signature_id, hazard_set)
{COUNT_IN}
"""
