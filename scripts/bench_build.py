"""Measure builds: `python scripts/bench_build.py 2 3 4 5`, JSON on standard output.

For each number of locations every layout is wired as a traveler chain, and every single fault
judged and stored, with two workers. Beside it stands what a bare `executemany` of the same finished
rows takes, into the same table, with its indexes there from the beginning or made at the end.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import math
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Final

_ROWS_AT_ONCE: Final = 50_000
_SECONDS_BETWEEN: Final = 0.2


def build(path: Path, locations: int) -> dict[str, float | int | str]:
    """Return seconds, rows and peak memory of one build, which runs as a command of its own."""
    command = [sys.executable, "-c", "from catalogue.cli import main; main()", "build", str(path)]
    command += ["--locations", str(locations), "--scheme", "chain", "--workers", "2", "--json"]
    started = time.perf_counter()
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        peak = [0]
        watching = threading.Thread(target=_watch, args=(process, peak))
        watching.start()
        output, _ = process.communicate()
        watching.join()
    seconds = time.perf_counter() - started
    told = json.loads(output)
    return {
        "locations": locations,
        "circuits": told["circuits"],
        "faults": sum(told["faults"].values()),
        "seconds": round(seconds, 1),
        "peak_megabytes": round(peak[0] / 1e6),
        "file_megabytes": round(path.stat().st_size / 1e6, 1),
        "digest": told["digest"],
    }


def _watch(process: subprocess.Popen[str], peak: list[int]) -> None:
    """Note the highest memory use of a process and all that it started, shared pages once."""
    while process.poll() is None:
        peak[0] = max(peak[0], sum(map(_bytes, _family(process.pid))))
        time.sleep(_SECONDS_BETWEEN)


def _family(pid: int) -> list[int]:
    found = [pid]
    for parent in found:
        with contextlib.suppress(OSError):
            children = Path(f"/proc/{parent}/task/{parent}/children").read_text("ascii")
            found += map(int, children.split())
    return found


def _bytes(pid: int) -> int:
    """Return the memory of one process; pages that several share count in part for each."""
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1]) * 1024
    return 0


def bare(path: Path, folder: Path, *, indexes_first: bool) -> float:
    """Return the seconds of `executemany` for all rows of table fault, with its indexes.

    The rows go into an empty file; reading them is not counted.
    """
    copy = folder / "bare.db"
    copy.unlink(missing_ok=True)
    seconds = 0.0
    with (
        contextlib.closing(sqlite3.connect(path)) as source,
        contextlib.closing(sqlite3.connect(copy, isolation_level=None)) as target,
    ):
        (table,), *indexes = source.execute(
            "select sql from sqlite_master where tbl_name = 'fault' and sql is not null"
            " order by type desc"
        ).fetchall()
        target.execute(table)
        if indexes_first:
            for (index,) in indexes:
                target.execute(index)
        cursor = source.execute("select * from fault order by id")
        marks = ",".join("?" * len(cursor.description))
        while rows := cursor.fetchmany(_ROWS_AT_ONCE):
            started = time.perf_counter()
            target.execute("begin")
            target.executemany(f"insert into fault values ({marks})", rows)
            target.execute("commit")
            seconds += time.perf_counter() - started
        started = time.perf_counter()
        if not indexes_first:
            for (index,) in indexes:
                target.execute(index)
        seconds += time.perf_counter() - started
    copy.unlink()
    return seconds


def measure(locations: int, folder: Path) -> dict[str, float | int | str]:
    """Measure a build, and the bare statement beside it."""
    path = folder / f"{locations}.db"
    found = build(path, locations)
    seconds = float(found["seconds"])
    for name, first in (("indexes_in_place", True), ("indexes_afterwards", False)):
        alone = bare(path, folder, indexes_first=first)
        found[f"bare_{name}_seconds"] = round(alone, 1)
        found[f"build_to_bare_{name}"] = round(seconds / alone, 2)
    path.unlink()
    return found


def main() -> int:
    """Measure every size that was asked for, and how the seconds grow with the faults."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("locations", type=int, nargs="*", default=[2, 3, 4], help="sizes")
    measured = []
    with tempfile.TemporaryDirectory() as folder:
        for locations in parser.parse_args().locations:
            print(f"{locations} locations …", file=sys.stderr, flush=True)
            measured.append(measure(locations, Path(folder)))
    growth = [
        {
            "from": before["locations"],
            "to": after["locations"],
            "seconds_by_faults_to_the_power": round(
                math.log(float(after["seconds"]) / float(before["seconds"]))
                / math.log(int(after["faults"]) / int(before["faults"])),
                2,
            ),
        }
        for before, after in itertools.pairwise(measured)
    ]
    print(json.dumps({"builds": measured, "growth": growth}, indent=2))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
