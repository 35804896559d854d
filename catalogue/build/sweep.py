"""A sweep carries out a plan: workers prove batches, and one writer stores them in order."""

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from catalogue.build.workforce import Hiring, Workforce, processes
from catalogue.prove.build_plan import BuildPlan, CircuitBatch, batch_versions, make_plan
from catalogue.prove.proving import Proved, prove_as
from catalogue.prove.summary import summarize_as
from catalogue.store.writing import Store
from verify.base.problems import BugError
from verify.base.spreading import in_order
from verify.behaviour.judgement import VERDICTS
from verify.circuit.parts import Failure
from verify.engine.contract import Engine
from verify.engine.nodal import NodalEngine
from verify.engine.volts import VoltsEngine
from verify.fault.registry import all_faults, find_fault
from verify.layout.enumeration import Layout
from verify.sweep.fault_judging import Bulk
from verify.verdict.judging import judge, judge_faults

#: How many batches may be under way at once for each worker: all stay busy, few are in memory.
_WINDOW: Final = 3

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Built:
    """The result of a build: `proved` circuits now, of `circuits` planned; faults by verdict."""

    circuits: int
    proved: int
    faults: Counter[str]
    seconds: float
    digest: str


def build(
    path: Path,
    locations: Sequence[int],
    drawn: int = 0,
    seed: int = 0,
    *,
    hire: Hiring | None = None,
    progress: Progress = lambda done, total: None,
) -> Built:
    """Build or resume the catalogue in `path`: all layouts of `locations`, and `drawn` circuits."""
    return build_plan(path, make_plan(locations, drawn, seed), hire=hire, progress=progress)


def build_plan(
    path: Path,
    plan: BuildPlan,
    *,
    hire: Hiring | None = None,
    progress: Progress = lambda done, total: None,
) -> Built:
    """Build or resume the catalogue in `path`.

    `hire` gives the workforce, which is asked for only if there is work to share; without it this
    process works alone. `progress` is called with the circuits stored and planned. Interrupted at
    any moment, the same call goes on from there and ends with the same content. Raises UserError
    for a file that is something else.
    """
    started = time.monotonic()
    with closing(Store(path)) as store:
        run = store.begin(plan, self_check())
        digest = store.finished_digest(run)
        done = store.done()
        todo = [batch for batch in plan.batches if batch.id not in done]
        stored = plan.circuits - sum(len(batch.specs) for batch in todo)
        proved = 0
        progress(stored, plan.circuits)
        if todo:
            store.without_indexes()
        with hire() if hire and len(todo) > 1 else processes(1) as force:
            for batch in _storing(store, todo, force, summary=plan.summary):
                proved += len(batch.specs)
                progress(stored + proved, plan.circuits)
        if digest is None or todo:
            digest = store.finish(run)
        return Built(
            plan.circuits, proved, store.faults_by_verdict(), time.monotonic() - started, digest
        )


def _storing(
    store: Store, batches: Sequence[CircuitBatch], force: Workforce, *, summary: bool
) -> Iterator[CircuitBatch]:
    """Yield each batch once it is stored."""
    window = force.workers * _WINDOW
    if not summary:
        for batch, rows in sweep(batches, executor=force.executor, window=window):
            store.write(batch, rows)
            yield batch
        return
    work = partial(summarize_as, batch_versions())
    for batch, counted in in_order(batches, work, executor=force.executor, window=window):
        store.write_summary(batch, counted)
        yield batch


def sweep(
    batches: Sequence[CircuitBatch], *, executor: Executor | None = None, window: int = 2 * _WINDOW
) -> Iterator[tuple[CircuitBatch, Proved]]:
    """Yield the rows of each batch, in order; see `verify.base.spreading`."""
    work = partial(prove_as, batch_versions())
    return in_order(batches, work, executor=executor, window=window)


def self_check() -> str:
    """Show that the harness can tell good from bad, and say what it showed.

    The sound circuit must be sound and the same with its lamp conductor cut must not be, by both
    engines; and for every single fault of that circuit the engines must agree on the verdict, the
    compiled kernel being the one that builds the catalogue. Raises BugError otherwise.
    """
    sound = Layout.parse("1.f.1").circuit("chain")
    cut = find_fault(sound, "conductor-open/lamp-box-run.black").apply(sound)
    if cut.failures != (Failure("conductor-open", ("lamp-box-run.black",)),):
        raise BugError("self-check: the lamp conductor was not cut")
    told = []
    engines: tuple[Engine, ...] = (VoltsEngine(), NodalEngine())
    for engine in engines:
        verdicts = judge(sound, engine).verdict, judge(cut, engine).verdict
        if verdicts != ("sound", "misbehaves"):
            raise BugError(f"self-check: {engine.name} finds {' and '.join(verdicts)}")
        told.append(f"{engine.name}: sound circuit {verdicts[0]}, lamp conductor cut {verdicts[1]}")
    faults = all_faults(sound)
    by_engine = [
        [
            VERDICTS[number]
            for _, _, verdicts in judge_faults(sound, faults, engine)
            for number in verdicts.verdict
        ]
        for engine in engines
    ]
    judged = Bulk().judge(sound)
    by_engine.append([VERDICTS[judged.outcomes[place].verdict] for place in judged.which])
    if by_engine[0] != by_engine[1] or by_engine[0] != by_engine[2]:
        raise BugError("self-check: the engines disagree on a single fault")
    return "; ".join((*told, f"they and bulk agree on {len(faults)} single faults"))
