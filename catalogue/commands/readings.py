"""`miswire readings`: what a meter reads in a circuit."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import click

from catalogue.commands.loading import load_or_exit
from catalogue.drawing.state_view import parse_state
from catalogue.report.json_forms import FORMAT, short_cautions
from catalogue.report.metering import (
    MOST_STATES,
    RETURNS,
    Measured,
    ProbePoint,
    agree,
    all_points,
    assumed_words,
    measured,
    measured_forms,
    pairs_to,
    point_of,
    positions,
)
from catalogue.report.terminal import (
    cautions_paragraph,
    columns,
    file_name,
    heading,
    paragraph,
    say,
    table,
)
from verify.base.problems import Problem, UserError, listing, shown
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.electric.readings import Reading

_BOX_MARK: Final = ":"
_POINT: Final = "point"
_INDENT: Final = "  "
_LEGEND: Final = (
    "Volts on an ordinary meter of 10 MΩ and, after a stroke, on a low-impedance one of 3 kΩ where "
    "that differs. The letter p marks a phantom: volts that the low-impedance meter makes vanish."
)


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option(
    "--between",
    nargs=2,
    metavar="END END",
    help="Two ends, such as lamp.shell feed.neutral; a conductor's with its box: "
    "landing:slipway-run.red. Default: every point against neutral and against ground.",
)
@click.option(
    "--state",
    metavar="NAME=up,…",
    help="A position for every switch, such as slipway-switch=up,workshop-switch=down. "
    "Default: all combinations.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def readings(
    ctx: click.Context,
    file: Path,
    between: tuple[str, str] | None,
    state: str | None,
    as_json: bool,
) -> None:
    """Say what a meter reads, point by point.

    For every point at which a probe can be held, in every combination of switch positions: the
    volts on an ordinary meter of 10 MΩ and on a low-impedance one of 3 kΩ, and whether the reading
    is a phantom, which capacitance drives and no conductor. Ends that are joined are one point.

    Measuring is done with the power on: for qualified persons with rated instruments only.

    Exit status: 0 when done, 2 if the file or an option is wrong.
    """
    circuit = load_or_exit(ctx, file)
    problems: list[Problem] = []
    ends: list[End] = []
    states: Sequence[int] = range(1 << len(circuit.switches))
    for text in between or ():
        try:
            ends.append(parse_end(circuit, text))
        except UserError as error:
            problems += (Problem(f"--between {p.place}", p.message) for p in error.problems)
    try:
        if state is not None:
            states = [parse_state(circuit, state)]
    except UserError as error:
        problems += (Problem(f"--{p.place}", p.message) for p in error.problems)
    else:
        if len(states) > MOST_STATES:
            problems.append(
                Problem(
                    file_name(file),
                    f"has {len(states):,} combinations of positions; name one with --state",
                )
            )
    if problems:
        raise UserError(problems)
    every = all_points(circuit)
    if ends:
        one, other = (point_of(every, end) for end in ends)
        found = measured(circuit, [(one, other)], states)
    else:
        pairs = [pair for terminal in RETURNS for pair in pairs_to(circuit, every, terminal)]
        found = measured(circuit, pairs, states)
    if as_json:
        say(json.dumps(_as_json(circuit, states, found), indent=2))
    else:
        say("\n".join(_lines(circuit, file, states, found)))


def parse_end(circuit: Circuit, text: str) -> End:
    """Return the end that is written as in a circuit file, with ``BOX:`` before it if needed.

    Raises UserError with the remedy.
    """
    box, mark, name = text.rpartition(_BOX_MARK)
    found = [end for end in circuit.ends if end.name == name.strip()]
    within = [end for end in found if end.box == box.strip()] if mark else found
    if len(within) == 1:
        return within[0]
    if found:
        written = listing(f"{end.box}{_BOX_MARK}{end.name}" for end in found)
        why = (
            f"is not in that box; write {written}" if mark else f"is in two boxes; write {written}"
        )
    else:
        owner = name.strip().partition(".")[0]
        its = list(dict.fromkeys(end.name for end in circuit.ends if end.owner == owner))
        why = f"is no end of this circuit; {shown(owner)} has {listing(its)}"
        if not its:
            owners = dict.fromkeys(end.owner for end in circuit.ends)
            why = (
                "is no end of this circuit; write device.terminal or box:cable.colour, of "
                f"{listing(owners)}"
            )
    raise UserError([Problem(shown(text), why)])


def _as_json(
    circuit: Circuit, states: Sequence[int], found: Sequence[Measured]
) -> dict[str, object]:
    return {
        "format": FORMAT,
        "name": circuit.name,
        "assumed": assumed_words(circuit),
        "states": [{"state": state, "positions": positions(circuit, state)} for state in states],
        "readings": measured_forms(found),
        "cautions": short_cautions(),
    }


def _lines(
    circuit: Circuit, file: Path, states: Sequence[int], found: Sequence[Measured]
) -> Iterator[str]:
    yield heading(circuit.name)
    yield file_name(file)
    yield ""
    switches = ", ".join(switch.name for switch in circuit.switches)
    yield paragraph(f"{_LEGEND} Switches, u up and d down: {switches}.")
    for against in dict.fromkeys(item.against for item in found):
        yield ""
        yield heading(f"Against {', '.join(_end_names(circuit, against))}")
        yield from _tables(circuit, states, [i for i in found if i.against == against])
    yield ""
    yield paragraph(assumed_words(circuit))
    yield ""
    yield cautions_paragraph()


def _end_names(circuit: Circuit, point: ProbePoint) -> list[str]:
    """Return a point's terminals as they are written, or its conductors if it has none."""
    cables = {cable.name for cable in circuit.cables}
    terminals = [end.name for end in point.ends if end.owner not in cables]
    return terminals or [f"{end.box}{_BOX_MARK}{end.name}" for end in point.ends]


def _tables(circuit: Circuit, states: Sequence[int], found: Sequence[Measured]) -> Iterator[str]:
    """Yield tables with a row for each point and as many states as columns as there is room."""
    titles = ["".join(p[0] for p in positions(circuit, state).values()) for state in states]
    names = [_end_names(circuit, item.point) for item in found]
    cells = [[_volts(reading) for reading in item.readings] for item in found]
    widest = max(len(cell) for row in (titles, *cells) for cell in row)
    longest = max(len(name) + len(_INDENT) for row in names for name in row)
    room = max(1, (columns() - longest) // (widest + len(_INDENT)))
    for start in range(0, len(states), room):
        here = slice(start, start + room)
        rows = []
        for (first, *more), row in zip(names, cells, strict=True):
            rows.append([first, *row[here]])
            rows += [[f"{_INDENT}{name}", *("" for _ in row[here])] for name in more]
        yield ""
        yield table([_POINT, *titles[here]], rows, numbers=True)


def _volts(reading: Reading) -> str:
    """Return a cell: the volts on both meters, on each, or those of a phantom."""
    if reading.phantom:
        return f"{reading.high:.0f}p"
    if agree(reading):
        return f"{reading.high:.0f}"
    return f"{reading.high:.0f}/{reading.low:.0f}"
