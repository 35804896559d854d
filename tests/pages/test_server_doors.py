"""What the server answers to, and what it tells: names, closed pages, SQL, wrong addresses."""

import asyncio
import http.client
import re
import subprocess
from collections.abc import Iterator
from contextlib import closing
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

import pytest
from boathouse import stair_with_lamps
from browser import ROOT, TABLES_AT, Browser, visiting
from commandline import PROGRAM, run, words, write

from catalogue.desk.suspect_pool import MOST_JOINED
from catalogue.pages.deskask import packed
from catalogue.pages.gate import Gate
from catalogue.pages.response import HEADERS
from verify.behaviour.signature import MOST_LAMPS
from verify.circuit.file import dump

pytest_plugins = ["small_catalogue"]

DESK = f"{ROOT}/desk"
CLOSED = [
    "actor", "allow-debug", "auth-token", "config", "databases", "logout", "messages", "metadata",
    "patterns", "permissions", "plugins", "settings", "threads", "versions",
]  # fmt: skip


@pytest.fixture(scope="module")
def no_sql(database: Path) -> Iterator[Browser]:
    """A visitor to the same catalogue, served with --no-sql."""
    with visiting(database, default_allow_sql=False) as browser:
        yield browser


def asked(gate: Gate, *hosts: str, method: str = "GET", path: str = "/") -> tuple[int, str]:
    """The status and the text with which a gate answers to a request."""
    sent: list[dict[str, Any]] = []

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    headers = [(b"host", host.encode("latin-1")) for host in hosts]
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "headers": [(b"accept", b"*/*"), *headers],
    }
    asyncio.run(gate(scope, None, send))
    return sent[0]["status"], sent[1]["body"].decode()


async def open_house(scope: Any, receive: Any, send: Any) -> None:
    """An application that answers everybody."""
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"welcome"})


@pytest.mark.parametrize(
    "name", ["localhost", "LocalHost", "127.0.0.1", "[::1]", "Boathouse.example"]
)
@pytest.mark.parametrize("port", ["", ":1", ":8001", ":65535"])
def test_own_and_allowed_names_are_served(name: str, port: str) -> None:
    """This machine's own names and those that were allowed are answered to, at any port."""
    assert asked(Gate(open_house, ["boathouse.example"]), name + port) == (200, "welcome")


@pytest.mark.parametrize(
    "host",
    [
        "evil.example", "evil.example:8001", "localhost.evil.example", "127.0.0.1.evil.example",
        "evil.example:80@localhost", "localhost:8001:8001", "localhost:x", "localhost:", "::1",
        "[::1", "[::1]x", "[::2]", "127.0.0.2", "localhost,evil.example", "", " ", "löcalhost",
    ],
)  # fmt: skip
def test_other_names_are_misdirected(host: str) -> None:
    """A name of somebody else's, which may lead to this machine by a trick, gets nothing (421)."""
    status, sentence = asked(Gate(open_house), host)
    assert status == 421
    assert "serve it with --allowed-host and the name" in sentence


@pytest.mark.parametrize("hosts", [(), ("localhost", "localhost"), ("localhost", "evil.example")])
def test_no_name_and_two_names_are_refused(hosts: tuple[str, ...]) -> None:
    """Of two names one might be checked and the other used."""
    status, sentence = asked(Gate(open_house), *hosts)
    assert status == 400
    assert f"does so {len(hosts)} times" in sentence


@pytest.mark.parametrize(
    "method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT"]
)
def test_nothing_is_sent_in(method: str) -> None:
    """No method but reading reaches anything, so no body is ever read."""
    assert asked(Gate(open_house), "localhost", method=method)[0] == 405


@pytest.fixture
def address(database: Path) -> Iterator[tuple[str, int]]:
    """Where a running server is that may be called boathouse.example."""
    command = ["serve", str(database), "--port", "0", "--allowed-host", "boathouse.example"]
    with subprocess.Popen(
        [*PROGRAM, *command], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8"
    ) as server:
        assert server.stdout
        found = re.search(r"http://(.*):(\d+)/", server.stdout.readline())
        assert found
        yield found[1], int(found[2])
        server.kill()


def test_the_served_catalogue_checks_names(address: tuple[str, int]) -> None:
    """The command itself answers to allowed names only; there is no server without the check."""
    style = f"{ROOT}/static/miswire.css"
    for host, status in (("boathouse.example", 200), ("localhost:1", 200), ("evil.example", 421)):
        with closing(http.client.HTTPConnection(*address, timeout=60)) as connection:
            connection.request("GET", style, headers={"host": host})
            assert connection.getresponse().status == status


@pytest.mark.parametrize(
    "name", ["http://boathouse", "boathouse:80", "", "a b", "x/y", "::1", "*", ".example.com"]
)
def test_allowed_names_are_checked(database: Path, name: str) -> None:
    """What no Host header can match is a mistake of whoever starts the server."""
    result = run("serve", str(database), "--allowed-host", name, "--port", "-1")
    assert result.exit_code == 2
    assert f"--allowed-host={name}: must be a name or an address alone" in result.stderr
    assert "--port=-1" in result.stderr


@pytest.mark.parametrize("page", CLOSED)
@pytest.mark.parametrize("form", ["", ".json"])
def test_pages_for_debugging_are_closed(browser: Browser, page: str, form: str) -> None:
    """Settings, versions, and the path of the file are nobody's business."""
    assert browser.get(f"/-/{page}{form}").status_code == 404


def test_the_list_of_closed_pages_is_whole(browser: Browser) -> None:
    """Every page that Datasette has of this sort is on the list above."""
    patterns = (pattern.pattern for pattern, _ in browser.datasette._routes())
    names = {match[1] for p in patterns if (match := re.match(r"\^?/-/([a-z-]+)", p))}
    assert names - {"static", "miswire"} - {n for n in names if n.startswith("static-")} == set(
        CLOSED
    )


@pytest.mark.parametrize(
    "query",
    [
        "?sql=select+1",
        ".json?sql=select+1",
        ".csv?sql=select+1",
        "/fault?_where=1",
        "/fault.json?_where=1",
    ],
)
def test_sql_can_be_turned_off(browser: Browser, no_sql: Browser, query: str) -> None:
    """With --no-sql neither the page for SQL nor a condition in SQL is answered, and it says so."""
    assert browser.get(TABLES_AT + query).status_code == 200
    refused = no_sql.get(TABLES_AT + query)
    assert refused.status_code == 403
    assert "Questions in SQL are turned off here" in refused.text


def test_tables_work_without_sql(no_sql: Browser) -> None:
    """Lists, filters and sorting stay, and no page offers SQL."""
    for path in (
        TABLES_AT,
        f"{TABLES_AT}/fault?_size=1&_sort=id&circuit_id__exact=1",
        f"{TABLES_AT}/hazard.json?_facet=danger",
        f"{TABLES_AT}/circuit/1",
        "/",
        f"{DESK}?locations=2&at-ud=dark",
    ):
        response = no_sql.get(path)
        assert response.status_code == 200, path
        assert "<textarea" not in response.text
        assert "?sql=" not in response.text


def test_no_sql_is_an_option_of_the_command(
    database: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command hands the option to Datasette; without it SQL is answered."""
    given: list[bool] = []
    monkeypatch.setattr(
        "catalogue.commands.serve._run",
        lambda _file, _listener, settings, _hosts: given.append(settings["default_allow_sql"]),
    )
    for options in ([], ["--no-sql"]):
        assert run("serve", str(database), "--port", "0", *options).exit_code == 0
    assert given == [True, False]


# Addresses that nobody got from a page.

VALUES = (
    "", "nosuch", "x", "%00", "x%00y", "%ff%fe", "-1", "9" * 24, "1e999", "'", "[]", "[[", "null",
    "%0d%0aX:1", "../..", "{{7*7}}", "%F0%9F%92%A1",
)  # fmt: skip
OURS = (
    "/", DESK, f"{DESK}/plan", f"{DESK}/picture", f"{ROOT}/mimics", f"{ROOT}/pairs",
    f"{ROOT}/pair/a/b/c/d/e", f"{ROOT}/pair/a/b/c/d/e/picture", f"{ROOT}/flipping",
    f"{ROOT}/findings", f"{ROOT}/claims", f"{ROOT}/claim/x", f"{ROOT}/claim/x/picture",
    f"{ROOT}/circuits", f"{ROOT}/circuit/chain-1.f.1", f"{ROOT}/faults",
    f"{ROOT}/fault/chain-1.f.1/left-off/box-2,switch-2.ground", f"{ROOT}/signatures",
    f"{ROOT}/signature/x", f"{ROOT}/hazard/metal-live", f"{ROOT}/kind/moved", f"{ROOT}/practice",
    f"{ROOT}/terms", f"{ROOT}/scope", f"{ROOT}/cautions", f"{ROOT}/static/x", f"{ROOT}/nosuch",
)  # fmt: skip
KEYS = (
    "file", "packed", "circuit", "locations", "fault", "layout", "scheme", "name1", "at-ud", "at-",
    "sign-x", "step1", "positions", "edit", "format", "view", "state", "path", "page", "kind",
    "verdict", "hazard", "signature", "start", "sort", "case", "guess", "%00", "%ff",
)  # fmt: skip
TABLES = tuple(
    TABLES_AT + path
    for path in ("", ".json", "/fault", "/fault.json", "/fault.csv", "/fault.blob", "/fault/1",
                 "/circuit", "/hazard", "/fault/x", "/fault/99999999999999999999", "/nosuch")
)  # fmt: skip
TABLE_KEYS = (
    "_sort", "_sort_desc", "_next", "_size", "_facet", "_facet_array", "_facet_date",
    "_facet_size", "_where", "_search", "_through", "_col", "_nocol", "_shape", "_json", "_extra",
    "_labels", "_timelimit", "_ttl", "_stream", "_json_infinity", "_blob_column", "sql", "id",
    "id__in", "id__gt", "id__arraycontains", "id__date", "nosuch__exact", "_filter_column",
)  # fmt: skip


@pytest.mark.parametrize(
    "path",
    [
        f"{DESK}/plan?file=x",
        f"{DESK}/picture?file=x",
        f"{DESK}?file=x",
        f"{TABLES_AT}/hazard?_sort=nosuch",
        f"{TABLES_AT}/hazard.json?_sort=nosuch",
        f"{TABLES_AT}/hazard?_sort=id&_sort_desc=id",
        f"{TABLES_AT}/fault.csv?_where=%00",
        f"{TABLES_AT}/hazard?_through=x",
        f"{TABLES_AT}/hazard.json?id__gt=999999999999999999999999",
        f"{TABLES_AT}/hazard?_timelimit=x",
        f"{TABLES_AT}/fault.blob?_blob_column=id",
        f"{TABLES_AT}/judged_fault?_next={'9' * 20}",
        f"{TABLES_AT}/judged_fault.json?_next={'9' * 20}",
    ],
)
def test_mistakes_in_addresses_are_the_visitors(browser: Browser, path: str) -> None:
    """An address that cannot be answered is refused with a sentence, not called a failure."""
    response = browser.get(path)
    assert response.status_code == 400
    assert "Traceback" not in response.text
    if path.startswith(TABLES_AT):
        assert "Take the address from a page" in response.text


# Datasette leaves the other facets of a table unasked when one of them fails.
@pytest.mark.filterwarnings("ignore:coroutine '.*[fF]acet.*' was never awaited:RuntimeWarning")
@pytest.mark.parametrize(
    ("paths", "keys"), [(OURS, KEYS), (TABLES, TABLE_KEYS)], ids=["our pages", "tables"]
)
def test_no_address_makes_the_server_fail(
    browser: Browser, database: Path, paths: tuple[str, ...], keys: tuple[str, ...]
) -> None:
    """Whatever value any key has, the answer is no failure and does not tell where the file is."""
    every = sorted(product(paths, keys, VALUES))
    for path, key, value in Random(13).sample(every, 120):
        address = f"{path}?{key}={value}"
        response = browser.get(address)
        assert response.status_code < 500, address
        assert str(database.parent) not in response.text, address


def test_a_mistake_of_ours_stays_one(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """What fails in our own code while Datasette draws a table is not put down to the visitor."""

    def failing(*_: object, **__: object) -> None:
        raise ValueError("ours")

    monkeypatch.setattr("catalogue.pages.cells._link", failing)
    assert browser.get(f"{TABLES_AT}/hazard").status_code == 500


@pytest.mark.parametrize("form", ["", ".json", ".csv"])
def test_a_failure_says_nothing_of_the_machine(
    browser: Browser, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    """What fails is reported to whoever serves; visitors see a sentence without any path."""

    def failing(*_: object, **__: object) -> None:
        raise OSError(36, "File name too long", "/slipway/catalogue")

    monkeypatch.setattr("datasette.views.table.TableView.data", failing)
    response = browser.get(f"{TABLES_AT}/hazard{form}")
    assert response.status_code == 500
    assert "This page could not be made" in response.text
    assert "slipway" not in response.text
    assert "File name" not in response.text


@pytest.mark.parametrize(
    "path",
    [
        "/-/static/" + "a" * 300,
        "/-/static/table.js/x",
        "/-/static/",
        "/-/static/../app.py",
        "/-/static/%2e%2e/app.py",
        "//evil.example/",
        "/\\evil.example/",
    ],
)
def test_paths_that_lead_elsewhere_are_missing(path: str) -> None:
    """Files that are not there are not looked for, and nobody is sent to another server."""
    status, sentence = asked(Gate(open_house), "localhost", path=path)
    assert status == 404
    assert "There is no such page" in sentence


def test_pages_of_tables_are_protected(browser: Browser) -> None:
    """Pages not ours load nothing from elsewhere and cannot be framed; ours keep theirs."""
    for path in (TABLES_AT, f"{TABLES_AT}/hazard", f"{TABLES_AT}.json", "/-/static/table.js"):
        headers = browser.get(path).headers
        assert "frame-ancestors 'none'" in headers["content-security-policy"]
        assert "default-src 'self'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
    ours = browser.get("/").headers
    assert ours.get_list("content-security-policy") == [HEADERS["content-security-policy"]]


@pytest.mark.parametrize("name", ["judged_fault", "judged~5Ffault"])
def test_views_are_not_streamed(browser: Browser, name: str) -> None:
    """All rows of a view are work without end; a page of them is there."""
    response = browser.get(f"{TABLES_AT}/{name}.csv?_stream=1")
    assert response.status_code == 400
    assert "miswire export" in response.text
    assert browser.get(f"{TABLES_AT}/judged_fault.csv?_size=1").status_code == 200
    assert browser.get(f"{TABLES_AT}/hazard.csv?_stream=1").status_code == 200


@pytest.mark.parametrize("form", ["", ".json", ".csv"])
def test_questions_that_take_too_long_are_told_so(database: Path, form: str) -> None:
    """Whoever asks too much reads what to do, in words that are no HTML within JSON."""
    endless = "with+recursive+c(x)+as+(select+1+union+all+select+x+from+c)+select+max(x)+from+c"
    with visiting(database, sql_time_limit_ms=50) as browser:
        response = browser.get(f"{TABLES_AT}{form}?sql={endless}")
    assert response.status_code == 400
    assert "This question takes longer than anybody is given here" in response.text
    assert "docs." not in response.text


def test_tables_of_other_programs_are_hidden(browser: Browser) -> None:
    """What the program that made the tables keeps for itself is not listed among them."""
    tables = {
        table["name"]: table["hidden"]
        for table in browser.get(f"{TABLES_AT}.json").json()["tables"]
    }
    assert tables["_sqlite_migrations"]
    assert not tables["hazard"]


# How many lamps and joined ends there may be.


@pytest.mark.parametrize(
    ("more", "wired", "sentences"),
    [
        (MOST_LAMPS, 0, [f"lamps={MOST_LAMPS + 1}: must be at most {MOST_LAMPS}"]),
        (MOST_JOINED, None, [f"must be at most {MOST_JOINED} in one join"]),
        (29, None, ["lamps=30: must be at most", "box.landing: ends=33: must be at most"]),
        (99, None, ["lamps=100: must be at most", "box.landing: ends=103: must be at most"]),
    ],
)
def test_too_many_lamps_are_refused_with_the_limit(
    browser: Browser, tmp_path: Path, more: int, wired: int | None, sentences: list[str]
) -> None:
    """The command and the desk say what is too much, the rule and the remedy."""
    circuit = stair_with_lamps(more, wired)
    result = run("suspects", write(tmp_path / "lamps.toml", circuit))
    assert result.exit_code == 2
    assert result.stderr.count("leave out lamps that are connected beside another") == len(
        sentences
    )
    pages = [browser.get(f"{DESK}{page}?packed={packed(dump(circuit))}") for page in ("", "/plan")]
    for sentence in sentences:
        assert sentence in words(result.stderr)
        assert all(sentence in page.text for page in pages)
    assert [page.status_code for page in pages] == [400, 400]


def test_a_join_too_wide_for_a_page_is_for_the_command(browser: Browser) -> None:
    """The desk takes less than the command: each way to part a join is a mistake to be judged."""
    circuit = stair_with_lamps(12)
    page = browser.get(f"{DESK}?packed={packed(dump(circuit))}")
    assert page.status_code == 400
    assert "takes too long here. The command miswire suspects" in page.text
