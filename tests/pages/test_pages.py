"""The pages of a catalogue: complete, and true to what is stored."""

import sqlite3
from collections import Counter
from contextlib import closing
from importlib import resources
from pathlib import Path

import pytest
from browser import (
    CLASSIC,
    MIMIC,
    ROOT,
    Browser,
    Document,
    changed,
    check_page,
    visiting,
    without_fragment,
)

from catalogue.commands.serve import compile_templates
from catalogue.pages import paging
from catalogue.pages.contract import Visit
from catalogue.report.terms import terms
from verify.base.cautions import cautions
from verify.behaviour.judgement import VERDICTS
from verify.circuit.file import loads
from verify.engine.paths import PathsEngine
from verify.fault.contract import FaultKind
from verify.fault.registry import all_faults, fault_kinds
from verify.hazard.definitions import HAZARDS, Hazard
from verify.verdict.judging import judge

pytest_plugins = ["small_catalogue"]

PROVED = [verdict for verdict in VERDICTS if verdict != "undecided"]
FIXED = [
    "",
    "desk",
    "mimics",
    "claims",
    "circuits",
    "faults",
    "signatures",
    "from-python",
    "terms",
    "scope",
    "cautions",
    "changes",
    "licences",
]


@pytest.mark.parametrize("name", FIXED)
def test_fixed_pages_are_there(browser: Browser, name: str) -> None:
    """Every page of the navigation is there, sound as a document, and has a JSON form."""
    path = f"{ROOT}/{name}" if name else "/"
    check_page(browser.get(path), path)
    facts = browser.facts(path)
    assert facts["cautions"] == [caution.short for caution in cautions()]
    assert facts["covers"].startswith("Complete for all layouts of 2 locations")


def test_every_link_leads_somewhere(browser: Browser) -> None:
    """From the home page every link of every page visited is there, with its fragment."""
    waiting = ["/"]
    seen: dict[str, Document] = {}
    fragments: set[str] = set()
    visits: Counter[str] = Counter()
    for path in waiting:
        response = browser.get(path)
        assert response.status_code == 200, path
        ours = path == "/" or path.startswith(f"{ROOT}/")
        if ours:
            seen[path] = check_page(response, path)
            assert 'role="alert"' not in response.text, path
        else:
            seen[path] = Document.of(response.text)
        for link in seen[path].links if ours else ():
            fragments.add(link)
            page = without_fragment(link)
            # Many pages of a sort are alike: a few dozen of each stand for all.
            sort = "/".join(page.partition("?")[0].split("/")[:4])
            if page not in waiting and visits[sort] < 30:
                visits[sort] += 1
                waiting.append(page)
    assert len(seen) > 150
    assert {sort.split("/")[-1] for sort in visits} >= {*FIXED[1:], "circuit", "fault", "kind"}
    for link in fragments:
        page, _, fragment = link.partition("#")
        if fragment and page in seen:
            assert fragment in seen[page].anchors, link


@pytest.mark.parametrize("verdict", PROVED)
def test_faults_of_every_verdict(browser: Browser, verdict: str) -> None:
    """Faults of each verdict are listed, and each page says the verdict and shows why."""
    facts = browser.facts(f"{ROOT}/faults?verdict={verdict}")
    assert facts["total"] > 0
    assert {fault["verdict"] for fault in facts["faults"]} == {verdict}
    for fault in facts["faults"][::10]:
        path = f"{ROOT}/fault/{fault['circuit']}/{fault['kind']}/{fault['site']}"
        document = check_page(browser.get(path), path)
        shown = browser.facts(path)
        assert shown["verdict"] == verdict
        assert shown["contradictions"] == []
        assert shown["rechecked"] == shown["states_total"]
        for evidence in (shown["evidence"], *(h["evidence"] for h in shown["hazards"])):
            for step in evidence.get("path", ()):
                assert f"{step[:1].upper()}{step[1:]}." in document.words
        judged = judge(loads(shown["circuit_file"]), PathsEngine())
        assert (judged.verdict, list(judged.hazards)) == (
            verdict,
            [hazard["name"] for hazard in shown["hazards"]],
        )


@pytest.mark.parametrize("hazard", HAZARDS, ids=lambda hazard: hazard.name)
def test_page_of_every_hazard(browser: Browser, database: Path, hazard: Hazard) -> None:
    """Each hazard says when it holds, what can happen, and how many faults have it."""
    name = hazard.name
    path = f"{ROOT}/hazard/{name}"
    words = check_page(browser.get(path), path).words
    assert hazard.title in words
    assert hazard.danger in words
    assert hazard.condition in words
    with closing(sqlite3.connect(database)) as connection:
        (count,) = connection.execute(
            "select count(*) from evidence join fault using (outcome_id) where hazard_id ="
            " (select id from hazard where name = ?)",
            [name],
        ).fetchone()
    assert browser.facts(path)["counts"]["total"] == count
    listed = browser.facts(f"{ROOT}/faults?hazard={name}")
    assert listed["total"] == count
    if not count:
        # One feed is all that layouts and drawn circuits with one lamp have.
        assert name in ("overvoltage", "ground-current", "receptacle-switched")
        assert listed["faults"] == []
        return
    fault = listed["faults"][0]
    shown = browser.facts(f"{ROOT}/fault/{fault['circuit']}/{fault['kind']}/{fault['site']}")
    assert name in [held["name"] for held in shown["hazards"]]


@pytest.mark.parametrize("kind", fault_kinds(), ids=lambda kind: kind.name)
def test_page_of_every_kind(browser: Browser, kind: FaultKind) -> None:
    """Each kind is described, with examples that are in the catalogue and have that verdict."""
    path = f"{ROOT}/kind/{kind.name}"
    words = check_page(browser.get(path), path).words
    assert kind.description in words
    facts = browser.facts(path)
    assert facts["examples"]
    for example in facts["examples"]:
        assert example["why"] in words
        if example["is_stored"]:
            fault = f"{ROOT}/fault/{example['circuit']}/{facts['name']}/{example['site']}"
            assert browser.facts(fault)["verdict"] == example["verdict"]
    assert (
        sum(size["total"] for size in facts["sizes"])
        == browser.facts(f"{ROOT}/faults?kind={facts['name']}")["total"]
    )


def test_a_fault_is_compared_state_by_state(browser: Browser) -> None:
    """The classic mistake differs from what was intended in one state, and words say how."""
    facts = browser.facts(CLASSIC)
    assert [state["differs"] for state in facts["states"]] == [
        [],
        [],
        [],
        ["lamp dark instead of lit"],
    ]
    document = browser.read(CLASSIC)
    assert "3 ▼ down ▼ down ● lit ○ dark ≠ lamp dark instead of lit" in document.words


def test_alike_faults_are_counted(browser: Browser) -> None:
    """Of faults with one signature a page counts those here and elsewhere; the list has all."""
    facts = browser.facts(MIMIC)
    word = facts["signature"]["word"]
    alike = facts["alike"]
    here = browser.facts(f"{ROOT}/faults?signature={word}&circuit=chain-1.f.1")
    assert here["total"] == alike["here_total"] + 1
    everywhere = browser.facts(f"{ROOT}/faults?signature={word}")
    assert everywhere["total"] == alike["here_total"] + alike["elsewhere_total"] + 1
    assert browser.facts(f"{ROOT}/signature/{word}")["counts"]["total"] == everywhere["total"]


def test_circuit_page_counts_its_faults(browser: Browser) -> None:
    """A circuit's page tells layout, states and every fault; its file is the circuit."""
    path = f"{ROOT}/circuit/tied-L.2.f"
    facts = browser.facts(f"{ROOT}/circuit/tied-f.L.1")
    circuit = loads(facts["circuit_file"])
    assert facts["counts"]["total"] == len(all_faults(circuit))
    assert facts["layout"][0]["box"] == circuit.feed.box
    assert "lamp-box: feed, lamp" in browser.read(f"{ROOT}/circuit/tied-f.L.1").words
    assert browser.get(path).status_code == 404


@pytest.mark.parametrize(
    ("table", "statement"),
    [
        ("outcome", "update fault set outcome_id = outcome_id + 1"),
        ("verdict", "update outcome set verdict_id = 1 where verdict_id = 2"),
        ("signature", "update outcome set signature_id = signature_id + 1 where verdict_id = 2"),
        ("state", "update outcome set state = 1 where verdict_id = 2"),
        ("hazard", "update evidence set state = 3"),
        ("missing hazard", "delete from evidence"),
        ("file", "update circuit set file = 'format = 1'"),
        ("fault", "update circuit set file = replace(file, '\"switch-2.ground\", ', '')"),
    ],
)
def test_a_contradicted_row_is_called_out(
    database: Path, tmp_path: Path, table: str, statement: str
) -> None:
    """A stored row that the independent engine does not confirm is never shown as if it were."""
    with visiting(changed(database, tmp_path, statement)) as browser:
        response = browser.get(MIMIC)
        document = check_page(response, table)
        assert 'role="alert"' in response.text
        assert "Do not rely on this page" in document.words
        assert browser.facts(MIMIC)["contradictions"]


def test_search_finds_names(browser: Browser, visit: Visit) -> None:
    """A search finds the faults whose name has all of its words, in any order; with none it says
    what it looked for.
    """
    listed = f"{ROOT}/faults?q=travelers+common+exchanged"
    facts = browser.facts(listed)
    named = (
        "select count(*) from fault join family on family.id = family_id"
        " where name like '%exchange%' and name like '%common%' and name like '%traveler%'"
    )
    assert facts["total"] == visit.number(named) > 0
    for fault in facts["faults"]:
        assert "exchanged" in fault["description"]
        named = browser.facts(f"{ROOT}/fault/{fault['circuit']}/{fault['kind']}/{fault['site']}")[
            "family"
        ]["name"]
        assert {"common", "exchanged"} <= set(named.split())
    assert "in its name" in browser.facts(f"{ROOT}/faults?q=common+dragon")["nothing"]


def test_lists_have_pages(browser: Browser) -> None:
    """The pages of a list hold every fault once, in one order."""
    first = browser.facts(f"{ROOT}/faults?circuit=chain-1.f.1")
    numbers = range(1, first["pages"] + 1)
    pages = [browser.facts(f"{ROOT}/faults?circuit=chain-1.f.1&page={n}") for n in numbers]
    labels = [(f["kind"], f["site"]) for page in pages for f in page["faults"]]
    assert len(labels) == len(set(labels)) == first["total"] > 200
    document = browser.read(f"{ROOT}/faults?circuit=chain-1.f.1&page=2")
    assert f"{ROOT}/faults?page=3&circuit=chain-1.f.1" in document.links


def test_templates_are_compiled_before_anybody_asks(browser: Browser) -> None:
    """All that the pages of a catalogue are made of: then no visit is the slow one."""
    compile_templates(browser.datasette)
    environment = browser.datasette.jinja_env
    compiled = {name for _, name in environment.cache}
    pages = resources.files("catalogue") / "templates" / "miswire"
    assert {f"miswire/{page.name}" for page in pages.iterdir()} <= compiled
    assert {"table.html", "row.html", "database.html", "base.html"} <= compiled


def test_long_lists_end_and_say_so(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages end where finding their rows would take long, with a word on how to see the others."""
    whole = browser.facts(f"{ROOT}/faults")
    assert whole["most_listed"] is None
    assert "Pages end" not in browser.read(f"{ROOT}/faults").text
    monkeypatch.setattr(paging, "MOST_PAGES", 2)
    second = browser.facts(f"{ROOT}/faults?page=2")
    assert (second["pages"], second["last"], second["most_listed"]) == (2, 100, 100)
    assert second["total"] == whole["total"] > 100
    assert "Pages end with the first 100; choose more" in browser.read(f"{ROOT}/faults").text
    refused = browser.get(f"{ROOT}/faults?page=3")
    assert refused.status_code == 400
    assert "pages 1 to 2" in refused.text


def test_none_found_is_not_not_computed(browser: Browser) -> None:
    """What was searched in vain, sampled in vain, or not at all, are different sentences."""

    def nothing(query: str) -> str:
        return str(browser.facts(f"{ROOT}/faults?{query}")["nothing"])

    assert nothing("locations=9").startswith("Not computed")
    assert nothing("scheme=ring").startswith("Not computed")
    sampled = browser.facts(f"{ROOT}/scope")["groups"][-1]
    drawn = f"locations={sampled['locations']}&scheme={sampled['scheme']}"
    assert "does not show that there is none" in nothing(f"{drawn}&kind=lamp-open&verdict=sound")
    tied = nothing("locations=2&scheme=tied&kind=left-off&verdict=trips")
    assert "the search was complete for them" in tied
    assert tied.endswith(
        "Each has one feed, one lamp and no outlet; other circuits were not computed."
    )
    for page in ("hazard/overvoltage", "kind/neutral-lost"):
        told = browser.read(f"{ROOT}/{page}").words
        assert "so there is none" not in told


def test_terms_give_both_usages(browser: Browser) -> None:
    """The words of the trade are there in North American and IEC usage, and our own verdicts."""
    words = browser.read(f"{ROOT}/terms").words
    for pair in (
        "three-way switch IEC/UK: two-way switch (pattern 6)",
        "four-way switch IEC/UK: intermediate switch (pattern 7)",
        "single-pole switch IEC/UK: one-way switch (pattern 1)",
        "traveler IEC/UK: strapper",
        "switch leg IEC/UK: switched line",
        "wire connector splice IEC/UK: joint",
    ):
        assert pair in words
    assert {*VERDICTS, "join", "end", "signature", "suspect"} <= {term.word for term in terms()}
    assert len({term.anchor for term in terms()}) == len(terms())


def test_a_label_that_is_not_listed_leads_on(browser: Browser) -> None:
    """Of sites with one result the first is listed; the address of another shows the same fault."""
    other = f"{ROOT}/fault/chain-1.f.1/left-off/box-1,feed.line"
    facts = browser.facts(other)
    assert facts["label"] == "chain-1.f.1/left-off/box-1,switch-1.common"
    check_page(browser.get(other), other)
