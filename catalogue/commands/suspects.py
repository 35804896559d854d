"""`miswire suspects`: who fits what was seen, and what to check next."""

import json
from collections.abc import Sequence
from pathlib import Path

import click

from catalogue.commands.options import Options
from catalogue.desk.asking import MOST_SWITCHES
from catalogue.desk.asking import suspects as asked
from catalogue.desk.stops import stops_in_texts
from catalogue.desk.symptoms import SIGNS
from catalogue.desk.telling import stop_alarm
from catalogue.report.terminal import say, told
from verify.base.problems import UserError
from verify.base.telling import cautions_group


@click.command()
@click.argument("source", type=click.Path(path_type=Path), metavar="DB|FILE")
@click.option(
    "--saw",
    multiple=True,
    metavar="TEXT",
    help='Positions and what you saw: "slipway-switch=up,workshop-switch=down: dark". '
    "dark, lit, dim, over (too bright) or trips. Once for each combination you tried.",
)
@click.option(
    "--sign",
    "signs",
    multiple=True,
    metavar="NAME",
    help=f"Something else you noticed: {', '.join(sign.name for sign in SIGNS)}.",
)
@click.option(
    "--result",
    "results",
    multiple=True,
    metavar="CHECK=FINDING",
    help="What a check showed, by the words that the answer gives: look:landing=clear.",
)
@click.option("--as-found", is_flag=True, help="Up and down are only your names for positions.")
@click.option("--locations", metavar="N", help="With DB: number of switches, if you saw nothing.")
@click.option("--priors", type=click.Path(path_type=Path), metavar="TOML", help="Weights of kinds.")
@click.option("--costs", type=click.Path(path_type=Path), metavar="TOML", help="Costs of checks.")
@click.option("--top", default="5", metavar="N", help="How many groups to show. Default: 5.")
@click.option("--plan", "with_plan", is_flag=True, help="Print the whole plan of checks.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def suspects(  # noqa: PLR0913, PLR0917 - click hands over every option
    source: Path,
    saw: Sequence[str],
    signs: Sequence[str],
    results: Sequence[str],
    as_found: bool,
    locations: str | None,
    priors: Path | None,
    costs: Path | None,
    top: str,
    with_plan: bool,
    as_json: bool,
) -> None:
    """Who fits what was seen, and what to check next.

    With a circuit FILE every single fault of that circuit is a suspect; up and down are those of
    the file unless --as-found says otherwise. With a catalogue DB every layout of that many
    switches is searched; the names of the switches are yours, and neither their order nor what is
    up is taken to be known.
    """
    try:
        options = Options()
        most = options.number("--top", top, 1, 1000)
        size = options.number("--locations", locations, 2, MOST_SWITCHES) if locations else None
        options.check()
        answer = asked(
            source,
            saw,
            signs=signs,
            results=results,
            as_found=as_found,
            locations=size,
            priors=priors,
            costs=costs,
        )
        answer.steps  # noqa: B018 - goes through them
    except UserError:
        dangers = stops_in_texts(signs, (*saw, *results))
        if dangers:  # a danger comes first; mistakes in the options can wait
            click.echo(f"{told([[stop_alarm(dangers)]])}\n", err=as_json)
        raise
    if as_json:
        say(json.dumps(answer.to_json(most), indent=2, ensure_ascii=False))
    else:
        groups = answer.told(most, with_plan=with_plan, result="--result ", more="see --top")
        say(told([*groups, cautions_group()]))
