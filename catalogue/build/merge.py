"""Parts of one build, made on machines that share nothing, are merged here into one catalogue.

Each part is a catalogue of its own, made with ``--shard``. The description of the tables says which
column refers to which table, so a new table of circuits or faults needs no change here.
"""

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection
from typing import Final

from catalogue.build.sweep import self_check
from catalogue.prove.build_plan import BuildPlan, make_plan
from catalogue.prove.summary import COUNT_IN
from catalogue.store.columns import Column, Table
from catalogue.store.tables import TABLE, TABLES
from catalogue.store.writing import Store, require_catalogue
from verify.base.problems import Problem, UserError

Progress = Callable[[int, int], None]

#: The content of a row identifies it in these tables; other tables refer to circuits or faults.
_NAMED: Final = {"signature": ("word",), "family": ("name", "place"), "outcome": ("mark",)}
#: These tables are filled anew when a catalogue is finished.
_DERIVED: Final = ("profile", "scope")


@dataclass(frozen=True, slots=True)
class MergeResult:
    """The result of a merge: `circuits` merged now, of those `planned`; `missing` are in no part.

    `digest` is None while some are missing.
    """

    circuits: int
    planned: int
    missing: int
    digest: str | None


def merge(
    path: Path, parts: Sequence[Path], progress: Progress = lambda done, total: None
) -> MergeResult:
    """Merge the finished batches of `parts` into the catalogue in `path`, which is made if missing.

    Each part is merged whole or not at all; calling again, with more parts, goes on. Counts
    (``--summary``) can be merged only once. When nothing is missing the content and its digest are
    those of one build. Raises UserError for parts that are not of one build, or of another version
    than this.
    """
    plan = _common_plan(parts)
    taken = 0
    with closing(Store(path)) as store:
        run = store.begin(plan, self_check())
        for number, part in enumerate(parts):
            progress(number, len(parts))
            taken += _take(store, part, run, plan)
        progress(len(parts), len(parts))
        done = store.done()
        missing = sum(len(batch.specs) for batch in plan.batches if batch.id not in done)
        if taken:
            store.count_profile()
        return MergeResult(taken, plan.circuits, missing, None if missing else store.finish(run))


def _common_plan(parts: Sequence[Path]) -> BuildPlan:
    """Return the plan of the whole build to which all parts belong."""
    problems: list[Problem] = []
    plans: dict[tuple[object, ...], tuple[Path, BuildPlan]] = {}
    for part in parts:
        try:
            require_catalogue(part)
        except UserError as error:
            problems += error.problems
            continue
        with closing(sqlite3.connect(f"{part.absolute().as_uri()}?mode=ro", uri=True)) as db:
            asked = tuple(next(db.execute(_ASKED)))
            (counts,) = db.execute(_HAS_COUNTS).fetchone()
            asked = (
                *asked,
                bool(counts and db.execute("select count(*) from summary").fetchone()[0]),
            )
            batches = {str(row[0]) for row in db.execute("select id from work")}
        sizes = [int(size) for size in str(asked[0]).split(",") if size]
        plan = make_plan(
            sizes,
            int(asked[2]),
            int(asked[3]),
            schemes=str(asked[1]).split(","),
            summary=bool(asked[4]),
        )
        first, _ = plans.setdefault(asked, (part, plan))
        if len(plans) > 1 and first == part:
            problems.append(
                Problem(
                    str(part),
                    f"was built for {_options_text(asked)}, "
                    f"{parts[0]} for {_options_text(next(iter(plans)))}; "
                    "merge parts of one build",
                )
            )
        elif not batches <= {batch.id for batch in plan.batches}:
            problems.append(
                Problem(str(part), "was built by another version; build it again with this one")
            )
    if problems:
        raise UserError(problems)
    return next(iter(plans.values()))[1]


_HAS_COUNTS: Final = "select count(*) from sqlite_master where name = 'summary'"
_ASKED: Final = "select locations, schemes, drawn, seed from run order by id desc limit 1"


def _options_text(asked: tuple[object, ...]) -> str:
    locations, schemes, drawn, seed, summary = asked
    kept = " --summary" if summary else ""
    drawing = f"--random {drawn} --seed {seed}{kept}"
    return f"--locations {locations or 'none'} --scheme {schemes} {drawing}"


def _take(store: Store, part: Path, run: int, plan: BuildPlan) -> int:
    """Copy the circuits of one part with all rows that refer to them; return how many circuits."""
    before = store.done()
    connection = store.db.conn
    connection.execute("attach database ? as part", [str(part)])
    try:
        with store.db.atomic():
            connection.execute(_CHOOSE)
            (circuits,) = connection.execute("select count(*) from chosen").fetchone()
            shift = {
                name: connection.execute(f"select coalesce(max(id), 0) from {name}").fetchone()[0]
                for name in ("circuit", "fault")
            }
            for name, key in _NAMED.items():
                _take_named(connection, TABLE[name], key)
            _take_evidence(connection)
            for table in _hanging_tables():
                _take_rows(connection, table, shift)
            if plan.summary:
                circuits = _take_counts(connection, part, plan, before)
            connection.execute(
                "update work set done = 1 where run_id = ? and id in"
                " (select id from part.work where done = 1)",
                [run],
            )
            connection.execute("drop table temp.chosen")
    finally:
        connection.execute("detach database part")
    return int(circuits)


def _take_counts(connection: Connection, part: Path, plan: BuildPlan, before: set[str]) -> int:
    """Add the counts of a part; return of how many circuits. Counts cannot be taken out again."""
    done = {str(row[0]) for row in connection.execute("select id from part.work where done = 1")}
    if done <= before:
        return 0
    if done & before:
        raise UserError(
            [
                Problem(
                    str(part),
                    "some of its counts are here already, and counts cannot be told apart; merge "
                    "all parts into a new file",
                )
            ]
        )
    table = TABLE["summary"]
    columns = [column for column in table.columns if column.name != "id"]
    names = ", ".join(column.name for column in columns)
    values = ", ".join(_value(table, column, {}) for column in columns)
    connection.execute(
        f"insert into main.summary ({names}) select {values} from part.summary as row where true"
        f" order by row.id on conflict ({', '.join(table.unique[0])}) {COUNT_IN}"
    )
    return sum(len(batch.specs) for batch in plan.batches if batch.id in done)


#: This selects the circuits of a part that are finished and not merged yet.
_CHOOSE: Final = """
create temp table chosen as select circuit.id from part.circuit as circuit
join part.work as theirs on theirs.id = circuit.work_id and theirs.done
join main.work as ours on ours.id = theirs.id and not ours.done
"""


def _take_named(connection: Connection, table: Table, key: tuple[str, ...]) -> None:
    columns = [column for column in table.columns if column.name != "id"]
    names = ", ".join(column.name for column in columns)
    values = ", ".join(_value(table, column, {}) for column in columns)
    same = " and ".join(f"here.{name} = row.{name}" for name in key)
    connection.execute(
        f"insert into main.{table.name} ({names}) select {values} from part.{table.name} as row"
        f" where not exists (select 1 from main.{table.name} as here where {same}) order by id"
    )


def _take_evidence(connection: Connection) -> None:
    """Copy the evidence of outcomes that came with this part."""
    columns = TABLE["evidence"].columns
    values = ", ".join(_value(TABLE["evidence"], column, {}) for column in columns)
    connection.execute(
        "insert or ignore into main.evidence"
        f" ({', '.join(column.name for column in columns)}) select {values}"
        " from part.evidence as row"
    )


def _hanging_tables() -> list[Table]:
    """Return the tables that hold circuits or refer to them, directly or not, in order."""
    hanging = ["circuit"]
    for table in TABLES:
        refers = {column.refers for column in table.columns}
        if table.name not in (*hanging, *_DERIVED) and refers & set(hanging):
            hanging.append(table.name)
    return [TABLE[name] for name in hanging]


def _take_rows(connection: Connection, table: Table, shift: dict[str, int]) -> None:
    """Copy the rows of the chosen circuits, shifting their ids past those in use here."""
    columns = ", ".join(column.name for column in table.columns)
    values = ", ".join(_value(table, column, shift) for column in table.columns)
    connection.execute(
        f"insert into main.{table.name} ({columns}) select {values} from part.{table.name} as row"
        f" where {_belongs(table)} order by row.rowid"
    )


def _value(table: Table, column: Column, shift: dict[str, int]) -> str:
    owner = table.name if column.name == "id" and not column.refers else column.refers
    if owner in shift:
        return f"row.{column.name} + {shift[owner]}"
    if owner in _NAMED:
        same = " and ".join(f"here.{name} = there.{name}" for name in _NAMED[owner])
        return (
            f"(select here.id from part.{owner} as there join main.{owner} as here on {same}"
            f" where there.id = row.{column.name})"
        )
    return f"row.{column.name}"


def _belongs(table: Table) -> str:
    """Return the SQL condition that a row belongs to a chosen circuit."""
    if table.name == "circuit":
        return "row.id in (select id from chosen)"
    for column in table.columns:
        if column.refers == "circuit":
            return f"row.{column.name} in (select id from chosen)"
    column = next(column for column in table.columns if column.refers == "fault")
    return (
        f"row.{column.name} in (select fault.id from part.fault as fault"
        " where fault.circuit_id in (select id from chosen))"
    )
