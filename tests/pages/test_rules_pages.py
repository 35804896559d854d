"""Published rules on the pages of circuits and faults."""

import pytest
from browser import CLASSIC, HOSTILE, MIMIC, ROOT, Browser, check_page

from catalogue.pages import rulefacts
from verify.circuit.file import loads
from verify.rules.book import BookChoice, choose, note
from verify.rules.remarks import Remark, RemarkForm, remark_form, remarks

pytest_plugins = ["small_catalogue"]

CIRCUIT = f"{ROOT}/circuit/chain-1.f.1"


def test_a_circuit_page_tells_what_rules_find(browser: Browser) -> None:
    """Every remark is there with its section, reason and paraphrase, and the note before them."""
    facts = browser.facts(CIRCUIT)
    found = remarks(loads(facts["circuit_file"]), BookChoice().book("us"))
    assert facts["rules"] == [remark_form(remark) for remark in found]
    told = check_page(browser.get(CIRCUIT), CIRCUIT).words
    assert f"Published rules it touches: NEC 2023 {note()}" in told
    for remark in found:
        assert f"{remark.section}: {remark.rule.title}" in told
        assert f"In our words: {remark.text.says} ({remark.how_known})" in told
        assert remark.finding.because in told


def test_a_fault_page_tells_what_the_mistake_brings_with_it(browser: Browser) -> None:
    """A ground left off is seen by the rules on ground; what is so without it is left out."""
    facts = browser.facts(MIMIC)
    assert [(rule["id"], rule["raised_by"]) for rule in facts["rules"]] == [
        ("ground-continuous", ["box-2-run.bare"]),
        ("yoke-grounded", ["switch-2"]),
    ]
    document = check_page(browser.get(MIMIC), MIMIC)
    assert "404.9(B): Switches grounded" in document.words
    not_raised = {rule["id"] for rule in facts["not_raised"]}
    assert "polarity" in not_raised
    assert not {"yoke-grounded", "neutral-at-switch"} & not_raised, "raised, if not by the mistake"
    assert f"{CIRCUIT}#rules" in document.links
    assert browser.facts(CLASSIC)["rules"] == []
    assert "Nothing that the circuit as intended does not raise too." in browser.read(CLASSIC).words


@pytest.mark.parametrize("page", [CIRCUIT, MIMIC])
def test_another_rulebook_has_an_address(browser: Browser, page: str) -> None:
    """Every edition of every document can be chosen, by links that lead back to the section."""
    document = browser.read(page)
    queries = [a["href"] for a in document.all("a") if a["href"].startswith("?rules=")]
    others = browser.facts(page)["rulebooks"]
    assert len(queries) == len(others) - 1
    for query in queries:
        address, _, fragment = query.partition("#")
        assert fragment in document.anchors
        place, _, edition = address.removeprefix("?rules=").partition("-")
        facts = browser.facts(page + address)
        title = choose(place, edition).book("us").title
        assert facts["rulebook"]["title"] == title
        check_page(browser.get(page + address), address)
        assert f"Published rules it touches: {title}" in browser.read(page + address).words


@pytest.mark.parametrize("wrong", ["mars-2023", "us-1999", "us", "-", "us-2023-1", "%3Cb%3E"])
def test_a_rulebook_that_is_not_known_is_refused(browser: Browser, wrong: str) -> None:
    """A wrong choice is answered with a sentence that says how to write one."""
    for page in (CIRCUIT, MIMIC):
        response = browser.get(f"{page}?rules={wrong}")
        assert response.status_code == 400
        assert "such as rules=us-2023" in check_page(response, wrong).words


def test_what_rules_say_is_only_text(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing in a rule or in the names of a circuit becomes markup."""

    def hostile(remark: Remark) -> RemarkForm:
        form = remark_form(remark)
        form["because"] = form["says"] = form["title"] = form["section"] = HOSTILE
        form["how_known"] = HOSTILE
        return form

    monkeypatch.setattr(rulefacts, "remark_form", hostile)
    for page in (CIRCUIT, MIMIC):
        document = check_page(browser.get(page), page)
        assert document.text.count(HOSTILE) >= 5
