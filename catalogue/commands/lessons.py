"""`miswire lessons`: worksheets, answer sheets and quizzes from the curated faults."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final, cast

import click

from catalogue.commands.options import Options
from catalogue.lessons.curated import Case, Resolve, read_curated, shipped_circuit
from catalogue.lessons.lesson_set import FORMATS, Wanted, make_lessons
from catalogue.lessons.prints import PAPERS
from catalogue.lessons.sheet import Stored
from catalogue.lessons.usage import USAGES, Usage
from catalogue.report.folder import require_ours, write_folder
from catalogue.report.terminal import Progress, cautions_paragraph, file_name, paragraph, say
from catalogue.store.rendering import site_place
from catalogue.store.writing import require_catalogue
from verify.base.problems import listing, shown
from verify.base.resources import data_path
from verify.base.sentences import counted
from verify.circuit.file import loads
from verify.circuit.model import Circuit

COMMAND: Final = "lessons"
_MOST_SEED: Final = 2**31 - 1
_STORED: Final = """
select verdict.name from fault join fault_kind as kind on kind.id = kind_id
join outcome on outcome.id = outcome_id join verdict on verdict.id = outcome.verdict_id
where circuit_id = ? and kind.name = ? and site = ?
"""


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT")
@click.option(
    "--format",
    "formats",
    default="html",
    metavar="F,F…",
    help=f"Of {', '.join(FORMATS)}. Default: html.",
)
@click.option("--terms", default="us", metavar="us|iec", help="Words and colours. Default: us.")
@click.option("--without-answers", is_flag=True, help="Leave out everything that tells.")
@click.option("--seed", metavar="N", help="Shuffle the cases, always alike for a number.")
@click.option("--paper", default="a4", metavar="a4|letter", help="Paper of the PDF. Default: a4.")
@click.option(
    "--templates",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Templates of your own; what is not there is taken from ours.",
)
@click.option(
    "--curated",
    "curated_file",
    type=click.Path(path_type=Path),
    metavar="TOML",
    help="Cases of your own, written as those in data/curated.toml.",
)
@click.pass_context
def lessons(  # noqa: PLR0913, PLR0917 - click hands over every option
    ctx: click.Context,
    database: Path,
    out: Path,
    formats: str,
    terms: str,
    without_answers: bool,
    seed: str | None,
    paper: str,
    templates: Path | None,
    curated_file: Path | None,
) -> None:
    """Make worksheets, answer sheets and quizzes from the curated faults.

    OUT is a folder. Files that this command wrote before are replaced, or removed if they are not
    made again; all others are left alone. Whatever DB holds of a case is compared with what comes
    out now.

    Exit status: 0 when all is made, 1 if a case is no longer as its entry or DB says (its sheets
    say so too), 2 if an option, a template or an entry is wrong.
    """
    options = Options()
    wanted = Wanted(
        formats=_formats(options, formats),
        usage=cast(Usage, _one_of(options, "--terms", terms, USAGES)),
        with_answers=not without_answers,
        seed=None if seed is None else options.number("--seed", seed, 0, _MOST_SEED),
        paper=_one_of(options, "--paper", paper, tuple(PAPERS)),
        templates=templates,
    )
    options.check()
    require_catalogue(database)
    require_ours(out, (), COMMAND)
    with _catalogue(database) as (resolve, stored), Progress("Working out cases", 0) as progress:
        curated = read_curated(curated_file or data_path("curated.toml"), resolve)
        curated.check()
        made = make_lessons(curated, resolve, stored, wanted, progress)
    gone = write_folder(out, made.files, COMMAND)
    what = f"{counted(made.cases, 'case')}, {counted(len(made.files), 'file')} in {file_name(out)}"
    say(paragraph(f"Made: {what}"))
    if gone:
        say(paragraph(f"Removed, since not made again: {listing(gone)}"))
    if "index.html" in made.files:
        say(paragraph(f"Begin with {file_name(out / 'index.html')}"))
    for warning in made.warnings:
        click.echo(warning, err=True)
    say(f"\n{cautions_paragraph()}")
    ctx.exit(1 if made.warnings else 0)


def _formats(options: Options, text: str) -> tuple[str, ...]:
    words = [word.strip() for word in text.split(",")]
    for word in words:
        _one_of(options, "--format", word, FORMATS)
    return tuple(dict.fromkeys(words))


def _one_of(options: Options, option: str, word: str, known: tuple[str, ...]) -> str:
    if word not in known:
        options.refuse(f"{option}={shown(word)}", f"is not known; write one of {listing(known)}")
        return known[0]
    return word


@contextmanager
def _catalogue(database: Path) -> Iterator[tuple[Resolve, Stored]]:
    """Give functions that find circuits by label, and a catalogue's verdict on a case."""
    with closing(sqlite3.connect(f"file:{database.absolute()}?mode=ro", uri=True)) as connection:
        known: dict[str, Circuit | None] = {}

        def resolve(label: str) -> Circuit | None:
            if label not in known:
                row = connection.execute(
                    "select file from circuit where label = ?", [label]
                ).fetchone()
                known[label] = loads(row[0]) if row else shipped_circuit(label)
            return known[label]

        def stored(case: Case) -> str | None:
            kind, _, site = case.fault.partition("/")
            query = "select id, label, file from circuit where label = ?"
            circuit = connection.execute(query, [case.circuit]).fetchone()
            if circuit is None:
                return None
            number, label, file = circuit
            place = site_place(label, file, kind, site)
            row = connection.execute(_STORED, [number, kind, place]).fetchone()
            return None if row is None else str(row[0])

        yield resolve, stored
