"""The engine for many switches: sets of states are binary decision diagrams, so no 2^n arises.

Conductors alone make connected components; contacts lie between these, each with the set of states
in which it is closed. Components that no verdict speaks of are eliminated one after the other, as
in solving equations: a connection of two neighbours through the eliminated component is added to
their direct one. In the end the few components that a verdict speaks of are left. The order goes by
how many neighbours meet and how large their diagrams are, so that a long chain of switches is
folded from everywhere at once.

The variables are ordered with the last switch on top: the smallest state of a set, by number, is
then found by walking down once.
"""

import heapq
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

from verify.behaviour.findings import Findings, Observation
from verify.behaviour.judgement import Judgement
from verify.circuit.model import Circuit
from verify.engine.components import Components
from verify.hazard.definitions import HAZARD_NAMES

if TYPE_CHECKING:
    from verify.fault.contract import Fault

#: The engine gives up when all diagrams together have more nodes than this.
MOST_NODES: Final = 2_000_000
_CHECKED_EVERY: Final = 64

# The library's diagrams have no types of their own.
Diagram = Any


class TooLargeError(Exception):
    """The diagrams of a circuit grew beyond the limit."""


class DiagramsEngine:
    """The engine of this module; see `Engine` for the contract, and `prove` for many switches."""

    name = "bdd"
    version = 1
    most_switches = 16

    def __init__(self, most_nodes: int = MOST_NODES) -> None:
        self.most_nodes = most_nodes

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state.

        Raises ValueError beyond `most_switches`, `TooLargeError` if the diagrams grow too large.
        """
        if len(circuit.switches) > self.most_switches:
            raise ValueError(
                f"switches={len(circuit.switches)} is more than the {self.most_switches} whose "
                "states can be listed; ask for a proof instead"
            )
        return _Proof(circuit, self.most_nodes).observation()

    def observe_faults(self, circuit: Circuit, faults: "Sequence[Fault]") -> Findings:
        """Return what `circuit` does with each of `faults`, a row each."""
        return Findings.of(
            [self.observe(fault.apply(circuit)) for fault in faults],
            switches=len(circuit.switches),
            lamps=len(circuit.lamps),
        )

    def prove(self, circuit: Circuit) -> Judgement:
        """Return the verdict on a circuit of any number of switches; its states are not listed.

        The states that show verdict and hazards are the smallest by number, as with any engine.
        """
        try:
            return _Proof(circuit, self.most_nodes).judgement()
        except TooLargeError as error:
            return Judgement("undecided", None, None, reason=str(error))


class _Proof:
    """One circuit as diagrams: what is connected in which states, and what follows."""

    def __init__(self, circuit: Circuit, most_nodes: int) -> None:
        self.circuit = circuit
        self.most_nodes = most_nodes
        self.components = Components(circuit)
        self.switches = len(circuit.switches)
        self.manager = _manager(self.switches)
        self.true, self.false = self.manager.true, self.manager.false
        self.variables = [self.manager.var(f"s{number}") for number in range(self.switches)]
        self._reach = self._reached()
        components = self.components
        # It trips where a line meets a neutral or ground, or a line of the other leg.
        returns = (*components.neutrals, *components.grounds)
        crossed = ((a, b) for a in components.lines_a for b in components.lines_b)
        shorted = ((line, back) for line in components.lines for back in returns)
        self.trips = self._any(self._meet(a, b) for a, b in (*crossed, *shorted))
        self.holds = ~self.trips
        self.lit = [self._lit(number) for number in range(len(circuit.lamps))]

    # --- what is connected

    def _any(self, diagrams: Iterable[Diagram]) -> Diagram:
        found = self.false
        for diagram in diagrams:
            found = found | diagram
        return found

    def _edges(self) -> dict[int, dict[int, Diagram]]:
        """Return each component's neighbours and in which states contacts connect them."""
        edges: dict[int, dict[int, Diagram]] = {}
        for switch, up, down, a, b in self.components.contacts():
            down_set = self.variables[switch]
            closed = (self.false if not up else ~down_set) | (down_set if down else self.false)
            if a != b and closed != self.false:
                self._connect(edges, a, b, closed)
        return edges

    def _connect(self, edges: dict[int, dict[int, Diagram]], a: int, b: int, by: Diagram) -> None:
        for one, other in ((a, b), (b, a)):
            near = edges.setdefault(one, {})
            near[other] = near[other] | by if other in near else by

    def _reached(self) -> dict[tuple[int, int], Diagram]:
        """Return the states in which two components that matter are connected, for all such pairs.

        A pair that is never connected is left out.
        """
        edges = self._edges()
        kept = sorted(self.components.kept & edges.keys())
        inner = edges.keys() - set(kept)
        sizes = {component: self._size(edges[component]) for component in inner}
        waiting = [(size, component) for component, size in sizes.items()]
        heapq.heapify(waiting)
        while waiting:
            size, component = heapq.heappop(waiting)
            if sizes.get(component) != size:
                continue  # it was eliminated already, or is in the queue again with another size
            del sizes[component]
            around = edges.pop(component)
            for other in around:
                del edges[other][component]
            ends = sorted(around)
            for place, a in enumerate(ends):
                for b in ends[place + 1 :]:
                    through = around[a] & around[b]
                    if through != self.false:
                        self._connect(edges, a, b, through)
            for other in ends:
                if other in sizes:
                    sizes[other] = self._size(edges[other])
                    heapq.heappush(waiting, (sizes[other], other))
            self._check(len(sizes) % _CHECKED_EVERY == 0)
        reach: dict[tuple[int, int], Diagram] = {}
        for a in kept:
            for b, by in edges[a].items():
                reach[a, b] = by
        for middle in kept:
            for a in kept:
                into = reach.get((a, middle))
                if into is None or a == middle:
                    continue
                for b in kept:
                    beyond = reach.get((middle, b))
                    if beyond is not None and b not in (a, middle):
                        reach[a, b] = reach.get((a, b), self.false) | (into & beyond)
            self._check()
        return reach

    def _size(self, near: dict[int, Diagram]) -> tuple[int, int]:
        """Return how hard a component is to eliminate: neighbours, then nodes of their diagrams."""
        return len(near), sum(diagram.dag_size for diagram in near.values())

    def _check(self, is_due: bool = True) -> None:
        """Raise `TooLargeError` if there are too many nodes.

        Counting them takes time, so it is not done at every step.
        """
        if is_due and len(self.manager) > self.most_nodes:
            raise TooLargeError(
                f"the decision diagrams of {self.switches} switches grew beyond "
                f"{self.most_nodes:,} nodes"
            )

    def _meet(self, a: int, b: int) -> Diagram:
        """Return the states in which two components are connected."""
        return self.true if a == b else self._reach.get((a, b), self.false)

    def _to(self, component: int, sources: Iterable[int]) -> Diagram:
        """Return the states in which a component is connected to one of `sources`."""
        return self._any(self._meet(source, component) for source in sources)

    def live(self, component: int) -> Diagram:
        """Return the states in which a component is on line."""
        return self._to(component, self.components.lines)

    def back(self, component: int) -> Diagram:
        """Return the states in which a component is on neutral or ground."""
        return self._to(component, (*self.components.neutrals, *self.components.grounds))

    # --- what follows

    def _lit(self, number: int) -> Diagram:
        """Return the states in which the lamp of that number is lit."""
        if self.components.failed_lamps[number]:
            return self.false
        return self._any(self.holds & self.live(a) & self.back(b) for a, b in self._sides(number))

    def _sides(self, number: int) -> Iterator[tuple[int, int]]:
        """Yield both orders of a lamp's sides: the one that may be live, and the other."""
        contact, shell = self.components.lamps[number]
        yield contact, shell
        yield shell, contact

    def hazards(self) -> list[Diagram]:
        """Return the states of each hazard, in the order of `HAZARDS`; none if it needs volts."""
        components = self.components
        lamps = range(len(components.lamps))
        by_sides = [(n, a, b) for n in lamps for a, b in self._sides(n)]
        static = self.true if components.both_poles else self.false
        floating = self.true if components.has_floating_metal else self.false
        found = {
            "lamp-live-dark": self._any(~self.lit[n] & self.live(a) for n, a, _ in by_sides),
            "lamp-reversed": self._any(
                self.lit[n] & self.live(components.lamps[n][1]) for n in lamps
            ),
            "neutral-switched": self._any(
                self.lit[n] & self.live(a) for n, a, b in by_sides if not components.is_return(b)
            ),
            "both-poles-on-switch": static,
            "metal-live": self._any(map(self.live, components.metal)),
            "metal-floating": floating,
            "ground-wire-live": self._any(map(self.live, components.ground_wires)),
            "ground-carries-load": self._any(
                self.lit[n] & self.live(a) & self._to(b, components.grounds) for n, a, b in by_sides
            ),
            "neutral-ground-tied": self._any(
                self._to(neutral, components.grounds) for neutral in components.neutrals
            ),
            "live-stub": self._any(map(self.live, components.stubs)),
            "backfed": self._any(
                self.live(a) & ~self.live(b) & ~self.back(b) for _, a, b in by_sides
            ),
            "receptacle-switched": self._any(
                ~(self.live(line) & self.back(neutral)) for line, neutral in components.receptacles
            ),
        }
        return [found.get(name, self.false) & self.holds for name in HAZARD_NAMES]

    def observation(self) -> Observation:
        """Return the observation, with all states listed."""
        table: dict[Diagram, int] = {}
        none = (0,) * len(self.lit)
        return Observation(
            self.switches,
            self._listed(self.trips, table),
            tuple(self._listed(lit, table) for lit in self.lit),
            tuple(self._listed(states, table) for states in self.hazards()),
            none,
            none,
        )

    def _listed(self, states: Diagram, table: dict[Diagram, int]) -> int:
        """Return a set of states as a number with a bit for each."""
        return self._spread(states, self.switches, table)

    def _spread(self, states: Diagram, below: int, table: dict[Diagram, int]) -> int:
        """Return the members of a set over the first `below` switches, as bits of a number."""
        if states == self.false:
            return 0
        if states == self.true:
            return (1 << (1 << below)) - 1
        switch = self.switches - 1 - states.level
        if states not in table:
            up, down = self._halves(states)
            up_bits, down_bits = (self._spread(half, switch, table) for half in (up, down))
            table[states] = up_bits | down_bits << (1 << switch)
        bits, width = table[states], switch + 1
        while width < below:
            bits |= bits << (1 << width)
            width += 1
        return bits

    def _halves(self, states: Diagram) -> tuple[Diagram, Diagram]:
        """Return a set's members with its topmost switch up, and those with it down."""
        _, up, down = self.manager.succ(states)
        return (~up, ~down) if states.negated else (up, down)

    def judgement(self) -> Judgement:
        """Return the verdict, with the smallest states that show it and the hazards."""
        hazard_states = tuple(
            (name, self._smallest(states))
            for name, states in zip(HAZARD_NAMES, self.hazards(), strict=True)
            if states != self.false
        )
        if self.trips != self.false:
            return Judgement(
                "trips", None, None, self._smallest(self.trips), hazard_states=hazard_states
            )
        idle = self._first_idle()
        if idle is not None:
            return Judgement("misbehaves", None, None, *idle, hazard_states)
        verdict = "mimic" if hazard_states else "sound"
        return Judgement(verdict, None, None, hazard_states=hazard_states)

    def _smallest(self, states: Diagram) -> int:
        """Return the smallest member of a set that is not empty."""
        state = 0
        while states != self.true:
            switch = self.switches - 1 - states.level
            up, down = self._halves(states)
            if up == self.false:
                state |= 1 << switch
                states = down
            else:
                states = up
        return state

    def _first_idle(self) -> tuple[int, int, int] | None:
        """Return the smallest state in which a switch changes nothing, with the switch and lamp.

        A lamp that every switch changes is lit at even parity or at odd. Where another lamp's
        difference from parity changes from a state to its neighbour, the switch between is idle.
        """
        parity = self.false
        for variable in self.variables:
            parity = self.manager.apply("xor", parity, variable)
        different = [self.manager.apply("xor", lit, parity) for lit in self.lit]
        uneven = [diagram for diagram in different if diagram not in (self.true, self.false)]
        if not uneven or not self.switches:
            return None
        state = self._on_the_edge(uneven)
        for switch in range(self.switches):
            for lamp, diagram in enumerate(different):
                if self._has(diagram, state) != self._has(diagram, state ^ 1 << switch):
                    return state, switch, lamp
        raise AssertionError("a state on the edge of a set has a neighbour beyond it")

    def _on_the_edge(self, sets: list[Diagram]) -> int:
        """Return the smallest state in one of the sets that has a neighbour outside, or conversely.

        Going down from the last switch: with it up, a state is on the edge if it is on the edge of
        what is left of a set, or if it differs from the state with the switch down (`already`).
        """
        state, already = 0, self.false
        for switch in reversed(range(self.switches)):
            parts = [self._split(diagram, switch) for diagram in sets]
            crossing = self._any(self.manager.apply("xor", up, down) for up, down in parts)
            already_up, already_down = self._split(already, switch)
            up = [up for up, _ in parts]
            already_up = already_up | crossing
            if already_up != self.false or any(s not in (self.true, self.false) for s in up):
                sets, already = up, already_up
            else:
                state |= 1 << switch
                sets, already = [down for _, down in parts], already_down | crossing
        return state

    def _split(self, states: Diagram, switch: int) -> tuple[Diagram, Diagram]:
        """Return a set's members with a switch up, and those with it down."""
        is_constant = states in (self.true, self.false)
        if is_constant or self.switches - 1 - states.level != switch:
            return states, states
        return self._halves(states)

    def _has(self, states: Diagram, state: int) -> bool:
        """Return True if a state is in the set."""
        while states not in (self.true, self.false):
            up, down = self._halves(states)
            states = down if state >> (self.switches - 1 - states.level) & 1 else up
        return bool(states == self.true)


def _manager(switches: int) -> Any:
    """Return a manager of diagrams with the last switch on top; the one in C if it is installed."""
    manager: Any
    try:
        from dd import cudd
    except ImportError:
        from dd import autoref

        manager = autoref.BDD()
    else:
        # Small at first: most circuits need few nodes, and allocating many takes time.
        manager = cudd.BDD(initial_cache_size=1 << 12, memory_estimate=1 << 26)
    manager.configure(reordering=False)
    manager.declare(*(f"s{number}" for number in reversed(range(switches))))
    return manager
