"""Faults of some circuits that are alike are grouped and counted here."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from verify.sweep.interning import InternTable

Numbers = npt.NDArray[np.int64]


class FaultGroups(NamedTuple):
    """Groups of faults that are alike, in the order in which they first occur.

    Arrays of shape (groups,): how many faults are in the group, in how many circuits, and the first
    of them: its place among all faults, the number of its circuit, and its place there.
    """

    faults: Numbers
    circuits: Numbers
    first: Numbers
    circuit: Numbers
    place: Numbers


def interned(things: Iterable[object]) -> Numbers:
    """Return a number for each thing: equal things have equal numbers, each new one the next."""
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(thing, len(numbers)) for thing in things], np.int64)


def group_alike(keys: Sequence[npt.NDArray[Any]]) -> FaultGroups:
    """Group faults with equal keys; each array of `keys` has those of one circuit's faults."""
    sizes = np.array([len(own) for own in keys], np.int64)
    alike, first = InternTable().of_integers(np.concatenate([*keys, np.zeros(0, np.int64)]))
    circuit = np.repeat(np.arange(len(keys)), sizes)
    _, first_in_circuit = InternTable().of_integers(alike * len(keys) + circuit)
    starts = np.cumsum(sizes) - sizes
    return FaultGroups(
        np.bincount(alike, minlength=len(first)),
        np.bincount(alike[first_in_circuit], minlength=len(first)),
        first,
        circuit[first],
        first - starts[circuit[first]],
    )
