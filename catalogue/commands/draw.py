"""`miswire draw`: the wiring of a circuit as a picture."""

from pathlib import Path

import click

from catalogue.commands.loading import load_or_exit
from catalogue.commands.output import output_problems
from catalogue.drawing.draw import draw as drawn
from catalogue.drawing.draw import suffix_problems
from catalogue.drawing.svg import BEGINNING
from catalogue.report.terminal import cautions_paragraph, file_name, paragraph, say
from verify.base.problems import Problem, UserError


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
    picture = None
    hides = unmarked and label is not None
    if unmarked and not hides:
        problems.append(
            Problem("--unmarked", "hides the marks of a fault; add --fault, or leave it out")
        )
    try:
        picture = drawn(circuit, state=state, fault=label, unmarked=hides, schematic=schematic)
    except UserError as error:
        problems += (Problem(f"--{p.place}", p.message) for p in error.problems)
    problems += suffix_problems(out)
    problems += output_problems(out, BEGINNING, "an SVG of ours", "OUT.svg")
    if picture is None or problems:
        raise UserError(problems)
    picture.save(out)
    say(paragraph(f"Drawn: {file_name(out)}"))
    if label is not None and not unmarked:
        say(paragraph(picture.title))
    say(f"\n{cautions_paragraph()}")
