"""The schema of a catalogue: this makes its tables and brings older files up to date.

The schema changes only by migrations, which stay as they are once they are released.
"""

from typing import Final

from sqlite_utils import Database, Migrations

from catalogue.store.columns import Table
from catalogue.store.fault_tables import VIEWS
from catalogue.store.rendering import register_text_functions
from catalogue.store.tables import TABLE, TABLES

migrations: Final = Migrations("miswire")


@migrations()
def first_tables(db: Database) -> None:
    """Make the tables of the first release."""
    for table in TABLES:
        if table.since == 1:
            create_table(db, table, since=1)


@migrations()
def who_decided(db: Database) -> None:
    """Add which engine judged a circuit and where volts decided; earlier it was always *words*."""
    _add_column(db, "circuit", "engine", "words")


@migrations()
def two_at_once_and_flips(db: Database) -> None:
    """Add pairs of mistakes and tests by flipping; earlier batches have neither."""
    for table in TABLES:
        if table.since == 3:
            create_table(db, table, since=3)


@migrations()
def what_people_say(db: Database) -> None:
    """Add the register of claims, which is empty until `miswire claims --into` fills it."""
    create_table(db, TABLE["claim"], since=4)


@migrations()
def counts_in_place_of_rows(db: Database) -> None:
    """Add the counts that builds with ``--summary`` keep."""
    create_table(db, TABLE["summary"], since=5)


@migrations()
def outcomes_once(db: Database) -> None:
    """Keep each outcome once for all faults that have it, and store no texts of faults.

    Earlier rows do not say at which place of its kind a fault is, so they are built again.
    """
    for name in ("evidence", "profile", "pair", "fault_fts", "fault"):
        db.conn.execute(f"drop table if exists {name}")
    for name in (
        *("pair_count", "pair_state", "pair_set", "detection", "summary", "scope"),
        *("circuit", "work", "run"),
    ):
        db.conn.execute(f"delete from {name}")
    for table in TABLES:
        if table.since == 6:
            create_table(db, table, since=6)
    for view in VIEWS:
        if view.since == 6:
            db.create_view(view.name, view.query)
    for name in ("schemes", "versions"):
        _add_column(db, "run", name, "")
    for name in ("sound", "mimics", "misbehaving", "tripping"):
        _add_column(db, "circuit", name, 0)
    _add_column(db, "circuit", "digest", "")


def _add_column(db: Database, table: str, name: str, before: str | int) -> None:
    """Add a described column; rows that exist already get the value `before`."""
    column = next(column for column in TABLE[table].columns if column.name == name)
    db.table(table).add_column(name, column.type, not_null_default=before)


def create_table(db: Database, table: Table, *, since: int) -> None:
    """Make a table as it was at migration `since`, with its keys, indexes and full-text index."""
    columns = [column for column in table.columns if column.since <= since]
    made = db.table(table.name)
    made.create(
        {column.name: column.type for column in columns},
        pk=table.key[0] if len(table.key) == 1 else table.key,
        not_null={column.name for column in columns if not column.optional},
        foreign_keys=[(column.name, column.refers, "id") for column in columns if column.refers],
        strict=True,
    )
    for unique in table.unique:
        made.create_index(unique, unique=True)
    for index in table.indexes:
        made.create_index(index)
    if table.search:
        made.enable_fts(table.search, tokenize="porter")


def index_names(db: Database, table: Table) -> list[str]:
    """Return the names of the indexes that a description gives a table, without unique ones."""
    columns = [list(index) for index in table.indexes]
    return [index.name for index in db.table(table.name).indexes if index.columns in columns]


def open_for_writing(path: str) -> Database:
    """Open the catalogue in a file, or make one, and bring its schema up to date."""
    db = Database(path)
    db.conn.execute("PRAGMA foreign_keys = ON")
    db.conn.execute("PRAGMA busy_timeout = 10000")
    migrations.apply(db)
    register_text_functions(db.conn)
    return db
