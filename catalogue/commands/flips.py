"""`miswire flips`: which states to look at to find a mistake by flipping, and what that misses."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import click
import numpy as np

from catalogue.commands.loading import load_or_exit
from catalogue.drawing.state_view import parse_state
from catalogue.report.json_forms import FORMAT, short_cautions
from catalogue.report.terminal import cautions_paragraph, file_name, heading, paragraph, say, table
from verify.base.problems import Problem, UserError
from verify.base.sentences import counted
from verify.behaviour.findings import Findings, Observation, position
from verify.behaviour.judgement import PROVED_VERDICTS, VERDICTS
from verify.behaviour.signature import canonical, state_codes
from verify.circuit.model import Circuit
from verify.engine.volts import engine_for
from verify.engine.words import WORTH_COMPILING_ONCE
from verify.fault.registry import all_faults, fault_kind
from verify.hazard.definitions import HAZARDS
from verify.study.detection import MOST_SWITCHES, Flips, changes_function, plan_flips
from verify.verdict.judging import NONE, Numbers, judge_faults, why_unprovable


@dataclass(frozen=True, slots=True)
class FlipTest:
    """A way to test one circuit by flipping.

    `known` is for those who know which position of each switch is which, `unknown` for those who
    do not. `by_kind`, `by_verdict` and `by_hazard` count the single faults that no flipping shows.
    `every_flip_counts`: in the circuit as it is every flip changes every lamp.
    """

    circuit: Circuit
    seen: Observation
    engine: str
    every_flip_counts: bool
    known: Flips
    unknown: Flips
    faults: int
    changing: int
    by_kind: Mapping[str, int]
    by_verdict: Mapping[str, int]
    by_hazard: Mapping[str, int]


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option(
    "--start",
    metavar="NAME=up,…",
    help="Begin with the switches in these positions, such as "
    "slipway-switch=up,workshop-switch=down.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def flips(ctx: click.Context, file: Path, start: str | None, as_json: bool) -> None:
    """Say which flips show a mistake, and which mistakes no flip shows.

    Of all single faults of the circuit in FILE those that change what the light does are shown by
    a few states: told are the fewest, with the shortest walk of single flips through them, for
    those who know which position of each switch is up and for those who do not. Then what no
    flipping can show.

    Exit status: 0 when done, 2 if the file or an option is wrong.
    """
    circuit = load_or_exit(ctx, file)
    begin = None
    if start is not None:
        try:
            begin = parse_state(circuit, start)
        except UserError as error:
            problems = [
                Problem(p.place.replace("state", "--start", 1), p.message) for p in error.problems
            ]
            raise UserError(problems) from error
    _require_testable(circuit, file)
    test = _tested(circuit, begin)
    if as_json:
        say(json.dumps(_as_json(test), indent=2))
        return
    for line in _lines(test, file, begin):
        say(line)


def _require_testable(circuit: Circuit, file: Path) -> None:
    count = len(circuit.switches)
    reason = ""
    if not 1 <= count <= MOST_SWITCHES:
        reason = f"it has {counted(count, 'switch', 'switches')}, and 1 to {MOST_SWITCHES} can be"
    else:
        reason = why_unprovable(circuit, engine_for(circuit))
    if reason:
        message = f"{reason} tested by flipping; give a circuit that is smaller"
        raise UserError([Problem(file_name(file), message)])


def _tested(circuit: Circuit, begin: int | None) -> FlipTest:
    every = all_faults(circuit)
    engine = engine_for(circuit, len(every), WORTH_COMPILING_ONCE)
    seen = engine.observe(circuit)
    found = Findings.of([seen], switches=seen.switches, lamps=len(seen.lit))
    intended = state_codes(found)[0]
    parts = [verdicts for _, _, verdicts in judge_faults(circuit, every, engine)]
    codes = np.concatenate([np.empty((0, len(intended)), np.int64), *(p.codes for p in parts)])
    unseen = np.flatnonzero(~changes_function(codes, intended))
    verdict, hazards = _columns([(p.verdict, p.hazard_state) for p in parts], unseen)
    return FlipTest(
        circuit,
        seen,
        engine.name,
        canonical(intended, len(seen.lit)).any_location,
        plan_flips(codes, intended, positions_known=True, start=begin),
        plan_flips(codes, intended, positions_known=False, start=begin),
        len(every),
        len(every) - len(unseen),
        Counter(every[row].kind for row in unseen.tolist()),
        Counter(VERDICTS[number] for number in verdict),
        Counter(HAZARDS[place].name for row in hazards for place in row),
    )


def _columns(
    parts: Sequence[tuple[Numbers, Numbers]], rows: "np.ndarray[tuple[int], np.dtype[np.intp]]"
) -> tuple[list[int], list[list[int]]]:
    """Return the verdict, and the places of the hazards, of some faults."""
    if not parts:
        return [], []
    verdict, hazard_state = (np.concatenate(column)[rows] for column in zip(*parts, strict=True))
    return verdict.tolist(), [np.flatnonzero(row != NONE).tolist() for row in hazard_state]


def _as_json(test: FlipTest) -> dict[str, object]:
    return {
        "format": FORMAT,
        "name": test.circuit.name,
        "engine": test.engine,
        "faults": test.faults,
        "shown": test.changing,
        "positions_known": _plan_as_json(test, test.known, with_lamps=True),
        "positions_unknown": _plan_as_json(test, test.unknown, with_lamps=False),
        "unseen": {
            "faults": test.faults - test.changing,
            "by_verdict": {name: test.by_verdict.get(name, 0) for name in PROVED_VERDICTS},
            "by_hazard": {
                hazard.name: test.by_hazard[hazard.name]
                for hazard in HAZARDS
                if hazard.name in test.by_hazard
            },
            "by_kind": dict(test.by_kind),
        },
        "cautions": short_cautions(),
    }


def _plan_as_json(test: FlipTest, plan: Flips, *, with_lamps: bool) -> dict[str, object]:
    """Return a plan as JSON: `walk` begins in `begin` and lists what is moved.

    If the positions have no names, the walk may begin in any state.
    """
    switches = [switch.name for switch in test.circuit.switches]
    form: dict[str, object] = {
        "states": len(plan.states),
        "flips": plan.flips,
        "is_best": plan.is_best,
        "moves": [switches[(here ^ there).bit_length() - 1] for here, there in pairwise(plan.walk)],
    }
    if with_lamps:
        form["walk"] = [
            {
                "positions": _positions_in(test.circuit, state),
                "counts": state in plan.states,
                "lamps": _lamps(test, state),
            }
            for state in plan.walk
        ]
    else:
        form["counts"] = [state in plan.states for state in plan.walk]
    return form


def _positions_in(circuit: Circuit, state: int) -> dict[str, str]:
    return {switch.name: position(state, i) for i, switch in enumerate(circuit.switches)}


def _lamps(test: FlipTest, state: int) -> dict[str, str]:
    if test.seen.trips >> state & 1:
        return {lamp.name: "trips" for lamp in test.circuit.lamps}
    return {lamp.name: test.seen.light(i, state) for i, lamp in enumerate(test.circuit.lamps)}


def _lines(test: FlipTest, file: Path, begin: int | None) -> Iterator[str]:
    """Yield what a person is told of the test, line by line."""
    circuit = test.circuit
    total = 1 << len(circuit.switches)
    yield heading(circuit.name)
    yield file_name(file)
    yield ""
    yield paragraph(
        f"{test.changing:,} of {counted(test.faults, 'single fault')} change what the light does, "
        "whatever the positions are called. Looking at the light in the right combinations of "
        "positions shows each of them."
    )
    yield ""
    yield heading("If you know which position is up")
    if test.known.states:
        yield paragraph(_summary(test.known, total, begin))
        yield ""
        yield _walk_table(test)
    else:
        yield paragraph("No fault changes what the light does: there is nothing to look at.")
    yield ""
    yield heading("If you do not")
    yield paragraph(
        f"{_summary(test.unknown, total, None)} Begin with the switches as they stand. "
        + _moves(test)
        if test.unknown.states
        else "Nothing to look at either."
    )
    yield ""
    yield heading("What no flipping can show")
    yield from _unseen(test)
    yield ""
    yield cautions_paragraph()


def _summary(plan: Flips, total: int, begin: int | None) -> str:
    best = (
        "no set of combinations that small has a shorter way"
        if plan.is_best
        else "there may be a shorter way through other combinations"
    )
    where = "" if begin is None else " from where you begin"
    return (
        f"{len(plan.states)} of {total} combinations are enough and no fewer are; "
        f"{counted(plan.flips, 'flip')}{where} lead through them, and {best}."
    )


def _walk_table(test: FlipTest) -> str:
    switches = [switch.name for switch in test.circuit.switches]
    rows = []
    before = test.known.walk[0]
    for step, state in enumerate(test.known.walk):
        moved = "begin" if not step else f"move {switches[(before ^ state).bit_length() - 1]}"
        where = _positions_in(test.circuit, state).values()
        lamps = _lamps(test, state).values()
        passed = "" if state in test.known.states else " (on the way)"
        rows.append([f"{moved}{passed}", *where, *lamps])
        before = state
    return table(
        ["step", *switches, *(f"{lamp.name} should be" for lamp in test.circuit.lamps)], rows
    )


def _moves(test: FlipTest) -> str:
    switches = [switch.name for switch in test.circuit.switches]
    moves = [
        switches[(here ^ there).bit_length() - 1] for here, there in pairwise(test.unknown.walk)
    ]
    rule = (
        "Every flip must change every lamp, from dark to lit or from lit to dark."
        if test.every_flip_counts
        else "What every lamp does must fit the file under some naming of the positions."
    )
    return f"Then move, one after the other: {', '.join(moves)}. {rule}"


def _unseen(test: FlipTest) -> Iterator[str]:
    unseen = test.faults - test.changing
    if not unseen:
        yield paragraph("No single fault: every one of them changes what the light does.")
        return
    dangerous = unseen - test.by_verdict.get("sound", 0)
    yield paragraph(
        f"{counted(unseen, 'single fault')} leave everything to be seen as it is; "
        f"{dangerous:,} of them with a hazard. A light that passes every flip may have any of "
        "them, and two mistakes at once may hide each other."
    )
    yield ""
    yield table(
        ["hazard", "faults not seen"],
        [
            [hazard.title, f"{test.by_hazard[hazard.name]:,}"]
            for hazard in HAZARDS
            if hazard.name in test.by_hazard
        ],
        numbers=True,
    )
    yield ""
    yield table(
        ["kind", "faults not seen"],
        [[fault_kind(kind).name, f"{number:,}"] for kind, number in test.by_kind.items()],
        numbers=True,
    )
