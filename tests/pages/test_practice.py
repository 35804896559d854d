"""The practice page: a case to flip, look at and name, by plain links that keep everything."""

import re
from dataclasses import replace
from typing import Any

import pytest
from browser import ROOT, Browser, check_page

from catalogue.lessons.curated import Curated, shipped
from catalogue.lessons.sheet import work_out
from catalogue.pages import practice as page
from verify.base.problems import Problem

pytest_plugins = ["small_catalogue"]

AT = f"{ROOT}/practice"


def followed(browser: Browser, link: str) -> dict[str, Any]:
    """What is on the page where a link of the practice page leads."""
    return browser.facts(AT + link.partition("#")[0])


def test_every_case_comes_by_before_one_comes_again(browser: Browser) -> None:
    """The link to another case goes through all of them, in an order that the number decides."""
    cases = shipped().cases
    titles = {browser.facts(f"{AT}?seed={seed}")["case_title"] for seed in range(len(cases))}
    assert titles == {case.title for case in cases}
    here = browser.facts(f"{AT}?seed=5&level=hard")
    assert here["level"] == followed(browser, here["another"])["level"] == "hard"


def test_flipping_shows_the_light_and_remembers(browser: Browser) -> None:
    """Each switch is a link that moves it; the lamp does what was proved, and the table grows by
    what has been seen."""
    here = browser.facts(f"{AT}?seed=1")
    seen = {tuple(here["state"]["positions"].values())}
    for step in range(6):
        handle = here["handles"][step % len(here["handles"])]
        here = followed(browser, handle["link"])
        assert here["state"]["positions"][handle["switch"]] != handle["position"]
        seen.add(tuple(here["state"]["positions"].values()))
        assert len(here["seen"]) == len(seen)
    case = next(case for case in shipped().cases if case.title == here["case_title"])
    truth = work_out(case).examination.judgement.observation
    assert truth is not None
    everything = followed(browser, here["all_seen"])["seen"]
    assert len(everything) == here["combinations"]
    for form in everything:
        trips = bool(truth.trips >> form["state"] & 1)
        assert form["protection"] == ("trips" if trips else "holds")
        if not trips:
            assert form["lamps"]["lamp"] == truth.light(0, form["state"])


@pytest.mark.parametrize("seed", range(0, 52, 7))
def test_one_answer_is_right_and_then_all_is_explained(browser: Browser, seed: int) -> None:
    """A wrong answer says why it is wrong and gives nothing away; the right one is explained with
    path, hazards and checks."""
    here = browser.facts(f"{AT}?seed={seed}")
    assert here["solution"] is None
    assert here["label"] is None
    case = next(case for case in shipped().cases if case.title == here["case_title"])
    right = 0
    for choice in here["choices"]:
        answered = followed(browser, choice["link"])
        document = check_page(
            browser.get(AT + choice["link"].partition("#")[0]), AT + choice["link"]
        )
        assert answered["why"] in document.words
        if answered["is_right"]:
            right += 1
            assert answered["solution"]["verdict"] == case.verdict
            assert answered["label"] == case.label
            assert case.note in document.words
            assert answered["fault"] is None or document.all("a")
        else:
            assert answered["solution"] is None
            assert all("is_right" not in choice for choice in answered["choices"])
            assert case.note not in document.words
    assert right == 1
    assert followed(browser, here["tell"])["solution"]["description"]


def test_boxes_open_on_request_and_show_no_marks(browser: Browser) -> None:
    """The unmarked picture comes when it is asked for, and what was answered stays."""
    here = browser.facts(f"{AT}?seed=1&state=1")
    closed = browser.get(f"{AT}?seed=1&state=1").text
    assert "The wiring as found" not in closed
    opened = browser.get(AT + here["boxes"]).text
    assert "The wiring as found" in opened
    assert "As intended" not in opened
    assert followed(browser, here["boxes"])["state"] == here["state"]


def test_the_page_speaks_iec(browser: Browser) -> None:
    """The same case in the other usage, with what was converted."""
    here = browser.facts(f"{AT}?seed=1&terms=iec")
    assert "converted by role" in here["conversion"]
    there = browser.facts(f"{AT}?seed=1")
    assert there["conversion"] == ""
    told = browser.get(f"{AT}?seed=1&terms=iec&answer=tell").text
    assert not re.search(
        r"(?<![\w-])traveler(?![\w-])", told.partition("<main")[2].partition("<footer")[0]
    )


@pytest.mark.parametrize(
    "query",
    [
        "seed=x",
        "seed=9999999999",
        "level=kindergarten",
        "terms=jp",
        "state=99",
        "seen=999999",
        "answer=Z",
        "boxes=ajar",
    ],
)
def test_wrong_addresses_are_refused_in_a_sentence(browser: Browser, query: str) -> None:
    """What is wrong and what to do."""
    response = browser.get(f"{AT}?{query}")
    assert response.status_code == 400
    assert "must be" in response.text


def test_an_entry_that_is_no_longer_true_is_an_alarm(
    browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A label that is gone, a verdict that changed, and entries that could not be read are said on
    the page."""
    first = shipped().cases[0]
    gone = replace(first, label="chain-1.f.1/left-off/box-1,nothing")
    monkeypatch.setattr(page, "shipped", lambda: Curated((gone,), {}))
    response = browser.get(AT)
    assert response.status_code == 200
    assert "names nothing any more" in response.text
    changed = replace(first, verdict="sound")
    problems = (Problem("curated.toml line 3", "is wrong"),)
    monkeypatch.setattr(page, "shipped", lambda: Curated((changed,), {}, problems))
    text = browser.get(AT).text
    assert "Do not rely on this case" in text
    assert "1 mistake in the file of curated cases" in text
