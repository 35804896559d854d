"""Measure the census: nodes a second, what pruning saves, and what a second process gains."""

from __future__ import annotations

import time
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context

from verify.study.census.pruning import PRUNED, PRUNING_RULES, UNPRUNED
from verify.study.census.search import SearchRun, run_of, search_batches

#: Whole runs with and without the rules, and a part of a run that is long enough to share.
_LOCATIONS = 3
_WHOLE_LOCATIONS = 4
_SPREAD_LOCATIONS = 5
_SPREAD_BATCHES = 12
_WORKERS = 2


def census() -> dict[str, object]:
    """Return the nodes and seconds of whole runs; each is made once, for they are long."""
    _timed(run_of(2, UNPRUNED))  # this loads the kernel or compiles it
    unpruned_nodes, unpruned_seconds = _timed(run_of(_LOCATIONS, UNPRUNED))
    nodes, seconds = _timed(run_of(_LOCATIONS))
    without = {}
    for rule in PRUNING_RULES:
        if rule.bit:
            more, _ = _timed(run_of(_LOCATIONS, PRUNED & ~rule.bit))
            without[rule.name] = round(more / nodes, 2)
    whole_nodes, whole_seconds = _timed(run_of(_WHOLE_LOCATIONS))
    part = SearchRun(run_of(_SPREAD_LOCATIONS).batches[:_SPREAD_BATCHES], 0)
    part_nodes, alone_seconds = _timed(part)
    with ProcessPoolExecutor(_WORKERS, mp_context=get_context("spawn")) as pool:
        # This runs once before the clock starts, so that both workers have loaded the kernel.
        _timed(run_of(_WHOLE_LOCATIONS), pool)
        _, spread_seconds = _timed(part, pool)
    return {
        "locations": _LOCATIONS,
        "nodes": nodes,
        "seconds": round(seconds, 3),
        "unpruned_nodes": unpruned_nodes,
        "unpruned_seconds": round(unpruned_seconds, 2),
        "unpruned_to_pruned_nodes": round(unpruned_nodes / nodes),
        "unpruned_to_pruned_seconds": round(unpruned_seconds / seconds),
        "times_the_nodes_without": without,
        "whole_locations": _WHOLE_LOCATIONS,
        "whole_nodes": whole_nodes,
        "whole_seconds": round(whole_seconds, 2),
        "spread_locations": _SPREAD_LOCATIONS,
        "spread_nodes": part_nodes,
        "nodes_per_second": round(part_nodes / alone_seconds),
        "seconds_by_workers": {"1": round(alone_seconds, 2), "2": round(spread_seconds, 2)},
        "two_workers_to_one": round(alone_seconds / spread_seconds, 2),
    }


def _timed(run: SearchRun, executor: Executor | None = None) -> tuple[int, float]:
    """Return the nodes of a run, and the seconds that its batches take."""
    started = time.perf_counter()
    results = search_batches(run.batches, executor=executor, window=3 * _WORKERS)
    nodes = sum(found.nodes for _, found in results)
    return run.nodes + nodes, time.perf_counter() - started
