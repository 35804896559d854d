"""`miswire claims`: what people say about such lights, and what becomes of it."""

import json
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import click

from catalogue.build.claim_rows import register_form, store_register
from catalogue.commands.options import Options
from catalogue.report.terminal import (
    Progress,
    cautions_paragraph,
    file_name,
    heading,
    paragraph,
    say,
)
from catalogue.store.writing import require_catalogue
from verify.base.problems import shown
from verify.base.sentences import counted
from verify.study.claims.contract import STATUSES, JudgedClaim
from verify.study.claims.register import CLAIM, CLAIMS, decide

#: A heading for each status, which says what it means.
MEANINGS: Final = {
    "proved": "Proved: there is no case against it in the scope",
    "holds-in-samples": "Holds in samples: nothing against it was found, which is no proof",
    "depends": "Depends: it holds for some circuits and not for others",
    "refuted": "Refuted: it is not so",
}


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--only", multiple=True, metavar="NAME", help="Judge that claim; can be repeated.")
@click.option(
    "--into",
    type=click.Path(path_type=Path),
    metavar="DB",
    help="Store the whole register in that catalogue, for `miswire serve` to show, "
    "and print only how many there are of each status.",
)
def claims(as_json: bool, only: tuple[str, ...], into: Path | None) -> None:
    """Judge what people say about lights controlled from several places.

    Each saying is stated as a property of circuits and decided: by going through every case of the
    scope that is told with it, by circuits drawn at random with the bound that follows, or by the
    smallest counterexample, as a circuit file and the label of a fault. Nothing is taken from a
    list: every status comes of this run.
    """
    options = Options()
    for name in only:
        if name not in CLAIM:
            options.refuse(
                f"--only={shown(name)}", "is no claim; `miswire claims` lists all of them"
            )
    if only and into is not None:
        options.refuse("--into", "stores the whole register; leave --only out")
    options.check()
    if into is not None:
        require_catalogue(into)
    chosen = [claim for claim in CLAIMS if not only or claim.name in only]
    with Progress("Judging claims") as progress:
        judged = decide(chosen, progress=progress)
    if into is not None:
        store_register(into, judged)
    if as_json:
        say(json.dumps(register_form(judged), indent=2))
        return
    if into is not None:
        say(_counted(judged))
        say(
            f"They are in {file_name(into)}: {shlex.join(['miswire', 'serve', str(into)])} shows "
            "them, and `miswire claims` without --into prints them."
        )
        return
    for line in _lines(judged):
        say(line)
    say(cautions_paragraph())


def _counted(judged: list[JudgedClaim]) -> str:
    """Return how many claims have each status."""
    numbers = [
        f"{sum(item.answer.status == status for item in judged)} {status.replace('-', ' ')}"
        for status in STATUSES
    ]
    return paragraph(f"{counted(len(judged), 'claim')}: {', '.join(numbers)}.")


def _lines(judged: list[JudgedClaim]) -> Iterator[str]:
    yield _counted(judged)
    yield ""
    for status in STATUSES:
        chosen = [item for item in judged if item.answer.status == status]
        if chosen:
            yield heading(MEANINGS[status])
            yield ""
        for item in chosen:
            yield from _told_claim(item)


def _told_claim(item: JudgedClaim) -> Iterator[str]:
    claim, answer = item.claim, item.answer
    yield heading(claim.name, "  ")
    yield paragraph(f"“{claim.saying}”", "    ")
    yield paragraph(f"Stated: {claim.statement}", "    ")
    yield paragraph(f"Scope: {answer.scope}.", "    ")
    yield paragraph(f"Decided: {answer.decided_by}.", "    ")
    if answer.counterexample is not None:
        found = answer.counterexample
        fault = f", {found.fault}" if found.fault else ""
        yield paragraph(f"Against it ({found.label}{fault}): {found.why}", "    ")
    yield ""
