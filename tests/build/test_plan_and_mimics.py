"""The plan of checks to print, and the page of mistakes that pass every flip."""

from collections.abc import Iterator
from typing import Any

import pytest
from browser import ROOT, Browser, check_page
from desking import LABEL, MIMICS, PLAN, at, pool, seen

from catalogue.desk.answer import Answer
from catalogue.desk.checks import check_kinds
from catalogue.desk.symptoms import Symptoms
from catalogue.pages.contract import Visit

pytest_plugins = ["small_catalogue"]


def test_plan_of_a_circuit(browser: Browser) -> None:
    """The plan has every suspect in a leaf, the expected numbers of the engine, and cautions."""
    path = at(PLAN, circuit=LABEL, positions="file")
    document = check_page(browser.get(path), path)
    facts = browser.facts(path)
    symptoms = Symptoms(2, {}, as_found=False)
    answer = Answer(pool(), symptoms, {}, check_kinds())
    assert facts["checks"] == pytest.approx(answer.plan.checks, abs=0.006)
    assert facts["cost"] == pytest.approx(answer.plan.cost, abs=0.06)
    assert facts["uncertainty_bits"] == pytest.approx(answer.uncertainty, abs=0.006)
    assert facts["suspects"] == len(pool().suspects)
    leaves = set(_leaves(facts["plan"]))
    assert leaves == {suspect.description for suspect in pool().suspects}
    for kind in check_kinds().values():
        if kind.name in _kinds(facts["plan"]) and kind.caution:
            assert kind.caution in document.words


def _leaves(plan: dict[str, Any]) -> Iterator[str]:
    yield from plan.get("suspects", ())
    yield from plan.get("found", ())
    for branch in plan.get("branches", ()):
        yield from _leaves(branch["then"])


def _kinds(plan: dict[str, Any]) -> set[str]:
    below = (_kinds(branch["then"]) for branch in plan.get("branches", ()))
    return {plan["kind"], *set().union(*below)} if "kind" in plan else set()


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({}, "A plan is for a circuit"),
        ({"locations": 2, "sign-another-outlet": "yes"}, "Too many suspects"),
        (
            {"circuit": LABEL, "positions": "file", **seen([2, 2, 2, 0]), "sign-trips": "yes"},
            "Nothing fits",
        ),
    ],
)
def test_no_plan(browser: Browser, query: dict[str, object], sentence: str) -> None:
    """Where there is nothing to plan a sentence says why."""
    response = browser.get(at(PLAN, **query))
    assert response.status_code == 400
    assert sentence in check_page(response, str(query)).words


def test_mimics_are_counted(browser: Browser, visit: Visit) -> None:
    """Counts by hazard, kind, place and layout are those of the table of faults."""
    facts = browser.facts(MIMICS)
    check_page(browser.get(MIMICS), MIMICS)
    of_layouts = "circuit_id in (select id from circuit where origin = 'layout')"
    mimic = f"verdict_id = (select id from verdict where name = 'mimic') and {of_layouts}"
    total = visit.number(f"select count(*) from judged_fault where {mimic}")
    assert facts["mimics"] == total
    assert facts["faults"] == visit.number(f"select count(*) from fault where {of_layouts}")
    for row in facts["by_hazard"]:
        counted = visit.number(
            "select count(*) from evidence join judged_fault using (outcome_id) join hazard on"
            f" hazard.id = hazard_id where {mimic} and hazard.name = ?",
            row["name"],
        )
        assert row["mimics"] == counted
        assert row["share"] == pytest.approx(counted / total, abs=1e-5)
    assert sum(row["mimics"] for row in facts["by_kind"]) == total
    assert sum(row["mimics"] for row in facts["by_place"]) == total
    assert sum(row["faults"] for row in facts["by_place"]) == facts["faults"]
    assert sum(row["counts"]["mimic"] for row in facts["layouts"]) == total
    for row in facts["layouts"]:
        assert sum(row["counts"].values()) == row["faults"]
        circuit = browser.facts(f"{ROOT}/circuit/{row['label']}")
        assert circuit["counts"]["verdicts"] == row["counts"]
    shares = [row["share"] for row in facts["layouts"]]
    assert shares == sorted(shares, reverse=True)


def test_mimics_of_some_layouts(browser: Browser) -> None:
    """Filters leave the layouts that they name, and say if there are none."""
    chain = browser.facts(at(MIMICS, scheme="chain"))
    tied = browser.facts(at(MIMICS, scheme="tied"))
    assert chain["faults"] + tied["faults"] == browser.facts(MIMICS)["faults"]
    assert {row["label"][:6] for row in chain["layouts"]} == {"chain-"}
    assert browser.facts(at(MIMICS, locations=7))["nothing"].startswith("Not computed")
    check_page(browser.get(at(MIMICS, locations=7)), "none")
