"""Planned circuits become rows of the catalogue here, by pure functions that any process may run.

Rows of faults are packed as arrays: a batch has many faults, but few different outcomes.
"""

import platform
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from catalogue.prove.build_plan import CircuitBatch, PlannedCircuit, Spec, batch_versions
from catalogue.prove.cache import BatchPlaces, FoundRow, thread_cache
from catalogue.prove.flip_rows import MOST_SWITCHES, FlipsRow, flips_rows
from catalogue.prove.grouping import group_alike, interned
from catalogue.prove.pair_rows import PAIRS_AT, PairRows, pair_rows
from verify.base.problems import Problem, UserError
from verify.behaviour.judgement import VERDICTS
from verify.circuit.file import dump
from verify.sweep.fault_judging import JudgedFaults

Numbers = npt.NDArray[np.int32]
Counts = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class FaultRows:
    """The faults of one circuit, in the order of their listing.

    Arrays of shape (faults,): `kind` is a place in `fault_kinds()`, `family` and `outcome` are
    places in the lists of the batch, `site` is the place among the sites of the kind.
    """

    kind: Numbers
    family: Numbers
    site: Numbers
    outcome: Numbers

    def __len__(self) -> int:
        return len(self.kind)


class Profile(NamedTuple):
    """Groups of faults of a batch that look alike: their number, their circuits, the first of them.

    Arrays of shape (groups,), in the order in which the groups first occur. `kind`, `family` and
    `outcome` are places as in `FaultRows`; of the outcome only verdict, word and hazards count.
    `first` is a place among all faults of the batch.
    """

    kind: Counts
    family: Counts
    outcome: Counts
    faults: Counts
    circuits: Counts
    first: Counts


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
    """The rows of a batch, whose circuits have one origin, scheme and number of locations.

    `outcomes` maps the mark of each row, its text, to the row.
    """

    circuits: list[CircuitRows]
    families: list[tuple[str, str]]
    outcomes: dict[str, FoundRow]
    profile: Profile


def prove(specs: Sequence[Spec]) -> Proved:
    """Prove all single faults of some circuits; return their rows in the order of the circuits."""
    making = _Making()
    return making.proved([making.circuit_rows(spec.build()) for spec in specs])


def as_version(versions: tuple[int, int, str, str]) -> None:
    """Raise UserError if this process, perhaps a worker far away, has other versions."""
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


def prove_as(versions: tuple[int, int, str, str], batch: CircuitBatch) -> Proved:
    """Prove a batch if this process has the right versions; see `as_version`."""
    as_version(versions)
    return prove(batch.specs)


class _Making:
    """A batch in the making; families and outcomes get places in the order in which they occur."""

    def __init__(self) -> None:
        self.cache = thread_cache()
        self._families = BatchPlaces()
        self._outcomes = BatchPlaces()

    def circuit_rows(self, planned: PlannedCircuit) -> CircuitRows:
        circuit = planned.circuit
        cache = self.cache
        judged = cache.bulk.judge(circuit)
        listing = judged.listing
        kind, site = listing.kind.astype(np.int32), listing.site
        family, outcome = cache.families.of(listing), cache.row_of(judged)
        intended = judged.intended
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
            verdicts=cache.verdicts(outcome),
            digest=cache.digest(kind, site, family, outcome),
            faults=FaultRows(
                kind,
                self._families.of(family, len(cache.families.names)),
                site,
                self._outcomes.of(outcome, len(cache.rows)),
            ),
            flips=_flips(judged),
            pairs=(pair_rows(circuit, listing.faults(range(len(listing)))) if with_pairs else None),
        )

    def proved(self, circuits: list[CircuitRows]) -> Proved:
        """Return the rows of the whole batch."""
        cache = self.cache
        families = [cache.families.names[number] for number in self._families.met]
        outcomes = {cache.marks[number]: cache.rows[number] for number in self._outcomes.met}
        profile = _profile(circuits, len(families), list(outcomes.values()))
        return Proved(circuits, families, outcomes, profile)


def _profile(
    circuits: Sequence[CircuitRows], families: int, outcomes: Sequence[FoundRow]
) -> Profile:
    """Count the faults of all circuits by everything that a person can see of them."""
    look = interned(row.look for row in outcomes)
    faults = [rows.faults for rows in circuits]
    kind, family, outcome = (
        np.concatenate([getattr(own, name) for own in faults]).astype(np.int64)
        for name in ("kind", "family", "outcome")
    )
    keys = (kind * families + family) * len(look) + look[outcome]
    groups = group_alike(np.split(keys, np.cumsum([len(own) for own in faults[:-1]])))
    first = groups.first
    return Profile(
        kind[first], family[first], outcome[first], groups.faults, groups.circuits, first
    )


def _flips(judged: JudgedFaults) -> list[FlipsRow]:
    """Plan how to test a circuit, from the verdicts on its faults."""
    if not len(judged.which) or len(judged.intended.codes) > 1 << MOST_SWITCHES:
        return []
    numbers, faults = np.unique(judged.which, return_counts=True)
    outcomes = [judged.outcomes[number] for number in numbers.tolist()]
    return flips_rows(
        np.array([outcome.codes for outcome in outcomes], np.int64),
        np.array(judged.intended.codes, np.int64),
        np.array([outcome.verdict for outcome in outcomes], np.int32),
        faults,
    )
