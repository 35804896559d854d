"""The direction of currents, decided without numbers where only one path exists.

A load's current comes from the line of a feed to its one side and goes from the other back to
neutral or ground. Where conductors make a second path, the current divides as their resistances
say, and nothing is decided here.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.engine.paths import WireGraph
from verify.rules.loads import Load

# Two nodes at the service: the source of all lines, and the bond of neutrals and grounds.
_LINES: Final = -1
_SERVICE: Final = -2

#: The most states that are gone through: all of a circuit with eight switches.
_MOST_STATES: Final = 256
# Multiples of an odd number differ in all their bits, so that every switch is seen both ways.
_STRIDE: Final = 40_503


class ConductorStep(NamedTuple):
    """A conductor on a current's path; `forward` is from its cable's first box to the other."""

    conductor: str
    forward: bool


@dataclass(frozen=True, slots=True)
class Flow:
    """The current of a load in a state; `steps` is None where it divides."""

    load: Load
    state: int
    steps: tuple[ConductorStep, ...] | None


class _Edge(NamedTuple):
    a: int
    b: int
    conductor: str = ""


class Currents:
    """The currents of a circuit, state by state.

    `ways` has for each load the side at which current enters, the one at which it leaves, and the
    set of states in which it does so; `states` is the number of states.
    """

    def __init__(
        self,
        circuit: Circuit,
        wiring: WireGraph,
        states: int,
        ways: Sequence[tuple[Load, End, End, int]],
    ) -> None:
        self._circuit = circuit
        self._wiring = wiring
        self._total = states
        self._ways = ways
        groups = circuit.grouped_ends
        self._join = {end: number for number, group in enumerate(groups) for end in group}
        self._fixed = list(self._always())

    @property
    def is_complete(self) -> bool:
        """True if `flows` has every state, False if it has a selection of them."""
        return self._total <= _MOST_STATES

    @cached_property
    def flows(self) -> Sequence[Flow]:
        """The current of every load, in every state in which it has one."""
        return [
            Flow(load, state, self._steps(edges, come, leave))
            for state in self._states()
            for edges in [self._edges(state)]
            for load, come, leave, states in self._ways
            if states >> state & 1
        ]

    @cached_property
    def directions(self) -> Mapping[str, set[bool]]:
        """The directions of current on each conductor in all states, as `ConductorStep.forward`."""
        found: dict[str, set[bool]] = {}
        for flow in self.flows:
            for step in flow.steps or ():
                found.setdefault(step.conductor, set()).add(step.forward)
        return found

    def _states(self) -> Iterable[int]:
        if self.is_complete:
            return range(self._total)
        return (number * _STRIDE % self._total for number in range(_MOST_STATES))

    def _always(self) -> Iterator[_Edge]:
        """Yield the edges that connect in every state."""
        circuit, wiring = self._circuit, self._wiring
        for name, conductor in wiring.conductors.items():
            if not wiring.has_failed("conductor-open", name):
                yield self._edge(*conductor.ends, name)
        for failure in circuit.failures:
            if failure.kind == "conductors-shorted":
                one, other = (wiring.conductors[name].ends[0] for name in failure.at)
                yield self._edge(one, other)
        for lamp in wiring.lamps:
            if wiring.has_failed("lamp-shorted", lamp.name):
                yield self._edge(*lamp.sides)
        for feed in circuit.feeds:
            line, neutral, ground = (
                self._join[circuit.terminal(feed, name)] for name in ("line", "neutral", "ground")
            )
            yield _Edge(_LINES, line)
            yield _Edge(_SERVICE, neutral)
            yield _Edge(_SERVICE, ground)

    def _edge(self, a: End, b: End, conductor: str = "") -> _Edge:
        return _Edge(self._join[a], self._join[b], conductor)

    def _edges(self, state: int) -> list[_Edge]:
        closed = self._wiring.closed_contacts(state)
        return [*self._fixed, *(self._edge(a, b) for a, b in closed)]

    def _steps(
        self, edges: Sequence[_Edge], come: End, leave: End
    ) -> tuple[ConductorStep, ...] | None:
        upstream = _only_way(edges, self._join[come], _LINES)
        back = _only_way(edges, self._join[leave], _SERVICE)
        if upstream is None or back is None:
            return None
        return (*(ConductorStep(name, not forward) for name, forward in reversed(upstream)), *back)


def _only_way(edges: Sequence[_Edge], start: int, goal: int) -> list[ConductorStep] | None:
    """Return the conductors on the path from `start` to `goal`, or None if there is a choice.

    A ring that only touches the path counts as a choice, though no current would take it.
    """
    leading: dict[int, list[_Edge]] = {}
    for edge in edges:
        if edge.a != edge.b:
            leading.setdefault(edge.a, []).append(edge)
            leading.setdefault(edge.b, []).append(edge)
    # Ends that lead nowhere are cut back until what is left lies between the two, or in rings.
    dead_ends = [node for node, found in leading.items() if len(found) == 1]
    while dead_ends:
        node = dead_ends.pop()
        if node in (start, goal) or not leading[node]:
            continue
        (edge,) = leading.pop(node)
        other = edge.b if edge.a == node else edge.a
        leading[other].remove(edge)
        if len(leading[other]) == 1:
            dead_ends.append(other)
    steps: list[ConductorStep] = []
    node = start
    came: _Edge | None = None
    while node != goal:
        onward = [edge for edge in leading.get(node, ()) if edge is not came]
        if len(onward) != 1:
            return None
        came = onward[0]
        if came.conductor:
            steps.append(ConductorStep(came.conductor, came.a == node))
        node = came.b if came.a == node else came.a
    return steps
