"""Rows into a catalogue and their digest; the only code that writes one.

A batch is written in one transaction together with the note that it is done, so that a build
killed at any moment has each batch whole or not at all.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Final

import sqlite_utils

import catalogue
from catalogue.prove.plan import Batch, Plan, batch_versions, engine_version, fault_kind_versions
from catalogue.prove.proving import CircuitRows, Proved
from catalogue.prove.summary import Alike, Summary, write_summary
from catalogue.report.terms import terms
from catalogue.store.contents import PROFILE, SCOPE, digest_of
from catalogue.store.numbers import Numbers
from catalogue.store.rows import write_batch
from catalogue.store.schema import index_names, migrations, open_catalogue
from catalogue.store.tables import TABLE, TABLES
from verify.base.problems import Problem, UserError
from verify.behaviour.hazards import HAZARDS
from verify.behaviour.judgement import MEANINGS, VERDICTS
from verify.fault.registry import fault_kinds


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
        versions = json.dumps(batch_versions())
        with self.db.atomic():
            self._forget_others(versions)
            self._write_words()
            run = self.db.table("run").insert(
                {
                    "started": now(),
                    "version": catalogue.version(),
                    "engine": engine_version(),
                    "fault_kinds": fault_kind_versions(),
                    "locations": ",".join(map(str, plan.locations)),
                    "schemes": ",".join(plan.schemes),
                    "drawn": plan.drawn,
                    "seed": plan.seed,
                    "plan": plan.id,
                    "self_check": self_check,
                    "versions": versions,
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

    def _forget_others(self, versions: str) -> None:
        """Forget all rows of other versions: what they say cannot stand beside what is found now.

        What people say, and what audits found, stays.
        """
        if self.db.table("run").count_where("versions <> ?", [versions]):
            for table in reversed(TABLES):
                if table.name not in _KEPT:
                    self.db.conn.execute(f"delete from {table.name}")

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

    def without_indexes(self) -> None:
        """Let many rows come: they are put in order at once when a build is finished.

        By circuits they come in order.
        """
        for name in index_names(self.db, TABLE["fault"]):
            if not name.endswith("_circuit_id"):
                self.db.conn.execute(f"drop index [{name}]")
        self.db.conn.execute("PRAGMA foreign_keys = OFF")  # every number is given here

    def write(self, batch: Batch, proved: Proved) -> None:
        """Store a batch. A circuit drawn with another seed may be there already.

        Raises UserError if another circuit has its label, which is a hash if it was drawn.
        """
        with self.db.atomic():
            if not any(map(self._is_there, proved.circuits)):
                write_batch(self.db, batch, proved, self.numbers)
            self.db.conn.execute("update work set done = 1 where id = ?", [batch.id])

    def _is_there(self, circuit: CircuitRows) -> bool:
        stored = next(
            self.db.query("select file from circuit where label = ?", [circuit.label]), None
        )
        if stored is not None and stored["file"] != circuit.file:
            raise UserError(
                [
                    Problem(
                        circuit.label,
                        "two circuits that were drawn have this label, whose hash is short; build "
                        "a catalogue of its own with another --seed",
                    )
                ]
            )
        return stored is not None

    def write_summary(self, batch: Batch, summary: Summary) -> None:
        """Count a batch in, once: what is noted as done is never counted again."""
        with self.db.atomic():
            write_summary(self.db.conn, summary, self._summary_numbers)
            self.db.conn.execute("update work set done = 1 where id = ?", [batch.id])

    def _summary_numbers(self, alike: Alike) -> tuple[int, ...]:
        numbers = self.numbers
        return (
            numbers.of["fault_kind"][alike.kind],
            numbers.family(alike.family, ""),
            numbers.of["verdict"][alike.verdict],
            numbers.signature(alike.word, alike.lamps),
        )

    @cached_property
    def numbers(self) -> Numbers:
        """The numbers by which rows refer to what has a name."""
        return Numbers(self.db)

    def faults_by_verdict(self) -> Counter[str]:
        """How many faults are stored of each verdict, one by one or counted."""
        rows = self.db.query(
            "select verdict.name as name, sum(faults) as number from ("
            " select verdict_id, faults from profile union all"
            " select verdict_id, faults from summary"
            ") join verdict on verdict.id = verdict_id group by verdict_id"
        )
        return Counter({str(row["name"]): int(row["number"]) for row in rows})

    def count_profile(self) -> None:
        """Count the profile from the faults, which came from elsewhere."""
        with self.db.atomic():
            self.db.conn.execute("delete from profile")
            self.db.conn.execute(PROFILE)

    def finish(self, run_id: int) -> str:
        """Say what is covered, index the text, and note the digest; returns it."""
        with self.db.atomic():
            for index in TABLE["fault"].indexes:
                self.db.table("fault").create_index(index, if_not_exists=True)
            self.db.conn.execute("delete from scope")
            self.db.conn.execute(SCOPE)
            for table in (table.name for table in TABLES if table.search):
                self.db.conn.execute(f"insert into {table}_fts({table}_fts) values ('rebuild')")
            digest = digest_of(self.db)
            self.db.conn.execute(
                "update run set finished = ?, digest = ? where id = ?", [now(), digest, run_id]
            )
        self.db.conn.execute(f"PRAGMA analysis_limit = {_ANALYZED}")
        self.db.conn.execute("analyze")
        return digest


def _vocabulary() -> Mapping[str, list[dict[str, object]]]:
    """The rows of the tables that say what words mean."""
    return {
        "verdict": [
            {"id": number, "name": name, "meaning": MEANINGS[name]}
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


#: How many rows of each index are looked at to tell how it divides them.
_ANALYZED: Final = 2000
#: Tables that stay when the rows of other versions go.
_KEPT: Final = frozenset({"audit", "claim", "verdict", "hazard", "fault_kind", "term"})
