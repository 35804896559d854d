"""Rows into a catalogue and their digest; the only code that writes one.

A batch is written in one transaction together with the note that it is done, so that a build
killed at any moment has each batch whole or not at all.
"""

import itertools
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping
from contextlib import closing
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Final

import sqlite_utils

import catalogue
from catalogue.contents import PROFILE, SCOPE, digest_of
from catalogue.flips import write_flips
from catalogue.pairs import drop_pairs, write_pairs
from catalogue.plan import Batch, Plan, engine_version, fault_kind_versions
from catalogue.prove import CircuitRows
from catalogue.schema import migrations, open_catalogue
from catalogue.summary import Alike, Summary, write_summary
from catalogue.tables import TABLES
from catalogue.terms import terms
from verify.faults import fault_kinds
from verify.hazards import HAZARDS
from verify.naming import signature_name
from verify.problems import Problem, UserError
from verify.signature import Signature
from verify.verdict import VERDICTS

_MEANINGS: Final = {
    "sound": "Every flip of every switch changes every lamp, and there is no hazard.",
    "mimic": "Every flip of every switch changes every lamp, and yet there is a hazard.",
    "misbehaves": "In some state some switch does not change some lamp.",
    "trips": "In some state the feed's line is connected to its neutral or ground, or a breaker "
    "carries too much.",
    "undecided": "No engine could prove it.",
}


def now() -> str:
    """The time in UTC to the second, as rows hold it."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M:%S")


def require_catalogue(path: Path) -> None:
    """Raise UserError unless `path` is a catalogue with the tables of this version."""
    if not path.is_file():
        raise UserError([Problem(str(path), "there is no such file; make one with: miswire build")])
    require_no_stranger(path)
    with closing(sqlite_utils.Database(path)) as db:
        if migrations.pending(db):
            raise UserError(
                [
                    Problem(
                        str(path),
                        "was made by an older version; repeat the miswire build that made it",
                    )
                ]
            )


def require_no_stranger(path: Path) -> None:
    """Raise UserError if `path` exists and is not a catalogue, or cannot be made."""
    if not path.exists():
        if not path.absolute().parent.is_dir():
            raise UserError(
                [Problem(str(path), f"folder {path.absolute().parent} does not exist; make it")]
            )
        return
    try:
        db = sqlite_utils.Database(path)
        try:
            if db.table_names() and not migrations.applied(db):
                raise UserError(
                    [Problem(str(path), "is a database of something else; name another file")]
                )
        finally:
            db.close()
    except sqlite3.Error as error:
        raise UserError(
            [Problem(str(path), f"cannot be used as a catalogue ({error}); name another file")]
        ) from error


class Store:
    """A catalogue open for writing."""

    def __init__(self, path: Path) -> None:
        require_no_stranger(path)
        self.db = open_catalogue(str(path))

    def close(self) -> None:
        """Close the file."""
        self.db.close()

    def begin(self, plan: Plan, self_check: str) -> int:
        """Note a run and its batches, or find the run of the same plan; its id."""
        known = list(self.db.query("select id from run where plan = ?", [plan.id]))
        if known:
            return int(known[0]["id"])
        with self.db.atomic():
            self._write_words()
            run = self.db.table("run").insert(
                {
                    "started": now(),
                    "version": catalogue.version(),
                    "engine": engine_version(),
                    "fault_kinds": fault_kind_versions(),
                    "locations": ",".join(map(str, plan.locations)),
                    "drawn": plan.drawn,
                    "seed": plan.seed,
                    "plan": plan.id,
                    "self_check": self_check,
                }
            )
            run_id = int(str(run.last_pk))
            self.db.conn.executemany(
                "insert into work (id, run_id, place, circuits, done) values (?, ?, ?, ?, 0)"
                " on conflict (id) do update set run_id = excluded.run_id, place = excluded.place",
                [
                    (batch.id, run_id, place, len(batch.specs))
                    for place, batch in enumerate(plan.batches)
                ],
            )
        return run_id

    def _write_words(self) -> None:
        """The fixed vocabulary; ids never change once given."""
        for table, rows in _vocabulary().items():
            self.db.table(table).upsert_all(rows, pk="id")

    def finished_digest(self, run_id: int) -> str | None:
        """The digest of a run that ended, else None."""
        row = next(self.db.query("select digest from run where id = ?", [run_id]))
        return row["digest"] and str(row["digest"])

    def done(self) -> set[str]:
        """The ids of the batches that are stored."""
        return {str(row["id"]) for row in self.db.query("select id from work where done = 1")}

    def write(self, batch: Batch, circuits: Iterable[CircuitRows]) -> None:
        """Store a batch; rows of the same circuits from an earlier version go."""
        with self.db.atomic():
            for circuit in circuits:
                self._drop(circuit.label)
                self._write_circuit(batch, circuit)
            self.db.conn.execute("update work set done = 1 where id = ?", [batch.id])

    def write_summary(self, batch: Batch, summary: Summary) -> None:
        """Count a batch in, once: what is noted as done is never counted again."""
        with self.db.atomic():
            write_summary(self.db.conn, summary, self._summary_ids)
            self.db.conn.execute("update work set done = 1 where id = ?", [batch.id])

    def _summary_ids(self, alike: Alike) -> tuple[int, ...]:
        return (
            self._ids["fault_kind"][alike.kind],
            self._family(alike.family, ""),
            self._ids["verdict"][alike.verdict],
            self._signature(alike.word, alike.lamps),
        )

    def _drop(self, label: str) -> None:
        for row in list(self.db.query("select id from circuit where label = ?", [label])):
            drop_pairs(self.db.conn, row["id"])
            self.db.table("evidence").delete_where(
                "fault_id in (select id from fault where circuit_id = ?)", [row["id"]]
            )
            self.db.table("fault").delete_where("circuit_id = ?", [row["id"]])
            self.db.table("circuit").delete(row["id"])

    def _write_circuit(self, batch: Batch, rows: CircuitRows) -> None:
        circuit = self.db.table("circuit").insert(
            {
                "label": rows.label,
                "name": rows.name,
                "origin": rows.origin,
                "scheme": rows.scheme,
                "locations": rows.locations,
                "lamps": rows.lamps,
                "boxes": rows.boxes,
                "verdict_id": self._ids["verdict"][rows.verdict],
                "signature_id": self._signature(rows.word, rows.lamps),
                "faults": len(rows.faults),
                "file": rows.file,
                "work_id": batch.id,
                "engine": rows.engine,
            }
        )
        circuit_id = int(str(circuit.last_pk))
        first = next(self.db.query("select coalesce(max(id), 0) + 1 as id from fault"))["id"]
        kinds, verdicts = self._ids["fault_kind"], self._ids["verdict"]
        numbered = list(zip(itertools.count(int(first)), rows.faults, strict=False))
        self.db.conn.executemany(
            "insert into fault (id, circuit_id, kind_id, family_id, site, description, verdict_id,"
            " signature_id, hazards, state, switch, lamp, by_volts)"
            " values (?,?,?,?,?,?,?,?,?,?,?,?,?)",
            [
                (
                    fault_id,
                    circuit_id,
                    kinds[fault.kind],
                    self._family(fault.family, fault.place),
                    fault.site,
                    fault.description,
                    verdicts[fault.verdict],
                    self._signature(fault.word, rows.lamps),
                    len(fault.hazards),
                    fault.state,
                    fault.switch,
                    fault.lamp,
                    fault.by_volts,
                )
                for fault_id, fault in numbered
            ],
        )
        write_flips(self.db.conn, circuit_id, rows.flips)
        if rows.pairs is not None:
            write_pairs(self.db.conn, circuit_id, int(first), rows.pairs, self._ids)
        hazards = [self._ids["hazard"][hazard.name] for hazard in HAZARDS]
        self.db.conn.executemany(
            "insert into evidence (fault_id, hazard_id, state) values (?,?,?)",
            [
                (fault_id, hazards[hazard], state)
                for fault_id, fault in numbered
                for hazard, state in fault.hazards
            ],
        )

    @cached_property
    def _ids(self) -> dict[str, dict[str, int]]:
        """The ids of the vocabulary by name."""
        return {
            table: {str(row["name"]): int(row["id"]) for row in self.db.table(table).rows}
            for table in ("verdict", "hazard", "fault_kind")
        }

    @cached_property
    def _signature_ids(self) -> dict[str, int]:
        return {str(row["word"]): int(row["id"]) for row in self.db.table("signature").rows}

    def _signature(self, word: str, lamps: int) -> int:
        if word not in self._signature_ids:
            row = self.db.table("signature").insert(_signature_row(word, lamps))
            self._signature_ids[word] = int(str(row.last_pk))
        return self._signature_ids[word]

    @cached_property
    def _family_ids(self) -> dict[tuple[str, str], int]:
        rows = self.db.table("family").rows
        return {(str(row["name"]), str(row["place"])): int(row["id"]) for row in rows}

    def _family(self, name: str, place: str) -> int:
        if (name, place) not in self._family_ids:
            row = self.db.table("family").insert({"name": name, "place": place})
            self._family_ids[name, place] = int(str(row.last_pk))
        return self._family_ids[name, place]

    def faults_by_verdict(self) -> Counter[str]:
        """How many faults are stored of each verdict, one by one or counted."""
        rows = self.db.query(
            "select verdict.name as name, sum(faults) as number from ("
            " select verdict_id, count(*) as faults from fault group by verdict_id"
            " union all select verdict_id, sum(faults) from summary group by verdict_id"
            ") join verdict on verdict.id = verdict_id group by verdict_id"
        )
        return Counter({str(row["name"]): int(row["number"]) for row in rows})

    def finish(self, run_id: int) -> str:
        """Say what is covered, index the text, and note the digest; returns it."""
        with self.db.atomic():
            self.db.conn.execute("delete from scope")
            self.db.conn.execute(SCOPE)
            self.db.conn.execute("delete from profile")
            self.db.conn.execute(PROFILE)
            for table in (table.name for table in TABLES if table.search):
                self.db.conn.execute(f"insert into {table}_fts({table}_fts) values ('rebuild')")
            digest = digest_of(self.db)
            self.db.conn.execute(
                "update run set finished = ?, digest = ? where id = ?", [now(), digest, run_id]
            )
        self.db.conn.execute("analyze")
        return digest


def _vocabulary() -> Mapping[str, list[dict[str, object]]]:
    """The rows of the tables that say what words mean."""
    return {
        "verdict": [
            {"id": number, "name": name, "meaning": _MEANINGS[name]}
            for number, name in enumerate(VERDICTS, 1)
        ],
        "hazard": [
            {
                "id": number,
                "name": hazard.name,
                "title": hazard.title,
                "condition": hazard.condition,
                "danger": hazard.danger,
            }
            for number, hazard in enumerate(HAZARDS, 1)
        ],
        "fault_kind": [
            {
                "id": number,
                "name": kind.name,
                "title": kind.title,
                "description": kind.description,
                "version": kind.version,
            }
            for number, kind in enumerate(fault_kinds(), 1)
        ],
        "term": [
            {"id": number, "word": term.word, "iec": term.iec, "meaning": term.meaning}
            for number, term in enumerate(terms(), 1)
        ],
    }


def _signature_row(word: str, lamps: int) -> dict[str, object]:
    signature = Signature.parse(word, lamps)
    groups = list(word) if lamps == 1 else word.split(".")
    return {
        "word": word,
        "name": signature_name(signature),
        "locations": signature.switches,
        "lamps": lamps,
        "any_location": int(signature.any_location),
        "lit_states": sum(not set(group) <= set("-T") for group in groups),
        "trip_states": sum("T" in group for group in groups),
    }
