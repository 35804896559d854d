"""The devices whose terminals are joined in every way, and how a wiring of them is written.

A wiring is a partition of the terminals: those of one class are connected together, in one common
space without boxes. It is written as a growth string: terminal by terminal the number of its join,
joins being numbered from 0 in the order in which they are first met.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Device, Join
from verify.layout.schemes import switch_kinds

FEWEST_LOCATIONS: Final = 2
#: With one more, a run would take days.
MOST_LOCATIONS: Final = 5

#: The terminals that stand first, by their place.
LINE, NEUTRAL, CONTACT, SHELL = range(4)

Wiring = tuple[int, ...]
"""A growth string."""

_BOX: Final = "landing"


@dataclass(frozen=True, slots=True)
class CensusParts:
    """A feed, a lamp and the switches of so many locations.

    Switches are numbered as they stand in `switches`, four-ways first: that is the order in which
    the search places them, and switch i is bit i of a state's number.
    """

    locations: int
    switches: tuple[Device, ...]

    @property
    def terminals(self) -> tuple[str, ...]:
        """The names of the 4n + 2 terminals in the order in which they are placed."""
        return (
            "feed.line",
            "feed.neutral",
            "lamp.contact",
            "lamp.shell",
            *(
                f"{switch.name}.{terminal}"
                for switch in self.switches
                for terminal in switch.form.switched_terminals
            ),
        )

    @property
    def wirings(self) -> int:
        """How many partitions of the terminals there are."""
        return bell(len(self.terminals))

    def joins(self, wiring: Sequence[int]) -> tuple[tuple[str, ...], ...]:
        """Return the terminals of each join; an unconnected terminal is a join of its own."""
        groups: list[list[str]] = [[] for _ in range(max(wiring) + 1)]
        for name, join in zip(self.terminals, wiring, strict=True):
            groups[join].append(name)
        return tuple(map(tuple, groups))

    def circuit(self, wiring: Sequence[int], name: str = "Wiring of the census") -> Circuit:
        """Return a wiring as a circuit: one box, no cable, and all ground terminals joined."""
        devices = (Device("feed", "feed", _BOX), Device("lamp", "lamp", _BOX), *self.switches)
        grounds = Join(_BOX, tuple(f"{device.name}.ground" for device in devices), fixed=True)
        joins = (Join(_BOX, join) for join in self.joins(wiring))
        return Circuit(name, (Box(_BOX),), devices, (), (grounds, *joins))


def parts_of(locations: int) -> CensusParts:
    """Return the parts for that many locations. Raises ValueError for fewer than two."""
    count = {"three-way": 0, "four-way": 0}
    switches = []
    for kind in sorted(switch_kinds(locations)):
        count[kind] += 1
        switches.append(Device(f"{kind}-{count[kind]}", kind, _BOX))
    return CensusParts(locations, tuple(switches))


def growth_string(classes: Iterable[int]) -> Wiring:
    """Return the growth string of a partition whose classes have any numbers."""
    number: dict[int, int] = {}
    return tuple(number.setdefault(name, len(number)) for name in classes)


def bell(size: int) -> int:
    """Return how many partitions a set of `size` things has: OEIS A000110.

    The class of the last thing has k others, chosen in C(size − 1, k) ways.
    """
    numbers = [1]
    for n in range(size):
        numbers.append(sum(math.comb(n, k) * numbers[n - k] for k in range(n + 1)))
    return numbers[size]
