"""A census is run, kept in a file as far as it is done, and summed up here."""

import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from catalogue.build.workforce import processes
from catalogue.report.terminal import file_name
from verify.base.problems import Problem, UserError
from verify.study.census.pruning import PRUNED
from verify.study.census.search import VERSION, Found, run_of, search_batches
from verify.study.census.terminals import CensusParts, Wiring, parts_of
from verify.study.census.wiring_families import Family, families_of

#: How many batches may be under way at once for each worker.
_WINDOW: Final = 3
#: The file writes the number of a terminal's join as one of these digits.
_DIGITS: Final = "0123456789abcdefghijklmnopqrstuvwxyz"

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Census:
    """Every wiring with any-location control, in families; `nodes` terminals were placed for it."""

    parts: CensusParts
    families: tuple[Family, ...]
    nodes: int

    @property
    def any_location(self) -> int:
        """The number of wirings that never trip and give any-location control."""
        return sum(family.wirings for family in self.families)


def take_census(
    locations: int,
    rules: int = PRUNED,
    *,
    workers: int = 1,
    keep: Path | None = None,
    progress: Progress = lambda done, total: None,
) -> Census:
    """Count the wirings of so many locations, on so many processes.

    `progress` is called with the batches done and planned. With `keep` every batch that is done is
    kept in that file at once, and the same call goes on from there, with any number of workers.
    Raises UserError for a file that is something else.
    """
    run = run_of(locations, rules)
    kept = _BatchFile(keep, locations, rules, len(run.batches)) if keep else None
    done = dict(kept.done) if kept else {}
    todo = [batch for batch in run.batches if batch.number not in done]
    progress(len(done), len(run.batches))
    with processes(workers if len(todo) > 1 else 1) as force:
        window = workers * _WINDOW
        for batch, found in search_batches(todo, executor=force.executor, window=window):
            done[batch.number] = found
            if kept:
                kept.add(batch.number, found)
            progress(len(done), len(run.batches))
    parts = parts_of(locations)
    wirings = (wiring for found in done.values() for wiring in found.wirings)
    nodes = run.nodes + sum(found.nodes for found in done.values())
    return Census(parts, families_of(parts, wirings), nodes)


class _BatchFile:
    """A file that keeps finished batches; it is replaced as a whole, so it is never half written.

    It is JSON: it says which run it belongs to, and for each batch how many nodes were visited and
    the wirings that were found, a digit for each terminal.
    """

    def __init__(self, path: Path, locations: int, rules: int, batches: int) -> None:
        self._path = path
        self._batches = batches
        self._run = {"census": VERSION, "locations": locations, "rules": rules}
        self.done: dict[int, Found] = {}
        if path.exists():
            self._read()

    def add(self, number: int, found: Found) -> None:
        """Keep one more finished batch."""
        self.done[number] = found
        text = json.dumps(
            {**self._run, "done": {n: _batch_as_json(f) for n, f in self.done.items()}}
        )
        beside = self._path.with_name(f"{self._path.name}.{os.getpid()}")
        beside.write_text(text, "utf-8")
        beside.replace(self._path)

    def _read(self) -> None:
        try:
            held = json.loads(self._path.read_text("utf-8"))
            run = {name: held[name] for name in self._run}
            done = {int(number): _found(form) for number, form in held["done"].items()}
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise self._refusal("it holds no run of a census") from error
        if run != self._run:
            raise self._refusal(
                f"it is of another run, version {run['census']}, {run['locations']} locations, "
                f"rules {run['rules']}"
            )
        if not done.keys() <= set(range(self._batches)):
            raise self._refusal("it holds no run of a census")
        self.done = done

    def _refusal(self, why: str) -> UserError:
        return UserError(
            [Problem(f"--resume={file_name(self._path)}", f"{why}; write the name of a new file")]
        )


def _batch_as_json(found: Found) -> dict[str, object]:
    return {
        "nodes": found.nodes,
        "wirings": ["".join(_DIGITS[join] for join in wiring) for wiring in found.wirings],
    }


def _found(form: Mapping[str, Sequence[str]]) -> Found:
    wirings: list[Wiring] = [tuple(map(_DIGITS.index, text)) for text in form["wirings"]]
    return Found(tuple(wirings), int(str(form["nodes"])))
