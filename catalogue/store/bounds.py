"""A query may take only so much of the machine that serves a catalogue, and only read.

Datasette bounds time, but not within one call of a function. Cells, answers and their width are
bounded here, because a few characters of SQL can ask for gigabytes. Functions that reach the memory
or the files of the process are refused, and the path of the file is hidden, since it is nobody's
business.
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
#: In characters, of a pattern of LIKE or GLOB, and of the characters that `trim` takes away: these
#: functions take time that grows with its product with the length of the text.
LONGEST_PATTERN: Final = 1_000

_READING: Final = frozenset(
    {
        sqlite3.SQLITE_READ,
        sqlite3.SQLITE_SELECT,
        sqlite3.SQLITE_RECURSIVE,
        sqlite3.SQLITE_TRANSACTION,
    }
)
#: They hand out or take addresses in memory, load or write files, read tables of their own, or take
#: seconds to minutes in one call, which no limit of time ends: `printf` pads to any width.
_REFUSED_FUNCTIONS: Final = frozenset(
    {
        "edit",
        "format",
        "fts3_tokenizer",
        "fts5",
        "json_patch",
        "load_extension",
        "optimize",
        "printf",
        "readfile",
        "rtreecheck",
        "rtreedepth",
        "rtreenode",
        "sqlite_log",
        "writefile",
    }
)
#: Tables that SQLite makes up, about its own memory and the pages of the file.
_REFUSED_TABLES: Final = frozenset(
    {"bytecode", "dbstat", "fts3tokenize", "sqlite_dbpage", "sqlite_stmt", "tables_used"}
)
#: What Datasette and full-text search ask, and what Datasette lets visitors ask.
_PRAGMAS: Final = frozenset(
    {
        "cache_size",
        "compile_options",
        "data_version",
        "foreign_key_list",
        "function_list",
        "index_info",
        "index_list",
        "index_xinfo",
        "max_page_count",
        "page_count",
        "page_size",
        "schema_version",
        "table_info",
        "table_xinfo",
    }
)


def bound(connection: Connection) -> None:
    """Bound what queries of a connection may do and take, and hide the path of the file."""
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_CELL)
    connection.setlimit(sqlite3.SQLITE_LIMIT_COLUMN, MOST_COLUMNS)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH, LONGEST_PATTERN)
    _bound_trims(connection)
    connection.set_authorizer(_allowed)
    connection.row_factory = _bounded_rows()


@contextmanager
def unbounded_answers(connection: Connection) -> Iterator[None]:
    """Let queries that we wrote ourselves return as many rows as they ask for."""
    bounded, connection.row_factory = connection.row_factory, Row
    try:
        yield
    finally:
        connection.row_factory = bounded


def _allowed(action: int, name: str | None, other: str | None, *_: object) -> int:
    """Return whether SQLite may do what a query asks: read, and call functions that are harmless.

    The files of a connection are hidden rather than refused, since Datasette itself asks for them.
    """
    if action == sqlite3.SQLITE_PRAGMA and (name or "").lower() == "database_list":
        return sqlite3.SQLITE_IGNORE
    if action == sqlite3.SQLITE_READ:
        is_allowed = (name or "").lower() not in _REFUSED_TABLES
    elif action == sqlite3.SQLITE_UPDATE:
        is_allowed = name == "sqlite_master"  # opening a search table does so; no row is written
    elif action == sqlite3.SQLITE_FUNCTION:
        is_allowed = (other or "").lower() not in _REFUSED_FUNCTIONS
    elif action == sqlite3.SQLITE_PRAGMA:
        is_allowed = (name or "").lower() in _PRAGMAS
    else:
        is_allowed = action in _READING
    return sqlite3.SQLITE_OK if is_allowed else sqlite3.SQLITE_DENY


def _bound_trims(connection: Connection) -> None:
    """Replace the functions that take given characters away from the ends of a text."""

    def bounded(strip: Callable[[str, str], str]) -> Callable[[object, object], str | None]:
        def trimmed(value: object, characters: object) -> str | None:
            if value is None or characters is None:
                return None
            taken = _text(characters)
            if len(taken) > LONGEST_PATTERN:
                raise ValueError(f"trim takes at most {LONGEST_PATTERN:,} characters away")
            return strip(_text(value), taken) if taken else _text(value)

        return trimmed

    for name, strip in (("trim", str.strip), ("ltrim", str.lstrip), ("rtrim", str.rstrip)):
        connection.create_function(name, 2, bounded(strip), deterministic=True)


def _text(value: object) -> str:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else str(value)


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
