"""Where nothing was searched nobody is told "none": a refusal says so, and what there is."""

import shutil
import sqlite3
from contextlib import closing
from itertools import islice
from pathlib import Path

import pytest
from browser import Browser, check_page, visiting
from commandline import run
from desking import DESK, PLAN, at

from catalogue.build.sweep import build
from catalogue.desk.answer import NOTHING_FITS
from catalogue.desk.searchable import covered_sizes
from catalogue.prove.build_plan import CircuitBatch, LayoutSpec, make_plan
from catalogue.prove.proving import prove
from catalogue.prove.summary import summarize
from catalogue.store.writing import Store
from verify.layout.enumeration import layouts
from verify.layout.schemes import SOUND_SCHEMES

pytest_plugins = ["small_catalogue"]

#: What no answer about something that was not searched may say.
NONE = (NOTHING_FITS[:40], "nothing wrong", "fit what", "fits what")


@pytest.fixture(scope="module")
def begun(database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All of two locations but one layout with tied commons, a layout of five, four counted."""
    path = tmp_path_factory.mktemp("begun") / "begun.db"
    shutil.copy(database, path)
    (four,) = islice(layouts(4), 1)
    (five,) = islice(layouts(5), 1)
    with closing(Store(path)) as store:
        plan = make_plan([5])
        run_id = store.begin(plan, "")
        store.write(CircuitBatch(plan.batches[0].id, ()), prove([LayoutSpec("chain", five.code)]))
        store.write_summary(CircuitBatch("four", ()), summarize([LayoutSpec("chain", four.code)]))
        store.finish(run_id)
        store.db.conn.execute("PRAGMA foreign_keys = OFF")
        store.db.conn.execute("delete from circuit where label = 'tied-1.f.1'")
        store.db.conn.commit()
    return path


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A catalogue of one circuit drawn at random."""
    path = tmp_path_factory.mktemp("drawn") / "drawn.db"
    build(path, [], drawn=1)
    return path


def refused(path: Path, *options: str) -> str:
    """What the command says on standard error when it refuses, as text and as JSON alike."""
    for form in ([], ["--json"]):
        result = run("suspects", str(path), *options, *form)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert not any(sentence in result.stderr for sentence in NONE)
    return result.stderr


@pytest.mark.parametrize("size", range(3, 11))
def test_a_size_that_was_not_computed_is_refused(database: Path, size: int) -> None:
    """Of a size without rows the command says that it was not computed, and what there is."""
    told = refused(database, "--locations", str(size))
    assert told.startswith(f"--locations={size}: layouts of {size} switches")
    assert "were not computed in this catalogue, so nothing was searched" in told
    assert "this catalogue has all layouts of 2 switches, and 3 circuits drawn at random" in told
    assert "give its circuit file" in told


@pytest.mark.parametrize("names", [["a"], ["a", "b", "c"], list("abcdefghijkl")])
def test_switches_that_were_named_count(database: Path, names: list[str]) -> None:
    """What was seen of another number of switches is refused in the same way."""
    saw = ",".join(f"{name}=up" for name in names)
    told = refused(database, "--saw", f"{saw}: dark")
    assert told.startswith(f"--saw names {len(names)} switches: ")
    assert "nothing was searched" in told


def test_what_is_only_begun_or_counted_is_refused(begun: Path) -> None:
    """A build that stopped half-way has rows, and a summary counts; neither was searched."""
    told = refused(begun, "--locations", "5")
    assert "only 1 of the 7,776 layouts of 5 switches" in told
    assert "repeat the miswire build" in told
    told = refused(begun, "--locations", "4")
    assert "faults of 4 switches are only counted in this catalogue (--summary)" in told
    assert "2 (only traveler chain)" in told


def test_a_catalogue_of_random_circuits_is_refused(drawn: Path) -> None:
    """Random circuits are no size: there is nothing to search for a light that nobody knows."""
    told = refused(drawn, "--locations", "2")
    assert "this catalogue has all layouts of no size, and 1 circuit drawn at random" in told


def test_a_scheme_that_is_missing_is_named(begun: Path) -> None:
    """Where only one scheme is complete, the answer is of that one and says which is missing."""
    result = run("suspects", str(begun), "--locations", "2", "--saw", "a=up,b=up: dark")
    assert result.exit_code == 0
    told = " ".join(result.output.split())
    assert "wired as traveler chain; tied commons: not computed." in told
    with closing(sqlite3.connect(begun)) as connection:
        assert covered_sizes(connection.execute) == {2: ("chain",)}


def test_a_whole_catalogue_covers_its_size(database: Path) -> None:
    """What is complete is searched: the size that was built, in both schemes."""
    with closing(sqlite3.connect(database)) as connection:
        assert covered_sizes(connection.execute) == {2: SOUND_SCHEMES}


def asserted_refusal(browser: Browser, page: str, **query: object) -> str:
    """What a page says that refuses: it has a way on, and no word of none."""
    path = at(page, **query)
    response = browser.get(path)
    assert response.status_code in (400, 404)
    document = check_page(response, path)
    assert not any(sentence in document.words for sentence in NONE)
    assert f"{DESK}?locations=2" in document.links
    assert browser.get(f"{path}&format=json").status_code == response.status_code
    return document.words


@pytest.mark.parametrize("page", [DESK, PLAN])
def test_the_pages_refuse_alike(browser: Browser, begun: Path, page: str) -> None:
    """The desk and its plan say of every such size and scheme that nothing was searched, with
    links to what there is."""
    for size in (0, 1, 3, 4, 5, 10, 99_999_999):
        told = asserted_refusal(browser, page, locations=size, at_uu="dark")
        switches = "1 switch" if size == 1 else f"{size:,} switches"
        assert f"locations={size}: layouts of {switches}" in told
        assert "nothing was searched" in told
    with visiting(begun) as other:
        told = asserted_refusal(other, page, locations=5, at_uuuuu="dark")
        assert "only 1 of the 7,776" in told
        told = asserted_refusal(other, page, locations=4, at_uuuu="dark")
        assert "only counted" in told
        told = asserted_refusal(other, page, locations=2, scheme="tied", at_uu="dark")
        assert "only 8 of the 9 layouts of 2 switches wired as tied commons" in told
        for query in ({}, {"layout": "f.L.1"}):
            path = at(DESK, locations=2, at_uu="dark", **query)
            told = check_page(other.get(path), path).words
            assert "wired as traveler chain" in told.lower()
            assert "or tied commons" not in told


def test_a_catalogue_without_layouts_offers_none(drawn: Path) -> None:
    """The way in offers no size, and says so."""
    with visiting(drawn) as browser:
        assert browser.facts(DESK)["sizes"] == []
        response = browser.get(at(DESK, locations=2))
        assert response.status_code == 400
        assert "all layouts of no size" in check_page(response, "drawn").words
