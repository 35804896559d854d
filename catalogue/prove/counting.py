"""How many faults of some circuits are alike."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from verify.sweep.interning import InternTable

Numbers = npt.NDArray[np.int64]


class Groups(NamedTuple):
    """Faults that are alike, in the order in which they come up.

    All (G,): how many, in how many circuits, and the first of them: its place among all faults, the
    number of its circuit, and its place there.
    """

    faults: Numbers
    circuits: Numbers
    first: Numbers
    circuit: Numbers
    place: Numbers


def numbers_of(things: Iterable[object]) -> Numbers:
    """A number for each thing, equal for equal things, the next one for each new."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(thing, len(numbers)) for thing in things], np.int64)


def count_alike(keys: Sequence[npt.NDArray[Any]]) -> Groups:
    """Faults with equal keys; `keys` are those of the faults of each circuit."""
    sizes = np.array([len(own) for own in keys], np.int64)
    alike, first = InternTable().of_integers(np.concatenate([*keys, np.zeros(0, np.int64)]))
    circuit = np.repeat(np.arange(len(keys)), sizes)
    _, first_in_circuit = InternTable().of_integers(alike * len(keys) + circuit)
    starts = np.cumsum(sizes) - sizes
    return Groups(
        np.bincount(alike, minlength=len(first)),
        np.bincount(alike[first_in_circuit], minlength=len(first)),
        first,
        circuit[first],
        first - starts[circuit[first]],
    )
