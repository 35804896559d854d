"""What conductors alone connect, as numbered pieces, and where contacts lie between them.

For the engine on decision diagrams; no other engine uses it.
"""

from collections.abc import Iterator
from functools import cached_property
from typing import Final

from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, box_end, conductor_name, is_ground_colour


class Pieces:
    """The pieces of a circuit by number, failed parts included.

    `lines`, `neutrals`, `grounds`: those of the feeds; `lines_a` and `lines_b` the lines by leg.
    `lamps`: contact and shell of each; `failed_lamps` says which do not work.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._number = circuit.end_index
        self._parent = list(range(len(circuit.ends)))
        self._failed = {(failure.kind, frozenset(failure.at)) for failure in circuit.failures}
        self._joins = tuple(
            tuple(End(join.box, name) for name in join.ends)
            for join in circuit.joins
            if len(join.ends) > 1
        )
        self._joined = frozenset(end for join in self._joins for end in join)
        self._unite_all()
        feeds = circuit.feeds
        self.lines, self.neutrals, self.grounds = (
            tuple(self.of(circuit.terminal(feed, name)) for feed in feeds)
            for name in ("line", "neutral", "ground")
        )
        self.lines_a, self.lines_b = (
            tuple(
                line
                for feed, line in zip(feeds, self.lines, strict=True)
                if (feed.leg == "B") == is_b
            )
            for is_b in (False, True)
        )
        self.lamps = tuple(
            (self._terminal(lamp, "contact"), self._terminal(lamp, "shell"))
            for lamp in circuit.lamps
        )
        self.failed_lamps = tuple(
            any((kind, frozenset([lamp.name])) in self._failed for kind in _LAMP_FAILURES)
            for lamp in circuit.lamps
        )

    def of(self, end: End) -> int:
        """The piece of an end."""
        return self._root(self._number[end])

    def _terminal(self, device: Device, name: str) -> int:
        return self.of(self.circuit.terminal(device, name))

    def _root(self, number: int) -> int:
        while self._parent[number] != number:
            self._parent[number] = self._parent[self._parent[number]]
            number = self._parent[number]
        return number

    def _unite(self, one: End, other: End) -> None:
        self._parent[self.of(one)] = self.of(other)

    def _ends_of(self, name: str) -> tuple[End, End]:
        cable = next(c for c in self.circuit.cables if c.name == name.partition(".")[0])
        near, far = cable.between
        return End(near, name), End(far, name)

    def _unite_all(self) -> None:
        for first, *rest in self._joins:
            for end in rest:
                self._unite(first, end)
        for name, (near, far) in self._conductors:
            if ("conductor-open", frozenset([name])) not in self._failed:
                self._unite(near, far)
        for kind, at in self._failed:
            if kind == "conductors-shorted":
                one, other = sorted(at)
                self._unite(self._ends_of(one)[0], self._ends_of(other)[0])
            elif kind == "lamp-shorted":
                lamp = self.circuit.device(next(iter(at)))
                sides = (self.circuit.terminal(lamp, side) for side in ("contact", "shell"))
                self._unite(*sides)

    @cached_property
    def _conductors(self) -> tuple[tuple[str, tuple[End, End]], ...]:
        return tuple(
            (name, (End(cable.between[0], name), End(cable.between[1], name)))
            for cable in self.circuit.cables
            for name in (conductor_name(cable.name, colour) for colour in cable.conductors)
        )

    def contacts(self) -> Iterator[tuple[int, bool, bool, int, int]]:
        """Each contact: its switch, whether it is closed up and down, and the two pieces."""
        stuck = {f.at[0]: f.position for f in self.circuit.failures if f.position}
        for number, switch in enumerate(self.circuit.switches):
            for contact in switch.form.contacts:
                at = frozenset((f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}"))
                up, down = contact.up, contact.down
                if switch.name in stuck:
                    up = down = up if stuck[switch.name] == "up" else down
                if ("contact-welded", at) in self._failed:
                    up = down = True
                if ("contact-open", at) in self._failed:
                    up = down = False
                ends = self._terminal(switch, contact.a), self._terminal(switch, contact.b)
                yield number, up, down, *ends

    def is_return(self, piece: int) -> bool:
        """True if conductors alone connect a piece to a feed's neutral or ground."""
        return piece in self.neutrals or piece in self.grounds

    @cached_property
    def metal(self) -> tuple[int, ...]:
        """Ground terminals of devices other than feeds, and metal boxes."""
        circuit = self.circuit
        return (
            *(
                self._terminal(device, "ground")
                for device in circuit.devices
                if device not in circuit.feeds
            ),
            *(self.of(End(box.name, box_end(box.name))) for box in circuit.boxes if box.is_metal),
        )

    @property
    def has_floating_metal(self) -> bool:
        """True if some metal is not wired to ground."""
        return any(piece not in self.grounds for piece in self.metal)

    @cached_property
    def ground_wires(self) -> tuple[int, ...]:
        """The pieces of bare and green conductors."""
        return tuple(
            self.of(end)
            for name, ends in self._conductors
            if is_ground_colour(name.partition(".")[2])
            for end in ends
        )

    @cached_property
    def stubs(self) -> tuple[int, ...]:
        """The pieces of conductors of which an end is joined to nothing."""
        return tuple(
            self.of(end)
            for _, ends in self._conductors
            if not self._joined.issuperset(ends)
            for end in ends
        )

    @cached_property
    def receptacles(self) -> tuple[tuple[int, int], ...]:
        """Line and neutral of each receptacle."""
        return tuple(
            (self._terminal(device, "line"), self._terminal(device, "neutral"))
            for device in self.circuit.devices
            if device.kind == "receptacle"
        )

    @cached_property
    def both_poles(self) -> bool:
        """True if a switch has a terminal wired to line and another to neutral or ground."""
        for switch in self.circuit.switches:
            at = {self._terminal(switch, name) for name in switch.form.switched_terminals}
            if at & set(self.lines) and any(map(self.is_return, at)):
                return True
        return False

    @cached_property
    def kept(self) -> frozenset[int]:
        """The pieces that verdicts speak of."""
        return frozenset(
            (
                *(*self.lines, *self.neutrals, *self.grounds, *self.metal),
                *(*self.ground_wires, *self.stubs),
                *(piece for pair in (*self.lamps, *self.receptacles) for piece in pair),
            )
        )


_LAMP_FAILURES: Final = ("lamp-open", "lamp-shorted")
