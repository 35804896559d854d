"""`miswire landings`: every way to land the free ends of one circuit."""

import json
from collections.abc import Iterator
from pathlib import Path

import click

from catalogue.commands.loading import load_or_exit
from catalogue.commands.options import processors
from catalogue.commands.output import output_problems
from catalogue.drawing.pictures import wiring_picture
from catalogue.drawing.svg import BEGINNING
from catalogue.drawing.typeface import standalone
from catalogue.report.json_forms import short_cautions
from catalogue.report.terminal import (
    Progress,
    cautions_paragraph,
    complain,
    file_name,
    heading,
    paragraph,
    say,
    table,
    verdict_style,
)
from verify.base.problems import CircuitError, Problem, UserError
from verify.base.sentences import counted
from verify.circuit.file import dump
from verify.engine.volts import VoltsEngine
from verify.engine.words import WORTH_COMPILING_ONCE
from verify.hazard.definitions import HAZARDS
from verify.study.landings.survey import Landings, WayClass, survey


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option(
    "--pictures",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Draw the nearest wiring of each class beside the intended one, as DIR/class-1.svg …",
)
@click.pass_context
def landings(ctx: click.Context, file: Path, as_json: bool, pictures: Path | None) -> None:
    """Count every way to land the free ends of a circuit.

    Boxes, cables and devices are those of the circuit file. Ends in a join with fixed = true stay
    as they are; the others of each box are connected in every way. Of the ways that work from every
    switch it says how many are sound and how many have each hazard, and for each set of hazards
    how far the nearest is from the wiring in the file: how many exchanges of two ends of one box,
    and how many ends that land elsewhere.

    Exit status: 0 when done, whatever was found, 2 if the file or an option is wrong.
    """
    circuit = load_or_exit(ctx, file)
    _require_folder(pictures)
    try:
        with Progress("Counting ways") as progress:
            found = survey(
                circuit,
                VoltsEngine(WORTH_COMPILING_ONCE),
                workers=processors(),
                progress=progress,
            )
    except CircuitError as error:
        complain(error.problems, file_name(file))
        ctx.exit(2)
    drawn = [] if pictures is None else _draw_classes(found, pictures)
    if as_json:
        say(json.dumps(_as_json(found, drawn), indent=2))
    else:
        for line in _lines(found, drawn, file):
            say(line)


def _require_folder(folder: Path | None) -> None:
    if folder is None:
        return
    place = f"--pictures={file_name(folder)}"
    if folder.exists() and not folder.is_dir():
        raise UserError([Problem(place, "is a file; write the name of a folder")])
    if not folder.parent.is_dir():
        why = "the folder that it is to be in does not exist; make it, or write another path"
        raise UserError([Problem(place, why)])


def _draw_classes(found: Landings, folder: Path) -> list[Path]:
    """Draw each class. Raises UserError before it writes if a file would be in the way."""
    files = [folder / f"class-{number}.svg" for number, _ in enumerate(found.classes, 1)]
    if folder.is_dir():
        problems = [
            problem
            for out in files
            for problem in output_problems(out, BEGINNING, "an SVG of ours", "class-1.svg")
        ]
        if problems:
            raise UserError(problems)
    folder.mkdir(exist_ok=True)
    intended = found.instance.circuit
    for out, one in zip(files, found.classes, strict=True):
        svg = wiring_picture(one.example, intended=intended if one.moves else None)
        out.write_text(standalone(svg), "utf-8", newline="\n")
    return files


def _as_json(found: Landings, drawn: list[Path]) -> dict[str, object]:
    """Return the JSON; the first five keys are fixed, others may be added.

    A class's `circuit` is its member that is nearest to the intended wiring, as a circuit file;
    `exchanges` is null where exchanges alone lead to no member.
    """
    circuit = found.instance.circuit
    classes: list[dict[str, object]] = [
        {
            "verdict": one.verdict,
            "hazards": list(one.hazards),
            "ways": one.ways,
            "families": one.families,
            "exchanges": one.exchanges,
            "moves": one.moves,
            "circuit": dump(one.example),
        }
        for one in found.classes
    ]
    for form, out in zip(classes, drawn, strict=False):
        form["picture"] = str(out)
    return {
        "name": circuit.name,
        "ways": found.instance.ways,
        "any_location": found.any_location,
        "sound": found.sound,
        "by_hazard": found.by_hazard,
        "families": found.families,
        "boxes": [
            {
                "box": box.name,
                "free_ends": [circuit.ends[end].name for end in box.ends],
                "ways": box.partitions,
            }
            for box in found.instance.boxes
        ],
        "intended": {
            "verdict": found.intended.verdict,
            "hazards": list(found.intended.hazards),
            "renamings": found.renamings,
        },
        "classes": classes,
        "engine": found.engine,
        "cautions": short_cautions(),
    }


def _lines(found: Landings, drawn: list[Path], file: Path) -> Iterator[str]:
    """Yield what a person is told, line by line."""
    yield heading(found.instance.circuit.name)
    yield file_name(file)
    yield ""
    yield heading(f"{counted(found.instance.ways, 'way')} to land the free ends")
    yield ""
    rows = [(box.name, str(len(box.ends)), f"{box.partitions:,}") for box in found.instance.boxes]
    if rows:
        yield table(("box", "free ends", "ways"), rows, numbers=True)
        yield ""
    yield paragraph(_in_short(found))
    for number, one in enumerate(found.classes, 1):
        yield ""
        yield from _class_told(number, one, drawn)
    if found.by_hazard:
        yield ""
        yield heading("By hazard, of all ways that work")
        yield ""
        counts = [(name, f"{count:,}") for name, count in found.by_hazard.items()]
        yield table(("hazard", "ways"), counts, numbers=True)
        yield ""
        yield heading("The hazards")
        for hazard in HAZARDS:
            if hazard.name in found.by_hazard:
                yield paragraph(f"{hazard.name}: {hazard.title}. {hazard.danger}", "    ", "  ")
    yield ""
    yield paragraph(
        "Ways that differ only by the names of travelers, or of conductors in one cable, are one "
        f"family. One way of each was judged by the engine {found.engine}."
    )
    yield ""
    yield cautions_paragraph()


def _in_short(found: Landings) -> str:
    working = found.any_location
    if not working:
        return "None of them works from every switch."
    verb = "works" if working == 1 else "work"
    text = f"{working:,} of them {verb} from every switch, and {found.sound:,} of these are sound. "
    intended = found.intended
    if not found.renamings:
        return f"{text}The wiring in the file {intended.verdict}: it is not among them."
    return (
        f"{text}{found.renamings:,} are the wiring in the file, which is {intended.verdict}, but "
        "for the names of travelers and conductors."
    )


def _class_told(number: int, one: WayClass, drawn: list[Path]) -> Iterator[str]:
    size = f"{counted(one.ways, 'way')} in {counted(one.families, 'family', 'families')}"
    yield f"{number}. {verdict_style(one.verdict, one.verdict)}: {size}"
    if one.hazards:
        yield paragraph(", ".join(one.hazards), "   ")
    if not one.moves:
        distance = "the wiring in the file is one of them"
    elif one.exchanges is None:
        distance = (
            f"nearest to the wiring in the file: {counted(one.moves, 'end')} landed elsewhere; "
            "exchanges alone lead to none of them"
        )
    else:
        distance = (
            f"nearest to the wiring in the file: {counted(one.exchanges, 'exchange')} of two ends, "
            f"or {counted(one.moves, 'end')} landed elsewhere"
        )
    yield paragraph(distance, "   ")
    if drawn:
        yield paragraph(f"drawn: {file_name(drawn[number - 1])}", "   ")
