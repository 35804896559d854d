"""A build is planned before it starts: circuits in batches, whose ids are hashes of their content.

The id of a batch is a hash over its circuits and over every version that can change its rows, so a
batch that is stored under its id never has to be computed again.
"""

import hashlib
import itertools
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from verify.circuit.file import FORMAT
from verify.circuit.model import Circuit
from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import fault_kinds
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES
from verify.sweep import VERSION as BULK_VERSION

#: Raise this whenever rows change for a reason that no other version shows.
ROWS_VERSION: Final = 5

#: Circuits in a batch, about a second of work; there are fewer where pairs of faults are judged.
_BATCH_WORK: Final = 2400
_WITH_PAIRS: Final = {2: 9, 3: 8}


@dataclass(frozen=True, slots=True)
class PlannedCircuit:
    """A circuit as intended, with the columns that are known before it is judged."""

    label: str
    origin: str
    scheme: str
    circuit: Circuit


@dataclass(frozen=True, slots=True)
class LayoutSpec:
    """This stands for one layout, wired by one sound scheme."""

    scheme: str
    layout: str

    def build(self) -> PlannedCircuit:
        """Return the circuit that this stands for."""
        circuit = Layout.parse(self.layout).circuit(self.scheme)
        return PlannedCircuit(f"{self.scheme}-{self.layout}", "layout", self.scheme, circuit)


@dataclass(frozen=True, slots=True)
class DrawnSpec:
    """This stands for one random circuit, number `index` of those of a seed."""

    seed: int
    index: int

    def build(self) -> PlannedCircuit:
        """Return the circuit that this stands for."""
        drawn = sample(self.seed, self.index)
        return PlannedCircuit(drawn.label, "drawn", drawn.scheme, drawn.circuit)


Spec = LayoutSpec | DrawnSpec


@dataclass(frozen=True, slots=True)
class CircuitBatch:
    """Circuits that are computed and stored together."""

    id: str
    specs: tuple[Spec, ...]


@dataclass(frozen=True, slots=True)
class BuildPlan:
    """A whole build; equal ids mean equal content. A `summary` keeps counts in place of rows."""

    locations: tuple[int, ...]
    schemes: tuple[str, ...]
    drawn: int
    seed: int
    batches: tuple[CircuitBatch, ...]
    summary: bool = False

    @property
    def id(self) -> str:
        """A hash over the ids of the batches."""
        return _hash([batch.id for batch in self.batches])

    @property
    def circuits(self) -> int:
        """The number of circuits in the whole build."""
        return sum(len(batch.specs) for batch in self.batches)


def engine_version() -> str:
    """Return the engines that prove, with their versions; *volts* asks *words* what is connected.

    *Bulk* stands for both where there are many faults.
    """
    engines = ", ".join(f"{engine.name} {engine.version}" for engine in (VoltsEngine, WordsEngine))
    return f"{engines}, bulk {BULK_VERSION}"


def fault_kind_versions() -> str:
    """Return every fault kind with its version."""
    return ", ".join(f"{kind.name} {kind.version}" for kind in fault_kinds())


@dataclass(frozen=True, slots=True)
class Shard:
    """Every `count`-th batch of a plan, beginning with batch `number`, counted from 1."""

    number: int
    count: int


def make_plan(
    locations: Sequence[int],
    drawn: int = 0,
    seed: int = 0,
    shard: Shard | None = None,
    *,
    schemes: Sequence[str] = SOUND_SCHEMES,
    summary: bool = False,
) -> BuildPlan:
    """Plan all layouts of each number of `locations`, and `drawn` random circuits of a seed.

    The layouts are wired by each of `schemes`, in the order of `SOUND_SCHEMES`. With a `shard` the
    plan has only its batches. The batches of a `summary` have ids of their own.
    """
    sizes = tuple(sorted(set(locations)))
    wired = tuple(scheme for scheme in SOUND_SCHEMES if scheme in schemes)
    batches = [
        _batch(part, summary)
        for size in sizes
        for scheme in wired
        for part in _parts(
            _layout_specs(size, scheme), _WITH_PAIRS.get(size, max(1, _BATCH_WORK // size**2))
        )
    ]
    batches += [_batch((DrawnSpec(seed, index),), summary) for index in range(drawn)]
    if shard is not None:
        batches = batches[shard.number - 1 :: shard.count]
    return BuildPlan(sizes, wired, drawn, seed, tuple(batches), summary)


def _layout_specs(locations: int, scheme: str) -> Iterator[LayoutSpec]:
    for layout in layouts(locations):
        yield LayoutSpec(scheme, layout.code)


def _parts(specs: Iterator[LayoutSpec], size: int) -> Iterator[tuple[LayoutSpec, ...]]:
    while part := tuple(itertools.islice(specs, size)):
        yield part


def batch_versions() -> tuple[int, int, str, str]:
    """Return every version that can change the rows of a batch."""
    return ROWS_VERSION, FORMAT, engine_version(), fault_kind_versions()


def _batch(specs: tuple[Spec, ...], summary: bool) -> CircuitBatch:
    kept = ["summary"] if summary else []
    return CircuitBatch(_hash([batch_versions(), *kept, [repr(spec) for spec in specs]]), specs)


def _hash(content: object) -> str:
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:32]
