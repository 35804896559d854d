"""Pages on two mistakes at once, on flipping and on what was found say what is stored and so."""

import itertools
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from browser import ROOT, Browser, changed, check_page, visiting

from catalogue.pages.contract import Visit
from catalogue.pages.pairs import NOT_COMPUTED
from verify.circuit.file import loads
from verify.engine.paths import PathsEngine
from verify.fault.registry import all_faults
from verify.layout.enumeration import layouts
from verify.study.pairs.pairing import PAIRED_KINDS
from verify.study.pairs.survey import OUTCOMES
from verify.verdict.judging import judge

pytest_plugins = ["small_catalogue"]


@pytest.mark.parametrize("name", ["pairs", "flipping", "findings"])
def test_pages_are_there(browser: Browser, name: str) -> None:
    """Each is sound as a document, shows the cautions, and has a JSON form."""
    path = f"{ROOT}/{name}"
    check_page(browser.get(path), path)
    assert browser.facts(path)["cautions"]


def test_pairs_are_counted_completely(browser: Browser, visit: Visit) -> None:
    """All layouts of two locations have all their pairs counted, once by kinds and outcome."""
    sizes = browser.facts(f"{ROOT}/pairs")["sizes"]
    assert [(size["locations"], size["scheme"]) for size in sizes] == [(2, "chain"), (2, "tied")]
    for size in sizes:
        assert size["circuits"] == len([*layouts(2)])
        assert size["is_complete"]
        assert sum(size["counts"].values()) == size["judged"] == size["existing"]
    told = sum(
        size["counts"][name]
        for size in sizes
        for name in ("hides-both", "hides-one", "makes-mimic", "breaks")
    )
    assert visit.number("select count(*) from pair") == told > 5000
    kinds = visit.rows(
        "select distinct one.name, other.name from pair_count"
        " join fault_kind as one on one.id = kind_id"
        " join fault_kind as other on other.id = other_id"
    )
    assert {name for row in kinds for name in row} <= set(PAIRED_KINDS)
    assert set(OUTCOMES) == {row[0] for row in visit.rows("select outcome from pair_count")}


def test_layouts_have_their_share(browser: Browser, visit: Visit) -> None:
    """The share of pairs that hide both is that of the rows told, layout by layout."""
    facts = browser.facts(f"{ROOT}/pairs")
    assert len(facts["layouts"]) == 18
    shares = [layout["share"] for layout in facts["layouts"]]
    assert shares == sorted(shares, reverse=True)
    for layout in facts["layouts"]:
        stored = visit.rows(
            "select verdict.name from pair join fault on fault.id = fault_id"
            " join circuit on circuit.id = circuit_id"
            " join verdict on verdict.id = pair.verdict_id"
            " where label = ? and outcome = 'hides-both'",
            layout["label"],
        )
        assert layout["hides-both"] == len(stored)
        assert layout["made_good"] == sum(row[0] == "sound" for row in stored)
        assert layout["share"] == layout["hides-both"] / layout["existing"]


@pytest.mark.parametrize("outcome", ["hides-both", "hides-one", "makes-mimic", "breaks"])
def test_a_pair_has_a_page_and_both_singles(browser: Browser, outcome: str) -> None:
    """A pair's page leads to both single faults, whose verdicts it says, and to its picture; the
    circuit file on it has the verdict that is stored, by the independent engine.
    """
    listed = browser.facts(f"{ROOT}/pairs?outcome={outcome}")
    assert listed["total"] > 0
    assert {row["outcome"] for row in listed["pairs"]} == {outcome}
    for row in listed["pairs"][:: max(1, len(listed["pairs"]) // 4)]:
        path = (
            f"{ROOT}/pair/{row['circuit']}/{row['kind']}/{row['site']}"
            f"/{row['other_kind']}/{row['other_site']}"
        )
        document = check_page(browser.get(path), path)
        facts = browser.facts(path)
        for kind, site, alone in (
            ("kind", "site", "alone"),
            *[("other_kind", "other_site", "other_alone")],
        ):
            single = f"{ROOT}/fault/{row['circuit']}/{row[kind]}/{row[site]}"
            assert single in document.links
            assert browser.facts(single)["verdict"] == row[alone] == facts[alone]
        found = judge(loads(facts["circuit_file"]), PathsEngine())
        assert found.verdict == facts["verdict"] == facts["rechecked"]
        assert list(found.hazards) == facts["hazards"] == facts["hazards_found"]
        assert len(facts["states"]) == 4
        picture = browser.get(f"{path}/picture")
        assert picture.status_code == 200
        assert picture.headers["content-type"].startswith("image/svg+xml")


def test_pairs_that_are_not_there(browser: Browser) -> None:
    """An address that names no pair says so, and so do filters that name nothing."""
    path = f"{ROOT}/pair/chain-1.f.1/lamp-open/lamp/switch-stuck/switch-1,up"
    assert browser.get(path).status_code == 404
    assert browser.get(f"{ROOT}/pairs?outcome=everything").status_code == 400
    assert browser.get(f"{ROOT}/pairs?page=999").status_code == 400
    assert browser.facts(f"{ROOT}/pairs?circuit=nowhere")["total"] == 0


def test_tests_show_what_they_say(browser: Browser, visit: Visit) -> None:
    """The stored set of states shows every fault of its circuit that changes the light, by the
    engine *paths*; the walk is one of single flips through it.
    """
    rows = visit.rows(
        "select label, file, state_set, states, flips, walk, changing,"
        " detection.mimics, harmless"
        " from detection join circuit on circuit.id = circuit_id where positions = 'known'"
        " and label in ('chain-1.f.1', 'tied-f.L.1')"
    )
    assert len(rows) == 2
    paths = PathsEngine()
    for row in rows:
        circuit = loads(row["file"])
        states = {int(state) for state in row["state_set"].split(",")}
        walk = [int(state) for state in row["walk"].split(",")]
        assert len(states) == row["states"]
        assert states <= set(walk)
        assert len(walk) == row["flips"] + 1
        assert all((a ^ b).bit_count() == 1 for a, b in itertools.pairwise(walk))
        intended = paths.observe(circuit)
        counted = {"changing": 0, "unseen": 0}
        for fault in all_faults(circuit):
            judged = judge(fault.apply(circuit), paths)
            seen = judged.observation
            assert seen is not None
            shown = (seen.trips ^ intended.trips) | (seen.lit[0] ^ intended.lit[0])
            counted["unseen" if judged.any_location else "changing"] += 1
            if not judged.any_location:
                assert any(shown >> state & 1 for state in states), fault.label
        assert counted["changing"] == row["changing"]
        assert counted["unseen"] == row["mimics"] + row["harmless"]
    facts = browser.facts(f"{ROOT}/flipping")
    assert [size["known_states_least"] for size in facts["tests"]] == [4, 4]
    assert {(walk["locations"], walk["positions"]) for walk in facts["walks"]} == {
        (2, "known"),
        (2, "unknown"),
    }
    mimics = browser.facts(f"{ROOT}/faults?verdict=mimic")["total"]
    drawn = visit.number(
        "select count(*) from judged_fault as fault join circuit on circuit.id = circuit_id"
        " join verdict on"
        " verdict.id = fault.verdict_id where origin = 'drawn' and verdict.name = 'mimic'"
    )
    assert sum(size["mimics"] for size in facts["tests"]) == mimics - drawn


def test_findings_come_from_the_catalogue(browser: Browser, database: Path, tmp_path: Path) -> None:
    """Numbers are computed, not typed in: when rows go, so do they, and the digest is shown."""
    facts = browser.facts(f"{ROOT}/findings")
    words = check_page(browser.get(f"{ROOT}/findings"), "findings").words
    assert facts["build"] == "miswire build DB --locations 2 --random 2 --seed 1"
    assert facts["build"] in words
    assert facts["run"]["digest"] in words
    for row in facts["verdicts"]:
        assert sum(row["counts"].values()) == row["faults"]
        assert f"{row['faults']:,}" in words
    assert facts["census"][0] | {"command": ""} == {
        "locations": 2,
        "wirings": 115_975,
        "any_location": 40,
        "sound": 8,
        "families": 5,
        "command": "",
    }
    assert [row["command"] for row in facts["census"]] == [
        f"miswire census {locations}" for locations in (2, 3, 4, 5)
    ]
    copy = changed(database, tmp_path, "delete from pair_count")
    with closing(sqlite3.connect(copy)) as connection:
        for table in ("pair", "pair_state", "pair_set", "detection", "claim"):
            connection.execute(f"delete from {table}")
        connection.commit()
    with visiting(copy) as other:
        for name in ("pairs", "flipping", "findings"):
            check_page(other.get(f"{ROOT}/{name}"), name)
        assert other.facts(f"{ROOT}/pairs")["nothing"] == NOT_COMPUTED
        assert "Not computed" in other.facts(f"{ROOT}/flipping")["nothing"]
        assert (other.facts(f"{ROOT}/findings")["tests"], facts["tests"] == []) == ([], False)
        assert "Not computed in this catalogue." in other.read(f"{ROOT}/findings").words
        circuit = f"{ROOT}/pair/chain-1.f.1/lamp-open/lamp/switch-stuck/switch-1,up"
        assert other.get(circuit).status_code == 404
