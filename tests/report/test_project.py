"""What changed and the licences: read from `data/`, nothing left out, and on pages."""

import re

import pytest
from browser import ROOT, Browser

from catalogue.report.project import changes, licences, read_changes
from verify.base.problems import BugError
from verify.base.resources import data_path

pytest_plugins = ["small_catalogue"]


def test_every_line_of_the_change_log_is_read() -> None:
    """Written out again, what was read is the file but for its title and empty lines."""
    log = changes()
    lines = ["# What changed", *log.introduction]
    for version, changed in log.versions.items():
        lines += [f"## {version}", *(f"- {change}" for change in changed)]
        assert changed
    text = data_path("changes.md").read_text("utf-8")
    assert lines == [line for line in text.splitlines() if line]
    assert re.match(r"\d+\.\d+\.\d+\b", next(iter(log.versions)))


@pytest.mark.parametrize(
    "text",
    [
        "# What changed\n- a change of no version",
        "## 1.0.0\nA sentence among changes.",
        "## 1.0.0\n- one\n  and its second line",
        "### a heading of another depth",
    ],
)
def test_a_change_log_of_another_shape_is_refused(text: str) -> None:
    """What the page could not show is told at once, not left out."""
    with pytest.raises(BugError, match=r"data/changes\.md: .* is no sentence, version or change"):
        read_changes(text)


def test_the_pages_show_all_of_it(browser: Browser) -> None:
    """Each change is on its page, code as code, each licence in full; the footer leads there."""
    page = browser.read(f"{ROOT}/changes")
    for line in data_path("changes.md").read_text("utf-8").splitlines():
        assert line.lstrip("#- ").replace("`", "") in page.words
    assert page.all("code")
    facts = browser.facts(f"{ROOT}/changes")
    assert {each["version"]: tuple(each["changes"]) for each in facts["versions"]} == (
        changes().versions
    )
    page = browser.read(f"{ROOT}/licences")
    for name, text in licences().items():
        assert name in page.words
        assert " ".join(text.split()) in page.words
    assert {f"{ROOT}/changes", f"{ROOT}/licences"} <= set(browser.read("/").links)
