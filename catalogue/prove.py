"""From planned circuits to the rows of the catalogue: pure, so that any process may do it.

Rows of faults come packed as arrays: a batch has many of them, of few different outcomes.
"""

import hashlib
import json
import platform
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from catalogue.flips import FlipsRow, flips_rows
from catalogue.pairs import PAIRS_AT, PairRows, pair_rows
from catalogue.plan import Batch, PlannedCircuit, Spec, batch_versions
from verify.bulk.judging import Bulk, Judged, Outcome
from verify.bulk.listing import Families
from verify.circuitfile import dump
from verify.faults import fault_kinds
from verify.hazards import HAZARD_NAMES
from verify.problems import Problem, UserError
from verify.verdict import NONE, VERDICTS

Numbers = npt.NDArray[np.int32]


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


@dataclass(frozen=True, slots=True)
class FaultRows:
    """The faults of one circuit, in the order of their listing.

    All (F,): `kind` is a place in `fault_kinds()`, `family` and `outcome` are places in the lists
    of the batch, `site` is the place among the sites of the kind.
    """

    kind: Numbers
    family: Numbers
    site: Numbers
    outcome: Numbers

    def __len__(self) -> int:
        return len(self.kind)


class ProfileRow(NamedTuple):
    """Faults of a batch that look alike: how many, in how many circuits, and the first of them.

    `kind`, `family` and `outcome` are places as in `FaultRows`; all that counts of the outcome are
    verdict, word and hazards. `circuit` and `fault` are places in the batch and in the circuit.
    """

    kind: int
    family: int
    outcome: int
    faults: int
    circuits: int
    circuit: int
    fault: int


@dataclass(frozen=True, slots=True)
class CircuitRows:
    """One circuit as intended and all its single faults; `verdicts` counts them by `VERDICTS`."""

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
    verdicts: tuple[int, ...]
    digest: str
    faults: FaultRows
    flips: list[FlipsRow]
    pairs: PairRows | None


@dataclass(frozen=True, slots=True)
class Proved:
    """The rows of a batch, whose circuits are of one origin, scheme and number of locations.

    `outcomes` are by their mark, the row in one text.
    """

    circuits: list[CircuitRows]
    families: list[tuple[str, str]]
    outcomes: dict[str, FoundRow]
    profile: list[ProfileRow]


def prove(specs: Sequence[Spec]) -> Proved:
    """The rows of some circuits, in their order."""
    making = _Making()
    circuits = [making.circuit_rows(spec.build()) for spec in specs]
    return Proved(circuits, list(making.families), making.outcomes, making.profile(circuits))


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


def prove_as(versions: tuple[int, int, str, str], batch: Batch) -> Proved:
    """The rows of a batch; see `as_version`."""
    as_version(versions)
    return prove(batch.specs)


class Memory:
    """What a process remembers from circuit to circuit."""

    def __init__(self) -> None:
        self.bulk = Bulk()
        self.families = Families()
        self._found: dict[int, dict[Outcome, tuple[str, FoundRow]]] = {}

    def found(self, outcome: Outcome, lamps: int) -> tuple[str, FoundRow]:
        """An outcome as it is stored, with its mark."""
        known = self._found.setdefault(lamps, {})
        if outcome not in known:
            if len(known) > _MOST_OUTCOMES:
                known.clear()
            row = found_row(outcome, lamps)
            known[outcome] = json.dumps(row, separators=(",", ":")), row
        return known[outcome]


@cache
def memory() -> Memory:
    """The memory of this process."""
    return Memory()


_MOST_OUTCOMES: Final = 100_000
_KINDS: Final = tuple(kind.name for kind in fault_kinds())


class _Making:
    """The rows of a batch in the making; families and outcomes are numbered as they come up."""

    def __init__(self) -> None:
        self.families: dict[tuple[str, str], int] = {}
        self.outcomes: dict[str, FoundRow] = {}
        self._places: dict[str, int] = {}  # in the order of `outcomes`

    def circuit_rows(self, planned: PlannedCircuit) -> CircuitRows:
        circuit = planned.circuit
        known = memory()
        judged = known.bulk.judge(circuit)
        listing = judged.listing
        families, family = as_they_come(known.families.of(listing))
        names = [known.families.names[number] for number in families]
        places = np.array([self.families.setdefault(name, len(self.families)) for name in names])
        found = [known.found(outcome, len(circuit.lamps)) for outcome in judged.outcomes]
        self.outcomes.update(found)
        # Outcomes may differ in the names of positions only: then they are one.
        numbers = np.array([self._places.setdefault(mark, len(self._places)) for mark, _ in found])
        outcome = numbers[judged.which]
        outcomes, in_order = as_they_come(outcome)
        every = list(self.outcomes)
        marks = [every[number] for number in outcomes]
        intended = judged.intended
        kind, site = listing.kind.astype(np.int32), listing.site
        verdict = np.array([outcome.verdict for outcome in judged.outcomes], np.intp)
        counts = np.bincount(verdict[judged.which], minlength=len(VERDICTS))
        with_pairs = planned.origin == "layout" and len(circuit.switches) in PAIRS_AT
        return CircuitRows(
            label=planned.label,
            name=circuit.name,
            origin=planned.origin,
            scheme=planned.scheme,
            locations=len(circuit.switches),
            lamps=len(circuit.lamps),
            boxes=len(circuit.boxes),
            verdict=VERDICTS[intended.verdict],
            word=intended.word,
            file=dump(circuit),
            engine=judged.engine,
            verdicts=tuple(counts.tolist()),
            digest=faults_digest(kind, site, names, family, marks, in_order),
            faults=FaultRows(kind, places[family].astype(np.int32), site, outcome.astype(np.int32)),
            flips=_flips(judged),
            pairs=(pair_rows(circuit, listing.faults(range(len(listing)))) if with_pairs else None),
        )

    def profile(self, circuits: Sequence[CircuitRows]) -> list[ProfileRow]:
        """The faults of all circuits, counted by all that a person can see of them."""
        looks: dict[tuple[str, str, int], int] = {}
        look = np.array(
            [
                looks.setdefault((row.verdict, row.word, row.hazard_set), len(looks))
                for row in self.outcomes.values()
            ],
            np.int64,
        )
        sizes = [len(rows.faults) for rows in circuits]
        kind, family, outcome = (
            np.concatenate([getattr(rows.faults, name) for rows in circuits]).astype(np.int64)
            for name in ("kind", "family", "outcome")
        )
        key = (kind * len(self.families) + family) * len(looks) + look[outcome]
        _, first, alike, faults = np.unique(
            key, return_index=True, return_inverse=True, return_counts=True
        )
        circuit = np.repeat(np.arange(len(circuits)), sizes)
        seen = np.unique(alike * len(circuits) + circuit) // len(circuits)
        of_each = np.bincount(seen, minlength=len(first))
        starts = np.cumsum([0, *sizes])
        columns = (
            kind[first],
            family[first],
            outcome[first],
            faults,
            of_each,
            circuit[first],
            first - starts[circuit[first]],
        )
        return [ProfileRow(*row) for row in zip(*(c.tolist() for c in columns), strict=True)]


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


def as_they_come(numbers: npt.NDArray[Any]) -> tuple[list[int], npt.NDArray[np.intp]]:
    """The different numbers in the order in which they come, and which of them each is."""
    different, first, alike = np.unique(numbers, return_index=True, return_inverse=True)
    order = np.argsort(first)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return different[order].tolist(), place[alike]


def faults_digest(
    kind: npt.NDArray[Any],
    site: npt.NDArray[Any],
    families: Sequence[tuple[str, str]],
    family: npt.NDArray[Any],
    marks: Sequence[str],
    outcome: npt.NDArray[Any],
) -> str:
    """A hash over the faults of a circuit in their order, whatever numbers a file gives them.

    `families` and the `marks` of outcomes are in the order in which they first come up.
    """
    total = hashlib.sha256(json.dumps([_KINDS, families]).encode())
    total.update("\n".join(marks).encode())
    for column in (kind, site, family, outcome):
        total.update(column.astype("<i4").tobytes())
    return total.hexdigest()[:32]


def _flips(judged: Judged) -> list[FlipsRow]:
    """How to test a circuit, from the verdicts on its faults."""
    if not len(judged.which):
        return []
    return flips_rows(
        np.array([outcome.codes for outcome in judged.outcomes], np.int64),
        np.array(judged.intended.codes, np.int64),
        np.array([outcome.verdict for outcome in judged.outcomes], np.int32),
        np.bincount(judged.which, minlength=len(judged.outcomes)),
    )
