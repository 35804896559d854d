"""What describes a table: its columns, keys and indexes, each with what people are told of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `refers`: the table whose id it holds; `since`: the migration that adds it."""

    name: str
    type: type
    help: str
    refers: str = ""
    optional: bool = False
    since: int = 1


@dataclass(frozen=True, slots=True)
class Table:
    """One table. `label` is the column that stands for a row where other tables refer to it.

    `rendered` are columns that are not stored but made when a row is shown or exported.
    """

    name: str
    help: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ("id",)
    label: str = ""
    unique: tuple[tuple[str, ...], ...] = ()
    indexes: tuple[tuple[str, ...], ...] = ()
    facets: tuple[str, ...] = ()
    search: tuple[str, ...] = ()
    since: int = 1
    rendered: tuple[Column, ...] = ()


@dataclass(frozen=True, slots=True)
class View:
    """Rows of tables put together for reading; `helps` says what its columns hold.

    They are joined to the left: rows come in the order of faults, and where a name is asked for
    SQLite may begin with it.
    """

    name: str
    help: str
    helps: Mapping[str, str]
    query: str
    since: int


#: The first column of most tables.
ID: Final = Column("id", int, "Number of the row within this file; labels are what to quote.")
