"""`miswire claims`: the fixed form, what it refuses, and the register in a catalogue, on pages."""

import json
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from browser import HOSTILE, ROOT, Browser, changed, check_page, visiting
from commandline import run, words

from catalogue.build.claim_rows import register_form, store_register
from verify.base.cautions import cautions
from verify.circuit.file import loads
from verify.fault.registry import find_fault
from verify.study.claims.contract import STATUSES
from verify.study.claims.register import CLAIM, decide

pytest_plugins = ["small_catalogue"]

#: Quick ones of every status.
SOME = (
    "own-travelers-interchangeable",
    "misplaced-common-one-combination",
    "reversed-lampholder-harmless",
    "reading-proves-live",
    "continuity-finds-common",
    "screws-alone-keep-it-on",
)


@pytest.fixture(scope="module")
def told(database: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A visitor to a catalogue with some claims in it."""
    target = changed(database, tmp_path_factory.mktemp("claims"), "delete from claim")
    store_register(target, decide(CLAIM[name] for name in SOME))
    with visiting(target) as browser:
        yield browser


def test_json_has_the_fixed_form() -> None:
    """The keys of the fixed form, a status for each claim, and the cautions."""
    result = run("claims", "--json", *(part for name in SOME for part in ("--only", name)))
    assert result.exit_code == 0
    form = json.loads(result.stdout)
    assert list(form) == ["format", "claims", "cautions"]
    assert form["format"] == 1
    assert form["cautions"] == [caution.short for caution in cautions()]
    assert {claim["name"] for claim in form["claims"]} == {*SOME}
    for claim in form["claims"]:
        assert {*claim} >= {
            "name",
            "saying",
            "statement",
            "scope",
            "status",
            "decided_by",
            "cases",
            "counterexample",
        }
        assert claim["status"] in STATUSES
        found = claim["counterexample"]
        if found is not None:
            assert list(found)[:3] == ["circuit", "fault", "why"]
            circuit = loads(found["circuit"])
            if found["fault"]:
                assert find_fault(circuit, found["fault"]).apply(circuit) != circuit
    by_name = {claim["name"]: claim for claim in form["claims"]}
    assert by_name["reversed-lampholder-harmless"]["counterexample"]["fault"] == (
        "exchanged/lamp-box,lamp.contact,lamp.shell"
    )
    assert by_name["own-travelers-interchangeable"]["counterexample"] is None


def test_text_says_everything() -> None:
    """Saying, statement, scope, how it was decided, what stands against it, and cautions."""
    name = "reversed-lampholder-harmless"
    text = words(run("claims", "--only", name).stdout)
    (judged,) = decide([CLAIM[name]])
    answer = judged.answer
    assert answer.counterexample is not None
    for part in (
        name,
        CLAIM[name].saying,
        CLAIM[name].statement,
        answer.scope,
        answer.decided_by,
        answer.counterexample.why,
    ):
        assert part in text
    assert text.startswith("1 claim: 0 proved, 0 holds in samples, 0 depends, 1 refuted.")
    assert "Cautions:" in text


def test_storing_prints_the_numbers_only(
    database: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who stores the register is told how many there are of each status, and where they went."""
    target = changed(database, tmp_path, "delete from claim")
    monkeypatch.setattr("catalogue.commands.claims.CLAIMS", [CLAIM[name] for name in SOME])
    result = run("claims", "--into", str(target))
    assert result.exit_code == 0
    statuses = Counter(judged.answer.status for judged in decide(CLAIM[name] for name in SOME))
    told = words(result.stdout)
    assert told.startswith(f"6 claims: {statuses['proved']} proved, ")
    assert f"{statuses['refuted']} refuted. They are in {target}: " in told
    assert f"miswire serve {target}" in told
    assert len(result.stdout.splitlines()) < 6
    with closing(sqlite3.connect(target)) as connection:
        assert connection.execute("select count(*) from claim").fetchone() == (len(SOME),)


def test_unknown_names_and_places_are_refused(tmp_path: Path) -> None:
    """Every wrong name is told at once, and nothing is computed for a file that cannot be used."""
    result = run("claims", "--only", "dragons", "--only", "\x1b[2J", "--into", str(tmp_path / "a"))
    assert result.exit_code == 2
    assert "--only=dragons: is no claim; `miswire claims` lists all of them" in words(result.stderr)
    assert result.stderr.count("is no claim") == 2
    assert "--into: stores the whole register; leave --only out" in words(result.stderr)
    assert "\x1b" not in result.stderr
    missing = run("claims", "--into", str(tmp_path / "none.db"))
    assert missing.exit_code == 2
    assert "make one with: miswire build" in words(missing.stderr)
    other = tmp_path / "other.txt"
    other.write_text("mine", "utf-8")
    assert run("claims", "--into", str(other)).exit_code == 2
    assert other.read_text("utf-8") == "mine"


def test_storing_again_replaces_the_register(database: Path, tmp_path: Path) -> None:
    """The table holds one register, that of the last run, and the digest of the rest stays."""
    target = changed(database, tmp_path, "delete from claim")
    for names in (SOME[:3], SOME[2:4]):
        store_register(target, decide(CLAIM[name] for name in names))
    with closing(sqlite3.connect(target)) as connection:
        rows = connection.execute("select name, status, against from claim order by id").fetchall()
        (digest,) = connection.execute("select digest from run").fetchone()
    with closing(sqlite3.connect(database)) as connection:
        assert connection.execute("select digest from run").fetchone() == (digest,)
    assert [name for name, _, _ in rows] == [*SOME[2:4]]
    assert all(status == "refuted" and against > 0 for _, status, against in rows)


def test_rows_hold_what_programs_get(told: Browser) -> None:
    """The page's JSON says of each claim what the command does."""
    form = register_form(decide(CLAIM[name] for name in SOME))
    facts = told.facts(f"{ROOT}/claims")
    shown = {claim["name"]: claim for status in facts["statuses"] for claim in status["claims"]}
    claims = form["claims"]
    assert isinstance(claims, list)
    assert {*shown} == {*SOME}
    for claim in claims:
        own = shown[claim["name"]]
        for key in ("saying", "statement", "scope", "status", "decided_by", "cases", "against"):
            assert own[key] == claim[key]
        if claim["counterexample"] is None:
            assert own["counterexample"] is None
        else:
            for key in ("circuit", "fault", "why", "label", "measure"):
                assert own["counterexample"][key] == claim["counterexample"][key]


def test_the_page_shows_every_claim(told: Browser) -> None:
    """By status, with statement and numbers; those with something against them are drawn."""
    path = f"{ROOT}/claims"
    response = told.get(path)
    document = check_page(response, path)
    pictures = {image["src"] for image in document.all("img")}
    facts = told.facts(path)
    assert facts["total"] == len(SOME)
    assert {*STATUSES} == {status["name"] for status in facts["statuses"]}
    for status in facts["statuses"]:
        for claim in status["claims"]:
            assert claim["saying"] in document.words
            assert claim["statement"] in document.words
            assert f"{ROOT}/claim/{claim['name']}" in document.links
            address = f"{ROOT}/claim/{claim['name']}/picture"
            assert (address in pictures) == (claim["counterexample"] is not None)
            if address in pictures:
                assert claim["counterexample"]["why"] in document.words
                svg = told.get(address)
                assert svg.headers["content-type"].startswith("image/svg+xml")
                assert svg.text.startswith("<svg")


@pytest.mark.parametrize("name", SOME)
def test_the_page_of_a_claim(told: Browser, name: str) -> None:
    """What was decided and how, and what stands against it in any state, with its file."""
    path = f"{ROOT}/claim/{name}"
    document = check_page(told.get(path), path)
    facts = told.facts(path)
    for key in ("saying", "statement", "scope", "decided_by"):
        assert facts[key] in document.words
    found = facts["counterexample"]
    if found is None:
        assert document.all("svg") == []
        return
    assert found["why"] in document.words
    assert len(document.all("svg")) == 1
    circuit = loads(found["circuit"])
    handles = ",".join(f"{switch.name}=down" for switch in circuit.switches)
    check_page(told.get(f"{path}?state={handles}"), path)
    if found["is_stored"]:
        kind, _, site = found["fault"].partition("/")
        label = found["label"]
        onward = f"fault/{label}/{kind}/{site}" if kind else f"circuit/{label}"
        assert f"{ROOT}/{onward}" in document.links
        assert told.get(f"{ROOT}/{onward}").status_code == 200


def test_without_a_register_the_page_says_so(browser: Browser) -> None:
    """A catalogue whose claims were not judged says that, and how to have them judged."""
    facts = browser.facts(f"{ROOT}/claims")
    assert facts["nothing"].startswith("Not computed: miswire claims --into DB judges all claims")
    assert facts["nothing"] in check_page(browser.get(f"{ROOT}/claims"), "claims").words


def test_odd_requests_get_a_sentence(told: Browser) -> None:
    """Claims that are not there, and pictures of what nothing stands against."""
    for path in ("claim/dragons", "claim/dragons/picture", f"claim/{SOME[0]}/picture"):
        response = told.get(f"{ROOT}/{path}")
        assert response.status_code == 404
        check_page(response, path)


@pytest.mark.parametrize("column", ["saying", "statement", "scope", "decided_by", "why", "theme"])
def test_hostile_claims_are_only_text(database: Path, tmp_path: Path, column: str) -> None:
    """Whatever a file that somebody handed on says of a claim, it is text."""
    first = changed(database, tmp_path, "delete from claim")
    store_register(first, decide([CLAIM["reversed-lampholder-harmless"]]))
    (tmp_path / "hostile").mkdir()
    bad = changed(first, tmp_path / "hostile", f"update claim set {column} = ?", HOSTILE)
    with visiting(bad) as browser:
        for path in (f"{ROOT}/claims", f"{ROOT}/claim/reversed-lampholder-harmless"):
            check_page(browser.get(path), path)
        page = f"{ROOT}/claim/reversed-lampholder-harmless"
        assert HOSTILE in check_page(browser.get(page), page).text


@pytest.mark.parametrize(
    "statement",
    ["update claim set circuit = 'format = 1'", "update claim set fault = 'moved/nowhere'"],
)
def test_a_damaged_counterexample_gets_a_sentence(
    database: Path, tmp_path: Path, statement: str
) -> None:
    """What cannot be read is said to be so, with the remedy."""
    first = changed(database, tmp_path, "delete from claim")
    store_register(first, decide([CLAIM["reversed-lampholder-harmless"]]))
    (tmp_path / "bad").mkdir()
    with visiting(changed(first, tmp_path / "bad", statement)) as browser:
        response = browser.get(f"{ROOT}/claim/reversed-lampholder-harmless")
        assert response.status_code == 404
        assert "judge the claims again" in check_page(response, "claim").words
