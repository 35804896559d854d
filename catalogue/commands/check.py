"""`miswire check`: judge circuits, with evidence."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import click

from catalogue.commands.ruletext import rules_told
from catalogue.report.json_forms import check_form
from catalogue.report.terminal import (
    cautions_paragraph,
    columns,
    complain,
    file_name,
    heading,
    paragraph,
    say,
    told,
    verdict_style,
)
from verify.base.problems import BugError, UserError
from verify.base.sentences import counted
from verify.circuit.file import read
from verify.rules.book import Rulebook, choose
from verify.verdict.examination import Examination
from verify.verdict.rechecking import examine

_MOST_STATES_INDENTED: Final = 1024
_METERS: Final = "What a meter reads at every point: miswire readings FILE."


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--jurisdiction",
    metavar="NAME",
    help="Whose published rules to look for: us, ca or uk. Default: by the circuit's palette.",
)
@click.option("--edition", metavar="YEAR", help="Which edition of them. Default: the latest known.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON: an array for several files.")
@click.pass_context
def check(
    ctx: click.Context,
    files: tuple[Path, ...],
    jurisdiction: str | None,
    edition: str | None,
    as_json: bool,
) -> None:
    """Judge circuits.

    For each circuit file, say what the lamps and the protection do in every combination of switch
    positions, whether the light works from every location, and which hazards there are, each with
    the path that shows it. Then come observations against published rules, which are not verdicts:
    nothing here says that a wiring complies.

    Exit status: 0 if every circuit is sound, 1 if one is not, 2 if a file is wrong; the others are
    judged all the same.
    """
    choice = choose(jurisdiction, edition)
    examined: list[_Checked] = []
    for path in files:
        try:
            circuit = read(path)
            book = choice.book(circuit.palette)
        except UserError as error:
            complain(error.problems, file_name(path))
            continue
        try:
            examined.append(_Checked(str(path), examine(circuit), book))
        except BugError as error:
            raise BugError(f"{file_name(path)}: {error}") from error
    if as_json:
        _print_json(examined, alone=len(files) == 1)
    elif examined:
        say("\n\n".join("\n".join(_lines(checked)) for checked in examined))
        if len(files) > 1:
            say(f"\n{heading(_total(examined, len(files) - len(examined)))}")
        say(f"\n{cautions_paragraph()}")
    if len(examined) < len(files):
        ctx.exit(2)
    ctx.exit(any(checked.found.judgement.verdict != "sound" for checked in examined))


class _Checked(NamedTuple):
    """A file, what was found in it, and the rules to apply to it."""

    file: str
    found: Examination
    book: Rulebook


def _print_json(examined: Sequence[_Checked], *, alone: bool) -> None:
    # These are imported here because they take a while.
    from catalogue.report.flows import flow_forms
    from catalogue.report.metering import readings_form

    forms = [
        {
            **check_form(checked.found, checked.file, checked.book),
            "flows": flow_forms(checked.found.circuit),
            **readings_form(checked.found.circuit),
        }
        for checked in examined
    ]
    # Nobody reads so many states, and indenting them would take Python longer than proving them.
    states = sum(
        1 << len(checked.found.circuit.switches)
        for checked in examined
        if checked.found.judgement.observation is not None
    )
    indent = None if states > _MOST_STATES_INDENTED else 2
    if not alone:
        say(json.dumps(forms, indent=indent))
    elif forms:
        say(json.dumps(forms[0], indent=indent))


def _total(examined: Sequence[_Checked], unread: int) -> str:
    verdicts = [checked.found.judgement.verdict for checked in examined]
    parts = [f"{verdicts.count(verdict)} {verdict}" for verdict in dict.fromkeys(verdicts)]
    text = f"{counted(len(verdicts), 'circuit')}: {', '.join(parts)}"
    return f"{text}; {counted(unread, 'file')} not judged, see above" if unread else text


def _lines(checked: _Checked) -> Iterator[str]:
    """Yield what a person is told of one circuit, line by line."""
    yield heading(checked.found.circuit.name)
    yield file_name(checked.file)
    yield ""
    verdict = checked.found.verdict
    shown = told(checked.found.told(columns(), "--json prints them all"))
    word, space, rest = shown.partition(" ")
    yield f"{verdict_style(verdict, word)}{space}{rest}"
    yield ""
    if verdict != "undecided":
        yield paragraph(_METERS)
        yield ""
    yield from rules_told(checked.found.circuit, checked.book)
