"""An instance of the landing problem: the free ends of a circuit, and what connects them.

Ends in a join with ``fixed = true`` stay as they are, and no other end joins them. All others of a
box are free: a way to land them is a partition of them, box by box.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.connecting import connected
from verify.base.problems import CircuitError, Problem, listing
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.electric.sizes import unreadable_sizes
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.network import CLOSED_DOWN, CLOSED_UP, Flattener
from verify.study.landings.partitions import MOST_ENDS, Rows, bell, growth_strings

MOST_SWITCHES: Final = 6
#: The number of ways must fit into 64 bits.
MOST_WAYS: Final = 2**63 - 1

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class FreeBox:
    """One box with its free ends, by their numbers in `Circuit.ends`."""

    name: str
    ends: tuple[int, ...]

    @property
    def partitions(self) -> int:
        """In how many ways they can be landed."""
        return bell(len(self.ends))


@dataclass(frozen=True, slots=True)
class Contacts:
    """One switch by nodes: the pairs that are connected when it is up, and when it is down."""

    switch: int
    box: str
    nodes: tuple[int, ...]
    closed: tuple[tuple[tuple[int, int], ...], tuple[tuple[int, int], ...]]


class LandingInstance:
    """A circuit of one feed and one lamp, prepared for counting.

    Ends are one node if every way connects them: ends of fixed joins, both ends of a conductor,
    shorts. The feed's neutral and ground are one node, `back`: neither the lamp nor the breaker
    tells them apart. Raises `CircuitError` with every reason why the ways cannot be counted.
    """

    def __init__(self, circuit: Circuit) -> None:
        problems = [*_problems(circuit)]
        if problems:
            raise CircuitError(problems)
        self.circuit = circuit
        self.wiring = NumberedCircuit(circuit)
        self.boxes = free_boxes(circuit)
        self.ways = math.prod(box.partitions for box in self.boxes)
        batch = Flattener(circuit).batch([Change()])
        index = circuit.end_index
        fixed = (
            [index[End(join.box, end)] for end in join.ends] for join in circuit.joins if join.fixed
        )
        backs = batch.feeds[:, 1:].tolist()
        self._node = connected([*fixed, *batch.wires(0), *backs], len(circuit.ends))
        self.line, self.back = self.node(batch.feeds[0, 0]), self.node(batch.feeds[0, 1])
        self.lamp = self.node(batch.lamps[0, 0]), self.node(batch.lamps[0, 1])
        self.lamp_works = bool(batch.works[0, 0])
        self.contacts = tuple(
            self._contacts(number, batch.contacts, batch.contact_switch, batch.closed[0])
            for number, _ in enumerate(circuit.switches)
        )

    def node(self, end: int) -> int:
        """Return the node that an end belongs to."""
        return self._node[int(end)]

    def _contacts(
        self, switch: int, ends: npt.ArrayLike, switches: npt.ArrayLike, closed: npt.ArrayLike
    ) -> Contacts:
        own = np.flatnonzero(np.asarray(switches) == switch)
        pairs = [(self.node(a), self.node(b)) for a, b in np.asarray(ends)[own]]
        when = np.asarray(closed)[own]
        return Contacts(
            switch,
            self.circuit.switches[switch].box,
            tuple(sorted({node for pair in pairs for node in pair})),
            (
                tuple(pair for pair, bits in zip(pairs, when, strict=True) if bits & CLOSED_UP),
                tuple(pair for pair, bits in zip(pairs, when, strict=True) if bits & CLOSED_DOWN),
            ),
        )

    # --- ways as changes of the circuit

    @cached_property
    def _slots(self) -> tuple[tuple[int, ...], ...]:
        """For each box, numbers of joins for as many groups as it has free ends."""
        taken = {self.wiring.join_of[end] for end in self._fixed_ends}
        numbers = (join for join in range(len(self.circuit.ends)) if join not in taken)
        return tuple(tuple(next(numbers) for _ in box.ends) for box in self.boxes)

    @cached_property
    def _fixed_ends(self) -> frozenset[int]:
        free = {end for box in self.boxes for end in box.ends}
        return frozenset(range(len(self.circuit.ends))) - free

    def fault(self, number: int, way: Sequence[Sequence[int]]) -> Fault:
        """Return a way as a fault, which engines take.

        `way` has the group of each free end of each box.
        """
        moves = tuple(
            (end, slots[group])
            for box, slots, groups in zip(self.boxes, self._slots, way, strict=True)
            for end, group in zip(box.ends, groups, strict=True)
        )
        return Fault("landing", (str(number),), Change(moves))

    @cached_property
    def intended(self) -> tuple[Rows, ...]:
        """How the circuit has its free ends landed: a row for each box."""
        joins = self.wiring.join_of
        rows = ([[joins[end] for end in box.ends]] for box in self.boxes)
        return tuple(growth_strings(np.array(row, np.int64)) for row in rows)


def free_boxes(circuit: Circuit) -> tuple[FreeBox, ...]:
    """Return the boxes of a circuit that have free ends, with these, in file order."""
    fixed = {End(join.box, name) for join in circuit.joins if join.fixed for name in join.ends}
    boxes = (
        FreeBox(
            box.name,
            tuple(
                number
                for number, end in enumerate(circuit.ends)
                if end.box == box.name and end not in fixed
            ),
        )
        for box in circuit.boxes
    )
    return tuple(box for box in boxes if box.ends)


def _problems(circuit: Circuit) -> Iterator[Problem]:
    """Yield the reasons why the ways of a circuit cannot be counted."""
    for kind, devices in (("lamp", circuit.lamps), ("feed", circuit.feeds)):
        if len(devices) > 1:
            yield Problem(
                f"{kind}s={len(devices)}",
                f"ways are counted of circuits with one {kind}, because only then connections "
                "alone decide what the lamp does; leave one of "
                f"{listing(device.name for device in devices)}",
            )
    for device in circuit.devices:
        if device.loads:
            yield Problem(
                f"device.{device.name}.loads",
                "what is plugged in could come to stand in series with the lamp, which connections "
                "alone do not decide; take the loads out",
            )
    switches = len(circuit.switches)
    if switches > MOST_SWITCHES:
        yield Problem(
            f"switches={switches}",
            f"ways are counted of circuits with at most {MOST_SWITCHES} switches; leave some out",
        )
    yield from unreadable_sizes(circuit)
    ways = 1
    for box in free_boxes(circuit):
        ways *= box.partitions
        if len(box.ends) > MOST_ENDS:
            yield Problem(
                f"box.{box.name}",
                f"{len(box.ends)} ends are free, and {MOST_ENDS} are the most that one box may "
                "have; write fixed = true on joins that are not to be rearranged, such as the "
                "grounds",
            )
    if ways > MOST_WAYS:
        yield Problem(
            "joins",
            f"{ways:,} ways are more than the {MOST_WAYS:,} that can be counted; write "
            "fixed = true on joins that are not to be rearranged",
        )
