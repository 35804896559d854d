"""What a thread remembers from circuit to circuit, and hashes of what is found of faults.

All that is found of a fault, and what a fault is called, has a number here; a batch gives them
places of its own, as a file gives them numbers of its own. Hashes do not depend on any of these.
"""

import hashlib
import json
import threading
from collections.abc import Callable, Sequence
from typing import Any, Final, Generic, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from verify.behaviour.hazards import HAZARD_NAMES
from verify.behaviour.judgement import VERDICTS
from verify.fault.registry import fault_kinds
from verify.sweep.family_numbers import Families
from verify.sweep.fault_judging import Bulk, JudgedFaults
from verify.sweep.fault_outcomes import Outcome
from verify.sweep.interning import intern_numbers
from verify.verdict.judging import NONE

Numbers = npt.NDArray[np.int64]
Hashes = npt.NDArray[np.uint64]
_T = TypeVar("_T")
_N = TypeVar("_N", bound=np.generic)

#: Outcomes with which a thread forgets everything before the next batch.
_MOST_OUTCOMES: Final = 100_000
_KINDS: Final = json.dumps([kind.name for kind in fault_kinds()]).encode()


class FoundRow(NamedTuple):
    """All that is found of faults that are alike; `hazards` are names with states, in order."""

    verdict: str
    word: str
    lamps: int
    state: int | None
    switch: int | None
    lamp: int | None
    by_volts: int
    hazards: tuple[tuple[str, int], ...]

    @property
    def hazard_set(self) -> int:
        """Bit i is set for hazard i of `HAZARDS`."""
        return sum(1 << HAZARD_NAMES.index(name) for name, _ in self.hazards)

    @property
    def look(self) -> tuple[str, str, int]:
        """What a person can see of it, wherever it shows."""
        return self.verdict, self.word, self.hazard_set

    @property
    def mark(self) -> str:
        """The row in one text."""
        return json.dumps(self, separators=(",", ":"))


def found_row(outcome: Outcome, lamps: int) -> FoundRow:
    """An outcome as it is stored."""
    state, switch, lamp = (
        None if number == NONE else number
        for number in (outcome.state, outcome.switch, outcome.lamp)
    )
    return FoundRow(
        VERDICTS[outcome.verdict],
        outcome.word,
        lamps,
        state,
        switch,
        lamp,
        int(outcome.by_volts),
        tuple((HAZARD_NAMES[number], state) for number, state in outcome.hazards),
    )


class _NumberOf(Generic[_T, _N]):
    """A number for each thing of a list that grows."""

    def __init__(self, things: Sequence[_T], number: Callable[[_T], int], kind: type[_N]) -> None:
        self._things, self._number = things, number
        self._numbers = np.zeros(0, kind)

    def all(self) -> npt.NDArray[_N]:
        """The numbers of all things that are there now."""
        known = self._numbers
        if len(known) < len(self._things):
            more = [self._number(thing) for thing in self._things[len(known) :]]
            self._numbers = np.concatenate((known, np.array(more, known.dtype)))
        return self._numbers


class Memory:
    """What is remembered: all rows that were found, and all families."""

    def __init__(self) -> None:
        self.bulk = Bulk()
        self.families = Families()
        self.rows: list[FoundRow] = []
        self.marks: list[str] = []
        self._numbers: dict[str, int] = {}
        self._row_of: dict[int, _NumberOf[Outcome, np.int64]] = {}
        self._verdicts = _NumberOf(self.rows, lambda row: VERDICTS.index(row.verdict), np.int64)
        self._row_hashes = _NumberOf(self.marks, text_hash, np.uint64)
        self._family_hashes = _NumberOf(self.families.names, name_hash, np.uint64)

    def row_of(self, judged: JudgedFaults) -> Numbers:
        """For each fault the place in `rows`; outcomes may differ in names of positions only."""
        lamps = len(judged.listing.wiring.circuit.lamps)
        if lamps not in self._row_of:
            every = self.bulk.outcomes.every
            self._row_of[lamps] = _NumberOf(
                every, lambda outcome: self._row(outcome, lamps), np.int64
            )
        return self._row_of[lamps].all()[judged.which]

    def _row(self, outcome: Outcome, lamps: int) -> int:
        row = found_row(outcome, lamps)
        number = self._numbers.setdefault(row.mark, len(self.rows))
        if number == len(self.rows):
            self.rows.append(row)
            self.marks.append(row.mark)
        return number

    def verdicts(self, row: Numbers) -> tuple[int, ...]:
        """How many of some rows have each of `VERDICTS`."""
        counts = np.bincount(self._verdicts.all()[row], minlength=len(VERDICTS))
        return tuple(counts.tolist())

    def digest(
        self, kind: npt.NDArray[Any], site: npt.NDArray[Any], family: Numbers, row: Numbers
    ) -> str:
        """See `faults_digest`."""
        return faults_digest(
            kind, site, self._family_hashes.all()[family], self._row_hashes.all()[row]
        )


class Places:
    """Places of numbers, as they come."""

    def __init__(self) -> None:
        self._place_of = np.zeros(0, np.int64)
        self._met = np.zeros(0, np.int64)
        self._count = 0

    @property
    def met(self) -> list[int]:
        """The numbers by their places."""
        met: list[int] = self._met[: self._count].tolist()
        return met

    def of(self, numbers: Numbers, most: int) -> npt.NDArray[np.int32]:
        """The place of each of `numbers`, which are below `most`."""
        if most > len(self._place_of):
            more = np.full(most - len(self._place_of), -1, np.int64)
            self._place_of = np.concatenate((self._place_of, more))
            self._met = np.concatenate((self._met, more))
        places = numbers.copy()
        self._count = intern_numbers(places, self._place_of, self._met, self._count)
        return places.astype(np.int32)


class _Kept(threading.local):
    """Each thread has a memory of its own: workers of a cluster may be threads of one process."""

    memory: Memory | None = None


_KEPT: Final = _Kept()


def memory() -> Memory:
    """The memory of this thread, or a fresh one if it holds too much; ask once for each batch."""
    kept = _KEPT.memory
    if kept is None or len(kept.bulk.outcomes) > _MOST_OUTCOMES:
        kept = _KEPT.memory = Memory()
    return kept


def text_hash(text: str) -> int:
    """A text in 64 bits, the same on every machine."""
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "little")


def name_hash(name: Sequence[str]) -> int:
    """The name and the place of a family in 64 bits."""
    return text_hash(json.dumps(name))


def faults_digest(
    kind: npt.NDArray[Any], site: npt.NDArray[Any], family: Hashes, mark: Hashes
) -> str:
    """A hash over the faults of a circuit in their order, whatever numbers a file gives them.

    All (F,): the place of the kind in `fault_kinds()`, the site, and the hashes of family and mark.
    """
    total = hashlib.blake2b(_KINDS, digest_size=16)
    for column in (kind.astype("<i4"), site.astype("<i4"), family, mark):
        total.update(column.astype(column.dtype.newbyteorder("<")).tobytes())
    return total.hexdigest()
