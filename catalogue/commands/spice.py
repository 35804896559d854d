"""`miswire spice`: a circuit in one state as a netlist for a circuit simulator."""

from pathlib import Path

import click

from catalogue.commands.loading import load_or_exit
from catalogue.commands.output import output_problems
from catalogue.drawing.state_view import parse_state
from catalogue.report.terminal import file_name, paragraph, say
from verify.base.problems import Problem, UserError
from verify.engine.netlist import BEGINNING, netlist


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.argument("out", required=False, type=click.Path(path_type=Path), metavar="[OUT]")
@click.option(
    "--state",
    required=True,
    metavar="NAME=up,…",
    help="A position for every switch, such as slipway-switch=up,workshop-switch=down.",
)
@click.pass_context
def spice(ctx: click.Context, file: Path, out: Path | None, state: str) -> None:
    """Write a circuit in one state as a netlist.

    Any general circuit simulator reads it: the source behind its impedance, every conductor,
    closed contact, lamp and plugged-in load as a resistance, and the capacitance between the
    conductors of each cable, with a comment for each. The breaker is left out, so that a fault
    current can be seen.

    Without OUT the netlist is printed. OUT is replaced if it is a netlist of Miswire; any other
    file is left alone.

    Exit status: 0 when written, 2 if the file or an option is wrong.
    """
    circuit = load_or_exit(ctx, file)
    problems: list[Problem] = []
    number = 0
    try:
        number = parse_state(circuit, state)
    except UserError as error:
        problems += (Problem(f"--{p.place}", p.message) for p in error.problems)
    if out is not None:
        problems += output_problems(out, BEGINNING, "a netlist of Miswire", "OUT.cir")
    if problems:
        raise UserError(problems)
    text = netlist(circuit, number)
    if out is None:
        click.echo(text, nl=False)
    else:
        out.write_text(text, "utf-8", newline="\n")
        say(paragraph(f"Written: {file_name(out)}"))
