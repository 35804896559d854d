"""`miswire suspects`: who fits what was seen, and what to check next."""

import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Final

import click

from catalogue.commands.options import Options
from catalogue.desk.answer import NOTHING_FITS, Answer, parse_results
from catalogue.desk.checks import check_kinds
from catalogue.desk.match import Group
from catalogue.desk.planner import Plan
from catalogue.desk.pool import Pool, pool_of_catalogue, pool_of_circuit
from catalogue.desk.priors import load_priors
from catalogue.desk.symptoms import (
    SIGNS,
    Symptoms,
    named_switches,
    parse_saw,
    parse_signs,
)
from catalogue.report.terminal import cautions_paragraph, heading, paragraph, say
from catalogue.store.file import require_catalogue
from verify.base.problems import Problem, UserError, shown
from verify.base.sentences import counted
from verify.circuit.file import load

_DATABASE_MARK: Final = b"SQLite format 3\0"
_MOST_SWITCHES: Final = 10
_MOST_FAMILIES_SHOWN: Final = 6
_MOST_CHECKS_SHOWN: Final = 3


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
    options = Options()
    most = options.number("--top", top, 1, 1000)
    size = options.number("--locations", locations, 2, _MOST_SWITCHES) if locations else None
    options.check()
    is_database = _is_database(source)
    pool = _catalogue_pool(source, saw, size) if is_database else _circuit_pool(source)
    symptoms = Symptoms(
        pool.switches,
        parse_saw(saw, pool.switch_names),
        parse_signs(signs),
        as_found or is_database,
    )
    answer = Answer(
        pool,
        symptoms,
        load_priors(priors) if priors else {},
        check_kinds(costs),
        any_order=is_database,
        results=parse_results(results),
    )
    if as_json:
        say(json.dumps(answer.to_json(most), indent=2, ensure_ascii=False))
    else:
        _tell(answer, most, with_plan=with_plan)


def _is_database(source: Path) -> bool:
    try:
        with source.open("rb") as file:
            return file.read(len(_DATABASE_MARK)) == _DATABASE_MARK
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise UserError(
            [Problem(shown(str(source)), f"cannot be read ({reason}); check the path")]
        ) from error


def _circuit_pool(source: Path) -> Pool:
    try:
        circuit = load(source)
    except UserError as error:
        raise UserError(
            [Problem(f"{shown(str(source))}: {p.place}", p.message) for p in error.problems]
        ) from error
    if len(circuit.switches) > _MOST_SWITCHES:
        raise UserError(
            [
                Problem(
                    shown(str(source)),
                    f"has {len(circuit.switches)} switches; suspects are judged for up to "
                    f"{_MOST_SWITCHES}",
                )
            ]
        )
    return pool_of_circuit(circuit)


def _catalogue_pool(source: Path, saw: Sequence[str], locations: int | None) -> Pool:
    require_catalogue(source)
    names = named_switches(saw) or tuple(f"switch-{i}" for i in range(1, (locations or 0) + 1))
    if not names:
        raise UserError([Problem("--saw", "say what you saw, or how many switches: --locations 2")])
    if locations not in (None, len(names)):
        raise UserError(
            [Problem(f"--locations={locations}", f"but --saw names {len(names)} switches")]
        )
    with closing(sqlite3.connect(f"file:{source.absolute()}?mode=ro", uri=True)) as connection:
        return pool_of_catalogue(connection.execute, len(names), names=names)


def _tell(answer: Answer, most: int, *, with_plan: bool) -> None:
    """The answer as text."""
    for step in answer.steps:
        say(paragraph(f"{step.title} Found: {step.found}. Left: {step.left}.", "  ", "- "))
    if answer.steps:
        say()
    if answer.groups:
        what = counted(len(answer.groups), "group fits", "groups fit")
        say(heading(f"{what} what was seen; no flip tells the members of a group apart"))
    else:
        say(paragraph(NOTHING_FITS))
    for number, group in enumerate((answer.groups or answer.nearest)[:most], 1):
        _tell_group(number, group)
    if len(answer.groups) > most:
        say(f"\n… and {counted(len(answer.groups) - most, 'more group')}; see --top.")
    if with_plan:
        say()
        say(heading("Plan"))
        _tell_plan(answer.plan, "")
        say(
            f"Expected: {answer.plan.checks:.1f} checks, cost {answer.plan.cost:.1f}; "
            f"{answer.uncertainty:.1f} bits to find out."
        )
    elif answer.next_checks:
        say()
        say(heading("Next check"))
        for proposal in answer.next_checks[:_MOST_CHECKS_SHOWN]:
            check = proposal.check
            say(paragraph(f"{check.title} {check.how}", "  ", "- "))
            if check.kind.caution:
                say(paragraph(check.kind.caution, "  "))
            words = ", ".join(word for word, _ in check.results[:_MOST_FAMILIES_SHOWN])
            say(
                paragraph(
                    f"Tells {proposal.gain:.2f} bits. Then: --result '{check.key}=…' ({words})",
                    "  ",
                )
            )
    say()
    for note in answer.notes:
        say(paragraph(note))
    say()
    say(cautions_paragraph())


def _tell_group(number: int, group: Group) -> None:
    say()
    say(
        heading(
            f"{number}. {group.name}: {group.share:.0%} of what fits, "
            f"{counted(group.faults, 'fault')}"
        )
    )
    say(f"   matched {group.matched}, contradicted {group.contradicted}, untested {group.untested}")
    for name, faults in group.families[:_MOST_FAMILIES_SHOWN]:
        say(paragraph(f"{name} ({faults})", "     ", "   - "))
    if len(group.families) > _MOST_FAMILIES_SHOWN:
        say(f"   - and {counted(len(group.families) - _MOST_FAMILIES_SHOWN, 'other name')}")
    if group.hazards:
        hazards = ", ".join(f"{name} ({faults})" for name, faults in group.hazards)
        say(paragraph(f"Hazards: {hazards}", "   "))


def _tell_plan(plan: Plan, indent: str) -> None:
    if plan.check is None:
        names = "; or ".join(dict.fromkeys(suspect.description for suspect in plan.suspects))
        say(paragraph(f"{names} ({plan.weight:.0%})", indent + "  ", indent + "= "))
        return
    say(paragraph(plan.check.title, indent + "  ", indent + "? "))
    for found, branch in plan.branches:
        say(paragraph(f"{found}:", indent + "    ", indent + "  "))
        _tell_plan(branch, indent + "    ")
