"""Pages of many millions of faults: numbers come from the profile and are those of the faults,
lists find their rows without going through all, and no query reads or sorts all faults.
"""

import itertools
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import ModuleType
from urllib.parse import quote

import pytest
from browser import CLASSIC, MIMIC, ROOT, Browser, visiting
from datasette import hookimpl
from datasette.plugins import pm

from catalogue.pages import fault_choice as choices
from catalogue.pages.contract import Visit
from catalogue.pages.fault_choice import FaultChoice, fault_ids, total

pytest_plugins = ["small_catalogue"]

#: Faults with all that they can be chosen by, put together without any of the pages' ways.
JUDGED = (
    "judged_fault as fault join circuit on circuit.id = circuit_id"
    " join family on family.id = family_id"
)


def condition(choice: FaultChoice) -> tuple[str, list[object]]:
    """The same choice for `JUDGED`."""
    asked = {
        "circuit_id = ?": choice.circuit,
        "kind_id = ?": choice.kind,
        "fault.verdict_id = ?": choice.verdict,
        "fault.signature_id = ?": choice.signature,
        "exists (select 1 from evidence where outcome_id = fault.outcome_id and hazard_id = ?)": (
            choice.hazard
        ),
        "family.name = ?": choice.family or None,
        "family.name like '%' || ? || '%'": choice.words or None,
        "circuit.locations = ?": choice.locations,
        "scheme = ?": choice.scheme or None,
    }
    given = {sql: value for sql, value in asked.items() if value is not None}
    return " and ".join(given) or "true", list(given.values())


def some_choices(visit: Visit) -> Iterator[FaultChoice]:
    """Choices of every sort, such as pages make, frequent and rare, and some of nothing."""
    kinds = [None, *(row[0] for row in visit.rows("select id from fault_kind order by id"))]
    verdicts = [None, 1, 2, 4]
    for kind, verdict in itertools.product(kinds[:8], verdicts):
        yield FaultChoice(kind=kind, verdict=verdict)
        yield FaultChoice(kind=kind, verdict=verdict, hazard=5, scheme="tied")
        yield FaultChoice(kind=kind, verdict=verdict, words="switch leg", locations=2)
    for (word,) in visit.rows("select id from signature order by id"):
        yield FaultChoice(signature=word)
        yield FaultChoice(signature=word, verdict=3, circuit=2)
    for (name,) in visit.rows("select distinct name from family where id % 40 = 1"):
        yield FaultChoice(family=name)
        yield FaultChoice(family=name, verdict=2)
    for hazard in range(1, 9):
        yield FaultChoice(hazard=hazard, verdict=2)
        yield FaultChoice(hazard=hazard, circuit=7, kind=2)


@pytest.mark.parametrize(
    ("often", "few"),
    [(20, 20_000), (10**9, 0), (0, 10**9), (0, 0)],
    ids=["default", "all", "few", "by"],
)
def test_every_way_finds_the_same_faults(
    visit: Visit, monkeypatch: pytest.MonkeyPatch, often: int, few: int
) -> None:
    """Whether faults are found among all, by outcome or by family: the same, in the same order."""
    monkeypatch.setattr(choices, "_OFTEN", often)
    monkeypatch.setattr(choices, "_FEW", few)
    found = 0
    for choice in some_choices(visit):
        where, values = condition(choice)
        ids = [
            row[0]
            for row in visit.rows(
                f"select fault.id from {JUDGED} where {where} order by 1", *values
            )
        ]
        assert total(visit, choice) == len(ids), choice
        for skip in (0, 1, len(ids) // 2, max(0, len(ids) - 3)):
            assert fault_ids(visit, choice, 5, skip) == ids[skip : skip + 5], choice
        found += bool(ids)
    assert found > 60


def counted(visit: Visit, by: str, where: str = "true") -> dict[tuple[object, ...], int]:
    """Counts of the faults themselves."""
    joined = (
        f"{JUDGED} join fault_kind as kind on kind.id = kind_id"
        " join verdict on verdict.id = fault.verdict_id"
        " join signature on signature.id = fault.signature_id"
    )
    columns = len(by.split(", "))
    groups = ", ".join(str(number + 1) for number in range(columns))
    rows = visit.rows(f"select {by}, count(*) from {joined} where {where} group by {groups}")
    return {tuple(row)[:-1]: row[-1] for row in rows}


def kinds_of(facts: dict[str, dict[str, list[dict[str, dict[str, int]]]]]) -> dict[object, int]:
    """The counts on a page, those that are not 0."""
    return {
        (kind["name"], verdict): number
        for kind in facts["counts"]["kinds"]
        for verdict, number in kind["counts"].items()
        if number
    }


HAS = (
    "exists (select 1 from evidence join hazard on hazard.id = hazard_id"
    " where outcome_id = fault.outcome_id and hazard.name = '{}')"
)


def test_numbers_are_those_of_the_faults(browser: Browser, visit: Visit) -> None:
    """What pages sum from the profile is what comes of counting faults one by one."""
    home = browser.facts("/")
    both = "kind.name, verdict.name"
    assert kinds_of(home) == counted(visit, both)
    assert {(v["name"],): v["faults"] for v in home["verdicts"] if v["faults"]} == counted(
        visit, "verdict.name"
    )
    words = counted(visit, "word")
    for signature in home["signatures"]:
        assert signature["number"] == words[signature["word"],]
    listed = browser.facts(f"{ROOT}/signatures")["signatures"]
    assert [s["faults"] for s in listed] == [words.get((s["word"],), 0) for s in listed]
    for hazard in home["hazards"]:
        has = HAS.format(hazard["name"])
        found = counted(visit, both, has)
        assert hazard["faults"] == sum(found.values())
        assert hazard["mimics"] == sum(n for (_, verdict), n in found.items() if verdict == "mimic")
        assert kinds_of(browser.facts(f"{ROOT}/hazard/{hazard['name']}")) == found
    for word in list(words)[:6]:
        facts = browser.facts(f"{ROOT}/signature/{quote(str(word[0]))}")
        assert kinds_of(facts) == counted(visit, both, f"word = '{word[0]}'")
    sizes = counted(visit, "kind.name, circuit.locations, scheme, origin, verdict.name")
    for (kind,) in visit.rows("select name from fault_kind"):
        shown = {
            (kind, size["locations"], size["scheme"], origin, verdict): number
            for size in browser.facts(f"{ROOT}/kind/{kind}")["sizes"]
            for origin in ["layout" if size["coverage"] == "complete" else "drawn"]
            for verdict, number in size["counts"].items()
            if number
        }
        assert shown == {key: n for key, n in sizes.items() if key[0] == kind}
    circuit = browser.facts(f"{ROOT}/circuit/chain-1.f.1")
    assert kinds_of(circuit) == counted(visit, both, "circuit.label = 'chain-1.f.1'")


def test_numbers_of_layouts_leave_drawn_circuits_out(browser: Browser, visit: Visit) -> None:
    """What is said of layouts is counted from layouts, though the profile has drawn circuits."""
    of_layouts = "origin = 'layout'"
    findings = browser.facts(f"{ROOT}/findings")
    shown = {
        (size["scheme"], verdict): number
        for size in findings["verdicts"]
        for verdict, number in size["counts"].items()
    }
    assert shown == counted(visit, "scheme, verdict.name", of_layouts)
    for hazard in findings["hazards"]:
        found = counted(visit, "verdict.name", f"{of_layouts} and {HAS.format(hazard['name'])}")
        assert hazard["faults"] == sum(found.values())
        assert hazard["mimics"] == found.get(("mimic",), 0)
    (size,) = findings["signatures"]
    assert size["signatures"] == len(counted(visit, "word", of_layouts))
    assert size["families"] == len(counted(visit, "family_id", of_layouts))
    unseen = counted(visit, "kind.name", f"{of_layouts} and signature.any_location")
    by_kind = browser.facts(f"{ROOT}/flipping")["by_kind"]
    assert {(row["name"],): row["unseen"] for row in by_kind} == unseen
    drawn = counted(visit, "origin")["drawn",]
    assert drawn > 0
    assert (
        browser.facts(f"{ROOT}/mimics")["faults"] == browser.facts("/")["counts"]["total"] - drawn
    )


def test_faults_alike_are_those_with_the_signature(browser: Browser, visit: Visit) -> None:
    """The examples elsewhere are the first of other circuits, and the totals those of the rows."""
    facts = browser.facts(MIMIC)
    word = facts["signature"]["word"]
    found = counted(visit, "circuit.label", f"word = '{word}'")
    own = found.pop((facts["circuit"]["label"],))
    alike = facts["alike"]
    assert (alike["here_total"], alike["elsewhere_total"]) == (own - 1, sum(found.values()))
    first = browser.facts(f"{ROOT}/faults?signature={word}")["faults"]
    others = [fault for fault in first if fault["circuit"] != facts["circuit"]["label"]]
    assert alike["elsewhere"] == others[: len(alike["elsewhere"])]
    assert len(alike["elsewhere"]) == 4


@contextmanager
def tracing() -> Iterator[list[str]]:
    """Every statement of the connections that Datasette opens meanwhile."""
    statements: list[str] = []

    def prepare_connection(conn: sqlite3.Connection) -> None:
        conn.set_trace_callback(statements.append)

    plugin = ModuleType("tracing")
    vars(plugin)["prepare_connection"] = hookimpl(prepare_connection)
    pm.register(plugin)
    try:
        yield statements
    finally:
        pm.unregister(plugin)


def unbounded(connection: sqlite3.Connection, statement: str) -> list[str]:
    """Steps of a query's plan that read faults without end, or sort what is not of a circuit."""
    if re.match(r"\s*(select|with)\b", statement, re.IGNORECASE) is None:
        return []
    names = {
        "fault",
        *re.findall(r"\b(?:fault|judged_fault) as (\w+)", statement, re.IGNORECASE),
    }
    steps = [row[3] for row in connection.execute(f"explain query plan {statement}")]
    of_faults = [s for s in steps if re.match(r"(SCAN|SEARCH) (\w+)", s) and s.split()[1] in names]
    found = [step for step in of_faults if step.startswith("SCAN") or "AUTOMATIC" in step]
    if " limit " not in statement:
        found += [step for step in of_faults if "PRIMARY KEY (rowid>" in step]
    is_of_some = all(
        "rowid=?" in step or ("circuit_id=?" in step and "idx_fault_circuit_id" in step)
        for step in of_faults
    )
    if of_faults and not is_of_some:
        found += [step for step in steps if "TEMP B-TREE" in step]
    return found


def test_what_is_unbounded_is_found(database: Path) -> None:
    """The check of plans sees what it is for."""
    with closing(sqlite3.connect(database)) as connection:
        for bad in (
            "select count(*) from fault",
            "select * from judged_fault where verdict_id = 2 order by id limit 9",
            "select kind_id, count(*) from fault group by 1",
            "select id from fault where family_id = 3 order by site limit 9",
            "select id from fault where id > 7 order by id",
            "select one.id from pair join fault as one on one.kind_id = pair.outcome",
        ):
            assert unbounded(connection, bad), bad
        for good in (
            "select id from fault where family_id = 3 order by id",
            "select kind_id, count(*) from fault where circuit_id = 3 group by 1",
            "select id from fault where id > 7 order by id limit 9",
            "select sum(faults) from profile group by kind_id",
        ):
            assert not unbounded(connection, good), good


#: The desk counts circuits of sizes of up to three locations by signature, whatever else is here.
OF_THE_DESK = "select count(distinct circuit_id)\nfrom outcome cross join fault"


def test_no_page_goes_through_all_faults(
    database: Path, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No query of any page reads all faults, or sorts those of more than a circuit."""
    hazards = [hazard["name"] for hazard in browser.facts("/")["hazards"]]
    kinds = [kind["name"] for kind in browser.facts("/")["counts"]["kinds"]]
    words = [signature["word"] for signature in browser.facts("/")["signatures"]]
    pair = browser.facts(f"{ROOT}/pairs")["pairs"][0]
    names = ("circuit", "kind", "site", "other_kind", "other_site")
    lists = [
        "",
        "page=3",
        "verdict=mimic",
        "verdict=trips&kind=lamp-shorted",
        "circuit=chain-1.f.1&verdict=mimic&q=ground",
        "q=common+exchanged",
        "family=open+neutral&hazard=metal-live",
        "locations=2&scheme=tied&kind=moved",
        *(f"hazard={name}&verdict=mimic" for name in hazards),
        *(f"signature={word}&kind=exchanged" for word in words),
    ]
    pages = [
        *("mimics", "mimics?scheme=tied", "pairs", "pairs?outcome=hides-both", "flipping"),
        *("findings", "claims", "circuits?locations=2", "signatures", "terms", "scope"),
        *("desk", "desk?locations=2&at-uu=dark", "desk?locations=2&layout=1.f.1&at-uu=dark"),
        *("desk?locations=2&step1=look:lamp-box=clear&at-uu=dark", "practice?seed=3&answer=tell"),
        *(f"faults?{query}" for query in lists),
        *(f"hazard/{name}" for name in hazards),
        *(f"kind/{name}" for name in kinds),
        *(f"signature/{word}" for word in words),
        *("circuit/chain-1.f.1", f"pair/{'/'.join(str(pair[name]) for name in names)}"),
    ]
    monkeypatch.setattr(choices, "_FEW", 100)
    with (
        tracing() as statements,
        visiting(database) as traced,
        closing(sqlite3.connect(database)) as connection,
    ):
        for path in ("/", CLASSIC, MIMIC, *(f"{ROOT}/{page}" for page in pages)):
            statements.clear()
            assert traced.get(path).status_code == 200, path
            asked = dict.fromkeys(statements)
            assert asked, path
            for statement in asked:
                if OF_THE_DESK not in statement:
                    assert unbounded(connection, statement) == [], (path, statement)
