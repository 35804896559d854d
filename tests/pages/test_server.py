"""The server under load: no address, no query and no visitor keeps the others waiting."""

import asyncio
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import monotonic
from typing import Any
from urllib.parse import quote

import pytest
from boathouse import stair_with_lamps
from browser import ROOT, TABLES_AT, Browser
from datasette.utils.asgi import Request

from catalogue.desk.answer import Answer
from catalogue.desk.checks import check_kinds
from catalogue.desk.suspect_pool import pool_of_circuit
from catalogue.desk.symptoms import Symptoms
from catalogue.pages.contract import BusyError
from catalogue.pages.gate import LONGEST_ADDRESS, MOST_KEYS
from catalogue.pages.workers import Workers, workers
from catalogue.store.bounds import LONGEST_ANSWER, LONGEST_CELL, MOST_COLUMNS, bound
from catalogue.store.rendering import register_text_functions
from verify.base.deadline import TooLateError, ending_at, keep_deadline
from verify.behaviour.signature import DARK
from verify.circuit.file import dump
from verify.layout.enumeration import Layout

pytest_plugins = ["small_catalogue"]

DESK = f"{ROOT}/desk"
STYLE = f"{ROOT}/static/miswire.css"
FAULTS = f"{TABLES_AT}/fault"
ASKED = f"{DESK}?circuit=chain-1.f.1&at-ud=dark"


def sql(query: str, form: str = ".json") -> str:
    """The address of a question in SQL."""
    return f"{TABLES_AT}{form}?sql={quote(query)}"


@pytest.fixture
def work(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Everything that is asked of the database, and every query that is read."""
    done: list[object] = []
    database = type(next(iter(browser.datasette.databases.values())))

    async def noted(self: object, *_: object, **__: object) -> None:
        done.append(self)

    monkeypatch.setattr(database, "execute_fn", noted)
    monkeypatch.setattr("datasette.utils.asgi.parse_qs", lambda **_: done.append("query"))
    return done


@pytest.mark.parametrize("place", ["/", DESK, f"{DESK}/plan", TABLES_AT, FAULTS, f"{FAULTS}.json"])
@pytest.mark.parametrize(
    ("query", "status", "sentence"),
    [
        ("&".join(f"k{i}=x" for i in range(4000)), 400, "gives 4,000 values; at most 200 are read"),
        ("&" * MOST_KEYS, 400, "gives 201 values"),
        ("q=" + "x" * LONGEST_ADDRESS, 414, "at most 40,000 are read. Take the address from"),
    ],
)
def test_what_is_too_long_is_refused_before_any_work(
    browser: Browser, work: list[object], place: str, query: str, status: int, sentence: str
) -> None:
    """An address with too many keys, or too long, is neither parsed nor asked of the database."""
    response = browser.get(f"{place}?{query}")
    assert response.status_code == status
    assert sentence in response.text
    assert work == []


def test_a_path_that_is_too_long_is_refused(browser: Browser, work: list[object]) -> None:
    """The bound is for the whole address, not for its query alone."""
    assert browser.get(f"{ROOT}/circuit/{'x' * LONGEST_ADDRESS}").status_code == 414
    assert work == []


def test_the_longest_address_of_the_desk_is_within_the_bounds(browser: Browser) -> None:
    """A link of the desk with all that it may hold is read: a circuit of the most that is pasted,
    a sight in every combination of six switches, all signs and sixty findings.
    """
    query = "&".join(
        [
            f"packed={'x' * 8000}",
            *(f"at-{state:06b}=dark".replace("0", "u").replace("1", "d") for state in range(64)),
            *(f"sign-{number}=yes" for number in range(5)),
            *(f"step{number}={'x' * 400}" for number in range(1, 61)),
        ]
    )
    response = browser.get(f"{DESK}?{query}")
    assert response.status_code == 400
    assert "The circuit in this address is not complete" in response.text


@pytest.mark.parametrize(
    "place", [ASKED + "&", f"{FAULTS}?_size=1&", f"{TABLES_AT}.json?sql=select+1&"]
)
def test_a_query_is_parsed_once(
    browser: Browser, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    """Of a query with many keys every one is read, and yet it is parsed once a request."""
    parsed = []
    parse = Request.args.func

    def counted(request: Request) -> Any:
        parsed.append(request)
        return parse(request)

    monkeypatch.setattr(Request.args, "func", counted)
    response = browser.get(place + "&".join(f"_k{number}=x" for number in range(150)))
    assert response.status_code == 200
    assert len(parsed) == 1


# Threads of their own, places and a deadline.


class OneFile:
    """A database as Datasette has it, as far as workers use it."""

    name = "one"

    def __init__(self) -> None:
        self.ds = self

    def connect(self) -> sqlite3.Connection:
        """A connection that threads may share."""
        return sqlite3.connect(":memory:", check_same_thread=False)

    def _prepare_connection(self, connection: sqlite3.Connection, name: str) -> None:
        assert name == self.name


def test_who_finds_no_place_is_told_at_once() -> None:
    """With all places taken nothing is begun, and a place is free again when work has ended."""
    few = Workers(threads=1, places=2, seconds=60)
    go_on = threading.Event()

    async def crowd() -> list[Any]:
        first = [asyncio.ensure_future(few.run(OneFile(), lambda _: go_on.wait(60))) for _ in "ab"]
        await asyncio.sleep(0)
        with pytest.raises(BusyError, match="no place"):
            await few.run(OneFile(), lambda _: pytest.fail("was begun"))
        go_on.set()
        answers = await asyncio.gather(*first)
        await asyncio.sleep(0)
        return [*answers, await few.run(OneFile(), lambda _: "free again")]

    assert asyncio.run(crowd()) == [True, True, "free again"]


def endless(_: sqlite3.Connection) -> None:
    """Work that asks whether its time is over, as all loops of the desk do."""
    while True:
        keep_deadline()


def endless_query(connection: sqlite3.Connection) -> None:
    """A query that nobody can wait for."""
    connection.execute(
        "with recursive c(x) as (select 1 union all select x + 1 from c) select max(x) from c"
    ).fetchall()


@pytest.mark.parametrize("work", [endless, endless_query])
def test_work_that_is_too_late_ends(work: Callable[[sqlite3.Connection], None]) -> None:
    """Who waits too long is told so; the thread ends what it did and serves the next one."""
    one = Workers(threads=1, places=2, seconds=0.1)

    async def late() -> int:
        with pytest.raises(BusyError, match="longer than anybody is asked to wait"):
            await one.run(OneFile(), work)
        one.seconds = 60
        return await one.run(OneFile(), lambda connection: connection.total_changes)

    assert asyncio.run(late()) == 0


def test_who_waited_too_long_for_a_thread_is_not_begun() -> None:
    """The time spent waiting for a thread counts: an answer that nobody waits for is not begun."""
    one = Workers(threads=1, places=2, seconds=0.05)
    never = threading.Event()

    async def queue() -> list[Any]:
        first = one.run(OneFile(), lambda _: never.wait(2 * one.seconds))
        second = one.run(OneFile(), lambda _: pytest.fail("was begun"))
        return list(await asyncio.gather(first, second, return_exceptions=True))

    first, second = asyncio.run(queue())
    assert first is False
    assert isinstance(second, BusyError)


def desk_answer() -> Answer:
    """An answer of the desk that has still to be worked out."""
    pool = pool_of_circuit(Layout.parse("1.f.1").circuit("chain"))
    return Answer(pool, Symptoms(2, {0: DARK}), {}, check_kinds())


@pytest.mark.parametrize(
    "work",
    [
        lambda answer: pool_of_circuit(answer.pool.circuit),
        lambda answer: answer.next_checks,
        lambda answer: answer.plan,
    ],
    ids=["pool", "checks", "plan"],
)
def test_the_loops_of_the_desk_keep_the_deadline(work: Callable[[Answer], object]) -> None:
    """Judging faults, making checks and planning end when nobody waits any more."""
    answer = desk_answer()
    assert answer.hypotheses
    with ending_at(monotonic()), pytest.raises(TooLateError):
        work(answer)
    assert work(answer)


def test_a_full_desk_keeps_nobody_else_waiting(browser: Browser) -> None:
    """With all places of the desk taken it says so, and every other page is there."""
    desk = workers(browser.datasette)
    desk.places, places = 0, desk.places
    try:
        for path in (ASKED, f"{DESK}/plan?circuit=chain-1.f.1", f"{DESK}/picture?circuit=x"):
            response = browser.get(path)
            assert response.status_code == 503
            assert response.headers["retry-after"] == "10"
            assert "Come again in a moment" in response.text
        for path in ("/", STYLE, f"{ROOT}/mimics", f"{FAULTS}?_size=1"):
            assert browser.get(path).status_code == 200
    finally:
        desk.places = places
    assert browser.get(ASKED).status_code == 200


# Memory by SQL, and what it may tell.

ROWS = "with recursive c(x) as (select 1 union all select x + 1 from c where x < 1000) "


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("select zeroblob(900000000)", "string or blob too big"),
        ("select length(hex(zeroblob(450000000)))", "string or blob too big"),
        ("select length(hex(zeroblob(200000)))", "string or blob too big"),
        ("select replace(hex(zeroblob(100000)), '0', '0123456789')", "string or blob too big"),
        (ROWS + "select length(group_concat(hex(zeroblob(1000)))) from c", "too big"),
        (ROWS + "select json_group_array(hex(zeroblob(1000))) from c", "too big"),
        (ROWS + "select hex(zeroblob(60000 + x)) from c", "ask for fewer rows"),
        ("select " + ", ".join(["1"] * 101), "too many columns"),
        (
            ROWS
            + "select "
            + "+".join(f"length(group_concat(x, {i}))" for i in range(150))
            + " from c",
            "aggregate terms",
        ),
    ],
)
def test_a_query_takes_little_memory(browser: Browser, query: str, sentence: str) -> None:
    """Cells, aggregates, columns and whole answers are bounded, and the visitor is told why."""
    response = browser.get(sql(query))
    assert response.status_code == 400
    assert sentence in response.json()["error"]


def test_real_cells_are_far_from_the_bound(database: Path) -> None:
    """The longest cell of a catalogue is a tenth of what a cell may have, at most."""
    with closing(sqlite3.connect(database)) as connection:
        tables = connection.execute("select name from sqlite_master where type = 'table'")
        for (table,) in tables.fetchall():
            columns = connection.execute(f'select * from "{table}" limit 0').description
            assert len(columns) < MOST_COLUMNS
            for column, *_ in columns:
                longest = f'select max(length(cast("{column}" as blob))) from "{table}"'
                (length,) = connection.execute(longest).fetchone()
                assert (length or 0) * 10 < LONGEST_CELL, f"{table}.{column}"


def test_answers_are_bounded_one_by_one() -> None:
    """What one query has taken is not counted against the next, however many there are."""
    with closing(sqlite3.connect(":memory:")) as connection:
        bound(connection)
        half = LONGEST_CELL // 2 - 1
        nearly = LONGEST_ANSWER // (2 * half)
        query = f"{ROWS}select hex(zeroblob({half})) as cell from c limit ?"
        for _ in range(3):
            assert len(connection.execute(query, [nearly]).fetchall()) == nearly
        with pytest.raises(sqlite3.OperationalError, match="16,000,000 characters"):
            connection.execute(query, [nearly + 1]).fetchall()


@pytest.mark.parametrize(
    "query",
    ["pragma database_list", "select file from pragma_database_list", "PRAGMA Database_List"],
)
def test_sql_does_not_tell_where_the_file_is(query: str, database: Path) -> None:
    """The files of a connection are not to be had by any spelling of the question."""
    with closing(sqlite3.connect(database)) as connection:
        assert str(database.resolve()) in str(connection.execute(query).fetchall())
        bound(connection)
        assert connection.execute(query).fetchall() == []


@pytest.mark.parametrize(
    "query",
    [
        "select fts3_tokenizer('simple', x'4141414141414141')",
        "select FTS3_Tokenizer('simple')",
        "select * from fts3tokenize where input = 'hello'",
        "select count(*) from dbstat",
        "select load_extension('x')",
        "select printf('%.*c', 900000000, 'x')",
        "select format('%.*c', 900000000, 'x')",
        "select json_patch('{}', '{}')",
        "select 1 from hazard where length(printf('%900000000d', id))",
        "create temp table t(a)",
        "create virtual table temp.t using fts5(a)",
        "attach ':memory:' as other",
        "pragma writable_schema = 1",
        "pragma cache_spill",
        "delete from hazard",
    ],
)
def test_sql_reaches_nothing_but_the_rows(query: str, database: Path) -> None:
    """SQL that takes an address in memory, opens files, writes, or that no limit of time ends, is
    refused before it begins.
    """
    with closing(sqlite3.connect(database)) as connection:
        bound(connection)
        with pytest.raises(sqlite3.DatabaseError, match=r"not authorized|prohibited"):
            connection.execute(query).fetchall()


@pytest.mark.parametrize(
    ("query", "answer"),
    [
        ("select trim('xxaxx', 'x') || ltrim('xxax', 'x') || rtrim('xaxx', 'x')", "aaxxa"),
        ("select trim(' a ') || trim(121, 1) || trim('a', '') || trim(x'6162', 'a')", "a2ab"),
        ("select coalesce(trim(null, 'x'), trim('x', null), 'none')", "none"),
        ("select name from pragma_table_info('hazard') where cid = 0", "id"),
        ("select group_concat(value) from json_each('[1, 2]')", "1,2"),
        ("select count(*) > 0 from family_fts where family_fts match 'the OR switch'", 1),
        ("select 'abc' like '%B%' and 'abc' glob '*b*'", 1),
    ],
)
def test_ordinary_questions_are_answered(query: str, answer: object, database: Path) -> None:
    """What is refused leaves search, columns and texts as they are."""
    with closing(sqlite3.connect(database)) as connection:
        bound(connection)
        assert connection.execute(query).fetchone()[0] == answer


# Datasette has SQLite report what functions raise.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("call", ["trim(t, t)", "ltrim(t, t)", "rtrim(t, t)", "t like t"])
def test_long_patterns_are_refused(call: str) -> None:
    """The time of a function that compares a pattern everywhere is bounded with the pattern."""
    with closing(sqlite3.connect(":memory:")) as connection:
        bound(connection)
        with pytest.raises(sqlite3.OperationalError, match=r"too complex|user-defined"):
            connection.execute(f"select {call} from (select hex(zeroblob(600)) as t)").fetchall()


# Datasette has SQLite report what functions raise.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("lamps", "wired"), [(60, 0), (18, 18)], ids=["many ends in a box", "a wide join"]
)
def test_faults_of_a_huge_circuit_are_not_put_in_words(lamps: int, wired: int) -> None:
    """A query can hand any circuit to the functions for texts; one without end is refused."""
    with closing(sqlite3.connect(":memory:")) as connection:
        register_text_functions(connection)
        with pytest.raises(sqlite3.OperationalError, match="user-defined function"):
            connection.execute(
                "select fault_text('x', ?, 'left-off', 3)", [dump(stair_with_lamps(lamps, wired))]
            ).fetchone()
