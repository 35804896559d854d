"""What one question in SQL may take of the machine that serves a catalogue.

Time is Datasette's to bound. A cell, an answer and its width are bounded here, because a few
characters of SQL can ask for gigabytes, and the path of the file is nobody's business.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from sqlite3 import Connection, Cursor, OperationalError, Row
from typing import Any, Final
from weakref import ref

#: In bytes. The longest cells are circuit files: 9 kB in a catalogue of three locations, and their
#: faults are put in words up to 100 kB (`spelling` beside this module). A query may build some
#: hundreds of cells at once, such as sums of texts in `group_concat`.
LONGEST_CELL: Final = 250_000
#: More than any table has, or any query of our pages or Datasette's.
MOST_COLUMNS: Final = 100
#: In bytes, of all rows together; those are all in memory before the first is shown.
LONGEST_ANSWER: Final = 16_000_000


def bound(connection: Connection) -> None:
    """Bound what questions of a connection take, and hide where the file is."""
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_CELL)
    connection.setlimit(sqlite3.SQLITE_LIMIT_COLUMN, MOST_COLUMNS)
    connection.set_authorizer(_without_path)
    connection.row_factory = _bounded_rows()


@contextmanager
def unbounded_answers(connection: Connection) -> Iterator[None]:
    """Let our own questions, which nobody words, have as many rows as they ask for."""
    bounded, connection.row_factory = connection.row_factory, Row
    try:
        yield
    finally:
        connection.row_factory = bounded


def _without_path(action: int, name: str | None, *_: object) -> int:
    """Let a question for the files of a connection find none; Datasette itself asks for them."""
    is_list = action == sqlite3.SQLITE_PRAGMA and (name or "").lower() == "database_list"
    return sqlite3.SQLITE_IGNORE if is_list else sqlite3.SQLITE_OK


def _bounded_rows() -> Callable[[Cursor, tuple[Any, ...]], Row]:
    """Rows by name, as long as those of one query are not too long together."""
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
