"""How ways are related: by renaming what looks alike, and by distance from the intended one.

Exchanging the travelers of a three-way renames its positions. The conductors of one cable are of
one length and size, so exchanging two of them at both ends changes nothing but colours, and of
colours only those of ground wires matter to a hazard. Ways that such renamings lead to from one
another are a *family*: what one of them does, volts and amperes included, all of them do, up to
which position of a switch is called up. So one of each family is judged for all.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.problems import BugError
from verify.circuit.parts import Device, End, conductor_name, is_ground_colour
from verify.study.landings.instance import LandingInstance
from verify.study.landings.partitions import (
    NO_WAY,
    Rows,
    codes,
    fewest_exchanges,
    fewest_moves,
    growth_strings,
    partitions,
)

Indices = npt.NDArray[np.int64]

#: Pairs of terminals whose exchange, all pairs of a line at once, at most renames the positions.
_ALIKE: Final = {
    "single-pole": ((("s1", "s2"),),),
    "three-way": ((("traveler-1", "traveler-2"),),),
    "four-way": ((("a1", "a2"),), (("b1", "b2"),), (("a1", "b1"), ("a2", "b2"))),
}


def families(instance: LandingInstance, ways: Indices) -> Indices:
    """Return the family of each of `ways` (ways, boxes): the place of its first way.

    All of `ways` work, and they are in ascending order. Raises `BugError` if a renaming leads out
    of them.
    """
    family = np.arange(len(ways))
    images = [_image(instance, ways, renaming) for renaming in _renamings(instance)]
    is_changing = True
    while is_changing:
        before = family
        for image in images:
            family = np.minimum(family, family[image])
            family = family[family]
        is_changing = bool((family != before).any())
    return family


def _renamings(instance: LandingInstance) -> Iterator[list[tuple[int, int]]]:
    """Yield exchanges of free ends, by number, that lead from ways to ways of their family."""
    circuit = instance.circuit
    index = circuit.end_index
    free = {end for box in instance.boxes for end in box.ends}
    failed = {place.partition(".")[0] for failure in circuit.failures for place in failure.at}

    def numbered(pairs: Sequence[tuple[End, End]]) -> Iterator[list[tuple[int, int]]]:
        numbers = [(index[a], index[b]) for a, b in pairs]
        if all(end in free for pair in numbers for end in pair):
            yield numbers

    for switch in circuit.switches:
        if switch.name not in failed:
            for pairs in _ALIKE[switch.kind]:
                yield from numbered([_terminal_ends(switch, *pair) for pair in pairs])
    for cable in circuit.cables:
        if cable.name not in failed:
            for one, other in combinations(cable.conductors, 2):
                if is_ground_colour(one) == is_ground_colour(other):
                    names = conductor_name(cable.name, one), conductor_name(cable.name, other)
                    yield from numbered(
                        [(End(box, names[0]), End(box, names[1])) for box in cable.between]
                    )


def _terminal_ends(switch: Device, one: str, other: str) -> tuple[End, End]:
    return End(switch.box, f"{switch.name}.{one}"), End(switch.box, f"{switch.name}.{other}")


def _image(
    instance: LandingInstance, ways: Indices, renaming: Sequence[tuple[int, int]]
) -> Indices:
    """Return the places in `ways` to which a renaming leads from each of them."""
    other = {end: end for box in instance.boxes for end in box.ends}
    for a, b in renaming:
        other[a], other[b] = b, a
    renamed = np.empty_like(ways)
    for place, box in enumerate(instance.boxes):
        order = [box.ends.index(other[end]) for end in box.ends]
        used, back = np.unique(ways[:, place], return_inverse=True)
        every = partitions(len(box.ends))
        rows = growth_strings(every[used][:, order])
        renamed[:, place] = np.searchsorted(codes(every), codes(rows))[back]
    here, there = (_keys(numbers, instance) for numbers in (ways, renamed))
    image = np.minimum(np.searchsorted(here, there), len(here) - 1)
    if (here[image] != there).any():
        raise BugError("a way that works was not found, though one with other names was")
    return image


def _keys(ways: Indices, instance: LandingInstance) -> Indices:
    """Return each way as one number, in the order of the ways: all ways are fewer than 2^63."""
    key = np.zeros(len(ways), np.int64)
    for place, box in enumerate(instance.boxes):
        key = key * box.partitions + ways[:, place]
    return key


@dataclass(frozen=True, slots=True)
class Distances:
    """The distances of ways (ways,) from the intended one.

    - `exchanges`: the fewest exchanges of two ends of one box, `NO_WAY` where none lead there
    - `moves`: the fewest ends to be landed elsewhere
    """

    exchanges: Indices
    moves: Indices

    def nearest(self, members: Indices) -> int:
        """Return the nearest member: fewest exchanges, then fewest moves, then its number."""
        far = np.where(self.exchanges == NO_WAY, np.iinfo(np.int64).max, self.exchanges)
        return int(members[np.lexsort((members, self.moves[members], far[members]))[0]])


def distances(instance: LandingInstance, ways: Indices) -> Distances:
    """Return how far each of `ways` (ways, boxes) is from the circuit as it is drawn.

    Every exchange and every move is within one box, so the distances of the boxes add up.
    """
    by_exchanges = np.zeros(len(ways), np.int64)
    by_moves = np.zeros(len(ways), np.int64)
    for place, (box, intended) in enumerate(zip(instance.boxes, instance.intended, strict=True)):
        used, back = np.unique(ways[:, place], return_inverse=True)
        rows: Rows = partitions(len(box.ends))[used]
        apart = fewest_exchanges(intended, rows)[back]
        by_moves += fewest_moves(intended, rows)[back]
        is_no_way = (apart == NO_WAY) | (by_exchanges == NO_WAY)
        by_exchanges = np.where(is_no_way, NO_WAY, by_exchanges + apart)
    return Distances(by_exchanges, by_moves)
