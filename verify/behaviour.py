"""What circuits do: outcomes in every state, and the arrays that hold them for many faults.

A set of states is a number: bit s is set when state s belongs to it; a state's own bit i is set
when switch i is down. Arrays keep the same bits in 64-bit words, state 0 in bit 0 of word 0.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from verify.devices import Position
from verify.hazards import HAZARD_NAMES

Words = npt.NDArray[np.uint64]


def word_count(switches: int) -> int:
    """How many 64-bit words hold one bit for each of the 2^switches states."""
    return max(1, (1 << switches) >> 6)


def position(state: int, switch: int) -> Position:
    """Where a switch stands in a state."""
    return "down" if state >> switch & 1 else "up"


def states_in(states: int) -> Iterator[int]:
    """The members of a set of states, in order."""
    while states:
        yield (states & -states).bit_length() - 1
        states &= states - 1


@dataclass(frozen=True, slots=True)
class Observation:
    """What one circuit does. Every number is a set of states.

    `lit` has one for each lamp, `hazards` one for each of `HAZARDS`, in their orders.
    In a state that trips no lamp is lit and no hazard holds.
    """

    switches: int
    trips: int
    lit: tuple[int, ...]
    hazards: tuple[int, ...]

    @property
    def hazard_names(self) -> tuple[str, ...]:
        """The hazards that hold in some state."""
        return tuple(
            name for name, states in zip(HAZARD_NAMES, self.hazards, strict=True) if states
        )


@dataclass(frozen=True, slots=True)
class Findings:
    """What many faulted versions of one circuit do, a row each.

    Shapes: `trips` (faults, words), `lit` (faults, lamps, words),
    `hazards` (faults, hazards, words). Bits beyond state 2^switches − 1 are 0.
    """

    switches: int
    trips: Words
    lit: Words
    hazards: Words

    def __len__(self) -> int:
        return len(self.trips)

    def observation(self, row: int) -> Observation:
        """One row as numbers."""
        return Observation(
            self.switches,
            _number(self.trips[row]),
            tuple(map(_number, self.lit[row])),
            tuple(map(_number, self.hazards[row])),
        )

    @classmethod
    def of(cls, observations: Sequence[Observation], *, switches: int, lamps: int) -> "Findings":
        """The observations as arrays; all are of `switches` switches and `lamps` lamps."""
        words = word_count(switches)
        rows = len(observations)
        return cls(
            switches,
            _array([seen.trips for seen in observations], words),
            _array([n for seen in observations for n in seen.lit], words).reshape(
                rows, lamps, words
            ),
            _array([n for seen in observations for n in seen.hazards], words).reshape(
                rows, len(HAZARD_NAMES), words
            ),
        )


def _number(words: Words) -> int:
    return int.from_bytes(words.astype("<u8").tobytes(), "little")


def _array(numbers: Iterable[int], words: int) -> Words:
    content = b"".join(number.to_bytes(words * 8, "little") for number in numbers)
    return np.frombuffer(content, "<u8").astype(np.uint64).reshape(-1, words)
