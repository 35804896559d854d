"""`miswire curate`: which faults of a catalogue are worth teaching."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

import click

from catalogue.commands.options import Options
from catalogue.lessons.curated import shipped_circuit
from catalogue.lessons.suggest import Suggestion, suggest
from catalogue.report.json_forms import short_cautions
from catalogue.report.terminal import Progress, cautions_paragraph, heading, paragraph, say
from catalogue.store.writing import require_catalogue
from verify.base.problems import Problem, UserError
from verify.base.sentences import counted

_FEWEST: Final = 2
_MOST: Final = 6
_HELD: Final = "select distinct locations from profile where origin = 'layout'"


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.option(
    "--locations",
    default="2,3",
    metavar="N,N…",
    help="Sizes of which all layouts are in DB. Default: 2,3.",
)
@click.option("--toml", "as_toml", is_flag=True, help="Print entries for a file of curated cases.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def curate(database: Path, locations: str, as_toml: bool, as_json: bool) -> None:
    """Propose the fewest faults to teach that show everything.

    Together they show every behaviour that flips can tell apart, every hazard and every fault kind
    that occur in the layouts of these sizes. No smaller set does. The easiest come first.

    Entries printed with --toml lack story, reason and note: those are for you to write.
    """
    options = Options()
    sizes = options.numbers("--locations", locations, _FEWEST, _MOST)
    if as_toml and as_json:
        options.refuse("--toml", "cannot go with --json; leave one of the two out")
    options.check()
    require_catalogue(database)
    with (
        closing(sqlite3.connect(f"file:{database.absolute()}?mode=ro", uri=True)) as connection,
        Progress("Working out faults") as progress,
    ):
        held = {row[0] for row in connection.execute(_HELD)}
        missing = [
            Problem(
                f"--locations={size}",
                f"{database} does not have the layouts of {size} locations; build them with: "
                f"miswire build {database} --locations {size}",
            )
            for size in sizes
            if size not in held
        ]
        if missing:
            raise UserError(missing)
        found = suggest(connection, sizes, shipped_circuit, progress)
    if as_json:
        say(json.dumps(_as_json(found), indent=2))
    elif as_toml:
        say(_entries(found))
    else:
        _tell(found)


def _as_json(found: Suggestion) -> dict[str, object]:
    return {
        "format": 1,
        "shown": found.shown,
        "least": found.least,
        "faults": [
            {
                "label": fault.label,
                "description": fault.description,
                "verdict": fault.verdict,
                "hazards": list(fault.hazards),
                "cost": round(fault.cost, 2),
                "checks": round(fault.checks, 2),
                "suspects": fault.suspects,
            }
            for fault in found.faults
        ],
        "cautions": short_cautions(),
    }


def _entries(found: Suggestion) -> str:
    return "\n\n".join(
        f"# {fault.description}\n[[case]]\nlabel = {json.dumps(fault.label)}\n"
        f'verdict = "{fault.verdict}"\n# title, level, tags, places, story, reason and note are '
        "yours"
        for fault in found.faults
    )


def _tell(found: Suggestion) -> None:
    things = ", ".join(counted(number, sort) for sort, number in found.shown.items())
    say(heading(f"{len(found.faults)} faults show all there is: {things}"))
    say(
        paragraph(
            f"No fewer do. The behaviours alone need {found.least}, one fault each. The easiest "
            "come first: by the cost and the number of checks of the best plan, and by how many "
            "single mistakes fit at first sight."
        )
    )
    for number, fault in enumerate(found.faults, 1):
        say()
        say(paragraph(fault.description, "    ", f"{number:>2}. "))
        say(paragraph(fault.label, "    "))
        hazards = ", ".join(fault.hazards) or "no hazard"
        say(
            paragraph(
                f"{fault.verdict}; {hazards}; cost {fault.cost:.1f}, {fault.checks:.1f} checks, "
                f"{fault.suspects} suspects",
                "    ",
            )
        )
    say(f"\n{cautions_paragraph()}")
