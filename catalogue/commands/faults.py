"""`miswire faults`: judge every single fault of one circuit."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

import click

from catalogue.report.json_forms import faults_json
from catalogue.report.terminal import (
    Progress,
    cautions_paragraph,
    complain,
    file_name,
    heading,
    paragraph,
    say,
    told,
)
from verify.base.problems import UserError
from verify.base.sentences import counted
from verify.behaviour.judgement import PROVED_VERDICTS
from verify.circuit.file import read
from verify.fault.registry import fault_kind, fault_kinds
from verify.hazard.definitions import HAZARDS
from verify.verdict.single_faults import FaultList, JudgedFault
from verify.verdict.single_faults import faults as judged_faults

_KINDS: Final = [kind.name for kind in fault_kinds()]
_LISTED_BY_DEFAULT: Final = ("mimic",)


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, a fault a line.")
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    type=click.Choice(_KINDS),
    metavar="KIND",
    help=f"List only faults of this kind. May be repeated. Kinds: {', '.join(_KINDS)}.",
)
@click.option(
    "--verdict",
    "verdicts",
    multiple=True,
    type=click.Choice(PROVED_VERDICTS),
    metavar="VERDICT",
    help="List only faults with this verdict. May be repeated. "
    f"Verdicts: {', '.join(PROVED_VERDICTS)}.",
)
@click.pass_context
def faults(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    kinds: tuple[str, ...],
    verdicts: tuple[str, ...],
) -> None:
    """Judge every single fault of a circuit.

    Each fault is one mistake or one failed part, all else being as in the circuit file. They are
    counted by kind and verdict, and those are listed that people look for: the mimics, with which
    every switch still works and something is dangerous.

    --kind and --verdict choose what is listed instead, with JSON too, which lists all faults
    without them. The counts are always of all faults.

    Exit status: 0 when done, whatever was found, 2 if the file is wrong.
    """
    try:
        circuit = read(file)
        with Progress("Judging faults") as progress:
            found = judged_faults(circuit, progress)
    except UserError as error:
        complain(error.problems, file_name(file))
        ctx.exit(2)
    if not (as_json or kinds or verdicts):
        verdicts = _LISTED_BY_DEFAULT
    listed = [
        judged
        for judged in found
        if judged.fault.kind in (kinds or _KINDS)
        and judged.verdict in (verdicts or PROVED_VERDICTS)
    ]
    if as_json:
        lines = faults_json(found, listed)
    else:
        lines = _lines(found, listed, verdicts or PROVED_VERDICTS, file)
    for line in lines:
        say(line)


def _lines(
    found: FaultList, listed: Sequence[JudgedFault], verdicts: Sequence[str], file: Path
) -> Iterator[str]:
    """Yield what a person is told of a circuit's faults, line by line."""
    yield heading(found.circuit.name)
    yield file_name(file)
    yield ""
    yield told(found.told())
    yield ""
    yield from _list(listed, verdicts)
    yield ""
    yield cautions_paragraph()


def _list(listed: Sequence[JudgedFault], verdicts: Sequence[str]) -> Iterator[str]:
    """Yield the faults by kind, and what their hazards mean."""
    what = " or ".join(verdicts)
    if not listed:
        yield paragraph(f"No fault to list that is {what}.")
        return
    yield paragraph(f"{counted(len(listed), 'fault')} listed: {what}.")
    if tuple(verdicts) == _LISTED_BY_DEFAULT:
        yield paragraph("With each of these every switch works, and something is dangerous.")
    for name, group in groupby(listed, lambda judged: judged.fault.kind):
        of_kind = list(group)
        yield ""
        yield heading(f"{name}, {counted(len(of_kind), 'fault')}")
        yield paragraph(fault_kind(name).description, "  ")
        for judged in of_kind:
            yield paragraph(judged.description, "    ", "  - ")
            hazards = ", ".join(judged.hazards) or "no hazard"
            yield paragraph(
                hazards if len(verdicts) == 1 else f"{judged.verdict}: {hazards}", "    "
            )
    present = {name for judged in listed for name in judged.hazards}
    if present:
        yield ""
        yield heading("The hazards")
        for hazard in HAZARDS:
            if hazard.name in present:
                yield paragraph(f"{hazard.name}: {hazard.title}. {hazard.danger}", "    ", "  ")
