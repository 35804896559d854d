"""This is the only code that writes the rows of a catalogue and their digest.

A batch is written in one transaction together with the note that it is done, so a build that is
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

from catalogue.prove.build_plan import (
    BuildPlan,
    CircuitBatch,
    batch_versions,
    engine_version,
    fault_kind_versions,
)
from catalogue.prove.proving import CircuitRows, Proved
from catalogue.prove.summary import Alike, Summary, write_summary
from catalogue.report.terms import terms
from catalogue.store.contents import PROFILE, SCOPE, digest_of, verdict_counts
from catalogue.store.interning import InternedIds
from catalogue.store.rows import write_batch
from catalogue.store.schema import index_names, migrations, open_for_writing
from catalogue.store.tables import TABLE, TABLES
from verify.base.problems import Problem, UserError
from verify.base.version import version
from verify.behaviour.judgement import MEANINGS, VERDICTS
from verify.fault.registry import fault_kinds
from verify.hazard.definitions import HAZARDS


def now() -> str:
    """Return the current time in UTC to the second, as rows hold it."""
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
    """Raise UserError if `path` exists and is no catalogue, or cannot be made."""
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
        self.db = open_for_writing(str(path))

    def close(self) -> None:
        """Close the file."""
        self.db.close()

    def begin(self, plan: BuildPlan, self_check: str) -> int:
        """Note a run and its batches, or find the run of the same plan; return its id."""
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
                    "version": version(),
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
        """Delete all rows of other versions, which must not stand beside rows that are found now.

        The claims of people and the results of audits stay.
        """
        if self.db.table("run").count_where("versions <> ?", [versions]):
            for table in reversed(TABLES):
                if table.name not in _KEPT:
                    self.db.conn.execute(f"delete from {table.name}")

    def _write_words(self) -> None:
        """Store the fixed vocabulary; an id never changes once it is given."""
        for table, rows in _vocabulary().items():
            self.db.table(table).upsert_all(rows, pk="id")

    def finished_digest(self, run_id: int) -> str | None:
        """Return the digest of a run that has ended, else None."""
        row = next(self.db.query("select digest from run where id = ?", [run_id]))
        return row["digest"] and str(row["digest"])

    def done(self) -> set[str]:
        """Return the ids of the batches that are stored."""
        return {str(row["id"]) for row in self.db.query("select id from work where done = 1")}

    def without_indexes(self) -> None:
        """Drop the indexes while many rows come: a finished build puts all rows in order at once.

        The index by circuit stays, because rows come in its order.
        """
        for name in index_names(self.db, TABLE["fault"]):
            if not name.endswith("_circuit_id"):
                self.db.conn.execute(f"drop index [{name}]")
        self.db.conn.execute("PRAGMA foreign_keys = OFF")  # all ids are given by this code

    def write(self, batch: CircuitBatch, proved: Proved) -> None:
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

    def write_summary(self, batch: CircuitBatch, summary: Summary) -> None:
        """Add the counts of a batch once: a batch that is noted as done is never added again."""
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
    def numbers(self) -> InternedIds:
        """The ids by which rows refer to named things."""
        return InternedIds(self.db)

    def faults_by_verdict(self) -> Counter[str]:
        """Return how many faults of each verdict are stored, as rows or as counts."""
        return verdict_counts(self.db.conn)

    def count_profile(self) -> None:
        """Count the profile anew from faults that were merged from elsewhere."""
        with self.db.atomic():
            self.db.conn.execute("delete from profile")
            self.db.conn.execute(PROFILE)

    def finish(self, run_id: int) -> str:
        """Note what is covered, index the text, and note and return the digest."""
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
    """Return the rows of the tables that define words."""
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


#: SQLite looks at so many rows of each index to estimate how selective it is.
_ANALYZED: Final = 2000
#: These tables stay when the rows of other versions are deleted.
_KEPT: Final = frozenset({"audit", "claim", "verdict", "hazard", "fault_kind", "term"})
