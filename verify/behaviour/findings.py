"""What circuits do: outcomes in every state, and the arrays that hold them for many faults.

A set of states is a number: bit s is set when state s belongs to it; a state's own bit i is set
when switch i is down. Arrays keep the same bits in 64-bit words, state 0 in bit 0 of word 0.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from verify.circuit.devices import Position
from verify.hazard.definitions import HAZARD_NAMES

Words = npt.NDArray[np.uint64]


def word_count(switches: int) -> int:
    """Return how many 64-bit words hold one bit for each of the 2^`switches` states."""
    return max(1, (1 << switches) >> 6)


def position(state: int, switch: int) -> Position:
    """Return the position of a switch in a state."""
    return "down" if state >> switch & 1 else "up"


def states_in(states: int) -> Iterator[int]:
    """Yield the members of a set of states, the smallest first."""
    while states:
        yield (states & -states).bit_length() - 1
        states &= states - 1


@dataclass(frozen=True, slots=True)
class Observation:
    """What one circuit does; every number is a set of states.

    `lit`, `dim` and `over` have one set for each lamp, `hazards` one for each of `HAZARDS`, in
    their orders; in all other states a lamp is dark. In a state that trips every lamp is dark and
    no hazard holds. `overruled` are the states in which volts contradict connections about what
    lamps or protection do. Engines that know only connections leave `dim`, `over` and `overruled`
    empty.
    """

    switches: int
    trips: int
    lit: tuple[int, ...]
    hazards: tuple[int, ...]
    dim: tuple[int, ...]
    over: tuple[int, ...]
    overruled: int = 0

    def light(self, lamp: int, state: int) -> str:
        """Return what a lamp does in a state: ``dark``, ``dim``, ``lit`` or ``over``."""
        for name, sets in (("lit", self.lit), ("dim", self.dim), ("over", self.over)):
            if sets[lamp] >> state & 1:
                return name
        return "dark"

    @property
    def hazard_names(self) -> tuple[str, ...]:
        """The hazards that hold in some state."""
        return tuple(
            name for name, states in zip(HAZARD_NAMES, self.hazards, strict=True) if states
        )


@dataclass(frozen=True, slots=True)
class Findings:
    """What many faulted versions of one circuit do, a row each.

    Shapes: `trips` and `overruled` (faults, words), `lit`, `dim` and `over` (faults, lamps, words),
    `hazards` (faults, hazards, words). Bits beyond state 2^switches − 1 are 0.
    """

    switches: int
    trips: Words
    lit: Words
    hazards: Words
    dim: Words
    over: Words
    overruled: Words

    def __len__(self) -> int:
        return len(self.trips)

    def observation(self, row: int) -> Observation:
        """Return one row as an `Observation`."""
        return Observation(
            self.switches,
            _as_set(self.trips[row]),
            tuple(map(_as_set, self.lit[row])),
            tuple(map(_as_set, self.hazards[row])),
            tuple(map(_as_set, self.dim[row])),
            tuple(map(_as_set, self.over[row])),
            _as_set(self.overruled[row]),
        )

    @classmethod
    def empty(cls, rows: int, *, switches: int, lamps: int) -> "Findings":
        """Return `rows` rows in which every lamp is dark and nothing trips, to be filled."""
        words = word_count(switches)

        def nothing(*shape: int) -> Words:
            return np.zeros((rows, *shape, words), np.uint64)

        return cls(
            switches,
            trips=nothing(),
            lit=nothing(lamps),
            hazards=nothing(len(HAZARD_NAMES)),
            dim=nothing(lamps),
            over=nothing(lamps),
            overruled=nothing(),
        )

    @property
    def arrays(self) -> tuple[Words, ...]:
        """Return all arrays, in the order of the fields."""
        return self.trips, self.lit, self.hazards, self.dim, self.over, self.overruled

    @classmethod
    def of(cls, observations: Sequence[Observation], *, switches: int, lamps: int) -> "Findings":
        """Return the observations as arrays, a row each; all are of so many switches and lamps."""
        found = cls.empty(len(observations), switches=switches, lamps=lamps)
        for row, seen in enumerate(observations):
            numbers = (seen.trips,), seen.lit, seen.hazards, seen.dim, seen.over, (seen.overruled,)
            for array, sets in zip(found.arrays, numbers, strict=True):
                array[row].reshape(len(sets), -1)[:] = _as_words(sets, word_count(switches))
        return found


def _as_set(words: Words) -> int:
    """Return a row of words as one number, which has the same bits."""
    return int.from_bytes(words.astype("<u8").tobytes(), "little")


def _as_words(numbers: Iterable[int], words: int) -> Words:
    """Return numbers as rows of `words` 64-bit words, which have the same bits."""
    content = b"".join(number.to_bytes(words * 8, "little") for number in numbers)
    return np.frombuffer(content, "<u8").astype(np.uint64).reshape(-1, words)
