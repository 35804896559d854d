"""The rows of a batch into a catalogue."""

from collections.abc import Iterator
from typing import Final

import numpy as np
from sqlite_utils import Database

from catalogue.flips import write_flips
from catalogue.numbers import Numbers
from catalogue.pairs import write_pairs
from catalogue.plan import Batch
from catalogue.prove import CircuitRows, Proved
from verify.faults import fault_kinds
from verify.verdict import VERDICTS

_INSERT_FAULT: Final = """
insert into fault (id, circuit_id, kind_id, family_id, site, outcome_id) values (?,?,?,?,?,?)
"""
#: More faults of the same looks are counted in.
_COUNT_IN: Final = """
insert into profile (origin, locations, scheme, kind_id, family_id, verdict_id, signature_id,
                     hazard_set, faults, circuits, example_id)
values (?,?,?,?,?,?,?,?,?,?,?)
on conflict (origin, locations, scheme, kind_id, family_id, verdict_id, signature_id, hazard_set)
do update set faults = faults + excluded.faults, circuits = circuits + excluded.circuits,
              example_id = min(example_id, excluded.example_id)
"""


def write_batch(db: Database, batch: Batch, proved: Proved, numbers: Numbers) -> None:
    """Store what was proved of a batch, within a transaction."""
    _Writing(db, proved, numbers).write(batch)


class _Writing:
    def __init__(self, db: Database, proved: Proved, numbers: Numbers) -> None:
        self.db, self.proved, self.numbers = db, proved, numbers
        outcomes = self.outcomes = list(proved.outcomes.values())
        self.kind = np.array([numbers.of["fault_kind"][kind.name] for kind in fault_kinds()])
        self.family = np.array([numbers.family(*family) for family in proved.families])
        self.outcome = np.array([numbers.outcome(*marked) for marked in proved.outcomes.items()])
        self.verdict = np.array([numbers.of["verdict"][row.verdict] for row in outcomes])
        self.signature = np.array([numbers.signature(row.word, row.lamps) for row in outcomes])

    def write(self, batch: Batch) -> None:
        query = "select coalesce(max(id), 0) + 1 from fault"
        (first,) = self.db.conn.execute(query).fetchone()
        starts = []
        for circuit in self.proved.circuits:
            starts.append(first)
            circuit_id = self._circuit(batch, circuit)
            self._faults(circuit_id, first, circuit)
            write_flips(self.db.conn, circuit_id, circuit.flips)
            if circuit.pairs is not None:
                write_pairs(self.db.conn, circuit_id, first, circuit.pairs, self.numbers.of)
            first += len(circuit.faults)
        if starts:
            self.db.conn.executemany(_COUNT_IN, self._profile(starts))

    def _circuit(self, batch: Batch, rows: CircuitRows) -> int:
        verdicts = dict(zip(VERDICTS, rows.verdicts, strict=True))
        circuit = self.db.table("circuit").insert(
            {
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
        )
        return int(str(circuit.last_pk))

    def _faults(self, circuit_id: int, first: int, circuit: CircuitRows) -> None:
        faults = circuit.faults
        count = len(faults)
        columns = (
            range(first, first + count),
            [circuit_id] * count,
            self.kind[faults.kind].tolist(),
            self.family[faults.family].tolist(),
            faults.site.tolist(),
            self.outcome[faults.outcome].tolist(),
        )
        self.db.conn.executemany(_INSERT_FAULT, zip(*columns, strict=True))

    def _profile(self, starts: list[int]) -> Iterator[tuple[object, ...]]:
        """The rows of the profile; `starts` are the numbers of each circuit's first fault."""
        one = self.proved.circuits[0]
        for row in self.proved.profile:
            yield (
                one.origin,
                one.locations,
                one.scheme,
                int(self.kind[row.kind]),
                int(self.family[row.family]),
                int(self.verdict[row.outcome]),
                int(self.signature[row.outcome]),
                self.outcomes[row.outcome].hazard_set,
                row.faults,
                row.circuits,
                starts[row.circuit] + row.fault,
            )
