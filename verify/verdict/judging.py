"""Verdicts: whether the light works from everywhere, which hazards hold, and what shows it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.deadline import keep_deadline
from verify.behaviour.findings import Findings, Observation, Words
from verify.behaviour.judgement import MIMIC, MISBEHAVES, SOUND, TRIPS, VERDICTS, Judgement
from verify.behaviour.signature import MOST_LAMPS, Codes, canonical, state_codes
from verify.circuit.model import Circuit
from verify.engine.contract import Engine
from verify.fault.contract import Fault
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES

NONE: Final = -1
_BY_CONNECTIONS: Final = [i for i, name in enumerate(HAZARD_NAMES) if name not in ELECTRICAL]

#: Bytes that the results of one call of an engine may take.
_BATCH_BYTES: Final = 64_000_000

Numbers = npt.NDArray[np.int32]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The verdicts of many circuits, and the state that shows each. All shapes begin (circuits,).

    - `verdict`: index into `VERDICTS`
    - `state`: the smallest state that trips, or in which some switch does nothing; else `NONE`
    - `switch`, `lamp`: the smallest switch that does nothing there, and the lamp; else `NONE`
    - `hazard_state` (circuits, hazards): the smallest state in which each hazard holds, or `NONE`
    - `codes` (circuits, states): the packed outcomes, see `verify.behaviour.signature`
    - `by_volts`: whether volts and amperes decided: connections alone would give another verdict or
      other outcomes
    """

    verdict: Numbers
    state: Numbers
    switch: Numbers
    lamp: Numbers
    hazard_state: Numbers
    codes: Codes
    by_volts: Flags

    def __len__(self) -> int:
        return len(self.verdict)


def judge(circuit: Circuit, engine: Engine) -> Judgement:
    """Return the verdict on one circuit by one engine."""
    reason = why_unprovable(circuit, engine)
    if reason:
        return Judgement("undecided", None, None, reason=reason)
    seen = engine.observe(circuit)
    found = Findings.of([seen], switches=seen.switches, lamps=len(seen.lit))
    return judgement(verdicts(found), 0, seen)


def why_unprovable(circuit: Circuit, engine: Engine) -> str:
    """Return why `engine` cannot judge a circuit, or an empty text."""
    if len(circuit.switches) > engine.most_switches:
        return (
            f"{len(circuit.switches)} switches are more than the {engine.most_switches} that the "
            f"{engine.name} engine can prove"
        )
    if len(circuit.lamps) > MOST_LAMPS:
        return f"{len(circuit.lamps)} lamps are more than the {MOST_LAMPS} of one signature"
    return ""


def judgement(all_verdicts: Verdicts, row: int, seen: Observation) -> Judgement:
    """Return one row of `Verdicts`, whose observation is `seen`, as a value."""

    def number(values: Numbers) -> int | None:
        return None if values[row] == NONE else int(values[row])

    hazard_states = zip(HAZARD_NAMES, all_verdicts.hazard_state[row], strict=True)
    return Judgement(
        VERDICTS[all_verdicts.verdict[row]],
        seen,
        canonical(all_verdicts.codes[row], len(seen.lit)),
        number(all_verdicts.state),
        number(all_verdicts.switch),
        number(all_verdicts.lamp),
        tuple((name, int(state)) for name, state in hazard_states if state != NONE),
        bool(all_verdicts.by_volts[row]),
    )


def judge_faults(
    circuit: Circuit, faults: Sequence[Fault], engine: Engine
) -> Iterator[tuple[Sequence[Fault], Findings, Verdicts]]:
    """Yield the verdicts on all `faults`, in batches whose size bounds the memory used.

    Raises ValueError if the engine cannot judge the circuit, see `why_unprovable`.
    """
    reason = why_unprovable(circuit, engine)
    if reason:
        raise ValueError(reason)
    states = 1 << len(circuit.switches)
    row_bytes = states * (8 + (len(circuit.lamps) + len(HAZARD_NAMES)) // 8 + len(circuit.switches))
    size = max(1, _BATCH_BYTES // row_bytes)
    for start in range(0, len(faults), size):
        keep_deadline()
        part = faults[start : start + size]
        found = engine.observe_faults(circuit, part)
        yield part, found, verdicts(found)


def verdicts(found: Findings) -> Verdicts:
    """Return the verdicts that follow from what circuits do."""
    trips = np.any(found.trips != 0, axis=1)
    idle = _idle(found)
    misbehaves = np.any(idle != 0, axis=(1, 2, 3))
    hazardous = np.any(found.hazards != 0, axis=(1, 2))
    verdict = np.select([trips, misbehaves, hazardous], [TRIPS, MISBEHAVES, MIMIC], SOUND)
    by_connections = np.any(found.hazards[:, _BY_CONNECTIONS] != 0, axis=(1, 2))
    by_volts = np.any(found.overruled != 0, axis=1) | ((verdict == MIMIC) & ~by_connections)
    state, switch, lamp = _witness(found, idle, trips, ~trips & misbehaves)
    return Verdicts(
        verdict.astype(np.int32),
        state,
        switch,
        lamp,
        first_state(found.hazards),
        state_codes(found),
        by_volts,
    )


def _idle(found: Findings) -> Words:
    """Return the states in which moving a switch does not turn a lamp on or off.

    Shape (circuits, switches, lamps, words).
    """
    lit, other = found.lit, found.dim | found.over
    valid = np.uint64((1 << (1 << found.switches)) - 1 if found.switches < 6 else 2**64 - 1)
    # Only from dark to lit or back is a change: a lamp that is dim or over never makes one.
    idle = [
        (~(lit ^ _after_moving(lit, switch)) | other | _after_moving(other, switch)) & valid
        for switch in range(found.switches)
    ]
    if not idle:
        return np.zeros((len(lit), 0, *lit.shape[1:]), np.uint64)
    return np.stack(idle, axis=1)


def _after_moving(words: Words, switch: int) -> Words:
    """Return words over the states as seen after moving one switch."""
    if switch >= 6:
        return words[..., np.arange(words.shape[-1]) ^ (1 << (switch - 6))]
    distance = np.uint64(1 << switch)
    # In these states the switch is up: blocks of 2^switch ones, every other block.
    up = np.uint64(((1 << 64) - 1) // ((1 << (1 << switch)) + 1))
    return ((words & up) << distance) | ((words >> distance) & up)


def _witness(
    found: Findings,
    idle: Words,
    trips: Flags,
    misbehaves: Flags,
) -> tuple[Numbers, Numbers, Numbers]:
    """Return the state, switch and lamp that show each verdict, as `Verdicts` has them."""
    count = len(found)
    state = np.full(count, NONE, np.int32)
    switch, lamp = state.copy(), state.copy()
    state[trips] = first_state(found.trips[trips])
    rows = np.flatnonzero(misbehaves)
    if len(rows):
        bad = idle[rows]
        first = first_state(np.bitwise_or.reduce(bad, axis=(1, 2)))
        at_first = (
            bad[np.arange(len(rows)), :, :, first // 64]
            >> ((first % 64).astype(np.uint64)[:, None, None])
        )
        # Switch by switch, lamp by lamp: the first of the flattened pairs.
        pair = (at_first & np.uint64(1)).reshape(len(rows), -1).argmax(axis=1)
        lamps = found.lit.shape[1]
        state[rows], switch[rows], lamp[rows] = first, pair // lamps, pair % lamps
    return state, switch, lamp


def first_state(words: Words) -> Numbers:
    """Return the smallest member of each set of states along the last axis, or `NONE`."""
    if words.shape[-1] == 1:
        content = words[..., 0]
        before: Numbers | int = 0
    else:
        word = (words != 0).argmax(axis=-1)
        content = np.take_along_axis(words, word[..., None], axis=-1)[..., 0]
        before = (word * 64).astype(np.int32)
    # These are the bits below the lowest set bit, or all 64 if none is set.
    below = np.bitwise_count(~content & (content - np.uint64(1))).astype(np.int32)
    return np.where(content == 0, np.int32(NONE), before + below)
