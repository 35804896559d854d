"""Interning of keys: equal keys get one number, in the order in which they come up.

Everything is an array; there is no Python object for each key. Keys lie in a hash table with open
addressing, each in the first free slot from that of its hash on: Knuth, *The Art of Computer
Programming* 3, section 6.4, linear probing (from memory). Equal hashes are no reason to take two
keys for one: a key that is found is compared whole.
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


class InternTable:
    """Gives each new key, `width` words of 64 bits, the next number, from 0 on.

    Keys are found by a hash and compared whole: two that differ never get one number.
    """

    def __init__(self, width: int = 1) -> None:
        self._count = 0
        self._keys = np.zeros((0, width), np.uint64)
        self._hashes = np.zeros(_FIRST_SIZE, np.uint64)
        self._places = np.full(_FIRST_SIZE, -1, np.int64)

    def __len__(self) -> int:
        return self._count

    def of(self, keys: Words) -> tuple[Numbers, Numbers]:
        """Return the number of each of `keys` (rows, width), and the rows with new keys.

        A row with a new key is the first that has it; these rows are in the order of the new
        numbers. Raises ValueError for keys of another width.
        """
        if keys.shape[1] != self._keys.shape[1]:
            raise ValueError(f"keys of {keys.shape[1]} words in a table of {self._keys.shape[1]}")
        self._make_room(len(keys))
        found = np.empty(len(keys), np.int64)
        first = np.empty(len(keys), np.int64)
        known = self._count
        self._count = compiled(look_up_keys)(
            keys, self._keys, self._hashes, self._places, found, first, known
        )
        return found, first[: self._count - known]

    def of_integers(self, keys: Numbers) -> tuple[Numbers, Numbers]:
        """Do as `of` does for `keys` (rows,) that are whole numbers; the table has the width 1."""
        return self.of(keys.astype(np.uint64)[:, None])

    def _make_room(self, more: int) -> None:
        """Grow the table until `more` more keys fit in and half of the slots stay free."""
        while 2 * (self._count + more) > len(self._places):
            hashes, places = self._hashes, self._places
            self._hashes = np.zeros(2 * len(places), np.uint64)
            self._places = np.full(2 * len(places), -1, np.int64)
            compiled(rehash)(hashes, places, self._hashes, self._places)
        if self._count + more > len(self._keys):
            keys = np.empty((len(self._places) // 2, self._keys.shape[1]), np.uint64)
            keys[: self._count] = self._keys[: self._count]
            self._keys = keys


@inlined
def hash_of_key(keys: Words, row: int) -> np.uint64:
    """Return a hash of a key, which says only in which slot to begin to look for it."""
    mixed = _SEED
    for word in range(keys.shape[1]):
        mixed = mixed * _PRIME + keys[row, word]
    mixed = (mixed ^ (mixed >> _HALF)) * _PRIME
    return mixed ^ (mixed >> _HALF)


@inlined
def _differing_bits(keys: Words, row: int, others: Words, other: int) -> np.uint64:
    """Return bits in which two keys differ, 0 if they are equal.

    It looks at all words, which is quicker than to stop at the first difference.
    """
    difference = _NONE
    for word in range(keys.shape[1]):
        difference |= keys[row, word] ^ others[other, word]
    return difference


def rehash(hashes: Words, places: Numbers, new_hashes: Words, new_places: Numbers) -> None:
    """Put the keys of a table, see `look_up_keys`, into an empty table that has more slots."""
    last = np.uint64(len(new_places) - 1)
    for old in range(len(places)):
        if places[old] >= 0:
            slot = hashes[old] & last
            while new_places[slot] >= 0:
                slot = (slot + np.uint64(1)) & last
            new_hashes[slot] = hashes[old]
            new_places[slot] = places[old]


def look_up_keys(
    keys: Words,
    known_keys: Words,
    hashes: Words,
    places: Numbers,
    found: Numbers,
    first: Numbers,
    known: int,
) -> int:
    """Fill `found` (rows,) with the number of each of `keys` (rows, width); new ones get the next.

    `known_keys` has the `known` keys by their numbers. `places` (size,) has their numbers, each
    in the first slot that was free from that of its hash on, which is in `hashes` (size,); a place
    below 0 is free. `first` (rows,) gets the rows in which new keys first come up. Returns how
    many keys are known now; there must be room for all rows. At least half of the slots stay
    free, so that every search ends at a free one.
    """
    last = np.uint64(len(places) - 1)
    new = 0
    for row in range(len(keys)):
        mixed = hash_of_key(keys, row)
        slot = mixed & last
        place = places[slot]
        while place >= 0 and _differing_bits(keys, row, known_keys, place):
            slot = (slot + np.uint64(1)) & last
            place = places[slot]
        if place < 0:
            place = known + new
            hashes[slot] = mixed
            places[slot] = place
            for word in range(keys.shape[1]):
                known_keys[place, word] = keys[row, word]
            first[new] = row
            new += 1
        found[row] = place
    return known + new


@compiled
def intern_numbers(numbers: Numbers, place_of: Numbers, met: Numbers, known: int) -> int:
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
