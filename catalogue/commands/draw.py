"""`miswire draw`: the wiring of a circuit as a picture."""

from pathlib import Path

import click

from catalogue.commands.loading import load_or_exit
from catalogue.commands.output import output_problems
from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.states import parse_state, view_of
from catalogue.drawing.svg import BEGINNING
from catalogue.report.terminal import cautions_paragraph, file_name, paragraph, say
from verify.base.problems import Problem, UserError
from verify.circuit.model import Circuit
from verify.fault.registry import fault_kind, find_fault
from verify.verdict.evidence import Evidence, find_evidence


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT.svg")
@click.option(
    "--state",
    metavar="NAME=up,…",
    help="Show one state: a position for every switch, such as "
    "slipway-switch=up,workshop-switch=down.",
)
@click.option(
    "--fault",
    "label",
    metavar="KIND/SITE",
    help="Show the circuit with that fault beside the circuit as it is; labels are printed by "
    "`miswire faults --json` as kind and site.",
)
@click.option(
    "--unmarked",
    is_flag=True,
    help="With --fault: only the circuit as somebody finds it, nothing marked.",
)
@click.option("--schematic", is_flag=True, help="What is connected to what, without the boxes.")
@click.pass_context
def draw(
    ctx: click.Context,
    file: Path,
    out: Path,
    state: str | None,
    label: str | None,
    unmarked: bool,
    schematic: bool,
) -> None:
    """Draw a circuit's wiring, or a fault's, as an SVG.

    Boxes, cables, every conductor with its colour written on it, and where each is landed. With
    --state also what is connected to line then, the switches in their positions, and where the
    breaker trips the path on which it does.

    OUT.svg is replaced if it is a picture that this command drew; any other file is left alone.

    Exit status: 0 when drawn, 2 if the file or an option is wrong.
    """
    circuit = load_or_exit(ctx, file)
    problems: list[Problem] = []
    fault = None
    number = None
    try:
        fault = None if label is None else find_fault(circuit, label)
    except UserError as error:
        problems += (Problem(f"--{p.place}", p.message) for p in error.problems)
    faulted = circuit if fault is None else fault.apply(circuit)
    try:
        number = None if state is None else parse_state(faulted, state)
    except UserError as error:
        problems += (Problem(f"--{p.place}", p.message) for p in error.problems)
    problems += _option_problems(label, unmarked=unmarked, schematic=schematic)
    problems += output_problems(out, BEGINNING, "an SVG of ours", "OUT.svg")
    if problems:
        raise UserError(problems)
    if schematic:
        svg = schematic_picture(faulted, state=number)
    else:
        svg = wiring_picture(
            faulted,
            state=number,
            evidence=_tripping(faulted, number),
            intended=None if fault is None else circuit,
            marked=not unmarked,
        )
    out.write_text(svg, "utf-8", newline="\n")
    say(paragraph(f"Drawn: {file_name(out)}"))
    if fault is not None and not unmarked:
        say(paragraph(fault_kind(fault.kind).in_words(fault.site)))
    say(f"\n{cautions_paragraph()}")


def _option_problems(label: str | None, *, unmarked: bool, schematic: bool) -> list[Problem]:
    problems = []
    if unmarked and label is None:
        problems.append(
            Problem("--unmarked", "hides the marks of a fault; add --fault, or leave it out")
        )
    if unmarked and schematic:
        problems.append(
            Problem("--unmarked", "a schematic has no marks to hide; leave one of the two out")
        )
    return problems


def _tripping(circuit: Circuit, state: int | None) -> Evidence | None:
    """The path on which the breaker trips in a state, if it does."""
    if state is not None and view_of(circuit, state).trips:
        return find_evidence(circuit, "trips", state)
    return None
