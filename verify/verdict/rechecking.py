"""Examines circuits: one engine judges, and one that shares no code with it checks.

Where the two disagree, only the disagreement is reported.
"""

import random
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, Literal

from verify.base.problems import BugError
from verify.behaviour.findings import Observation
from verify.behaviour.judgement import Judgement
from verify.behaviour.states import positions_of, positions_words, state_rows
from verify.circuit.model import Circuit, require_circuit
from verify.engine.contract import Engine
from verify.engine.diagrams import DiagramsEngine
from verify.engine.nodal import NodalEngine
from verify.engine.paths import PathsEngine, StateGraph, WireGraph
from verify.engine.volts import VoltsEngine, engine_for
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.evidence import Coverage, Evidence, Prover
from verify.verdict.examination import Examination
from verify.verdict.judging import judge, why_unprovable

#: How many states the second engine samples if a circuit has too many.
_SAMPLED: Final = 32

#: The second engine goes through all states of circuits with at most so many.
_MOST_TRACED: Final = 256


def examine(circuit: Circuit, engine: Engine | None = None) -> Examination:
    """Judge a circuit and find the evidence for each claim.

    By default the engine is that of `engine_for`: with volts and amperes where they can be
    computed, by connections elsewhere, and without listing states beyond sixteen switches.

    Raises BugError if the engine that checks it, *nodal* or *paths*, finds anything else, and
    UserError for what is no `Circuit`.
    """
    require_circuit(circuit)
    engine = engine or engine_for(circuit)
    if why_unprovable(circuit, engine):
        return _examine_many(circuit)
    checker: Engine = NodalEngine() if engine.name == VoltsEngine.name else PathsEngine()
    found = judge(circuit, engine)
    states = 1 << len(circuit.switches)
    if states <= _MOST_TRACED and found.observation is not None:
        _require_same(circuit, engine, found.observation, checker, checker.observe(circuit))
    evidence = dict(_evidence(circuit, found, engine.name))
    rechecked = states if states <= _MOST_TRACED else len(_states_shown(evidence))
    return Examination(circuit, found, evidence, engine.name, checker.name, rechecked)


def _require_same(
    circuit: Circuit, engine: Engine, found: Observation, checker: Engine, again: Observation
) -> None:
    """Raise BugError unless both engines found the same."""
    if found == again:
        return
    pairs = zip(_doings(circuit, found), _doings(circuit, again), strict=True)
    state, (one, other) = next(
        ((state, pair) for state, pair in enumerate(pairs) if pair[0] != pair[1]),
        (None, ("", "")),
    )
    if state is None:
        where = "they do not agree in which combinations volts decide"
    else:
        positions = positions_words(positions_of(circuit, state))
        where = f"with {positions}, {engine.name} finds {one}, {checker.name} finds {other}"
    raise _disagreement(circuit, engine.name, checker.name, where)


def _doings(circuit: Circuit, seen: Observation) -> Iterator[str]:
    """Yield what is found in each state, in words."""
    for state, row in enumerate(state_rows(circuit, seen)):
        lamps = [f"{name} {does}" for name, does in row.lamps.items()]
        hazards = [
            name
            for name, states in zip(HAZARD_NAMES, seen.hazards, strict=True)
            if states >> state & 1
        ]
        yield ", ".join([*lamps, f"protection {row.protection}", *hazards])


def _disagreement(circuit: Circuit, engine: str, checker: str, where: str) -> BugError:
    return BugError(
        f"the engines {engine} and {checker} disagree on circuit {circuit.name!r}: {where}. This "
        "is a mistake in Miswire: trust no verdict on this circuit, and report it with its file"
    )


def _examine_many(circuit: Circuit) -> Examination:
    """Judge a circuit whose states are too many to be listed, by decision diagrams.

    The engine *paths* confirms what the evidence shows, and any-location control in a sample.
    """
    found = DiagramsEngine().prove(circuit)
    evidence = dict(_evidence(circuit, found, DiagramsEngine.name))
    states = _states_shown(evidence)
    if found.any_location:
        sample = {0, *_sampled_states(len(circuit.switches))}
        _require_parity(circuit, sample)
        states |= sample
    return Examination(circuit, found, evidence, DiagramsEngine.name, PathsEngine.name, len(states))


def _states_shown(evidence: Mapping[str, Evidence | Coverage]) -> set[int]:
    return {item.state for item in evidence.values() if isinstance(item, Evidence)}


def _sampled_states(switches: int) -> Iterator[int]:
    """Yield a sample of states, the same for every circuit of that many switches."""
    draws = random.Random(0)
    return (draws.getrandbits(switches) for _ in range(_SAMPLED))


def _require_parity(circuit: Circuit, states: Iterable[int]) -> None:
    """Raise BugError unless in these states every lamp is as any-location control demands."""
    wiring = WireGraph(circuit)
    first = [StateGraph(wiring, 0).lit_sides(lamp) is not None for lamp in wiring.lamps]
    for state in states:
        at = StateGraph(wiring, state)
        is_odd = bool(state.bit_count() % 2)
        lit = [(at.lit_sides(lamp) is not None) ^ is_odd for lamp in wiring.lamps]
        if at.trips or lit != first:
            positions = positions_words(positions_of(circuit, state))
            raise _disagreement(
                circuit,
                DiagramsEngine.name,
                PathsEngine.name,
                f"any-location control is proved by the first, and with {positions} the second "
                "finds otherwise",
            )


def _evidence(
    circuit: Circuit, found: Judgement, engine: str
) -> Iterator[tuple[str, Evidence | Coverage]]:
    prover = Prover(circuit)
    if found.any_location:
        claim: Literal["sound", "mimic"] = "mimic" if found.hazards else "sound"
        yield claim, Coverage(claim, engine, 1 << len(circuit.switches))
    elif found.state is not None:
        switch = None if found.switch is None else circuit.switches[found.switch].name
        lamp = None if found.lamp is None else circuit.lamps[found.lamp].name
        yield found.verdict, prover.find(found.verdict, found.state, switch, lamp)
    for hazard, state in found.hazard_states:
        yield hazard, prover.find(hazard, state)
