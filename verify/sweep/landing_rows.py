"""All wrong landings of a circuit as arrays; `verify.fault.landing_errors` lists them one by one.

A mistake with the same result as an earlier one of its kind is left out, as everywhere.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.fault.change import NumberedCircuit
from verify.sweep.landing_kernel import list_landings

Numbers = npt.NDArray[np.int64]

#: The kinds in the order in which `list_landings` lists them, with the ends that name a fault.
KINDS: Final = {"left-off": 1, "moved": 2, "exchanged": 2, "bridged": 2, "split": 2}
_SMALLEST_PART: Final = 2


@dataclass(frozen=True, slots=True)
class LandingFaults:
    """The listed faults of one landing kind.

    - `site` (F,): the place of each among the sites of its kind, those that repeat included
    - `moves` (M, 3): row, end and the join it goes to, in the order in which `Change` has them
    - `ends` (F, 1 or 2): the ends that decide how people name the fault
    """

    site: Numbers
    moves: Numbers
    ends: Numbers


def landings(wiring: NumberedCircuit) -> Iterator[LandingFaults]:
    """Yield the landings of each of `KINDS`, in that order."""
    sizes = [len(ends) for ends in wiring.joins]
    boxes = list(wiring.site_order.values())
    site, ends, moves, counts = list_landings(
        _flat(boxes),
        _starts([len(box) for box in boxes]),
        np.array(wiring.join_of, np.int64),
        _flat(wiring.joins),
        _starts(sizes),
        *_partings(max(sizes, default=0)),
    )
    fault = move = 0
    for (faults, moved), names in zip(counts.tolist(), KINDS.values(), strict=True):
        yield LandingFaults(
            site[fault : fault + faults],
            moves[move : move + moved],
            ends[fault : fault + faults, :names],
        )
        fault, move = fault + faults, move + moved


def _flat(groups: "list[tuple[int, ...]] | tuple[tuple[int, ...], ...]") -> Numbers:
    """Return the members of all groups, one group after the other."""
    return np.array([number for group in groups for number in group], np.int64)


def _starts(sizes: list[int]) -> Numbers:
    """Return where each group begins, and the end of the last."""
    return np.cumsum([0, *sizes], dtype=np.int64)


@lru_cache(maxsize=64)
def _partings(most: int) -> tuple[Numbers, Numbers, Numbers]:
    """Return every way to part up to `most` ends in two groups of two or more.

    The ends that leave are listed way by way. The first array has, for each number of ends, the
    place of its first row in the two others, which are the number of the way and the place of an
    end that leaves.
    """
    rows: list[tuple[int, int]] = []
    starts = [0]
    for size in range(most + 1):
        leaving = [
            group
            for count in range(_SMALLEST_PART, size + 1 - _SMALLEST_PART)
            for group in combinations(range(1, size), count)
        ]
        rows += [(way, end) for way, group in enumerate(leaving) for end in group]
        starts.append(len(rows))
    way, place = np.array(rows, np.int64).reshape(-1, 2).T.copy()
    return np.array(starts, np.int64), way, place
