"""The pages of a catalogue are safe to open, whatever is in it, and whatever is asked of them."""

import shutil
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from html import escape
from pathlib import Path
from typing import Final
from urllib.parse import unquote

import pytest
from browser import (
    CLASSIC,
    HOSTILE,
    MIMIC,
    ROOT,
    TABLES_AT,
    Browser,
    Document,
    changed,
    check_page,
    visiting,
    without_fragment,
)

from catalogue.pages.addresses import LONGEST_WORD, signature_label
from catalogue.pages.contract import Visit
from catalogue.pages.response import HEADERS, PICTURE_HEADERS
from catalogue.store.columns import Table, View
from catalogue.store.fault_tables import VIEWS
from catalogue.store.tables import TABLES
from verify.base.cautions import summary

pytest_plugins = ["small_catalogue"]

POLICY: Final = "content-security-policy"


def test_the_checks_can_fail() -> None:
    """What the checks of a page look for, they find."""
    bad = Document.of('<p onclick="x"><b></p><input><th>1</th><a href="//other.example/">away</a>')
    assert bad.mistakes == [
        "</p> closes something else",
        "<p> is not closed",
        "<input> has no label",
        "<th> has no scope",
    ]
    assert bad.dangers == ["<p onclick=x>", "<a href=//other.example/>"]


def policy(headers: Mapping[str, str]) -> dict[str, str]:
    """What the content security policy allows, by what is loaded."""
    return dict(part.split(" ", 1) for part in headers[POLICY].split("; "))


def test_policy_runs_and_loads_nothing_foreign() -> None:
    """The content security policy allows our own style sheets, letters, scripts and pictures, and
    nothing written into a page; a picture by itself brings its letters and can do nothing."""
    assert policy(HEADERS) == {
        "default-src": "'none'",
        "style-src": "'self'",
        "font-src": "'self'",
        "script-src": "'self'",
        "img-src": "'self' data:",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    assert policy(PICTURE_HEADERS) == {
        "default-src": "'none'",
        "style-src": "'unsafe-inline'",
        "font-src": "data:",
        "form-action": "'none'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    others = {name: value for name, value in HEADERS.items() if name != POLICY}
    assert others == {name: value for name, value in PICTURE_HEADERS.items() if name != POLICY}


def test_hostile_names_are_only_text(browser: Browser) -> None:
    """A circuit may have any name: it is shown as written, in pages, lists and Datasette's rows."""
    path = f"{ROOT}/circuit/boathouse-s%C3%BCd"
    document = check_page(browser.get(path), path)
    assert HOSTILE in document.text
    lists = [f"{ROOT}/circuits", f"{ROOT}/faults?circuit=boathouse-s%C3%BCd"]
    for listing in lists:
        assert HOSTILE in check_page(browser.get(listing), listing).text
    rows = browser.get(f"{TABLES_AT}/circuit").text
    assert escape(HOSTILE[:50]).replace("&#x27;", "&#39;").replace("&quot;", "&#34;") in rows


def test_hostile_content_is_only_text(database: Path, tmp_path: Path) -> None:
    """Nothing in a file that somebody handed on becomes markup, whichever column it is in."""
    copy = Path(shutil.copy(database, tmp_path / "hostile.db"))
    with closing(sqlite3.connect(copy)) as connection:
        for table, column in (
            ("family", "name"),
            ("verdict", "meaning"),
            ("signature", "name"),
            ("hazard", "title"),
            ("hazard", "danger"),
            ("fault_kind", "title"),
            ("fault_kind", "description"),
            ("run", "self_check"),
            ("run", "digest"),
            ("term", "meaning"),
            ("scope", "scheme"),
        ):
            key = "rowid" if table == "family" else "''"
            connection.execute(f"update or ignore {table} set {column} = ? || {key}", [HOSTILE])
        connection.commit()
    with visiting(copy) as browser:
        for path in ("/", MIMIC, f"{ROOT}/circuit/chain-1.f.1", f"{ROOT}/kind/left-off"):
            assert HOSTILE in check_page(browser.get(path), path).text
        for path in (f"{ROOT}/hazard/metal-live", f"{ROOT}/scope", f"{ROOT}/signature/-LL-"):
            assert HOSTILE in check_page(browser.get(path), path).text
        for name in ("fault", "fault_in_words", "profile", "outcome"):
            table = browser.get(f"/hostile/{name}").text
            assert 'alert("' not in table.replace("<script>\ndocument", "")


def test_what_cannot_be_put_into_words(database: Path, tmp_path: Path) -> None:
    """Rows of a file that somebody changed are listed without words; no page fails for them."""
    copy = changed(database, tmp_path, "update fault set site = site + 1000 where id = 1")
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("update circuit set file = 'format = 1' where label = 'boathouse-süd'")
        connection.commit()
    with visiting(copy) as browser:
        for path, told in (
            ("", "This circuit has no site"),
            ("?circuit=boathouse-s%C3%BCd", "A mistake without words"),
        ):
            listed = browser.facts(f"{ROOT}/faults{path}")["faults"][0]
            assert listed["description"].startswith(told)
            check_page(browser.get(f"{ROOT}/faults{path}"), path)
            gone = f"{ROOT}/fault/{listed['circuit']}/{listed['kind']}/{listed['site']}"
            check_page(browser.get(gone), path)
            assert browser.get(gone).status_code == 404
        for table in ("fault", "fault_in_words", "judged_fault"):
            assert browser.get(f"/changed/{table}?id=1").status_code == 200


def test_unicode_labels(browser: Browser) -> None:
    """Names in any script make addresses that work, for every fault of the circuit."""
    listed = browser.read(f"{ROOT}/faults?circuit=boathouse-s%C3%BCd&kind=contact-open")
    links = [link for link in listed.links if link.startswith(f"{ROOT}/fault/")]
    assert len(links) == 4
    for link in links:
        assert link.isascii()
        facts = browser.facts(link)
        assert facts["label"] == unquote(link.removeprefix(f"{ROOT}/fault/"))
        assert facts["contradictions"] == []


ODD = {
    f"{ROOT}/nothing": 404,
    f"{ROOT}/circuit/chain-9.9.9": 404,
    f"{ROOT}/circuit/%3Cscript%3E": 404,
    f"{ROOT}/circuit/{'x' * 20_000}": 404,
    f"{ROOT}/circuit/%FF%FE": 404,
    f"{ROOT}/circuit/%00": 404,
    f"{ROOT}/circuit/..%2F..%2Fetc": 404,
    f"{ROOT}/circuit/chain-1.f.1/more": 404,
    f"{ROOT}/fault/chain-1.f.1/moved/nowhere": 404,
    f"{ROOT}/fault/chain-1.f.1/melted/box-1": 404,
    f"{ROOT}/fault/none/moved/box-1": 404,
    f"{ROOT}/signature/LLLL-": 404,
    f"{ROOT}/signature/hash-0": 404,
    f"{ROOT}/hazard/dragons": 404,
    f"{ROOT}/kind/dragons": 404,
    f"{ROOT}/faults?verdict=fine": 404,
    f"{ROOT}/faults?circuit=none": 404,
    f"{ROOT}/faults?signature=x": 404,
    f"{ROOT}/faults?page=0": 400,
    f"{ROOT}/faults?page=99999": 400,
    f"{ROOT}/faults?page=1e3": 400,
    f"{ROOT}/faults?locations=two": 400,
    f"{ROOT}/faults?locations={'9' * 400}": 400,
    f"{ROOT}/faults?q={'x' * 400}": 400,
    f"{ROOT}/terms?format=xml": 400,
}


@pytest.mark.parametrize("path", ODD, ids=lambda path: path[:40])
def test_odd_requests_get_a_sentence(browser: Browser, path: str) -> None:
    """Whatever is asked for, the answer is a page of ours with a sentence that helps."""
    response = browser.get(path)
    assert response.status_code == ODD[path]
    document = check_page(response, path)
    assert "script" not in document.words
    if "format=" not in path:
        assert browser.facts(path)["sentence"] in document.words


@pytest.mark.parametrize("words", ["%00", "%22", "%27%27", "%2A", "NEAR%28", "a%00b", "-", "%F0"])
def test_any_search_is_answered(browser: Browser, words: str) -> None:
    """A search has no syntax to get wrong."""
    check_page(browser.get(f"{ROOT}/faults?q={words}"), words)


def test_reading_only(browser: Browser) -> None:
    """Nothing can be sent to a page."""
    for method in ("PUT", "DELETE", "PATCH"):
        response = browser.get(f"{ROOT}/terms", method)
        assert response.status_code == 405
        assert response.headers["allow"] == "GET, HEAD"
    assert browser.get(f"{ROOT}/terms", "HEAD").status_code == 200


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_views_explain_themselves(browser: Browser, view: View) -> None:
    """Datasette's page of each view has its help and that of its columns; it counts nothing."""
    path = f"{TABLES_AT}/{view.name}"
    words = browser.read(path).words
    assert view.help in words
    for column, told in view.helps.items():
        assert f"{column} {told}" in words
    assert browser.get(f"{path}.json").json()["filtered_table_rows_count"] is None
    kept = browser.get(f"{path}.json?id__lt=9&_nocount=").json()
    assert (kept["filtered_table_rows_count"], len(kept["rows"])) == (8, 8)


def test_faults_are_sorted_and_counted_by_what_has_an_index(browser: Browser) -> None:
    """Datasette neither sorts nor counts millions of faults by what it would have to go through
    them for.
    """
    offered = browser.get(f"{TABLES_AT}/fault").text
    for column, is_offered in (("circuit_id", True), ("outcome_id", True), ("site", False)):
        assert (f"_sort={column}" in offered) == is_offered
    for query, is_counted in (("", True), ("circuit_id=2&kind_id=3", True), ("kind_id=3", False)):
        rows = browser.get(f"{TABLES_AT}/fault.json?{query}").json()
        assert (rows["filtered_table_rows_count"] is not None) == is_counted
        assert rows["rows"]


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_tables_explain_themselves(browser: Browser, table: Table) -> None:
    """Datasette's page of each table has its help, that of every column, and the cautions."""
    text = browser.get(f"{TABLES_AT}/{table.name}").text
    words = Document.of(text).words
    assert table.help in words
    for column in table.columns:
        assert f"{column.name} {column.help}" in words
    for facet in table.facets:
        assert f'id="facet-{facet.replace("_", "-")}' in text or f'data-column="{facet}"' in text
    assert "Suggested facets" not in words
    assert summary() in words


def test_rows_lead_to_our_pages(browser: Browser, visit: Visit) -> None:
    """In Datasette's tables labels stand for ids and lead to our pages, faults are sentences that
    lead to theirs, and states are in words.
    """
    number = visit.number("select id from circuit where label = 'chain-1.f.1'")
    classic = "circuit_id = ? and fault_at(label, file, fault_kind.name, site) = ?"
    row = visit.row(
        "select fault.id, verdict.name, outcome_id from judged_fault as fault"
        " join circuit on circuit.id = circuit_id join fault_kind on fault_kind.id = kind_id"
        f" join verdict on verdict.id = fault.verdict_id where {classic} and kind_id = 3",
        *(number, CLASSIC.rpartition("/")[2]),
    )
    assert row is not None
    fault, verdict, outcome = row
    for path in (
        f"fault?kind_id=3&circuit_id={number}&_size=500",
        f"fault_in_words?id={fault}",
        f"judged_fault?id={fault}",
    ):
        document = browser.read(f"{TABLES_AT}/{path}")
        assert CLASSIC in document.links
        assert browser.facts(CLASSIC)["description"] in document.words
    document = browser.read(f"{TABLES_AT}/fault?kind_id=3&circuit_id={number}")
    assert f"{ROOT}/circuit/chain-1.f.1" in document.links
    assert "exchanged 3" in document.words
    assert f"{verdict} {outcome}" in document.words
    assert any(link.endswith(f"/outcome?id={outcome}") for link in document.links)
    document = browser.read(f"{TABLES_AT}/fault_in_words?circuit=chain-1.f.1")
    assert f"{ROOT}/circuit/chain-1.f.1" in document.links
    for table in ("outcome?state=1", "evidence?state=1", "judged_fault?state=1"):
        document = browser.read(f"{TABLES_AT}/{table}")
        assert "1: switch 1 down, switch 2 up" in document.words, table
    for table in ("pair", "profile"):
        links = browser.read(f"{TABLES_AT}/{table}").links
        assert any(link.startswith(f"{ROOT}/fault/chain-") for link in links), table
    for table, link in (("signature", "signature/-LL-"), ("hazard", "hazard/metal-live")):
        assert f"{ROOT}/{link}" in browser.read(f"{TABLES_AT}/{table}").links
    for odd in (
        *("fault?_col=site", "fault/1", "evidence?_nocol=state", "fault?_labels=off"),
        *("judged_fault?_nocol=id&_nocol=outcome_id", "fault_in_words.json"),
    ):
        assert browser.get(f"{TABLES_AT}/{odd}").status_code == 200


def test_long_signatures_have_short_addresses(database: Path, tmp_path: Path) -> None:
    """A word too long for an address is called by its hash, and its page is there."""
    word = "-" * LONGEST_WORD + "L" * LONGEST_WORD
    statement = "update signature set word = ?, locations = 9 where id = 1"
    assert len(signature_label(word)) < 50
    with visiting(changed(database, tmp_path, statement, word)) as browser:
        facts = browser.facts(f"{ROOT}/signature/{signature_label(word)}")
        assert facts["word"] == word
        assert len(facts["states"]) < facts["states_total"] == 512
        document = browser.read(f"{ROOT}/signature/{signature_label(word)}")
        assert any(f"signature={signature_label(word)}" in link for link in document.links)


def test_another_base_address(database: Path) -> None:
    """Behind a proxy every link keeps to the base address."""
    with visiting(database, base_url="/boats/") as browser:
        for path in ("/boats/", f"/boats{MIMIC}", f"/boats{ROOT}/circuit/chain-1.f.1"):
            document = check_page(browser.get(path), path)
            links = [*document.links, *(a["href"] for a in document.all("link"))]
            assert all(link.startswith(("/boats/", "?")) for link in links)
            for link in document.links[:20]:
                assert browser.get(without_fragment(link)).status_code == 200, link


def test_without_a_catalogue(tmp_path: Path) -> None:
    """Beside another database the plugin says that there is no catalogue and does no harm."""
    other = tmp_path / "other.db"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("create table fault (id integer primary key, state text)")
        connection.execute("insert into fault values (1, 'new')")
        connection.commit()
    with visiting(other) as browser:
        for path in ("/", f"{ROOT}/terms", f"{ROOT}/nothing"):
            response = browser.get(path)
            assert response.status_code == 404
            assert "miswire build" in check_page(response, path).words
        assert "new" in browser.get("/other/fault").text
        assert summary() not in browser.read("/other/fault").words
