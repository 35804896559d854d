"""How the size of a conductor is written, and which circuits write one that cannot be read.

A file takes any text for a size. What a size means for its resistance is not said here.
"""

import re
from typing import Final, NamedTuple

from verify.base.problems import CircuitError, Problem
from verify.circuit.model import Circuit

AWG: Final = "AWG"
MM2: Final = "mm²"

_AWG: Final = re.compile(r"\s*(\d{1,2})\s*AWG\s*", re.IGNORECASE)
_MM2: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*mm(?:²|2|\^2)\s*", re.IGNORECASE)


class Size(NamedTuple):
    """A size as it is written: an American gauge (unit `AWG`) or an area (unit `MM2`)."""

    number: float
    unit: str


def read_size(text: str) -> Size:
    """Return the size that a text such as ``14 AWG`` or ``1.5 mm²`` writes.

    Raises ValueError for a text that writes neither, or no area at all.
    """
    if (match := _MM2.fullmatch(text)) and float(match[1]) > 0:
        return Size(float(match[1]), MM2)
    if match := _AWG.fullmatch(text):
        return Size(int(match[1]), AWG)
    raise ValueError(f"size={text!r} is neither a gauge like 14 AWG nor an area like 1.5 mm²")


def unreadable_sizes(circuit: Circuit) -> list[Problem]:
    """Return a problem for every size of a circuit that cannot be read."""
    sized = [(f"cable '{cable.name}'", cable.size) for cable in circuit.cables]
    sized += [(f"device '{feed.name}'", feed.size) for feed in circuit.feeds]
    problems = []
    for place, size in sized:
        try:
            read_size(size or "14 AWG")
        except ValueError as error:
            problems.append(Problem(place, f"{error}; write it so or leave it out", "size"))
    return problems


def check_sizes(circuit: Circuit) -> None:
    """Raise `CircuitError` with all `unreadable_sizes` if there are any."""
    if problems := unreadable_sizes(circuit):
        raise CircuitError(problems)
