"""Each thread caches what it has proved, from circuit to circuit, and hashes of it.

Outcomes and families of faults are interned: each has a number in the cache. A batch numbers those
that it uses anew, and so does a file. Hashes do not depend on any of these numbers.
"""

import hashlib
import json
import threading
from collections.abc import Callable, Sequence
from typing import Any, Final, Generic, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from verify.behaviour.judgement import VERDICTS
from verify.fault.registry import fault_kinds
from verify.hazard.definitions import HAZARD_NAMES
from verify.sweep.family_numbers import Families
from verify.sweep.fault_judging import Bulk, JudgedFaults
from verify.sweep.fault_outcomes import Outcome
from verify.sweep.interning import intern_numbers
from verify.verdict.judging import NONE

Numbers = npt.NDArray[np.int64]
Hashes = npt.NDArray[np.uint64]
_T = TypeVar("_T")
_N = TypeVar("_N", bound=np.generic)

#: A cache with more outcomes is replaced by an empty one before the next batch.
_MOST_OUTCOMES: Final = 100_000
_KINDS: Final = json.dumps([kind.name for kind in fault_kinds()]).encode()


class FoundRow(NamedTuple):
    """The stored facts of faults that are alike; `hazards` holds names with states, in order."""

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
        """The hazards as bits: bit i is set for hazard i of `HAZARDS`."""
        return sum(1 << HAZARD_NAMES.index(name) for name, _ in self.hazards)

    @property
    def look(self) -> tuple[str, str, int]:
        """The facts that a person can see, whichever state shows them."""
        return self.verdict, self.word, self.hazard_set

    @property
    def mark(self) -> str:
        """The whole row as one text, which identifies it."""
        return json.dumps(self, separators=(",", ":"))


def found_row(outcome: Outcome, lamps: int) -> FoundRow:
    """Turn an outcome into the row that is stored."""
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


class _GrowingArray(Generic[_T, _N]):
    """An array with one number for each thing of a list, extended as the list grows."""

    def __init__(self, things: Sequence[_T], number: Callable[[_T], int], kind: type[_N]) -> None:
        self._things, self._number = things, number
        self._numbers = np.zeros(0, kind)

    def all(self) -> npt.NDArray[_N]:
        """Return the numbers of all things that are in the list now."""
        known = self._numbers
        if len(known) < len(self._things):
            more = [self._number(thing) for thing in self._things[len(known) :]]
            self._numbers = np.concatenate((known, np.array(more, known.dtype)))
        return self._numbers


class ProvingCache:
    """The cache of a thread: all outcomes and families that it has met, by number."""

    def __init__(self) -> None:
        self.bulk = Bulk()
        self.families = Families()
        self.rows: list[FoundRow] = []
        self.marks: list[str] = []
        self._numbers: dict[str, int] = {}
        self._row_of: dict[int, _GrowingArray[Outcome, np.int64]] = {}
        self._verdicts = _GrowingArray(self.rows, lambda row: VERDICTS.index(row.verdict), np.int64)
        self._row_hashes = _GrowingArray(self.marks, hash64, np.uint64)
        self._family_hashes = _GrowingArray(self.families.names, family_hash, np.uint64)

    def row_of(self, judged: JudgedFaults) -> Numbers:
        """Return the place of each fault in `rows`; outcomes that are stored alike are one row."""
        lamps = len(judged.listing.wiring.circuit.lamps)
        if lamps not in self._row_of:
            every = self.bulk.outcomes.every
            self._row_of[lamps] = _GrowingArray(
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
        """Count the verdicts of some rows, in the order of `VERDICTS`."""
        counts = np.bincount(self._verdicts.all()[row], minlength=len(VERDICTS))
        return tuple(counts.tolist())

    def digest(
        self, kind: npt.NDArray[Any], site: npt.NDArray[Any], family: Numbers, row: Numbers
    ) -> str:
        """Hash the faults of a circuit; see `faults_digest`."""
        return faults_digest(
            kind, site, self._family_hashes.all()[family], self._row_hashes.all()[row]
        )


class BatchPlaces:
    """Renumbers the numbers of the cache for a batch: 0 for the first that is met, and so on."""

    def __init__(self) -> None:
        self._place_of = np.zeros(0, np.int64)
        self._met = np.zeros(0, np.int64)
        self._count = 0

    @property
    def met(self) -> list[int]:
        """The numbers of the cache that were met, in the order of their places."""
        met: list[int] = self._met[: self._count].tolist()
        return met

    def of(self, numbers: Numbers, most: int) -> npt.NDArray[np.int32]:
        """Return the place of each of `numbers`, all below `most`."""
        if most > len(self._place_of):
            more = np.full(most - len(self._place_of), -1, np.int64)
            self._place_of = np.concatenate((self._place_of, more))
            self._met = np.concatenate((self._met, more))
        places = numbers.copy()
        self._count = intern_numbers(places, self._place_of, self._met, self._count)
        return places.astype(np.int32)


class _ThreadLocalCache(threading.local):
    """Each thread has a cache of its own: workers of a cluster may be threads of one process."""

    cache: ProvingCache | None = None


_THREAD: Final = _ThreadLocalCache()


def thread_cache() -> ProvingCache:
    """Return the cache of this thread, or an empty one if it is too full; ask once a batch."""
    kept = _THREAD.cache
    if kept is None or len(kept.bulk.outcomes) > _MOST_OUTCOMES:
        kept = _THREAD.cache = ProvingCache()
    return kept


def hash64(text: str) -> int:
    """Return a hash of a text in 64 bits, the same on every machine."""
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "little")


def family_hash(name: Sequence[str]) -> int:
    """Return a hash in 64 bits of the name and the place of a family."""
    return hash64(json.dumps(name))


def faults_digest(
    kind: npt.NDArray[Any], site: npt.NDArray[Any], family: Hashes, mark: Hashes
) -> str:
    """Hash the faults of a circuit in their order, independently of the ids in a file.

    Arrays of shape (faults,): the place of the kind in `fault_kinds()`, the site, and the hashes of
    family and mark.
    """
    total = hashlib.blake2b(_KINDS, digest_size=16)
    for column in (kind.astype("<i4"), site.astype("<i4"), family, mark):
        total.update(column.astype(column.dtype.newbyteorder("<")).tobytes())
    return total.hexdigest()
