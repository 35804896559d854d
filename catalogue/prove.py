"""From a planned circuit to the rows of the catalogue: pure, so that any process may do it."""

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from catalogue.flips import FlipsRow, flips_rows
from catalogue.pairs import PairRows, pair_rows
from catalogue.plan import Batch, PlannedCircuit, Spec, batch_versions
from verify.behaviour import Findings
from verify.circuitfile import dump
from verify.engines.volts import engine_for
from verify.families import Roles, family, place
from verify.faults import all_faults, fault_kinds
from verify.problems import Problem, UserError
from verify.signature import canonical, state_codes
from verify.verdict import NONE, VERDICTS, Judgement, Verdicts, judge, judge_faults


class FaultRow(NamedTuple):
    """One fault. `hazards` pairs the index in `HAZARDS` with the state that shows it."""

    kind: str
    family: str
    place: str
    site: str
    description: str
    verdict: str
    word: str
    state: int | None
    switch: int | None
    lamp: int | None
    hazards: tuple[tuple[int, int], ...]
    by_volts: bool


@dataclass(frozen=True, slots=True)
class CircuitRows:
    """One circuit as intended and all its single faults."""

    label: str
    name: str
    origin: str
    scheme: str
    locations: int
    lamps: int
    boxes: int
    verdict: str
    word: str
    file: str
    engine: str
    faults: list[FaultRow]
    flips: list[FlipsRow]
    pairs: PairRows | None


def prove(specs: Sequence[Spec]) -> list[CircuitRows]:
    """The rows of some circuits, in their order."""
    return [_circuit_rows(spec.build()) for spec in specs]


def as_version(versions: tuple[int, int, str, str]) -> None:
    """Raise UserError if this process, perhaps a worker far away, is not of those versions."""
    own = batch_versions()
    if own != versions:
        raise UserError(
            [
                Problem(
                    f"worker {platform.node()}",
                    f"has the versions {own}, whoever sends the work has {versions}; install the "
                    "same Miswire everywhere",
                )
            ]
        )


def prove_as(versions: tuple[int, int, str, str], batch: Batch) -> list[CircuitRows]:
    """The rows of a batch; see `as_version`."""
    as_version(versions)
    return prove(batch.specs)


def _circuit_rows(planned: PlannedCircuit) -> CircuitRows:
    circuit = planned.circuit
    every = all_faults(circuit)
    engine = engine_for(circuit, len(every))
    intended = judge(circuit, engine)
    kinds = {kind.name: kind for kind in fault_kinds()}
    roles = Roles(circuit)
    rows: list[FaultRow] = []
    judged: list[Verdicts] = []
    for faults, _, verdicts in judge_faults(circuit, every, engine):
        judged.append(verdicts)
        words = words_of(verdicts, len(circuit.lamps))
        columns = zip(
            faults,
            verdicts.verdict.tolist(),
            words,
            verdicts.state.tolist(),
            verdicts.switch.tolist(),
            verdicts.lamp.tolist(),
            verdicts.hazard_state.tolist(),
            verdicts.by_volts.tolist(),
            strict=True,
        )
        for fault, verdict, word, state, switch, lamp, hazard_states, by_volts in columns:
            rows.append(
                FaultRow(
                    fault.kind,
                    family(roles, fault),
                    place(fault),
                    fault.site_text,
                    kinds[fault.kind].in_words(fault.site),
                    VERDICTS[verdict],
                    word,
                    _optional(state),
                    _optional(switch),
                    _optional(lamp),
                    tuple((i, shown) for i, shown in enumerate(hazard_states) if shown != NONE),
                    by_volts,
                )
            )
    return CircuitRows(
        planned.label,
        circuit.name,
        planned.origin,
        planned.scheme,
        len(circuit.switches),
        len(circuit.lamps),
        len(circuit.boxes),
        intended.verdict,
        intended.signature.word if intended.signature else "",
        dump(circuit),
        engine.name,
        rows,
        _flips(intended, judged),
        pair_rows(circuit, every) if planned.origin == "layout" else None,
    )


def _flips(intended: Judgement, judged: Sequence[Verdicts]) -> list[FlipsRow]:
    """How to test a circuit, from the verdicts on its faults."""
    seen = intended.observation
    if seen is None or not judged:
        return []
    found = Findings.of([seen], switches=seen.switches, lamps=len(seen.lit))
    return flips_rows(
        np.concatenate([verdicts.codes for verdicts in judged]),
        state_codes(found)[0],
        np.concatenate([verdicts.verdict for verdicts in judged]),
    )


def words_of(verdicts: Verdicts, lamps: int) -> list[str]:
    """The canonical word of each row; few rows differ, so each word is found once."""
    different, which = np.unique(verdicts.codes, axis=0, return_inverse=True)
    words = [canonical(codes, lamps).word for codes in different]
    return [words[index] for index in which.tolist()]


def _optional(number: int) -> int | None:
    return None if number == NONE else number
