"""`miswire export`: a catalogue as plain files."""

import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Final

import click

from catalogue.commands.options import Options
from catalogue.report.folder import require_ours, write_folder
from catalogue.report.terminal import cautions_paragraph, file_name, paragraph, say
from catalogue.store.export import FORMATS, Export, ExportPart
from catalogue.store.rendering import register_text_functions
from catalogue.store.writing import require_catalogue
from verify.base.problems import listing, shown
from verify.base.sentences import counted
from verify.behaviour.judgement import VERDICTS
from verify.fault.registry import fault_kinds

COMMAND: Final = "export"
_MOST_LOCATIONS: Final = 16


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT")
@click.option(
    "--format",
    "form",
    default="datapackage",
    metavar="F",
    help=f"One of {', '.join(FORMATS)}. Default: datapackage.",
)
@click.option("--kind", "kinds", multiple=True, metavar="KIND", help="Only faults of that kind.")
@click.option(
    "--verdict", "verdicts", multiple=True, metavar="WORD", help="Only faults with that verdict."
)
@click.option("--locations", default="", metavar="N,N…", help="Only circuits of these sizes.")
def export(
    database: Path,
    out: Path,
    form: str,
    kinds: tuple[str, ...],
    verdicts: tuple[str, ...],
    locations: str,
) -> None:
    """Write a catalogue, or a part of it, as plain files.

    They go into the folder OUT: a file a table, what is covered, the cautions, and checksums that
    `sha256sum -c SHA256SUMS` verifies; as a datapackage also a Frictionless Data Package
    descriptor. Equal catalogues give equal bytes. Files that this command wrote before are
    replaced, all others are left alone.
    """
    options = Options()
    for option, given, known in (
        ("--format", [form], FORMATS),
        ("--kind", kinds, tuple(kind.name for kind in fault_kinds())),
        ("--verdict", verdicts, VERDICTS),
    ):
        for word in given:
            if word not in known:
                remedy = f"is not known; write one of {', '.join(known)}"
                options.refuse(f"{option}={shown(word)}", remedy)
    sizes = options.numbers("--locations", locations, 2, _MOST_LOCATIONS) if locations else ()
    options.check()
    require_catalogue(database)
    require_ours(out, (), COMMAND)
    part = ExportPart(tuple(dict.fromkeys(kinds)), tuple(dict.fromkeys(verdicts)), sizes)
    with (
        closing(sqlite3.connect(f"file:{database.absolute()}?mode=ro", uri=True)) as connection,
        tempfile.TemporaryDirectory(dir=out.absolute().parent, prefix=".miswire-") as folder,
    ):
        connection.row_factory = sqlite3.Row
        register_text_functions(connection)
        made = Export(connection, part, Path(folder))
        files = made.write(form)
        faults, circuits = made.count("fault"), made.count("circuit")
        scope = str(made.about()["scope"])
        gone = write_folder(out, files, COMMAND)
    what = f"{counted(faults, 'fault')} of {counted(circuits, 'circuit')}"
    say(paragraph(f"Written: {what}, {counted(len(files), 'file')} in {file_name(out)}"))
    if gone:
        say(paragraph(f"Removed, since not written again: {listing(gone)}"))
    say(paragraph(f"{part.words} {scope}"))
    say(f"\n{cautions_paragraph()}")
