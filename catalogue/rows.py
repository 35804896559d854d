"""The rows of a batch into a catalogue."""

import itertools
from collections.abc import Iterator
from typing import Final

import numpy as np
from sqlite_utils import Database

from catalogue.flips import write_flips
from catalogue.numbers import Numbers
from catalogue.pairs import write_pairs
from catalogue.plan import Batch
from catalogue.prove import CircuitRows, Proved
from catalogue.tables import TABLE
from verify.faults import fault_kinds
from verify.verdict import VERDICTS

_CIRCUIT: Final = [column.name for column in TABLE["circuit"].columns]
_INSERT_CIRCUIT: Final = (
    f"insert into circuit ({', '.join(_CIRCUIT)})"
    f" values ({', '.join(f':{name}' for name in _CIRCUIT)})"
)
_FAULT: Final = ("circuit_id", "id", "kind_id", "family_id", "site", "outcome_id")
#: Faults that one statement stores: SQLite takes longer to begin a statement than to store a row.
_AT_ONCE: Final = 300


def _insert_faults(count: int) -> str:
    """The statement that stores so many faults."""
    row = f"({','.join('?' * len(_FAULT))})"
    return f"insert into fault ({', '.join(_FAULT)}) values {','.join([row] * count)}"


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
        values = list(
            itertools.chain.from_iterable(
                itertools.chain.from_iterable(itertools.starmap(self._faults, numbered))
            )
        )
        size = _AT_ONCE * len(_FAULT)
        whole = len(values) // size * size
        parts = (values[at : at + size] for at in range(0, whole, size))
        self.db.conn.executemany(_insert_faults(_AT_ONCE), parts)
        if rest := values[whole:]:
            self.db.conn.execute(_insert_faults(len(rest) // len(_FAULT)), rest)
        for number, start, circuit in numbered:
            write_flips(self.db.conn, number, circuit.flips)
            if circuit.pairs is not None:
                write_pairs(self.db.conn, number, start, circuit.pairs, self.numbers.of)
        if circuits:
            self.db.conn.executemany(_COUNT_IN, self._profile(starts))

    def _circuit(self, batch: Batch, number: int, rows: CircuitRows) -> dict[str, object]:
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

    def _faults(self, number: int, start: int, circuit: CircuitRows) -> Iterator[tuple[int, ...]]:
        faults = circuit.faults
        return zip(
            itertools.repeat(number, len(faults)),
            range(start, start + len(faults)),
            self.kind[faults.kind].tolist(),
            self.family[faults.family].tolist(),
            faults.site.tolist(),
            self.outcome[faults.outcome].tolist(),
            strict=True,
        )

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
