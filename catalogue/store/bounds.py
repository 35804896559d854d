"""A query may take only so much of the machine that serves a catalogue.

Datasette bounds time. Cells, answers and their width are bounded here, because a few characters of
SQL can ask for gigabytes. The path of the file is hidden, since it is nobody's business.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from sqlite3 import Connection, Cursor, OperationalError, Row
from typing import Any, Final
from weakref import ref

#: In bytes. The longest cells are circuit files: 9 kB in a catalogue of three locations, and their
#: texts of faults are rendered for files up to 100 kB (`rendering`). A query may build some
#: hundreds of cells at once, such as sums of texts in `group_concat`.
LONGEST_CELL: Final = 250_000
#: In columns: no table has so many, and no query of our pages or Datasette's.
MOST_COLUMNS: Final = 100
#: In bytes, for all rows together: all of them are in memory before the first is shown.
LONGEST_ANSWER: Final = 16_000_000


def bound(connection: Connection) -> None:
    """Bound what queries of a connection may take, and hide the path of the file."""
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_CELL)
    connection.setlimit(sqlite3.SQLITE_LIMIT_COLUMN, MOST_COLUMNS)
    connection.set_authorizer(_without_path)
    connection.row_factory = _bounded_rows()


@contextmanager
def unbounded_answers(connection: Connection) -> Iterator[None]:
    """Let queries that we wrote ourselves return as many rows as they ask for."""
    bounded, connection.row_factory = connection.row_factory, Row
    try:
        yield
    finally:
        connection.row_factory = bounded


def _without_path(action: int, name: str | None, *_: object) -> int:
    """Hide the files of a connection from queries; Datasette itself asks for them."""
    is_list = action == sqlite3.SQLITE_PRAGMA and (name or "").lower() == "database_list"
    return sqlite3.SQLITE_IGNORE if is_list else sqlite3.SQLITE_OK


def _bounded_rows() -> Callable[[Cursor, tuple[Any, ...]], Row]:
    """Return a row factory that refuses a query whose rows together become too long."""
    taken = 0
    last: Callable[[], Cursor | None] = lambda: None  # noqa: E731 - a reference to no cursor

    def row(cursor: Cursor, cells: tuple[Any, ...]) -> Row:
        nonlocal taken, last
        if last() is not cursor:
            taken, last = 0, ref(cursor)
        taken += sum(len(cell) for cell in cells if isinstance(cell, str | bytes))
        if taken > LONGEST_ANSWER:
            raise OperationalError(
                f"the answer has more than {LONGEST_ANSWER:,} characters; ask for fewer rows or "
                "columns"
            )
        return Row(cursor, cells)

    return row
