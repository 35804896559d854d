"""`miswire check`: judge circuits, with evidence."""

import json
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Final, NamedTuple

import click

from catalogue.commands.ruletext import rules_told
from catalogue.report.forms import Examination, check_form, examine, state_forms
from catalogue.report.terminal import (
    cautions_paragraph,
    columns,
    complain,
    file_name,
    heading,
    paragraph,
    say,
    table,
    table_width,
    verdict_style,
    word_list,
)
from verify.base.problems import BugError, UserError
from verify.base.sentences import counted
from verify.behaviour.findings import Observation
from verify.behaviour.hazards import HAZARDS
from verify.behaviour.judgement import MEANINGS
from verify.behaviour.naming import signature_name
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.engine.diagrams import DiagramsEngine
from verify.engine.volts import VoltsEngine, why_not_volts
from verify.rules.book import Rulebook, choose
from verify.verdict.evidence import Evidence

_MOST_STATES_SHOWN: Final = 16
_MOST_STATES_INDENTED: Final = 1024
_GROUP: Final = 4
_PROTECTION: Final = "protection"
_METERS: Final = "What a meter reads at every point: miswire readings FILE."


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--jurisdiction",
    metavar="NAME",
    help="Whose published rules to look for: us, ca or uk. Default: by the circuit's palette.",
)
@click.option("--edition", metavar="YEAR", help="Which edition of them. Default: the latest known.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON: an array for several files.")
@click.pass_context
def check(
    ctx: click.Context,
    files: tuple[Path, ...],
    jurisdiction: str | None,
    edition: str | None,
    as_json: bool,
) -> None:
    """Judge circuits.

    For each circuit file, say what the lamps and the protection do in every combination of switch
    positions, whether the light works from every location, and which hazards there are, each with
    the path that shows it. Then come observations against published rules, which are not verdicts:
    nothing here says that a wiring complies.

    Exit status: 0 if every circuit is sound, 1 if one is not, 2 if a file is wrong; the others are
    judged all the same.
    """
    choice = choose(jurisdiction, edition)
    examined: list[_Checked] = []
    for path in files:
        try:
            circuit = load(path)
            book = choice.book(circuit.palette)
        except UserError as error:
            complain(error.problems, file_name(path))
            continue
        try:
            examined.append(_Checked(str(path), examine(circuit), book))
        except BugError as error:
            raise BugError(f"{file_name(path)}: {error}") from error
    if as_json:
        _print_json(examined, alone=len(files) == 1)
    elif examined:
        say("\n\n".join("\n".join(_told(checked)) for checked in examined))
        if len(files) > 1:
            say(f"\n{heading(_total(examined, len(files) - len(examined)))}")
        say(f"\n{cautions_paragraph()}")
    if len(examined) < len(files):
        ctx.exit(2)
    ctx.exit(any(checked.found.judgement.verdict != "sound" for checked in examined))


class _Checked(NamedTuple):
    """A file, what was found in it, and the rules that it is to be held against."""

    file: str
    found: Examination
    book: Rulebook


def _print_json(examined: Sequence[_Checked], *, alone: bool) -> None:
    # Only here, for they take a while to import.
    from catalogue.report.flows import flow_forms
    from catalogue.report.metering import readings_form

    forms = [
        {
            **check_form(checked.found, checked.file, checked.book),
            "flows": flow_forms(checked.found.circuit),
            **readings_form(checked.found.circuit),
        }
        for checked in examined
    ]
    # Nobody reads so many states, and to indent them takes Python longer than to prove them.
    states = sum(
        1 << len(checked.found.circuit.switches)
        for checked in examined
        if checked.found.judgement.observation is not None
    )
    indent = None if states > _MOST_STATES_INDENTED else 2
    if not alone:
        say(json.dumps(forms, indent=indent))
    elif forms:
        say(json.dumps(forms[0], indent=indent))


def _total(examined: Sequence[_Checked], unread: int) -> str:
    verdicts = [checked.found.judgement.verdict for checked in examined]
    parts = [f"{verdicts.count(verdict)} {verdict}" for verdict in dict.fromkeys(verdicts)]
    text = f"{counted(len(verdicts), 'circuit')}: {', '.join(parts)}"
    return f"{text}; {counted(unread, 'file')} not judged, see above" if unread else text


def _told(checked: _Checked) -> Iterator[str]:
    """What there is to say of one circuit to a person, line by line."""
    yield heading(checked.found.circuit.name)
    yield file_name(checked.file)
    yield ""
    yield from _judged(checked.found)
    yield ""
    yield from rules_told(checked.found.circuit, checked.book)


def _judged(found: Examination) -> Iterator[str]:
    """The verdict with what shows it."""
    judgement = found.judgement
    verdict = judgement.verdict
    meaning = f"{judgement.reason}." if verdict == "undecided" else MEANINGS[verdict]
    word, _, rest = paragraph(f"{verdict.upper()}: {meaning}").partition(" ")
    yield f"{verdict_style(verdict, word)} {rest}"
    if verdict == "undecided":
        return
    yield ""
    if judgement.observation is not None and judgement.signature is not None:
        yield from _states(found.circuit, judgement.observation)
        yield ""
        yield paragraph(_in_short(signature_name(judgement.signature)))
    yield paragraph(_how_proved(found))
    yield paragraph(_METERS)
    proof = found.evidence[verdict]
    if isinstance(proof, Evidence):
        yield ""
        yield heading(f"Why it {verdict}")
        yield from _shown(proof)
    if judgement.hazards:
        yield ""
        yield heading(counted(len(judgement.hazards), "hazard"))
    for hazard in HAZARDS:
        item = found.evidence.get(hazard.name)
        if isinstance(item, Evidence):
            yield ""
            yield heading(f"{hazard.title} ({hazard.name})", "  ")
            yield paragraph(hazard.danger, "  ")
            yield from _shown(item)


def _in_short(name: str) -> str:
    legend = " Switches are numbered from left to right." if "switch" in name else ""
    return f"What the light does: {name}.{legend if any(map(str.isdigit, name)) else ''}"


def _states(circuit: Circuit, seen: Observation) -> Iterator[str]:
    """The table of states, in the longest words for which there is room."""
    switches = [switch.name for switch in circuit.switches]
    lamps = [lamp.name for lamp in circuit.lamps]
    short_switches = [f"S{number}" for number, _ in enumerate(switches, 1)]
    short_lamps = [f"L{number}" for number, _ in enumerate(lamps, 1)]
    forms = list(islice(state_forms(circuit, seen), _MOST_STATES_SHOWN))
    positions: list[list[str]] = [[*form["positions"].values()] for form in forms]
    headings = [*switches, *lamps]
    if _is_too_wide(headings):
        legend = zip((*short_switches, *short_lamps), headings, strict=True)
        yield word_list(f"{short} = {name}" for short, name in legend)
        headings = [*short_switches, *short_lamps]
        if _is_too_wide(headings):
            yield f"{_in_one_column(short_switches)}: u up, d down"
            headings = [_in_one_column(short_switches), *short_lamps]
            positions = [[_initials(row)] for row in positions]
        yield ""
    yield table(
        [*headings, _PROTECTION],
        [
            [*row, *form["lamps"].values(), form["protection"]]
            for row, form in zip(positions, forms, strict=True)
        ],
    )
    states = 1 << seen.switches
    if states > len(forms):
        yield paragraph(
            f"… and {states - len(forms):,} more of {states:,} combinations; "
            "--json prints them all."
        )


def _is_too_wide(headings: Sequence[str]) -> bool:
    return table_width([*headings, _PROTECTION], len("down")) > columns()


def _in_one_column(headings: Sequence[str]) -> str:
    return f"{headings[0]} to {headings[-1]}"


def _initials(positions: Sequence[str]) -> str:
    """The positions by a letter each, in groups that the eye can count."""
    letters = "".join(position[0] for position in positions)
    return " ".join(letters[start : start + _GROUP] for start in range(0, len(letters), _GROUP))


def _how_proved(found: Examination) -> str:
    switches = len(found.circuit.switches)
    if found.engine == DiagramsEngine.name:
        return (
            f"Proved for all 2^{switches} combinations, without listing them, by the engine "
            f"{found.engine}; the engine {found.checker}, which shares no code with it, finds the "
            f"same in {found.rechecked} of them. Volts and amperes were not computed."
        )
    states = 1 << switches
    reach = "all of them" if found.rechecked == states else f"{found.rechecked:,} of them"
    proved = f"Proved in {counted(states, 'combination')} by the engine {found.engine}"
    if found.engine != VoltsEngine.name:
        missing = why_not_volts(found.circuit)
        proved = f"Volts and amperes were not computed: {missing}. {proved}"
    if not found.rechecked:
        return f"{proved}."
    decided = " Volts and amperes decided: connections alone would say otherwise."
    return (
        f"{proved}; the engine {found.checker}, which shares no code with it, finds the same in "
        f"{reach}.{decided if found.judgement.by_volts else ''}"
    )


def _shown(evidence: Evidence) -> Iterator[str]:
    """The state, the paths and the amounts that show a claim."""
    where = ", ".join(f"{name} {position}" for name, position in evidence.positions)
    yield paragraph(f"Shown with {where}:", "  ")
    for words in evidence.path_words:
        yield paragraph(words, "    ", "  - ")
    for amount in evidence.amounts:
        yield paragraph(amount.words, "    ", "  - ")
