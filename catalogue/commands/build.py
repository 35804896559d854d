"""`miswire build`: every single fault of whole families of circuits, proved and stored."""

import json
import shlex
import sys
from functools import partial
from pathlib import Path
from typing import Final

import click

from catalogue.build.sweep import Built, build_plan
from catalogue.build.workforce import EXECUTORS, Hiring, cluster, processes
from catalogue.commands.options import Options, processors
from catalogue.prove.build_plan import Shard, make_plan
from catalogue.report.terminal import Progress, say
from verify.base.problems import shown
from verify.behaviour.judgement import VERDICTS
from verify.layout.schemes import SOUND_SCHEMES

_FEWEST_LOCATIONS: Final = 2
_MOST_LOCATIONS: Final = 6
_MOST_DRAWN: Final = 1_000_000
_MOST_SEED: Final = 2**63 - 1  # the largest number that the file can hold
_MOST_WORKERS: Final = 256
_MOST_SHARDS: Final = 100_000
#: With so many circuits, indexing the rows at the end takes seconds.
_MANY: Final = 2000


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.option(
    "--locations",
    default="",
    metavar="N,N…",
    help="Store every layout with that many switches, "
    f"{_FEWEST_LOCATIONS} to {_MOST_LOCATIONS}. There are 9, 64, 625, 7776 and 117649.",
)
@click.option(
    "--scheme",
    default=",".join(SOUND_SCHEMES),
    metavar="NAME,NAME",
    help=f"Wire the layouts by these only. Default: {','.join(SOUND_SCHEMES)}.",
)
@click.option("--random", "drawn", default="0", metavar="K", help="Draw K circuits more.")
@click.option("--seed", default="0", metavar="S", help="Seed of the circuits drawn. Default: 0.")
@click.option(
    "--workers", default="", metavar="W", help="Processes to use. Default: one a processor."
)
@click.option(
    "--executor",
    default="processes",
    metavar="NAME",
    help="Where to work: processes of this machine, or dask, a cluster. Default: processes.",
)
@click.option(
    "--scheduler", default="", metavar="ADDRESS", help="With --executor dask: its scheduler."
)
@click.option(
    "--shard",
    default="",
    metavar="I/N",
    help="Build only part I of N, to be put together with: miswire merge.",
)
@click.option(
    "--summary", is_flag=True, help="Keep counts with an example each, and no row for each fault."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def build(database: Path, summary: bool, as_json: bool, **asked: str) -> None:
    """Build a catalogue, or go on building it.

    DB is the file to write. Interrupted at any moment, the same command goes on where it stopped
    and ends with the same content, which the digest shows: it is the same on every machine.
    """
    options = Options()
    drawn_number = options.number("--random", asked["drawn"], 0, _MOST_DRAWN)
    sizes: tuple[int, ...] = ()
    if asked["locations"]:
        sizes = options.numbers(
            "--locations", asked["locations"], _FEWEST_LOCATIONS, _MOST_LOCATIONS
        )
    elif not drawn_number:
        options.refuse("--locations", "say what to build, such as --locations 2,3 or --random 50")
    schemes = options.names("--scheme", asked["scheme"], SOUND_SCHEMES)
    seed_number = options.number("--seed", asked["seed"], 0, _MOST_SEED)
    shard = _shard(options, asked["shard"])
    hire = _hiring(options, asked["executor"], asked["scheduler"], asked["workers"])
    options.check()
    plan = make_plan(sizes, drawn_number, seed_number, shard, schemes=schemes, summary=summary)
    with Progress("Proving circuits", patience=0) as progress:

        def moved(done: int, total: int) -> None:
            progress(done, total)
            if done == total >= _MANY and sys.stderr.isatty():
                click.echo("\nPutting the rows in order, which takes a while …", err=True)

        built = build_plan(database, plan, hire=hire, progress=moved)
    if as_json:
        say(json.dumps(_as_json(built), indent=2))
        return
    say(_summary_text(built))
    say(f"\nTo look at it: {shlex.join(['miswire', 'serve', str(database)])}")


def _shard(options: Options, text: str) -> Shard | None:
    """Return the part to build, or None for all of it."""
    if not text:
        return None
    numbers = [int(word) for word in text.split("/") if word.isascii() and word.isdigit()]
    if len(numbers) != 2 or not 1 <= numbers[0] <= numbers[1] <= _MOST_SHARDS:
        options.refuse(
            f"--shard={shown(text)}",
            f"must be a part and how many there are, such as 2/8, of at most {_MOST_SHARDS:,}",
        )
        return None
    return Shard(*numbers)


def _hiring(options: Options, executor: str, scheduler: str, workers: str) -> Hiring:
    """Return the function that provides the workforce."""
    number = options.number("--workers", workers or str(processors()), 1, _MOST_WORKERS)
    if executor not in EXECUTORS:
        options.refuse(f"--executor={shown(executor)}", f"write one of {', '.join(EXECUTORS)}")
    elif (executor == "dask") != bool(scheduler):
        options.refuse("--scheduler", "give it with --executor dask, and only then")
    return partial(cluster, scheduler) if scheduler else partial(processes, number)


def _as_json(built: Built) -> dict[str, object]:
    return {
        "circuits": built.circuits,
        "proved": built.proved,
        "faults": {verdict: built.faults[verdict] for verdict in VERDICTS},
        "seconds": round(built.seconds, 3),
        "digest": built.digest,
    }


def _summary_text(built: Built) -> str:
    verdicts = {f"  {verdict}": built.faults[verdict] for verdict in VERDICTS}
    counts = {
        "circuits": built.circuits,
        "  proved now": built.proved,
        "faults": built.faults.total(),
        **{name: number for name, number in verdicts.items() if number},
    }
    lines = [f"{name:<14}{number:>10,}" for name, number in counts.items()]
    lines += [f"{'seconds':<14}{built.seconds:>10.1f}", f"digest  {built.digest}"]
    return "\n".join(lines)
