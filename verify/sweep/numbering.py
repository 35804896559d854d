"""Numbers for what is met, in the order in which it comes up: only arrays, no object for each.

Names lie in a table by their hashes with open addressing, each in the first free slot from that of
its hash on: Knuth, *The Art of Computer Programming* 3, section 6.4, linear probing (from memory).
Equal hashes are no reason to take two names for one: a name that is found is compared whole.
"""

from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled, inlined

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]

_FIRST_SIZE: Final = 1 << 12
_NONE: Final = np.uint64(0)
_SEED: Final = np.uint64(0xC2B2AE3D27D4EB4F)
_PRIME: Final = np.uint64(0x9E3779B97F4A7C15)
_HALF: Final = np.uint64(32)


class Numbering:
    """Numbers for names, each of which is `width` words: the next one for each new name.

    Names are found by a hash and compared whole: two that differ never get one number.
    """

    def __init__(self, width: int = 1) -> None:
        self._count = 0
        self._names = np.zeros((0, width), np.uint64)
        self._hashes = np.zeros(_FIRST_SIZE, np.uint64)
        self._places = np.full(_FIRST_SIZE, -1, np.int64)

    def __len__(self) -> int:
        return self._count

    def of(self, names: Words) -> tuple[Numbers, Numbers]:
        """The number of each of `names` (rows, width), and the rows in which new ones first come.

        The latter are in the order of the new numbers.
        """
        self._make_room(len(names))
        found = np.empty(len(names), np.int64)
        first = np.empty(len(names), np.int64)
        known = self._count
        self._count = compiled(look_up)(
            names, self._names, self._hashes, self._places, found, first, known
        )
        return found, first[: self._count - known]

    def of_keys(self, keys: Numbers) -> tuple[Numbers, Numbers]:
        """As `of`, for `keys` (rows,) that are whole numbers; `width` is 1."""
        return self.of(keys.astype(np.uint64)[:, None])

    def _make_room(self, more: int) -> None:
        """Have room for so many more names, and leave half of the slots free."""
        while 2 * (self._count + more) > len(self._places):
            hashes, places = self._hashes, self._places
            self._hashes = np.zeros(2 * len(places), np.uint64)
            self._places = np.full(2 * len(places), -1, np.int64)
            compiled(put_again)(hashes, places, self._hashes, self._places)
        if self._count + more > len(self._names):
            names = np.empty((len(self._places) // 2, self._names.shape[1]), np.uint64)
            names[: self._count] = self._names[: self._count]
            self._names = names


@inlined
def hash_of(names: Words, row: int) -> np.uint64:
    """Some bits that depend on all of a name: where to begin to look for it, and no more."""
    mixed = _SEED
    for word in range(names.shape[1]):
        mixed = mixed * _PRIME + names[row, word]
    mixed = (mixed ^ (mixed >> _HALF)) * _PRIME
    return mixed ^ (mixed >> _HALF)


@inlined
def _difference(names: Words, row: int, others: Words, other: int) -> np.uint64:
    """0 where two names are the same; all words are looked at, which is quicker than to stop."""
    difference = _NONE
    for word in range(names.shape[1]):
        difference |= names[row, word] ^ others[other, word]
    return difference


def put_again(hashes: Words, places: Numbers, new_hashes: Words, new_places: Numbers) -> None:
    """Put the names of a table, see `look_up`, into one that is empty and has more slots."""
    last = np.uint64(len(new_places) - 1)
    for old in range(len(places)):
        if places[old] >= 0:
            slot = hashes[old] & last
            while new_places[slot] >= 0:
                slot = (slot + np.uint64(1)) & last
            new_hashes[slot] = hashes[old]
            new_places[slot] = places[old]


def look_up(
    names: Words,
    known_names: Words,
    hashes: Words,
    places: Numbers,
    found: Numbers,
    first: Numbers,
    known: int,
) -> int:
    """Fill `found` (rows,) with the number of each of `names` (rows, width); new ones get the next.

    `known_names` has the `known` names by their numbers. `places` (size,) has their numbers, each
    in the first slot that was free from that of its hash on, which is in `hashes` (size,); a place
    below 0 is free. `first` (rows,) gets the rows in which new names first come up. Returns how
    many names are known now; there must be room for all rows. At least half of the slots stay
    free, so that every look ends at a free one.
    """
    last = np.uint64(len(places) - 1)
    new = 0
    for row in range(len(names)):
        mixed = hash_of(names, row)
        slot = mixed & last
        place = places[slot]
        while place >= 0 and _difference(names, row, known_names, place):
            slot = (slot + np.uint64(1)) & last
            place = places[slot]
        if place < 0:
            place = known + new
            hashes[slot] = mixed
            places[slot] = place
            for word in range(names.shape[1]):
                known_names[place, word] = names[row, word]
            first[new] = row
            new += 1
        found[row] = place
    return known + new


@compiled
def number_again(numbers: Numbers, place_of: Numbers, met: Numbers, known: int) -> int:
    """Replace each of `numbers` by its place among those met; new ones get the next places.

    `place_of` has the place of every number, below 0 where it is not met yet, and `met` the `known`
    numbers by their places. Returns how many are met now; both must have room for all.
    """
    for row in range(len(numbers)):
        number = numbers[row]
        if place_of[number] < 0:
            place_of[number] = known
            met[known] = number
            known += 1
        numbers[row] = place_of[number]
    return known
