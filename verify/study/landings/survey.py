"""Judges all ways to land the free ends of a circuit that work.

The search proves which ways give any-location control; engines then judge one of each family. An
engine that knows only connections must find what the search found, or there is a `BugError`; the
one that finds the hazards may know volts and overrule it, as with a lamp too large for its breaker.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from verify.base.problems import BugError
from verify.behaviour.judgement import MIMIC, SOUND, Judgement
from verify.circuit.model import Circuit
from verify.engine.contract import Engine
from verify.engine.words import WordsEngine
from verify.fault.change import changed
from verify.hazard.definitions import HAZARD_NAMES
from verify.study.landings.instance import LandingInstance
from verify.study.landings.kinship import Distances, Indices, distances, families
from verify.study.landings.partitions import NO_WAY, codes, partitions
from verify.study.landings.search import search
from verify.verdict.judging import NONE, judge, judge_faults

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class WayClass:
    """All ways that work and have the same hazards.

    `exchanges` and `moves` are those of the member that is nearest to the intended wiring:
    the fewest exchanges of two ends of one box, None if no member can be reached by such, and the
    fewest ends to land elsewhere. `example` is that member.
    """

    hazards: tuple[str, ...]
    ways: int
    families: int
    exchanges: int | None
    moves: int
    example: Circuit

    @property
    def verdict(self) -> str:
        """``sound`` or ``mimic``."""
        return "mimic" if self.hazards else "sound"


@dataclass(frozen=True, slots=True)
class Landings:
    """The result of a survey of all ways to land the free ends of one circuit.

    `renamings` is how many ways are the intended wiring but for names of travelers and conductors,
    0 if the intended wiring does not work.
    """

    instance: LandingInstance
    intended: Judgement
    renamings: int
    classes: tuple[WayClass, ...]
    engine: str

    @property
    def any_location(self) -> int:
        """How many ways give any-location control."""
        return sum(found.ways for found in self.classes)

    @property
    def families(self) -> int:
        """How many ways that work differ by more than the names of travelers and conductors."""
        return sum(found.families for found in self.classes)

    @property
    def sound(self) -> int:
        """How many ways are sound."""
        return sum(found.ways for found in self.classes if not found.hazards)

    @property
    def by_hazard(self) -> dict[str, int]:
        """How many of the ways that work have each hazard, in the order of `HAZARDS`."""
        counts = {
            name: sum(found.ways for found in self.classes if name in found.hazards)
            for name in HAZARD_NAMES
        }
        return {name: count for name, count in counts.items() if count}


def survey(
    circuit: Circuit,
    engine: Engine,
    *,
    workers: int = 1,
    progress: Progress = lambda done, total: None,
) -> Landings:
    """Count and judge every way to land the free ends; `engine` finds the hazards.

    Raises `CircuitError` where they cannot be counted, see `verify.study.landings.instance`.
    """
    instance = LandingInstance(circuit)
    ways = search(instance, workers=workers, progress=progress)
    family = families(instance, ways)
    firsts, member_of = np.unique(family, return_inverse=True)
    hazards, works = _judged_ways(instance, ways[firsts], engine)
    apart = distances(instance, ways)
    masks = hazards @ (1 << np.arange(len(HAZARD_NAMES), dtype=np.int64))
    of_way = np.where(works, masks, -1)[member_of]
    classes = [
        _class(instance, ways, np.flatnonzero(of_way == mask), family, apart, int(mask))
        for mask in np.unique(masks[works])
    ]
    classes.sort(key=lambda found: (bool(found.hazards), -found.ways, found.hazards))
    return Landings(
        instance,
        judge(circuit, engine),
        _renamings_of_intended(instance, ways[of_way != -1], family[of_way != -1]),
        tuple(classes),
        engine.name,
    )


def _judged_ways(
    instance: LandingInstance, ways: Indices, engine: Engine
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Return the hazards of each way (ways, hazards), and whether it works by the engine."""
    faults = [instance.fault(number, rows) for number, rows in enumerate(_rows(instance, ways))]
    hazards = np.zeros((len(ways), len(HAZARD_NAMES)), np.int64)
    works = np.zeros(len(ways), np.bool_)
    start = 0
    for part, _, found in judge_faults(instance.circuit, faults, engine):
        rows = slice(start, start + len(part))
        hazards[rows] = found.hazard_state != NONE
        works[rows] = np.isin(found.verdict, (SOUND, MIMIC))
        start += len(part)
    for _, _, found in judge_faults(instance.circuit, faults, WordsEngine()):
        if not np.isin(found.verdict, (SOUND, MIMIC)).all():
            raise BugError("a way was counted that the engine words says does not work")
    return hazards, works


def _rows(instance: LandingInstance, ways: Indices) -> list[list[Sequence[int]]]:
    """Return each way as the group of each free end of each box."""
    columns = [
        partitions(len(box.ends))[ways[:, place]].tolist()
        for place, box in enumerate(instance.boxes)
    ]
    return [[*way] for way in zip(*columns, strict=True)] if columns else [[] for _ in ways]


def _class(
    instance: LandingInstance,
    ways: Indices,
    members: Indices,
    family: Indices,
    apart: Distances,
    mask: int,
) -> WayClass:
    nearest = apart.nearest(members)
    exchanges = int(apart.exchanges[nearest])
    (rows,) = _rows(instance, ways[[nearest]])
    return WayClass(
        tuple(name for bit, name in enumerate(HAZARD_NAMES) if mask >> bit & 1),
        len(members),
        len(np.unique(family[members])),
        None if exchanges == NO_WAY else exchanges,
        int(apart.moves[members].min()),
        changed(instance.wiring, instance.fault(nearest, rows).change),
    )


def _renamings_of_intended(instance: LandingInstance, ways: Indices, family: Indices) -> int:
    number = [
        int(np.searchsorted(codes(partitions(len(box.ends))), codes(row)[0]))
        for box, row in zip(instance.boxes, instance.intended, strict=True)
    ]
    own = np.flatnonzero((ways == number).all(axis=1))
    return int((family == family[own[0]]).sum()) if len(own) else 0
