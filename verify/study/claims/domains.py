"""Domains of claims: all layouts of a size, circuits made of them, and random ones."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from verify.base.sentences import with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import Join
from verify.layout.enumeration import layouts
from verify.layout.outlets import Outlet, SecondFeed, with_outlets
from verify.layout.sampler import sample
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES


@dataclass(frozen=True, slots=True)
class Layouts:
    """All layouts of some numbers of locations, wired by some schemes."""

    sizes: tuple[int, ...] = (2, 3)
    schemes: tuple[str, ...] = SOUND_SCHEMES
    is_sample: bool = False

    @property
    def words(self) -> str:
        """A description of the circuits."""
        sizes = with_and(map(str, self.sizes))
        titles = with_and(SCHEMES[scheme].title for scheme in self.schemes)
        return f"all layouts of {sizes} locations wired as {titles}"

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Yield them size by size, the smallest first."""
        for size in self.sizes:
            for scheme in self.schemes:
                for layout in layouts(size):
                    yield f"{scheme}-{layout.code}", layout.circuit(scheme)


@dataclass(frozen=True, slots=True)
class DrawnCircuits:
    """Circuits drawn at random, with several lamps, metal boxes, outlets and junctions."""

    count: int
    seed: int
    fewest: int
    most: int
    is_sample: bool = True

    @property
    def words(self) -> str:
        """A description of the circuits."""
        return (
            f"{self.count:,} circuits of {self.fewest} to {self.most} locations drawn at random "
            f"(seed {self.seed})"
        )

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Yield them in the order in which they are drawn."""
        for index in range(self.count):
            drawn = sample(self.seed, index, fewest=self.fewest, most=self.most)
            yield drawn.label, drawn.circuit


@dataclass(frozen=True, slots=True)
class TwoFeeds:
    """All layouts of two locations with an outlet in each box in turn, on a feed of its own."""

    is_sample: bool = False

    @property
    def words(self) -> str:
        """A description of the circuits."""
        return "all layouts of 2 locations, with an outlet on a second feed in each box in turn"

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Yield them; the second feed arrives where the first does."""
        for scheme in SOUND_SCHEMES:
            for layout in layouts(2):
                place = layout.arrangement()
                for box in range(len(place.boxes)):
                    circuit = with_outlets(
                        layout.circuit(scheme), place, (Outlet(box, (100.0,)),), SecondFeed()
                    )
                    yield (
                        f"{scheme}-{layout.code} with an outlet in {place.boxes[box].name}",
                        (
                            replace(
                                circuit, name=f"{layout.circuit(scheme).name}; an outlet beside it"
                            )
                        ),
                    )


@dataclass(frozen=True, slots=True)
class Bypassed:
    """All layouts of three locations whose four-way is taken out and its travelers joined."""

    pairs: tuple[tuple[str, str], ...]
    is_sample: bool = False

    @property
    def words(self) -> str:
        """A description of the circuits."""
        how = with_and(f"{one} with {other}" for one, other in self.pairs)
        return f"all layouts of 3 locations, the four-way taken out and {how} joined"

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Yield them; the four-way is `switch-2`."""
        for label, circuit in Layouts((3,)).circuits():
            yield f"{label} without switch-2", without_four_way(circuit, self.pairs)


def without_four_way(circuit: Circuit, pairs: tuple[tuple[str, str], ...]) -> Circuit:
    """Return the circuit without its first four-way, with the ends on each of `pairs` joined."""
    (four_way, *_) = (device for device in circuit.switches if device.kind == "four-way")
    joins: dict[str, tuple[str, ...]] = {}
    kept: list[Join] = []
    for join in circuit.joins:
        own = [name for name in join.ends if name.startswith(f"{four_way.name}.")]
        rest = tuple(name for name in join.ends if name not in own)
        switched = [name.partition(".")[2] for name in own if not name.endswith(".ground")]
        if switched:
            joins[switched[0]] = rest
        elif rest:
            kept.append(replace(join, ends=rest))
    kept += [Join(four_way.box, (*joins[one], *joins[other])) for one, other in pairs]
    devices = tuple(device for device in circuit.devices if device != four_way)
    return replace(
        circuit, name=f"{circuit.name}; switch-2 taken out", devices=devices, joins=tuple(kept)
    )


TWO: Final = Layouts((2,))
THREE: Final = Layouts((3,))
TWO_AND_THREE: Final = Layouts()
CHAIN: Final = Layouts(schemes=("chain",))
CHAIN_OF_TWO: Final = Layouts((2,), ("chain",))
CHAIN_OF_THREE: Final = Layouts((3,), ("chain",))
TIED_OF_TWO: Final = Layouts((2,), ("tied",))
