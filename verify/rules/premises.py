"""Facts about a circuit for the rules: where line, neutral and ground reach, and in which states.

A set of states is a number, bit s for state s, as in `verify.behaviour.findings`.
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from verify.base.sentences import with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End
from verify.engine.paths import WireGraph
from verify.rules.currents import Currents
from verify.rules.loads import Load

#: A set of states has 2^switches bits, and no engine lists the states of more switches.
MOST_SWITCHES: Final = 16

Standing = Literal["seen", "open", "note"]
#: The heading for findings of each standing, in the order in which they are shown.
STANDINGS: Final[Mapping[Standing, str]] = {
    "seen": "Seen in this wiring",
    "open": "Depends on what the file does not hold",
    "note": "For information",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule finds in a circuit.

    `standing` is one of `STANDINGS`. `raised_by` names parts as the circuit file does.
    """

    standing: Standing
    raised_by: tuple[str, ...]
    because: str


class Reach:
    """The states in which the terminals `ends` are connected to each part of a circuit.

    Sets of states spread over the connected components and contacts that the engine *paths* found.
    No engine tells which feed's neutral or ground reaches which end, so this cannot be asked of
    one.
    """

    def __init__(self, at: "Premises", ends: Iterable[End]) -> None:
        self._wiring = at.wiring
        self.components = {at.wiring.component(end) for end in ends}
        self._reached = dict.fromkeys(self.components, at.every)
        waiting = dict.fromkeys(self.components)
        while waiting:
            # The queue is first in, first out: farther components wait for nearer ones.
            component = next(iter(waiting))
            del waiting[component]
            for other, closed in at.contacts.get(component, ()):
                known = self._reached.get(other, 0)
                reached = known | self._reached[component] & closed
                if reached != known:
                    self._reached[other] = reached
                    waiting[other] = None

    def at(self, end: End) -> int:
        """Return the states in which `end` is connected to one of the terminals."""
        return self._reached.get(self._wiring.component(end), 0)

    def is_wired_to(self, end: End) -> bool:
        """Return True if conductors alone connect `end` to one of the terminals."""
        return self._wiring.component(end) in self.components


class Premises:
    """One circuit as the rules look at it.

    All that depends on states raises ValueError for more than `MOST_SWITCHES` switches.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.wiring = WireGraph(circuit)
        self._supplies: dict[tuple[End, ...], Reach] = {}

    @cached_property
    def every(self) -> int:
        """All states."""
        switches = len(self.circuit.switches)
        if switches > MOST_SWITCHES:
            raise ValueError(f"switches={switches} must be at most {MOST_SWITCHES}")
        return (1 << (1 << switches)) - 1

    @cached_property
    def switch_contacts(self) -> Mapping[Device, tuple[tuple[End, End, int], ...]]:
        """The contacts of each switch that close at all: two terminals and the states."""
        up = dict.fromkeys(self.wiring.closed_contacts(0))
        down = dict.fromkeys(self.wiring.closed_contacts((1 << len(self.circuit.switches)) - 1))
        found: dict[Device, tuple[tuple[End, End, int], ...]] = {}
        for number, switch in enumerate(self.circuit.switches):
            states_up = self.every // ((1 << (1 << number)) + 1)
            found[switch] = tuple(
                (*pair, states_up * (pair in up) | (self.every ^ states_up) * (pair in down))
                for pair in up | down
                if pair[0].owner == switch.name
            )
        return found

    @cached_property
    def contacts(self) -> Mapping[int, Sequence[tuple[int, int]]]:
        """The contacts from each connected component: the other component and the states."""
        leading: dict[int, list[tuple[int, int]]] = {}
        for contacts in self.switch_contacts.values():
            for a, b, closed in contacts:
                one, other = self.wiring.component(a), self.wiring.component(b)
                leading.setdefault(one, []).append((other, closed))
                leading.setdefault(other, []).append((one, closed))
        return leading

    def supply(self, terminal: str, *feeds: Device) -> Reach:
        """Return what one terminal of some feeds reaches."""
        ends = tuple(self.circuit.terminal(feed, terminal) for feed in feeds)
        if ends not in self._supplies:
            self._supplies[ends] = Reach(self, ends)
        return self._supplies[ends]

    @property
    def line(self) -> Reach:
        """The reach of line."""
        return self.supply("line", *self.circuit.feeds)

    @property
    def neutral(self) -> Reach:
        """The reach of the neutral of a feed."""
        return self.supply("neutral", *self.circuit.feeds)

    @property
    def ground(self) -> Reach:
        """The reach of the ground of a feed."""
        return self.supply("ground", *self.circuit.feeds)

    @cached_property
    def holds(self) -> int:
        """The states in which protection holds."""
        trips = 0
        for feed in self.circuit.feeds:
            end = self.circuit.terminal(feed, "line")
            trips |= self.neutral.at(end) | self.ground.at(end)
            across = [other for other in self.circuit.feeds if other.leg != feed.leg]
            trips |= self.supply("line", *across).at(end)
        return self.every & ~trips

    @cached_property
    def loads(self) -> tuple[Load, ...]:
        """Lamps and receptacles; a failed lamp counts, since somebody will replace it."""
        sides = {"lamp": ("contact", "shell"), "receptacle": ("line", "neutral")}
        return tuple(
            Load(device.name, *(self.circuit.terminal(device, side) for side in sides[device.kind]))
            for device in self.circuit.devices
            if device.kind in sides
        )

    def runs(self, come: End, leave: End) -> int:
        """Return the states in which a load has line at `come` and a way back from `leave`."""
        back = self.neutral.at(leave) | self.ground.at(leave)
        return self.line.at(come) & back & self.holds

    @cached_property
    def currents(self) -> Currents:
        """The currents of loads with their directions."""
        ways = [(load, *way, self.runs(*way)) for load in self.loads for way in load.ways]
        return Currents(self.circuit, self.wiring, self.every.bit_length(), ways)

    def joined_with(self, end: End) -> tuple[End, ...]:
        """Return the ends in one join with `end`, which is left out."""
        return tuple(other for other in self._groups[end] if other != end)

    @cached_property
    def _groups(self) -> Mapping[End, tuple[End, ...]]:
        return {end: group for group in self.circuit.grouped_ends for end in group}

    @cached_property
    def distance(self) -> Mapping[str, int]:
        """How many cables lie between each box and the nearest feed; boxes cut off are left out."""
        found = dict.fromkeys((feed.box for feed in self.circuit.feeds), 0)
        waiting = deque(found)
        while waiting:
            box = waiting.popleft()
            for cable in self.circuit.cables:
                if box in cable.between:
                    (other,) = set(cable.between) - {box}
                    if other not in found:
                        found[other] = found[box] + 1
                        waiting.append(other)
        return found

    def positions(self, state: int) -> str:
        """Return the positions of the switches in a state, as words."""
        stand = self.wiring.positions(state)
        return with_and(
            f"{switch.name} {position}"
            for switch, position in zip(self.circuit.switches, stand, strict=True)
        )


def some_positions(at: Premises, states: int) -> str:
    """Return the positions in the first of some states, as words."""
    return at.positions((states & -states).bit_length() - 1)
