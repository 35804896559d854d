"""A catalogue is opened here for reading, by programs and notebooks."""

import sqlite3
from collections.abc import Iterator
from functools import cached_property
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import Self

from catalogue.store.contents import verdict_counts
from catalogue.store.coverage import scope_line
from catalogue.store.rendering import register_text_functions
from catalogue.store.writing import require_catalogue
from verify.base.problems import Problem, UnknownNameError, shown
from verify.base.telling import Group, Passage, TextTable, cautions_group, heading, html, plain
from verify.circuit.file import loads
from verify.circuit.model import Circuit


class Catalogue:
    """A catalogue that `miswire build` made, open for reading; a context that closes it.

    `path` is its file, `connection` the SQLite connection, which cannot write. Raises UserError for
    a file that is no catalogue of this version.
    """

    def __init__(self, path: str | PathLike[str]) -> None:
        self.path = Path(path)
        require_catalogue(self.path)
        self.connection = sqlite3.connect(f"{self.path.absolute().as_uri()}?mode=ro", uri=True)
        self.connection.row_factory = sqlite3.Row
        register_text_functions(self.connection)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    @cached_property
    def covers(self) -> str:
        """What was computed completely and what as a sample, in sentences."""
        return scope_line(self.connection)

    @cached_property
    def digest(self) -> str | None:
        """The hash over the content that its last build noted; None if none was finished."""
        found = self.rows("select digest from run order by id desc limit 1")
        return str(found[0]["digest"]) if found and found[0]["digest"] else None

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many faults there are of each verdict."""
        return dict(verdict_counts(self.connection))

    def rows(self, sql: str, *values: object) -> list[dict[str, object]]:
        """Return the rows of a query by column; `values` take the place of its question marks.

        The home page of the served catalogue lists the tables. Raises sqlite3.Error.
        """
        return [dict(row) for row in self.connection.execute(sql, values)]

    def circuit(self, label: str) -> Circuit:
        """Return the circuit of that label, such as ``chain-1.f.1``.

        Raises UnknownNameError, which is a UserError and a KeyError, if there is none.
        """
        found = self.rows("select file from circuit where label = ?", label)
        if not found:
            remedy = "is no circuit here; labels are in the column label of the table circuit"
            raise UnknownNameError([Problem(f"label={shown(label)}", remedy)])
        return loads(str(found[0]["file"]))

    def _told(self) -> Iterator[Group]:
        yield [heading(self.path.name)]
        yield [Passage(self.covers)]
        counts = [[verdict, f"{number:,}"] for verdict, number in self.counts.items()]
        yield [TextTable(["verdict", "faults"], counts, numbers=True)]
        yield cautions_group()

    def __repr__(self) -> str:
        return plain(self._told())

    def _repr_html_(self) -> str:
        return html(self._told())


def open_catalogue(path: str | PathLike[str]) -> Catalogue:
    """Open a catalogue that `miswire build` made, for reading.

    Raises UserError for a file that is no catalogue, or one of another version.
    """
    return Catalogue(path)
