"""`miswire audit`: prove what a catalogue says again, with another engine."""

import json
from pathlib import Path
from typing import Final

import click

from catalogue.build.audit import Audited
from catalogue.build.audit import audit as audit_catalogue
from catalogue.commands.options import Options, processors
from catalogue.report.terminal import Progress, paragraph, say
from verify.base.sentences import counted

_MOST_SAMPLED: Final = 10_000_000
_MOST_SEED: Final = 2**63 - 1  # the largest number that the file can hold
_MOST_SHOWN: Final = 20


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.option(
    "--sample",
    default="1000",
    metavar="K",
    help="How many faults of circuits with three locations or more; of stored pairs of mistakes a "
    "tenth as many. Default: 1000.",
)
@click.option("--seed", default="0", metavar="S", help="Seed of the sample. Default: 0.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def audit(ctx: click.Context, database: Path, sample: str, seed: str, as_json: bool) -> None:
    """Prove stored verdicts again, independently.

    Every fault of two locations and a sample of the others is judged again by an engine that
    shares no code with the one that built the catalogue. Verdict, signature, hazards and evidence
    must come out as they are stored, and so must what becomes of a sample of the pairs of
    mistakes. The result is noted in DB.

    Exit status: 0 if all agree, 1 if anything does not, 2 if DB is no catalogue.
    """
    options = Options()
    sample_number = options.number("--sample", sample, 0, _MOST_SAMPLED)
    seed_number = options.number("--seed", seed, 0, _MOST_SEED)
    options.check()
    with Progress("Proving again") as progress:
        audited = audit_catalogue(
            database,
            sample=sample_number,
            seed=seed_number,
            workers=processors(),
            progress=progress,
        )
    say(json.dumps(_as_json(audited), indent=2) if as_json else _summary_text(audited))
    ctx.exit(bool(audited.disagreements))


def _as_json(audited: Audited) -> dict[str, object]:
    return {
        "stored": audited.stored,
        "audited": audited.faults,
        "stored_pairs": audited.stored_pairs,
        "audited_pairs": audited.pairs,
        "disagreements": [
            {"label": wrong.label, "stored": wrong.stored, "found": wrong.found}
            for wrong in audited.disagreements
        ],
    }


def _summary_text(audited: Audited) -> str:
    proved = f"{audited.faults:,} of {counted(audited.stored, 'stored fault')}"
    if audited.stored_pairs:
        proved += f" and {audited.pairs:,} of {counted(audited.stored_pairs, 'stored pair')}"
    wrong_rows = counted(len(audited.disagreements), "disagreement")
    lines = [paragraph(f"{proved} proved again by the independent engines: {wrong_rows}.")]
    for wrong in audited.disagreements[:_MOST_SHOWN]:
        lines += ["", wrong.label, f"  stored  {wrong.stored}", f"  found   {wrong.found}"]
    if len(audited.disagreements) > _MOST_SHOWN:
        left_out = len(audited.disagreements) - _MOST_SHOWN
        lines += ["", f"… and {left_out:,} more; --json prints them all."]
    return "\n".join(lines)
