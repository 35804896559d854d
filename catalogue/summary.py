"""Counts in place of rows: what is kept of sizes whose single faults are too many for one file.

Faults that a person cannot tell apart, by name, by what the light does and by their hazards, are
one row with their number and an example. It is the same count that full rows would give.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from sqlite3 import Connection
from typing import Final, NamedTuple

import numpy as np

from catalogue.memory import Memory, memory
from catalogue.plan import Batch, PlannedCircuit, Spec
from catalogue.prove import as_version
from verify.bulk.listing import sites_of
from verify.change import Wiring
from verify.faults import Site, fault_kind, fault_kinds


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


@dataclass(frozen=True, slots=True)
class Counted:
    """How many faults are alike, in how many circuits, and an example of them by label.

    It is the first listed of the circuit with the smallest label.
    """

    faults: int
    circuits: int
    example: str


Summary = dict[Alike, Counted]


def summarize(specs: Sequence[Spec]) -> Summary:
    """The single faults of some circuits, counted."""
    total: dict[Alike, _Found] = {}
    known = memory()
    for spec in specs:
        for alike, found in _of_circuit(known, spec.build()):
            if alike in total:
                total[alike] = total[alike].with_others(found)
            else:
                total[alike] = found
    return {alike: found.counted() for alike, found in total.items()}


def summarize_as(versions: tuple[int, int, str, str], batch: Batch) -> Summary:
    """The faults of a batch, counted; see `catalogue.prove.as_version`."""
    as_version(versions)
    return summarize(batch.specs)


class _Found(NamedTuple):
    """Faults that are alike; the example is a place among the sites of its kind in a circuit."""

    faults: int
    circuits: int
    label: str
    kind: str
    site: int
    wiring: Wiring

    def with_others(self, other: "_Found") -> "_Found":
        """With those of another circuit; the example is of the circuit with the smaller label."""
        first = min(self, other, key=lambda found: found.label)
        return first._replace(
            faults=self.faults + other.faults, circuits=self.circuits + other.circuits
        )

    def counted(self) -> Counted:
        """The same with the label of the example."""
        site = ",".join(_sites(self.wiring, self.kind)[self.site])
        return Counted(self.faults, self.circuits, f"{self.label}/{self.kind}/{site}")


@lru_cache(maxsize=64)
def _sites(wiring: Wiring, kind: str) -> list[Site]:
    return sites_of(fault_kind(kind), wiring)


def _of_circuit(known: Memory, planned: PlannedCircuit) -> Iterator[tuple[Alike, _Found]]:
    """The faults of a circuit that are alike, with the first of each in the order of listing."""
    circuit = planned.circuit
    judged = known.bulk.judge(circuit)
    listing = judged.listing
    names = known.families.names
    kinds = [kind.name for kind in fault_kinds()]
    family, outcome = known.families.of(listing), known.row_of(judged)
    alike: dict[Alike, list[int]] = {}
    keys = (listing.kind * np.int64(len(names)) + family) * len(known.rows) + outcome
    _, first, faults = np.unique(keys, return_index=True, return_counts=True)
    columns = (listing.kind[first], family[first], outcome[first], first, faults)
    for kind, family_of, found_of, row, count in zip(*(c.tolist() for c in columns), strict=True):
        found = known.rows[found_of]
        key = Alike(
            len(circuit.switches),
            len(circuit.lamps),
            planned.scheme,
            kinds[kind],
            names[family_of][0],
            found.verdict,
            found.word,
            found.hazard_set,
        )
        counted = alike.setdefault(key, [0, row])
        counted[0] += count
        counted[1] = min(counted[1], row)
    for key, (count, row) in alike.items():
        site = int(listing.site[row])
        yield key, _Found(count, 1, planned.label, key.kind, site, listing.wiring)


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
