"""Measure what the README claims: `python scripts/bench.py`, JSON on standard output.

Every figure is a ratio within one run on this machine, or comes with what it was measured beside.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Final

from bench_census import census
from bench_electric import electric
from bench_landings import landings
from catalogue.build.sweep import build
from catalogue.build.workforce import processes
from catalogue.desk.answer import Answer
from catalogue.desk.checks import check_kinds
from catalogue.desk.suspect_pool import SuspectPool, pool_of_catalogue, pool_of_circuit
from catalogue.desk.symptoms import Symptoms
from catalogue.store.rendering import register_text_functions
from verify.behaviour.signature import LIT
from verify.circuit.model import Circuit
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.contract import Fault
from verify.fault.network import Flattener
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout
from verify.verdict.judging import verdicts

#: A chain of boxes with feed and lamp in the middle; only its length is special.
LAYOUTS: Final = {2: "1.f.1", 4: "1.f.1.2.3", 6: "1.f.1.2.3.4.5"}

#: For each number of locations, how many faulted circuits every tool judges.
PEERS: Final = {2: 200, 4: 100, 6: 40, 8: 12}


def rate(work: Callable[[], object], amount: int, seconds: float) -> float:
    """Return how much of `amount` is done a second by `work`: the best of `seconds` of repeats."""
    best = 0.0
    end = time.perf_counter() + seconds
    while best == 0.0 or time.perf_counter() < end:
        started = time.perf_counter()
        work()
        best = max(best, amount / (time.perf_counter() - started))
    return best


def engines(locations: int, seconds: float) -> dict[str, float | int]:
    """Return how many faulted circuits each engine judges a second, on the same faults.

    *words* gets arrays that are prepared, whose cost is given beside it; *paths* gets the faulted
    circuits. Both find verdicts with all hazards.
    """
    circuit = Layout.parse(LAYOUTS[locations]).circuit("chain")
    faults = [fault for fault in all_faults(circuit) if fault.change.rebuilt is None]
    flattener = Flattener(circuit)
    changes = [fault.change for fault in faults]
    batch = flattener.batch(changes * 8)
    words = WordsEngine()
    verdicts(words.observe_batch(batch))  # this compiles the kernel if nobody has yet
    sample = _every_nth(circuit, faults, 200 if locations < 6 else 20)
    paths = PathsEngine()
    result: dict[str, float | int] = {
        "locations": locations,
        "faults": len(faults),
        "enumerate_per_second": rate(lambda: all_faults(circuit), len(faults), seconds),
        "prepare_per_second": rate(lambda: flattener.batch(changes), len(faults), seconds),
        "words_observe_per_second": rate(lambda: words.observe_batch(batch), len(batch), seconds),
        "words_judge_per_second": rate(
            lambda: verdicts(words.observe_batch(batch)), len(batch), seconds
        ),
        "paths_observe_per_second": rate(
            lambda: [paths.observe(faulted) for faulted in sample], len(sample), seconds
        ),
    }
    result["words_to_paths"] = (
        result["words_observe_per_second"] / result["paths_observe_per_second"]
    )
    return {key: _rounded(value) for key, value in result.items()}


def _every_nth(circuit: Circuit, faults: list[Fault], count: int) -> list[Circuit]:
    step = max(1, len(faults) // count)
    return [fault.apply(circuit) for fault in faults[::step]]


def desk(seconds: float) -> dict[str, float | int]:
    """Return the milliseconds for an answer of the symptom desk, with groups and next check."""
    four = Layout.parse(LAYOUTS[4]).circuit("chain")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.db"
        build(path, [2, 3], hire=partial(processes, os.cpu_count() or 1))
        with closing(sqlite3.connect(path)) as connection:
            register_text_functions(connection)

            def of_circuit() -> None:
                _answer(pool_of_circuit(four), any_order=False)

            def of_catalogue() -> None:
                for locations in (2, 3):
                    pool = pool_of_catalogue(connection.execute, locations)
                    _answer(pool, any_order=True)

            of_circuit()  # this loads the compiled kernel
            measured = {
                "circuit_of_four_locations_ms": 1000 / rate(of_circuit, 1, seconds),
                "catalogue_of_two_and_three_locations_ms": 1000 / rate(of_catalogue, 1, seconds),
            }
    return {key: _rounded(value) for key, value in measured.items()}


def _answer(pool: SuspectPool, *, any_order: bool) -> None:
    """Work out the desk's answer for a light that is on in the first two states tried."""
    symptoms = Symptoms(pool.switches, {0: LIT, 1: LIT}, as_found=any_order)
    answer = Answer(pool, symptoms, {}, check_kinds(), any_order)
    answer.to_json()


def side_by_side() -> list[dict[str, object]]:
    """Compare Miswire's engines with general tools, which come with the extra ``bench``."""
    try:
        from bench_peers import peers
    except ModuleNotFoundError as error:
        print(f"left out, {error.name} is missing: pip install -e '.[bench]'", file=sys.stderr)
        return []
    found = []
    for locations, count in PEERS.items():
        print(f"{locations} locations, side by side …", file=sys.stderr, flush=True)
        found.append(peers(locations, count))
    return found


def _rounded(value: float) -> float | int:
    return round(value) if value >= 100 else round(value, 2)


def main() -> int:
    """Run every measurement and print it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seconds", type=float, default=2.0, help="time for each figure")
    arguments = parser.parse_args()
    measured = []
    for locations in LAYOUTS:
        print(f"{locations} locations …", file=sys.stderr, flush=True)
        measured.append(engines(locations, arguments.seconds))
    volts = []
    for locations in (2, 4):
        print(f"{locations} locations, volts and amperes …", file=sys.stderr, flush=True)
        circuit = Layout.parse(LAYOUTS[locations]).circuit("chain")
        found = electric(circuit, rate, arguments.seconds)
        volts.append({"locations": locations} | {k: _rounded(v) for k, v in found.items()})
    beside = side_by_side()
    print("census …", file=sys.stderr, flush=True)
    counted = census()
    print("landings …", file=sys.stderr, flush=True)
    landed = landings()
    print(
        json.dumps(
            {
                "python": platform.python_version(),
                "machine": platform.machine(),
                "processors": os.cpu_count(),
                "engines": measured,
                "side_by_side": beside,
                "electric": volts,
                "census": counted,
                "landings": landed,
                "desk": desk(arguments.seconds),
            },
            indent=2,
        )
    )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
