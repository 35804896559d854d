"""`miswire merge`: parts of one build put together."""

import json
import shlex
from dataclasses import asdict
from pathlib import Path

import click

from catalogue.build.merge import MergeResult
from catalogue.build.merge import merge as merge_catalogues
from catalogue.report.terminal import Progress, paragraph, say


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.argument("parts", type=click.Path(path_type=Path), nargs=-1, required=True, metavar="PART…")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def merge(ctx: click.Context, database: Path, parts: tuple[Path, ...], as_json: bool) -> None:
    """Put the parts of one build together.

    Each PART was built with --shard I/N and otherwise the same options. DB has the content, and the
    digest, of one build of the whole; while parts are missing the status is 1, and merging again
    goes on.
    """
    with Progress("Merging", patience=0) as progress:
        merged = merge_catalogues(database, parts, progress)
    if as_json:
        say(json.dumps(asdict(merged), indent=2))
    else:
        say(_summary_text(merged, database))
    ctx.exit(bool(merged.missing))


def _summary_text(merged: MergeResult, database: Path) -> str:
    lines = [f"circuits{merged.planned:>12,}", f"  put in now{merged.circuits:>8,}"]
    if merged.missing:
        lines += [
            f"  missing{merged.missing:>11,}",
            "",
            paragraph(
                "The catalogue is not finished. Merge the missing parts into the same file, or "
                "let miswire build compute the rest there, with the same options."
            ),
        ]
    else:
        lines += [
            f"digest  {merged.digest}",
            "",
            f"To look at it: {shlex.join(['miswire', 'serve', str(database)])}",
        ]
    return "\n".join(lines)
