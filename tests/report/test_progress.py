"""Long jobs say how far they are, on a terminal and in a log file."""

import pytest

from catalogue.report.terminal import Progress


def test_a_log_file_is_told_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a terminal a line says what is done of what there is, and the time left."""
    now = [0.0]
    for clock in ("time.time", "time.monotonic"):
        monkeypatch.setattr(clock, lambda: now[0])
    with Progress("Proving boats") as progress:
        # What is done at the first call took no time: 500 in 30 seconds, so 500 more take as long.
        for now[0], done in ((0.0, 200), (30.0, 700), (35.0, 750), (50.0, 1000), (60.0, 1200)):
            progress(done, 1200)
    told, said = capsys.readouterr()
    assert told == ""
    first, second = said.splitlines()
    assert first == "Proving boats: 700 of 1,200, 00:00:30 left"
    assert second.startswith("Proving boats: 1,000 of 1,200, 00:00:1")


def test_short_jobs_leave_a_log_file_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """A job that is over at once says nothing but its result."""
    with Progress("Proving boats") as progress:
        for done in range(5):
            progress(done, 4)
    assert capsys.readouterr() == ("", "")
