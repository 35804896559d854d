"""A summary keeps counts in place of rows, for sizes whose faults are too many for one file.

Faults that a person cannot tell apart, by name, by what the light does and by their hazards, are
one row with their number and an example. Full rows would give the same counts.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Final, NamedTuple

import numpy as np

from catalogue.prove.build_plan import CircuitBatch, PlannedCircuit, Spec
from catalogue.prove.cache import ProvingCache, thread_cache
from catalogue.prove.grouping import Numbers, group_alike, interned
from catalogue.prove.proving import as_version
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Site
from verify.fault.registry import fault_kind, fault_kinds
from verify.sweep.listing import sites_of


class Alike(NamedTuple):
    """The facts that faults of one row have in common; bit i of `hazard_set` is hazard i + 1."""

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
    """How many faults are alike, in how many circuits, and the label of an example.

    The example is the first listed one of the circuit with the smallest label.
    """

    faults: int
    circuits: int
    example: str


Summary = dict[Alike, Counted]


def summarize(specs: Sequence[Spec]) -> Summary:
    """Count the single faults of some circuits."""
    cache = thread_cache()
    in_order = sorted((spec.build() for spec in specs), key=lambda planned: planned.label)
    judged = [_Judged.of(cache, planned) for planned in in_order]
    # Things that a person cannot tell apart get one number.
    names = interned(name for name, _ in cache.families.names)
    looks = interned(row.look for row in cache.rows)
    kinds = [kind.name for kind in fault_kinds()]
    total: Summary = {}
    for head in dict.fromkeys(each.head for each in judged):
        circuits = [each for each in judged if each.head == head]
        groups = group_alike([each.keys(names, looks) for each in circuits])
        sites: dict[tuple[int, str], list[Site]] = {}
        columns = (groups.faults, groups.circuits, groups.circuit, groups.place)
        for faults, number, circuit, place in zip(*(c.tolist() for c in columns), strict=True):
            one = circuits[circuit]
            found = cache.rows[one.row[place]]
            kind, (name, _) = kinds[one.kind[place]], cache.families.names[one.family[place]]
            if (circuit, kind) not in sites:
                sites[circuit, kind] = sites_of(fault_kind(kind), one.wiring)
            site = ",".join(sites[circuit, kind][one.site[place]])
            alike = Alike(*head, kind, name, found.verdict, found.word, found.hazard_set)
            total[alike] = Counted(faults, number, f"{one.label}/{kind}/{site}")
    return total


def summarize_as(versions: tuple[int, int, str, str], batch: CircuitBatch) -> Summary:
    """Count the faults of a batch; see `catalogue.prove.proving.as_version`."""
    as_version(versions)
    return summarize(batch.specs)


@dataclass(frozen=True, slots=True)
class _Judged:
    """A circuit and the outcomes of its faults; `family` and `row` are numbers of the cache.

    `head` is what it has in common with other circuits: locations, lamps, scheme.
    """

    label: str
    head: tuple[int, int, str]
    wiring: NumberedCircuit
    kind: Numbers
    site: Numbers
    family: Numbers
    row: Numbers

    @classmethod
    def of(cls, cache: ProvingCache, planned: PlannedCircuit) -> "_Judged":
        """Judge a planned circuit."""
        circuit = planned.circuit
        judged = cache.bulk.judge(circuit)
        listing = judged.listing
        return cls(
            planned.label,
            (len(circuit.switches), len(circuit.lamps), planned.scheme),
            listing.wiring,
            listing.kind.astype(np.int64),
            listing.site.astype(np.int64),
            cache.families.of(listing),
            cache.row_of(judged),
        )

    def keys(self, names: Numbers, looks: Numbers) -> Numbers:
        """Return a number for each fault; faults that are alike have equal ones."""
        named = self.kind * (int(names.max()) + 1) + names[self.family]
        return named * (int(looks.max()) + 1) + looks[self.row]


def write_summary(
    connection: Connection, summary: Summary, ids: Callable[[Alike], tuple[int, ...]]
) -> None:
    """Add the counts of a batch; `ids` gives the kind, family, verdict and signature of a row."""
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


#: A row that exists already gets the sums.
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
