"""What one mistake does to a circuit, as data that circuits and arrays both understand.

`NumberedCircuit` numbers the ends and joins of a circuit; a `Change` names them by these numbers.
`changed` gives the circuit that results, `verify.fault.network` the same as arrays: the two must
describe the same thing, and the tests hold them to it.
"""

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property

from verify.base.connecting import connected
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Failure, Join, conductor_name


@dataclass(frozen=True)
class NumberedCircuit:
    """A circuit by numbers: end i is `circuit.ends[i]`, join j is `joins[j]`, lists of ends."""

    circuit: Circuit

    @cached_property
    def joins(self) -> tuple[tuple[int, ...], ...]:
        """The ends of each join, an unconnected end alone, in the order of first ends."""
        index = self.circuit.end_index
        return tuple(tuple(index[end] for end in group) for group in self.circuit.grouped_ends)

    @cached_property
    def join_of(self) -> tuple[int, ...]:
        """The join of each end."""
        of = [0] * len(self.circuit.ends)
        for number, ends in enumerate(self.joins):
            for end in ends:
                of[end] = number
        return tuple(of)

    @cached_property
    def join_set(self) -> frozenset[tuple[int, ...]]:
        """The joins as a set."""
        return frozenset(self.joins)

    @cached_property
    def nets(self) -> list[int]:
        """The net of each end in the circuit as intended, named by its smallest end.

        A net is all that joins and conductors connect; failed parts are taken for whole.
        """
        conductors = (
            [self.number(box, conductor_name(cable.name, colour)) for box in cable.between]
            for cable in self.circuit.cables
            for colour in cable.conductors
        )
        return connected((*self.joins, *conductors), len(self.circuit.ends))

    @cached_property
    def boxes(self) -> Mapping[str, range]:
        """The ends in each box, which have consecutive numbers."""
        ranges: dict[str, range] = {}
        start = 0
        for box in self.circuit.boxes:
            stop = start
            while stop < len(self.circuit.ends) and self.circuit.ends[stop].box == box.name:
                stop += 1
            ranges[box.name] = range(start, stop)
            start = stop
        return ranges

    @cached_property
    def site_order(self) -> Mapping[str, tuple[int, ...]]:
        """The ends in each box in the order in which sites name them: switch terminals first.

        Where two sites are one mistake, people speak of the switch: "common and traveler
        exchanged", not "the feed and the red wire".
        """
        switches = {switch.name for switch in self.circuit.switches}
        return {
            box: tuple(sorted(ends, key=lambda end: self.circuit.ends[end].owner not in switches))
            for box, ends in self.boxes.items()
        }

    def joins_in(self, box: str) -> list[int]:
        """Return the joins in a box, in order."""
        return list(dict.fromkeys(self.join_of[end] for end in self.site_order[box]))

    def join_name(self, join: int) -> str:
        """Return the end by which sites name a join."""
        box = self.circuit.ends[self.joins[join][0]].box
        return self.name(next(end for end in self.site_order[box] if self.join_of[end] == join))

    def name(self, end: int) -> str:
        """Return an end as it is written in a file."""
        return self.circuit.ends[end].name

    def number(self, box: str, name: str) -> int:
        """Return the number of an end; raises KeyError."""
        return self.circuit.end_index[End(box, name)]


@dataclass(frozen=True, slots=True)
class Replacement:
    """A switch replaced by one of another kind; `landed` maps its terminals to the new ones.

    The conductor of a terminal that is not in `landed` is left unconnected.
    """

    device: str
    kind: str
    landed: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Change:
    """The effect of one mistake, in the numbers of a `NumberedCircuit`.

    `moves` are pairs (end, join it goes to); a number that no join of the wiring has is a new join.
    `rebuilt` is a whole circuit in place of the old one and excludes the rest.
    """

    moves: tuple[tuple[int, int], ...] = ()
    failure: Failure | None = None
    replacement: Replacement | None = None
    rebuilt: Circuit | None = None


def changed(wiring: NumberedCircuit, change: Change) -> Circuit:
    """Return the circuit after `change`."""
    if change.rebuilt is not None:
        return change.rebuilt
    circuit = wiring.circuit
    failures = circuit.failures
    if change.failure is not None:
        failures = (*failures, change.failure)
    if not change.moves and change.replacement is None:
        return replace(circuit, failures=failures)
    join_of = list(wiring.join_of)
    for number, join in change.moves:
        join_of[number] = join
    devices = circuit.devices
    renamed: dict[str, str | None] = {}
    if change.replacement is not None:
        devices, renamed = _replaced(circuit, change.replacement)
    groups: dict[int, list[str]] = {}
    boxes: dict[int, str] = {}
    for end, join in zip(circuit.ends, join_of, strict=True):
        name = renamed.get(end.name, end.name)
        if name is not None:
            groups.setdefault(join, []).append(name)
            boxes[join] = end.box
    fixed = {(join.box, join.ends) for join in circuit.joins if join.fixed}
    joins = tuple(
        Join(boxes[group], tuple(names), (boxes[group], tuple(names)) in fixed)
        for group, names in groups.items()
    )
    joined = {(join.box, end) for join in joins if len(join.ends) > 1 for end in join.ends}
    kept = tuple(_kept(failures, renamed, joined))
    return replace(circuit, devices=devices, joins=joins, failures=kept)


def _kept(
    failures: Iterable[Failure],
    renamed: Mapping[str, str | None],
    joined: Set[tuple[str, str]],
) -> Iterator[Failure]:
    """Yield the failures that remain: an end that is joined to nothing any more is not loose."""
    for failure in failures:
        if failure.kind != "loose-join" or failure.box is None:
            yield failure
            continue
        name = renamed.get(failure.at[0], failure.at[0])
        if name is not None and (failure.box, name) in joined:
            yield replace(failure, at=(name,))


def _replaced(
    circuit: Circuit, replacement: Replacement
) -> tuple[tuple[Device, ...], dict[str, str | None]]:
    """Return the devices with one replaced, and the new name of each of its ends or None."""
    old = circuit.device(replacement.device)
    landed = {**replacement.landed, "ground": "ground"}
    renamed = {
        f"{old.name}.{terminal}": (f"{old.name}.{landed[terminal]}" if terminal in landed else None)
        for terminal in old.form.terminals
    }
    devices = tuple(
        replace(device, kind=replacement.kind) if device is old else device
        for device in circuit.devices
    )
    return devices, renamed
