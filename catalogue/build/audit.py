"""An audit proves stored rows again with an engine that shares no code with the one that made them.

It takes nothing from the build but the circuit files and the labels of the faults.
"""

import random
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final, NamedTuple

from sqlite_utils import Database

from catalogue.build.pair_audit import Pair, choose_pairs, wrong_pairs
from catalogue.build.workforce import processes
from catalogue.store.contents import changed_circuits
from catalogue.store.schema import open_for_writing
from catalogue.store.writing import now, require_catalogue
from verify.base.problems import BugError
from verify.base.spreading import in_order
from verify.behaviour.judgement import Judgement
from verify.circuit.file import loads
from verify.circuit.model import Circuit
from verify.engine.contract import Engine
from verify.engine.nodal import NodalEngine
from verify.engine.paths import PathsEngine
from verify.engine.volts import VoltsEngine
from verify.fault.contract import Fault
from verify.fault.registry import all_faults
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.evidence import Prover
from verify.verdict.judging import judge

#: Circuits with this many locations have all their faults re-proved, others a sample of them.
ALL_UP_TO: Final = 2

#: The sample has one pair for so many faults, since each pair takes three proofs.
_FEWER_PAIRS: Final = 10

#: How many circuits may be under way at once for each worker.
_WINDOW: Final = 4

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A row that the independent engine does not confirm, or a circuit not as it was stored."""

    label: str
    stored: str
    found: str


@dataclass(frozen=True, slots=True)
class Audited:
    """The result of an audit: how many faults and pairs it proved again, of how many stored."""

    faults: int
    stored: int
    pairs: int
    stored_pairs: int
    disagreements: tuple[Disagreement, ...]


class _Chosen(NamedTuple):
    """The faults and pairs of one circuit that are to be re-proved, by their ids."""

    faults: Sequence[int]
    pairs: Sequence[Pair]


class _Row(NamedTuple):
    """The stored facts of one fault, in words."""

    label: str
    verdict: str
    word: str
    state: int | None
    switch: int | None
    lamp: int | None
    by_volts: int


def audit(
    path: Path,
    *,
    sample: int = 1000,
    seed: int = 0,
    workers: int = 1,
    progress: Progress = lambda done, total: None,
) -> Audited:
    """Re-prove every fault of up to two locations and `sample` of the others; note the result.

    Verdict, signature, hazards and the evidence of each must come out as stored, and the faults of
    every circuit must be those of which its digest was made. Of the pairs of mistakes a tenth as
    many are re-proved. Raises UserError if `path` is no catalogue.
    """
    require_catalogue(path)
    with closing(open_for_writing(str(path))) as db:
        faults, pairs = _chosen(db, sample, seed), choose_pairs(db, sample // _FEWER_PAIRS, seed)
        changed = [
            Disagreement(label, "other faults or outcomes", "not those of the digest")
            for label in changed_circuits(db)
        ]
    chosen = {
        circuit: _Chosen(faults.get(circuit, []), pairs.get(circuit, []))
        for circuit in dict.fromkeys((*faults, *pairs))
    }
    total = sum(len(each.faults) for each in chosen.values())
    disagreements: list[Disagreement] = []
    done = 0
    progress(done, total)
    for found, number in _audited(path, chosen, workers):
        disagreements += found
        done += number
        progress(done, total)
    disagreements += changed
    with closing(open_for_writing(str(path))) as db:
        (stored,) = db.conn.execute("select coalesce(sum(faults), 0) from circuit").fetchone()
        (stored_pairs,) = db.conn.execute("select count(*) from pair").fetchone()
        db.table("audit").insert(
            {
                "finished": now(),
                "engine": ", ".join(
                    f"{engine.name} {engine.version}" for engine in (NodalEngine, PathsEngine)
                ),
                "seed": seed,
                "digest": _digest(db),
                "faults": total,
                "disagreements": len(disagreements),
            }
        )
        told = sum(len(each.pairs) for each in chosen.values())
        return Audited(total, stored, told, stored_pairs, tuple(disagreements))


def _audited(
    path: Path, chosen: Mapping[int, _Chosen], workers: int
) -> Iterator[tuple[list[Disagreement], int]]:
    """Yield what does not agree in each circuit, and how many faults were re-proved, in order."""
    work = partial(_audit_circuit, path)
    with processes(workers if len(chosen) > 1 else 1) as force:
        window = workers * _WINDOW
        items = chosen.items()
        for (_, each), found in in_order(items, work, executor=force.executor, window=window):
            yield found, len(each.faults)


def _digest(db: Database) -> str:
    row = db.conn.execute("select digest from run where digest is not null order by id desc")
    return str((row.fetchone() or [""])[0])


def _chosen(db: Database, sample: int, seed: int) -> Mapping[int, list[int]]:
    """Return the ids of the faults to re-prove, by circuit, circuits in the order of their labels.

    The sample is drawn by number from the faults in the order of circuits and listings: it does not
    depend on the ids, and only rows that are drawn are read.
    """
    circuits = db.conn.execute(_CIRCUITS).fetchall()
    chosen: dict[int, list[int]] = {}
    others: list[
        tuple[int, int]
    ] = []  # each circuit with the number of faults that come before its own
    total = 0
    for circuit_id, locations, faults in circuits:
        if locations <= ALL_UP_TO:
            chosen[circuit_id] = [id_ for (id_,) in db.conn.execute(_FAULTS, [circuit_id])]
        else:
            others.append((circuit_id, total))
            total += faults
    starts = [start for _, start in others]
    for number in sorted(random.Random(seed).sample(range(total), min(sample, total))):
        circuit_id, start = others[bisect_right(starts, number) - 1]
        (id_,) = db.conn.execute(f"{_FAULTS} limit 1 offset ?", [circuit_id, number - start])
        chosen.setdefault(circuit_id, []).append(*id_)
    return {circuit_id: ids for circuit_id, ids in chosen.items() if ids}


_CIRCUITS: Final = "select id, locations, faults from circuit order by label"
_FAULTS: Final = "select id from fault where circuit_id = ? order by id"


def _audit_circuit(path: Path, chosen: tuple[int, _Chosen]) -> list[Disagreement]:
    """Return what does not agree of a circuit's chosen rows; another process can run this."""
    circuit_id, (fault_ids, pairs) = chosen
    with closing(open_for_writing(str(path))) as db:
        label, text, engine = next(
            db.conn.execute("select label, file, engine from circuit where id = ?", [circuit_id])
        )
        checker: Engine = NodalEngine() if engine == VoltsEngine.name else PathsEngine()
        circuit = loads(text)
        faults = {fault.label: fault for fault in all_faults(circuit)}
        return [
            *_wrong_faults(db, circuit, label, faults, fault_ids, checker),
            *(
                Disagreement(f"{label}/{pair}", stored, found)
                for pair, stored, found in wrong_pairs(db, circuit, faults, pairs)
            ),
        ]


def _wrong_faults(
    db: Database,
    circuit: Circuit,
    label: str,
    faults: Mapping[str, Fault],
    fault_ids: Sequence[int],
    engine: Engine,
) -> Iterator[Disagreement]:
    for fault_id in fault_ids:
        row, hazards = _stored_fault(db, fault_id)
        stored = _comparable_text(*row[1:], hazards)
        fault = faults.get(row.label)
        if fault is None:
            yield Disagreement(f"{label}/{row.label}", stored, "no such fault")
            continue
        faulted = fault.apply(circuit)
        found = judge(faulted, engine)
        told = _comparable_text(
            found.verdict,
            found.signature.word if found.signature else "",
            found.state,
            found.switch,
            found.lamp,
            int(found.by_volts),
            dict(found.hazard_states),
        )
        if told == stored:
            told = _evidence_failure(faulted, found) or told
        if told != stored:
            yield Disagreement(f"{label}/{row.label}", stored, told)


def _stored_fault(db: Database, fault_id: int) -> tuple[_Row, Mapping[str, int]]:
    row = db.conn.execute(
        "select kind.name || '/' || fault_at(label, file, kind.name, site), verdict.name, word,"
        " state, switch, lamp, by_volts"
        " from judged_fault as fault join fault_kind as kind on kind.id = kind_id"
        " join circuit on circuit.id = circuit_id join verdict on verdict.id = fault.verdict_id"
        " join signature on signature.id = fault.signature_id where fault.id = ?",
        [fault_id],
    ).fetchone()
    hazards = db.conn.execute(
        "select hazard.name, state from evidence join hazard on hazard.id = hazard_id"
        " where outcome_id = (select outcome_id from fault where id = ?)",
        [fault_id],
    )
    return _Row(*row), {str(name): int(state) for name, state in hazards}


def _comparable_text(
    verdict: str,
    word: str,
    state: int | None,
    switch: int | None,
    lamp: int | None,
    by_volts: int,
    hazards: Mapping[str, int],
) -> str:
    """Return in one text everything that must come out the same."""
    held = ", ".join(f"{name} in {hazards[name]}" for name in HAZARD_NAMES if name in hazards)
    decided = "volts" if by_volts else "connections"
    return (
        f"{verdict} {word} state={state} switch={switch} lamp={lamp} by {decided} "
        f"hazards: {held or 'none'}"
    )


def _evidence_failure(circuit: Circuit, found: Judgement) -> str:
    """Return why the evidence of a judgement does not hold, or an empty text if it does."""
    prover = Prover(circuit)
    try:
        if found.state is not None:
            prover.find(
                found.verdict,
                found.state,
                None if found.switch is None else circuit.switches[found.switch].name,
                None if found.lamp is None else circuit.lamps[found.lamp].name,
            )
        for name, state in found.hazard_states:
            prover.find(name, state)
    except BugError as error:
        return f"evidence fails: {error}"
    return ""
