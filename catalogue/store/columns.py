"""A table is described by its columns, keys and indexes, each with the help that people see."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Column:
    """One column: `refers` is the table whose id it holds, `since` the migration that adds it."""

    name: str
    type: type
    help: str
    refers: str = ""
    optional: bool = False
    since: int = 1


@dataclass(frozen=True, slots=True)
class Table:
    """One table. `label` is the column that stands for a row where other tables refer to it.

    `label` is the column that stands for a row where other tables refer to it. Columns in
    `rendered` are not stored, but made when a row is shown or exported.
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
    """A view joins rows of several tables for reading; `helps` describes its columns.

    The joins are left joins: rows come in the order of faults, and SQLite may begin with a name if
    a query asks for one.
    """

    name: str
    help: str
    helps: Mapping[str, str]
    query: str
    since: int


#: Most tables begin with this column.
ID: Final = Column("id", int, "Number of the row within this file; labels are what to quote.")
