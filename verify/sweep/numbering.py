"""Numbers for what is met, in the order in which it comes up: only arrays, no object for each."""

from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]

_FIRST_SIZE: Final = 1 << 12
_PRIME: Final = np.uint64(0x9E3779B97F4A7C15)
_SHIFT: Final = np.uint64(29)


class Numbering:
    """Numbers for names of 128 bits, whose lowest bits should differ: the next one for each new."""

    def __init__(self) -> None:
        self._count = 0
        self._table = np.zeros((_FIRST_SIZE, 2), np.uint64)
        self._places = np.full(_FIRST_SIZE, -1, np.int64)

    def __len__(self) -> int:
        return self._count

    def of(self, names: Words) -> tuple[Numbers, Numbers]:
        """The number of each of `names` (rows, 2), and the rows in which new ones first come up.

        The latter are in the order of the new numbers.
        """
        while 2 * (self._count + len(names)) > len(self._table):
            self._grow()
        found = np.empty(len(names), np.int64)
        first = np.empty(len(names), np.int64)
        known = self._count
        self._count = look_up(names, self._table, self._places, found, first, known)
        return found, first[: self._count - known]

    def of_keys(self, keys: Numbers) -> tuple[Numbers, Numbers]:
        """As `of`, for `keys` (rows,) that are whole numbers."""
        words = keys.astype(np.uint64)
        mixed = words * _PRIME
        return self.of(np.stack((mixed ^ (mixed >> _SHIFT), words), 1))

    def _grow(self) -> None:
        taken = self._places >= 0
        names = self._table[taken][np.argsort(self._places[taken])]
        self._table = np.zeros((2 * len(self._table), 2), np.uint64)
        self._places = np.full(len(self._table), -1, np.int64)
        look_up(names, self._table, self._places, *np.empty((2, len(names)), np.int64), 0)


@compiled
def look_up(
    names: Words, table: Words, places: Numbers, found: Numbers, first: Numbers, known: int
) -> int:
    """Fill `found` (rows,) with the number of each name; new names get the next ones.

    `table` (size, 2) with `places` (size,) holds `known` names by their bits; a place below 0 is
    free. `first` (rows,) gets the rows in which new names first come up. Returns how many names
    are known now; there must be room for all rows.
    """
    last = np.uint64(len(table) - 1)
    new = 0
    for row in range(len(names)):
        slot = names[row, 0] & last
        while places[slot] >= 0 and (
            table[slot, 0] != names[row, 0] or table[slot, 1] != names[row, 1]
        ):
            slot = (slot + np.uint64(1)) & last
        if places[slot] < 0:
            table[slot, 0] = names[row, 0]
            table[slot, 1] = names[row, 1]
            places[slot] = known + new
            first[new] = row
            new += 1
        found[row] = places[slot]
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
