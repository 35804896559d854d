"""`miswire census`: every wiring of so many locations, and which of them mimic each other."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import click

from catalogue.build.census import Census, take_census
from catalogue.commands.options import Options, processors
from catalogue.commands.output import output_problems
from catalogue.report.terminal import (
    Progress,
    cautions_paragraph,
    file_name,
    heading,
    paragraph,
    say,
    table,
)
from verify.base.problems import UserError, shown
from verify.base.sentences import capital, counted
from verify.hazard.definitions import HAZARDS
from verify.study.census.pruning import PRUNED, PRUNING_RULES, UNPRUNED, PruningRule
from verify.study.census.terminals import FEWEST_LOCATIONS, MOST_LOCATIONS
from verify.study.census.wiring_families import Family, closed_form, symmetries

#: Without pruning, the wirings of four locations would take days.
_MOST_UNPRUNED: Final = 3
#: With so many locations, a run takes longer than starting processes.
_WORTH_SPREADING: Final = 5
_MOST_WORKERS: Final = 256


@click.command()
@click.argument("locations", metavar="N")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option(
    "--unpruned",
    is_flag=True,
    help="Leave nothing out but what is shorted already: slow, to check the faster search. "
    f"N up to {_MOST_UNPRUNED}.",
)
@click.option(
    "--workers",
    default="",
    metavar="W",
    help="Processes to use. Default: one a processor "
    f"from {_WORTH_SPREADING} locations on, otherwise one.",
)
@click.option(
    "--resume",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Keep what is done in that file, and go on from what it holds.",
)
@click.option(
    "--pictures",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Draw an example of each family into that folder: a schematic, and the terminals.",
)
def census(
    locations: str,
    as_json: bool,
    unpruned: bool,
    workers: str,
    resume: Path | None,
    pictures: Path | None,
) -> None:
    """Count every wiring of N locations.

    The terminals are the feed's line and neutral, the lamp's two, and those of two three-way and
    N − 2 four-way switches; a wiring joins them in any way whatever, in one place without boxes.
    Told are those that never trip and where every flip of every switch changes the lamp, in
    families of wirings that differ only in what devices do not tell apart: travelers, switches of
    a kind, the sides of the lamp. The search is complete; why nothing is lost by what it leaves
    out is printed with the result.

    N from 2 to 5. With 5 it takes minutes: --resume makes it go on where it was stopped.
    """
    options = Options()
    number = options.number("N", locations, FEWEST_LOCATIONS, MOST_LOCATIONS)
    if unpruned and number > _MOST_UNPRUNED:
        options.refuse(
            f"N={shown(locations)}",
            f"must be at most {_MOST_UNPRUNED} with --unpruned; leave the option out",
        )
    usual = processors() if number >= _WORTH_SPREADING else 1
    worker_number = options.number("--workers", workers or str(usual), 1, _MOST_WORKERS)
    _check_places(options, resume, pictures)
    options.check()
    with Progress("Going through the wirings") as progress:
        taken = take_census(
            number,
            UNPRUNED if unpruned else PRUNED,
            workers=worker_number,
            keep=resume,
            progress=progress,
        )
    drawn = [] if pictures is None else _draw(taken, pictures)
    if as_json:
        say(json.dumps(_as_json(taken), indent=2))
        return
    for line in _lines(taken, _rules(unpruned=unpruned)):
        say(line)
    if drawn:
        say(paragraph(f"Drawn: {', '.join(map(file_name, drawn))}"))
        say()
    say(cautions_paragraph())


def _check_places(options: Options, resume: Path | None, pictures: Path | None) -> None:
    """Refuse at once files that could not be written after the search."""
    if resume is not None and not resume.parent.is_dir():
        options.refuse(
            f"--resume={file_name(resume)}",
            "its folder does not exist; make it, or write another path",
        )
    if resume is not None and resume.is_dir():
        options.refuse(
            f"--resume={file_name(resume)}",
            "is a folder; write the name of a file, such as census.json",
        )
    if pictures is not None and not pictures.is_dir():
        options.refuse(
            f"--pictures={file_name(pictures)}",
            "is no folder; make it, or write the name of one",
        )


def _rules(*, unpruned: bool) -> tuple[PruningRule, ...]:
    return tuple(rule for rule in PRUNING_RULES if not (unpruned and rule.bit))


def _draw(taken: Census, folder: Path) -> list[Path]:
    """Draw a schematic and a wiring of an example of each family; return the files."""
    from catalogue.drawing.pictures import schematic_picture, wiring_picture
    from catalogue.drawing.svg import BEGINNING
    from catalogue.drawing.typeface import standalone

    pictures = {}
    for family in taken.families:
        circuit = taken.parts.circuit(family.example, capital(family.name))
        name = re.sub(r"\W+", "-", f"census {taken.parts.locations} {family.name}")
        pictures[folder / f"{name}.svg"] = standalone(schematic_picture(circuit))
        pictures[folder / f"{name}-terminals.svg"] = standalone(wiring_picture(circuit))
    problems = [
        problem
        for path in pictures
        for problem in output_problems(path, BEGINNING, "an SVG of ours", path.name)
    ]
    if problems:
        raise UserError(problems)
    for path, picture in pictures.items():
        path.write_text(picture, "utf-8", newline="\n")
    return list(pictures)


def _as_json(taken: Census) -> dict[str, object]:
    parts = taken.parts
    return {
        "locations": parts.locations,
        "terminals": len(parts.terminals),
        "wirings": parts.wirings,
        "any_location": taken.any_location,
        "families": [
            {
                "name": family.name,
                "wirings": family.wirings,
                "hazards": list(family.hazards),
                "hazards_of_all": list(family.hazards_of_all),
                "sound": family.sound,
                "example": [list(join) for join in parts.joins(family.example) if len(join) > 1],
            }
            for family in taken.families
        ],
        "sound": sum(family.sound for family in taken.families),
        "closed_form": closed_form(parts.locations),
        "nodes": taken.nodes,
    }


def _lines(taken: Census, rules: tuple[PruningRule, ...]) -> Iterator[str]:
    parts = taken.parts
    number = parts.locations
    yield heading(f"Every wiring of {number} locations")
    yield ""
    yield paragraph(
        f"{len(parts.terminals)} terminals can be joined in {parts.wirings:,} ways. Of these "
        f"{counted(taken.any_location, 'wiring')} never trip and let every switch change the lamp "
        "in every state; "
        f"{sum(family.sound for family in taken.families):,} of them are without hazard."
    )
    yield ""
    rows = [[f.name, f"{f.wirings:,}", f"{f.sound:,}"] for f in taken.families]
    yield table(["family", "wirings", "sound"], rows, numbers=True)
    yield ""
    exchanged = "; ".join(symmetry.name for symmetry in symmetries(parts))
    yield paragraph(
        f"The wirings of a family turn into each other by exchanging, in any order: {exchanged}."
    )
    yield ""
    for family in taken.families:
        yield from _family_lines(taken, family)
    yield paragraph(
        f"The families have (3N − 1)(N − 2)! 2^(2N − 1) = {closed_form(number):,} wirings by "
        "construction; that there are no others is what the search shows."
    )
    yield ""
    yield heading("What the hazards mean")
    present = {name for family in taken.families for name in family.hazards}
    for hazard in HAZARDS:
        if hazard.name in present:
            yield paragraph(f"{hazard.name}: {hazard.title}. {hazard.danger}", "    ", "  ")
    yield ""
    yield heading("What the search left out, and why nothing is lost by it")
    yield paragraph(
        f"It placed a terminal {counted(taken.nodes, 'time')}, and gave up wherever one of these "
        "was so.",
        "  ",
    )
    for rule in rules:
        yield paragraph(f"{capital(rule.name)}. {rule.statement} {rule.reason}", "    ", "  - ")
    yield ""


def _family_lines(taken: Census, family: Family) -> Iterator[str]:
    """Yield the hazards and an example of a family."""
    yield heading(capital(family.name))
    some = [name for name in family.hazards if name not in family.hazards_of_all]
    always = ", ".join(family.hazards_of_all)
    if always:
        yield paragraph(f"Always: {always}.", "  ")
    if some:
        yield paragraph(f"By which side of the lamp is which: {', '.join(some)}.", "  ")
    joins = [join for join in taken.parts.joins(family.example) if len(join) > 1]
    yield paragraph(f"For example {'; '.join(' + '.join(join) for join in joins)}.", "  ")
    yield ""
