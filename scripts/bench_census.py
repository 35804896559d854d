"""The census: nodes a second, what the pruning rules save, and what a second process gains."""

from __future__ import annotations

import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

from verify.census.rules import PRUNED, PRUNING_RULES, UNPRUNED
from verify.census.search import Run, run_of, search_batches

#: Long enough to measure, and short.
_LOCATIONS = 3
_SPREAD_LOCATIONS = 4
_WORKERS = 2


def census() -> dict[str, object]:
    """Nodes and seconds of whole runs, compiled beforehand; one run each, for they are long."""
    _timed(run_of(2, UNPRUNED))  # loads the kernel or compiles it
    unpruned_nodes, unpruned_seconds = _timed(run_of(_LOCATIONS, UNPRUNED))
    nodes, seconds = _timed(run_of(_LOCATIONS))
    without = {}
    for rule in PRUNING_RULES:
        if rule.bit:
            more, _ = _timed(run_of(_LOCATIONS, PRUNED & ~rule.bit))
            without[rule.name] = round(more / nodes, 2)
    spread = run_of(_SPREAD_LOCATIONS)
    alone_nodes, alone_seconds = _timed(spread)
    with ProcessPoolExecutor(_WORKERS, mp_context=get_context("spawn")) as pool:
        # Both workers load the kernel before the clock starts.
        list(search_batches(run_of(_LOCATIONS).batches[: 2 * _WORKERS], executor=pool))
        started = time.perf_counter()
        list(search_batches(spread.batches, executor=pool, window=3 * _WORKERS))
        spread_seconds = time.perf_counter() - started
    return {
        "locations": _LOCATIONS,
        "nodes": nodes,
        "seconds": round(seconds, 3),
        "unpruned_nodes": unpruned_nodes,
        "unpruned_seconds": round(unpruned_seconds, 2),
        "unpruned_to_pruned_nodes": round(unpruned_nodes / nodes),
        "unpruned_to_pruned_seconds": round(unpruned_seconds / seconds),
        "times_the_nodes_without": without,
        "spread_locations": _SPREAD_LOCATIONS,
        "spread_nodes": alone_nodes,
        "nodes_per_second": round(alone_nodes / alone_seconds),
        "seconds_by_workers": {"1": round(alone_seconds, 2), "2": round(spread_seconds, 2)},
        "two_workers_to_one": round(alone_seconds / spread_seconds, 2),
    }


def _timed(run: Run) -> tuple[int, float]:
    """The nodes of a run, and the seconds that its batches take."""
    started = time.perf_counter()
    nodes = sum(found.nodes for _, found in search_batches(run.batches))
    return run.nodes + nodes, time.perf_counter() - started
