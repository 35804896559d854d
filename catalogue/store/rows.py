"""The rows of a batch are written into a catalogue here."""

import itertools
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

import numpy as np
from sqlite_utils import Database

from catalogue.prove.build_plan import CircuitBatch
from catalogue.prove.flip_rows import write_flips
from catalogue.prove.pair_rows import write_pairs
from catalogue.prove.proving import CircuitRows, FaultRows, Proved
from catalogue.store.interning import InternedIds
from catalogue.store.tables import TABLE
from verify.behaviour.judgement import VERDICTS
from verify.fault.registry import fault_kinds

_CIRCUIT: Final = [column.name for column in TABLE["circuit"].columns]
_INSERT_CIRCUIT: Final = (
    f"insert into circuit ({', '.join(_CIRCUIT)})"
    f" values ({', '.join(f':{name}' for name in _CIRCUIT)})"
)
_FAULT: Final = ("circuit_id", "kind_id", "family_id", "site", "outcome_id")
#: One statement stores so many faults: to begin one takes SQLite longer than to store a row.
_AT_ONCE: Final = 100


@lru_cache(maxsize=2 * _AT_ONCE)
def _insert_faults(count: int) -> str:
    """Return the statement that stores so many faults of one circuit, whose id comes first."""
    row = f"(?1{',?' * (len(_FAULT) - 1)})"
    return f"insert into fault ({', '.join(_FAULT)}) values {','.join([row] * count)}"


#: This adds the counts of faults to a row that exists for faults that look the same.
_COUNT_IN: Final = """
insert into profile (origin, locations, scheme, kind_id, family_id, verdict_id, signature_id,
                     hazard_set, faults, circuits, example_id)
values (?,?,?,?,?,?,?,?,?,?,?)
on conflict (origin, locations, scheme, kind_id, family_id, verdict_id, signature_id, hazard_set)
do update set faults = faults + excluded.faults, circuits = circuits + excluded.circuits,
              example_id = min(example_id, excluded.example_id)
"""


def write_batch(db: Database, batch: CircuitBatch, proved: Proved, numbers: InternedIds) -> None:
    """Store what was proved of a batch, within a transaction."""
    _Writing(db, proved, numbers).write(batch)


class _Writing:
    def __init__(self, db: Database, proved: Proved, numbers: InternedIds) -> None:
        self.db, self.proved, self.numbers = db, proved, numbers
        outcomes = proved.outcomes.values()
        self.kind = np.array([numbers.of["fault_kind"][kind.name] for kind in fault_kinds()])
        self.family = np.array([numbers.family(*family) for family in proved.families])
        self.outcome = np.array([numbers.outcome(*marked) for marked in proved.outcomes.items()])
        self.verdict = np.array([numbers.of["verdict"][row.verdict] for row in outcomes])
        self.hazard_set = np.array([row.hazard_set for row in outcomes])
        self.signature = np.array([numbers.signature(row.word, row.lamps) for row in outcomes])

    def write(self, batch: CircuitBatch) -> None:
        execute = self.db.conn.execute
        circuits = self.proved.circuits
        first_id, first = (
            int(execute(f"select coalesce(max(id), 0) + 1 from {table}").fetchone()[0])
            for table in ("circuit", "fault")
        )
        starts = [first]
        for circuit in circuits:
            starts.append(starts[-1] + len(circuit.faults))
        numbered = list(zip(itertools.count(first_id), starts, circuits, strict=False))
        self.db.conn.executemany(
            _INSERT_CIRCUIT,
            [self._circuit(batch, number, circuit) for number, _, circuit in numbered],
        )
        for number, start, circuit in numbered:
            self._write_faults(number, circuit.faults)
            write_flips(self.db.conn, number, circuit.flips)
            if circuit.pairs is not None:
                write_pairs(self.db.conn, number, start, circuit.pairs, self.numbers.of)
        if circuits:
            self.db.conn.executemany(_COUNT_IN, self._profile(first))

    def _circuit(self, batch: CircuitBatch, number: int, rows: CircuitRows) -> dict[str, object]:
        verdicts = dict(zip(VERDICTS, rows.verdicts, strict=True))
        return {
            "id": number,
            "label": rows.label,
            "name": rows.name,
            "origin": rows.origin,
            "scheme": rows.scheme,
            "locations": rows.locations,
            "lamps": rows.lamps,
            "boxes": rows.boxes,
            "verdict_id": self.numbers.of["verdict"][rows.verdict],
            "signature_id": self.numbers.signature(rows.word, rows.lamps),
            "faults": len(rows.faults),
            "file": rows.file,
            "work_id": batch.id,
            "engine": rows.engine,
            "sound": verdicts["sound"],
            "mimics": verdicts["mimic"],
            "misbehaving": verdicts["misbehaves"],
            "tripping": verdicts["trips"],
            "digest": rows.digest,
        }

    def _write_faults(self, number: int, faults: FaultRows) -> None:
        """Store the faults of circuit `number`; SQLite gives them the ids after the last."""
        rows = np.stack(
            (
                self.kind[faults.kind],
                self.family[faults.family],
                faults.site,
                self.outcome[faults.outcome],
            ),
            1,
        )
        values = rows.ravel().tolist()
        size = _AT_ONCE * rows.shape[1]
        for at in range(0, len(values), size):
            part = values[at : at + size]
            self.db.conn.execute(_insert_faults(len(part) // rows.shape[1]), [number, *part])

    def _profile(self, first_fault: int) -> Iterator[tuple[object, ...]]:
        """Yield the rows of the profile; `first_fault` is the id of the batch's first fault."""
        one, profile = self.proved.circuits[0], self.proved.profile
        columns = (
            self.kind[profile.kind],
            self.family[profile.family],
            self.verdict[profile.outcome],
            self.signature[profile.outcome],
            self.hazard_set[profile.outcome],
            profile.faults,
            profile.circuits,
            first_fault + profile.first,
        )
        rows = zip(*(column.tolist() for column in columns), strict=True)
        return ((one.origin, one.locations, one.scheme, *row) for row in rows)
