"""Text for a terminal: this wraps it and makes tables, complaints and progress bars.

Colour only adds to words, and is left out where the output is no terminal or NO_COLOR is set.
"""

import shutil
import sys
import time
from collections.abc import Iterable, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Final, Self

import click

from verify.base.problems import Problem, shown
from verify.base.telling import Group, TextTable, cautions_group, filled, grid_text, plain

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar

_NARROWEST: Final = 40
_WIDEST: Final = 100
_FALLBACK: Final = (80, 24)
_BAR_CELLS: Final = 30
#: Seconds between two lines of progress where there is no terminal.
_SECONDS_BETWEEN_LINES: Final = 20.0
_COLOURS: Final = {"sound": "green", "mimic": "magenta", "misbehaves": "yellow", "trips": "red"}


def columns() -> int:
    """Return how many columns a text fills: those of the terminal, up to what reads well."""
    return min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size(_FALLBACK).columns))


def say(text: str = "") -> None:
    """Print one piece of output."""
    click.echo(text)


def paragraph(text: str, indent: str = "", first: str | None = None) -> str:
    """Wrap running text; `first` stands before the first line in place of `indent`."""
    return filled(text, columns(), indent, first)


def strong(text: str) -> str:
    """Return `text` so that it stands out where the terminal can show it."""
    return click.style(text, bold=True)


def heading(text: str, indent: str = "") -> str:
    """Return a line that stands out."""
    return strong(paragraph(text, indent))


def verdict_style(verdict: str, text: str) -> str:
    """Return `text` in the colour that goes with a verdict."""
    return click.style(text, fg=_COLOURS.get(verdict), bold=True)


def cautions_paragraph() -> str:
    """Return the cautions that stand below everything that tells a person about a circuit."""
    return told([cautions_group()])


def told(groups: Iterable[Group]) -> str:
    """Return groups of blocks as text, as wide as the terminal."""
    return plain(groups, columns(), strong, _loud)


def _loud(text: str) -> str:
    return click.style(text, fg="red", bold=True)


def table(headings: Sequence[str], rows: Iterable[Sequence[str]], numbers: bool = False) -> str:
    """Return a table with columns as wide as their content.

    With `numbers` all columns but the first are set to the right.
    """
    return grid_text(TextTable(headings, [*rows], numbers), strong)


def file_name(path: object) -> str:
    """Return a file's name so that it can be shown, whatever characters are in it."""
    return shown(click.format_filename(str(path)), 200)


def complain(problems: Iterable[Problem], file: str = "") -> None:
    """Print problems on standard error, each on its own line after its file."""
    for problem in problems:
        click.echo(f"{file}: {problem}" if file else str(problem), err=True)


class Progress:
    """A bar on standard error with the time left, shown once a job has taken `patience` seconds.

    Call it with what is done and what there is in all, and use it as a context. Work that is
    reported at the first call is taken to have cost this job no time. Without a terminal it writes
    a line now and then instead, so that a log file tells how far a long job is.
    """

    def __init__(self, label: str, patience: float = 2.0) -> None:
        self._label = label
        self._due = time.monotonic() + patience
        self._line_due = time.monotonic() + _SECONDS_BETWEEN_LINES
        self._bar: ProgressBar[int] | None = None
        self._first = 0
        self._is_shown = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None and self._is_shown:
            self._bar.render_finish()

    def __call__(self, done: int, total: int) -> None:
        """Move the bar on."""
        if self._bar is None:
            self._first = done
            self._bar = click.progressbar(
                length=total - done,
                label=self._label,
                show_pos=True,
                width=_BAR_CELLS,
                file=sys.stderr,
                hidden=not sys.stderr.isatty(),
            )
        self._bar.make_step(done - self._first - self._bar.pos)
        if self._bar.hidden:
            self._write_line(self._bar, done, total)
        elif time.monotonic() >= self._due:
            self._is_shown = True
            self._bar.render_progress()

    def _write_line(self, bar: "ProgressBar[int]", done: int, total: int) -> None:
        if time.monotonic() >= self._line_due and done < total:
            self._line_due = time.monotonic() + _SECONDS_BETWEEN_LINES
            left = f", {bar.format_eta()} left" if bar.eta_known else ""
            click.echo(f"{self._label}: {done:,} of {total:,}{left}", err=True)
