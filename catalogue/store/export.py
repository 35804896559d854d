"""A catalogue is exported as CSV, as JSON, or as CSV with a Frictionless Data Package descriptor.

Columns are described as in `catalogue.store.schema`. Equal catalogues and equal filters give equal
bytes. The properties of a descriptor follow the profiles of Data Package 1 (read).
"""

import csv
import hashlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from catalogue.report.json_forms import short_cautions
from catalogue.store.columns import Column, Table
from catalogue.store.coverage import scope_line
from catalogue.store.tables import TABLES
from verify.base.version import version

FORMATS: Final = ("csv", "json", "datapackage")
DESCRIPTOR: Final = "datapackage.json"
SUMS: Final = "SHA256SUMS"
ABOUT: Final = "about.json"
_WHOLE: Final = "catalogue.json"
_TYPES: Final = {int: "integer", float: "number", str: "string"}
#: These tables count all faults, so they are left out of a part.
_OF_ALL_ONLY: Final = frozenset({"profile"})
#: A part of these tables goes with a part of the faults, by the column given here.
_OF_FAULTS: Final = {"fault": "id", "outcome": "id", "evidence": "outcome_id"}
_RENDER_SQL: Final = (
    "(select {function}(circuit.label, circuit.file, kind.name, fault.site) from circuit,"
    " fault_kind as kind where circuit.id = fault.circuit_id and kind.id = fault.kind_id)"
)
#: SQL expressions for the columns that are not stored.
_RENDERED: Final = {
    ("fault", "at"): _RENDER_SQL.format(function="fault_at"),
    ("fault", "description"): _RENDER_SQL.format(function="fault_text"),
}
_NAME: Final = "miswire-catalogue"
_ROWS_AT_ONCE: Final = 10_000


@dataclass(frozen=True, slots=True)
class ExportPart:
    """The filters that say which faults are wanted; an empty one does not restrict."""

    kinds: tuple[str, ...] = ()
    verdicts: tuple[str, ...] = ()
    locations: tuple[int, ...] = ()

    @property
    def is_all(self) -> bool:
        """True if no filter restricts anything."""
        return not (self.kinds or self.verdicts or self.locations)

    @property
    def words(self) -> str:
        """The part as a sentence."""
        if self.is_all:
            return "The whole catalogue."
        told = [
            f"{what} {', '.join(map(str, wanted))}"
            for what, wanted in (
                ("kind", self.kinds),
                ("verdict", self.verdicts),
                ("locations", self.locations),
            )
            if wanted
        ]
        return (
            f"A part of the catalogue: faults of {'; '.join(told)}. Circuits are those of these "
            "numbers of locations, whether or not a fault of theirs is among them."
        )


@dataclass(frozen=True)
class Export:
    """An export writes one catalogue, or a part of it, into a folder that exists."""

    connection: sqlite3.Connection
    part: ExportPart
    folder: Path

    def write(self, form: str) -> dict[str, Path]:
        """Write everything in one of `FORMATS`; return the files by name, in the order of writing.

        Names are paths within the folder.
        """
        files = [self._json()] if form == "json" else [self._csv(table) for table in self._tables]
        files.append(self._text(ABOUT, self.about()))
        if form == "datapackage":
            files.append(self._text(DESCRIPTOR, self._descriptor()))
        sums = "".join(f"{_sum(path)}  {path.name}\n" for path in files)
        (self.folder / SUMS).write_text(sums, "utf-8", newline="\n")
        return {path.name: path for path in [*files, self.folder / SUMS]}

    def about(self) -> dict[str, object]:
        """Return what was exported and what the catalogue covers, with the cautions."""
        return {
            "name": _NAME,
            "made_by": f"Miswire {version()}",
            "content_digest": self._digest(),
            "part": self.part.words,
            "faults": self.count("fault"),
            "circuits": self.count("circuit"),
            "scope": scope_line(self.connection),
            "cautions": short_cautions(),
        }

    def count(self, table: str) -> int:
        """Return how many rows of a table are exported."""
        where, parameters = self._where(table)
        row = self.connection.execute(f"select count(*) from {table}{where}", parameters).fetchone()
        return int(row[0])

    @property
    def _tables(self) -> list[Table]:
        """Return the tables that the file has: one of an older version may lack some."""
        wanted = [t for t in TABLES if self.part.is_all or t.name not in _OF_ALL_ONLY]
        return [table for table in wanted if self._columns(table)]

    def _digest(self) -> str | None:
        row = self.connection.execute("select digest from run order by id desc limit 1").fetchone()
        return row and row[0] and str(row[0])

    def _columns(self, table: Table) -> list[Column]:
        """Return the described columns that the file has, then those that are rendered."""
        there = {row[1] for row in self.connection.execute(f"pragma table_info({table.name})")}
        stored = [column for column in table.columns if column.name in there]
        return [*stored, *table.rendered] if stored else []

    def _rows(self, table: Table) -> Iterator[Sequence[Any]]:
        names = ", ".join(
            _RENDERED.get((table.name, column.name), f'"{column.name}"')
            for column in self._columns(table)
        )
        where, parameters = self._where(table.name)
        order = ", ".join(table.key)
        cursor = self.connection.execute(
            f"select {names} from {table.name}{where} order by {order}", parameters
        )
        while rows := cursor.fetchmany(_ROWS_AT_ONCE):
            yield from rows

    def _where(self, table: str) -> tuple[str, list[object]]:
        """Return the condition that restricts a table to the part, and its parameters."""
        part = self.part
        circuits, numbers = _among("locations", part.locations)
        if table == "circuit":
            return (f" where {circuits}" if circuits else ""), numbers
        conditions = (
            [f"circuit_id in (select id from circuit where {circuits})"] if circuits else []
        )
        parameters = list(numbers)
        kinds, more = _among("name", part.kinds)
        if kinds:
            conditions.append(f"kind_id in (select id from fault_kind where {kinds})")
            parameters += more
        verdicts, more = _among("name", part.verdicts)
        if verdicts:
            judged = f"verdict_id in (select id from verdict where {verdicts})"
            conditions.append(f"outcome_id in (select id from outcome where {judged})")
            parameters += more
        wanted = " and ".join(conditions)
        if not wanted or table not in _OF_FAULTS:
            return "", []
        if table == "fault":
            return f" where {wanted}", parameters
        return f" where {_OF_FAULTS[table]} in (select outcome_id from fault where {wanted})", (
            parameters
        )

    def _csv(self, table: Table) -> Path:
        path = self.folder / f"{table.name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            rows = csv.writer(file, lineterminator="\r\n")  # RFC 4180
            rows.writerow([column.name for column in self._columns(table)])
            rows.writerows(self._rows(table))
        return path

    def _json(self) -> Path:
        """Write all tables into one JSON file, a row a line; the whole is never held in memory."""
        path = self.folder / _WHOLE
        with path.open("w", encoding="utf-8", newline="\n") as file:
            head = json.dumps(self.about(), ensure_ascii=False)
            file.write(f'{{"about": {head},\n"tables": {{')
            for place, table in enumerate(self._tables):
                names = [column.name for column in self._columns(table)]
                file.write(f'{"," if place else ""}\n"{table.name}": [')
                for number, row in enumerate(self._rows(table)):
                    entry = dict(zip(names, row, strict=True))
                    file.write(f"{',' if number else ''}\n{json.dumps(entry, ensure_ascii=False)}")
                file.write("]")
            file.write("\n}}\n")
        return path

    def _text(self, name: str, content: object) -> Path:
        path = self.folder / name
        text = json.dumps(content, indent=1, ensure_ascii=False) + "\n"
        path.write_text(text, "utf-8", newline="\n")
        return path

    def _descriptor(self) -> dict[str, object]:
        about = self.about()
        return {
            "profile": "tabular-data-package",
            "name": _NAME,
            "title": "What single wiring mistakes do to a light controlled from several places",
            "description": f"{about['part']} {about['scope']} {' '.join(short_cautions())}",
            "version": version(),
            "resources": [self._resource(table) for table in self._tables],
        }

    def _resource(self, table: Table) -> dict[str, object]:
        path = self.folder / f"{table.name}.csv"
        columns = self._columns(table)
        return {
            "profile": "tabular-data-resource",
            "name": table.name,
            "path": path.name,
            "description": table.help,
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "bytes": path.stat().st_size,
            "hash": f"sha256:{_sum(path)}",
            "schema": {
                "fields": [_field(column) for column in columns],
                "primaryKey": list(table.key),
                "foreignKeys": [
                    {
                        "fields": [column.name],
                        "reference": {"resource": column.refers, "fields": ["id"]},
                    }
                    for column in columns
                    if column.refers
                ],
                "missingValues": [""],
            },
        }


def _field(column: Column) -> dict[str, object]:
    field: dict[str, object] = {
        "name": column.name,
        "type": _TYPES[column.type],
        "description": column.help,
    }
    # A text may be empty; then the file cannot tell it from one that is missing.
    if not column.optional and column.type is not str:
        field["constraints"] = {"required": True}
    return field


def _among(column: str, wanted: Sequence[object]) -> tuple[str, list[object]]:
    """Return the condition that a column is one of some values, and its parameters."""
    marks = ", ".join("?" * len(wanted))
    return (f"{column} in ({marks})" if wanted else ""), list(wanted)


def _sum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
