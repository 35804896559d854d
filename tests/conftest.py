"""The tiers of the tests, the rule on skips, and how thoroughly Hypothesis searches.

Slow tests run with ``--slow`` only.
In CI (environment variable ``CI`` set) a skipped test fails, unless it is marked ``may_skip``:
a machine that lacks what a test needs must not look like one on which it passed.
"""

import os
from collections.abc import Generator

import pytest
from hypothesis import HealthCheck, settings

# The same examples every time and no clock: a failure is a fact about the code, not the machine.
settings.register_profile(
    "default",
    derandomize=True,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("thorough", settings.get_profile("default"), max_examples=1000)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Offer the slow tier."""
    parser.addoption(
        "--slow", action="store_true", help="run the slow tests too, and search more thoroughly"
    )


def pytest_configure(config: pytest.Config) -> None:
    """Choose the profile; ``--hypothesis-profile`` still wins, its plugin comes after."""
    settings.load_profile("thorough" if config.getoption("--slow") else "default")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the slow tier out unless it was asked for: left out, not skipped."""
    if config.getoption("--slow"):
        return
    slow = [item for item in items if item.get_closest_marker("slow")]
    if slow:
        config.hook.pytest_deselected(items=slow)
        items[:] = [item for item in items if not item.get_closest_marker("slow")]


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Hold each test to the rule on skips."""
    report = yield
    if not hasattr(report, "wasxfail") and not item.get_closest_marker("may_skip"):
        _fail_if_skipped(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Hold each module that skips itself as a whole to the rule on skips."""
    report = yield
    _fail_if_skipped(report)
    return report


def _fail_if_skipped(report: pytest.TestReport | pytest.CollectReport) -> None:
    if report.skipped and os.environ.get("CI"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{reason}\nA skip counts as a failure in CI, see {__file__}."
