"""What general libraries make of the same circuits: connected components, and logic.

Connections are read here from `Circuit` alone; nothing is shared with an engine.
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from dd.bdd import BDD
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, box_end, conductor_name
from verify.engine.contract import Engine
from verify.engine.paths import PathsEngine, WireGraph
from verify.engine.words import WordsEngine
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.enumeration import Layout, layouts
from verify.layout.routing import ROOT
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES
from verify.strategies import circuits, failing_circuits, miswired_circuits, rewirings, schemes

WORDS = WordsEngine()
ENGINES: dict[str, Engine] = {"words": WORDS, "paths": PathsEngine()}

Edges = Sequence[tuple[End, End]]
Components = Callable[[Circuit, Edges], dict[End, int]]


def by_networkx(circuit: Circuit, edges: Edges) -> dict[End, int]:
    """The component of each end, by networkx."""
    graph: nx.Graph[End] = nx.Graph(edges)
    graph.add_nodes_from(circuit.ends)
    parts = enumerate(nx.connected_components(graph))
    return {end: number for number, part in parts for end in part}


def by_scipy(circuit: Circuit, edges: Edges) -> dict[End, int]:
    """The component of each end, by scipy."""
    index = circuit.end_index
    pairs = np.array([(index[a], index[b]) for a, b in edges]).reshape(-1, 2)
    size = len(circuit.ends)
    matrix = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(size, size))
    _, labels = connected_components(matrix, directed=False)
    return dict(zip(circuit.ends, map(int, labels), strict=True))


COMPONENTS: dict[str, Components] = {"networkx": by_networkx, "scipy": by_scipy}


def wired(circuit: Circuit) -> Iterator[tuple[End, End]]:
    """What is connected without any switch contact: joins, whole conductors, shorts."""
    failed = {(failure.kind, name) for failure in circuit.failures for name in failure.at}
    first_end = {}
    for join in circuit.joins:
        yield from pairwise(End(join.box, name) for name in join.ends)
    for cable in circuit.cables:
        for colour in cable.conductors:
            name = conductor_name(cable.name, colour)
            ends = End(cable.between[0], name), End(cable.between[1], name)
            first_end[name] = ends[0]
            if ("conductor-open", name) not in failed:
                yield ends
    for failure in circuit.failures:
        if failure.kind == "conductors-shorted":
            yield first_end[failure.at[0]], first_end[failure.at[1]]
    for lamp in circuit.lamps:
        if ("lamp-shorted", lamp.name) in failed:
            yield circuit.terminal(lamp, "contact"), circuit.terminal(lamp, "shell")


def contacts(circuit: Circuit) -> Iterator[tuple[int, End, End, bool, bool]]:
    """Each contact: the number of its switch, its ends, and whether it conducts up and down."""
    failed = {frozenset(failure.at): failure for failure in circuit.failures}
    for number, switch in enumerate(circuit.switches):
        stuck = failed.get(frozenset({switch.name}))
        for contact in switch.form.contacts:
            a, b = circuit.terminal(switch, contact.a), circuit.terminal(switch, contact.b)
            up, down = contact.up, contact.down
            if stuck:
                up = down = up if stuck.position == "up" else down
            broken = failed.get(frozenset({a.name, b.name}))
            if broken:
                up = down = broken.kind == "contact-welded"
            yield number, a, b, up, down


def closed(circuit: Circuit, state: int) -> Iterator[tuple[End, End]]:
    """What switch contacts connect in a state."""
    for number, a, b, up, down in contacts(circuit):
        if down if state >> number & 1 else up:
            yield a, b


def works(circuit: Circuit, lamp: Device) -> bool:
    """True if a lamp has not failed."""
    return (lamp.name,) not in [failure.at for failure in circuit.failures]


def metal(circuit: Circuit) -> Iterator[End]:
    """What a person touches that has to be grounded."""
    for device in circuit.devices:
        if device.kind != "feed":
            yield circuit.terminal(device, "ground")
    for box in circuit.boxes:
        if box.material == "metal":
            yield End(box.name, box_end(box.name))


wrong_circuits = failing_circuits(
    st.one_of(
        miswired_circuits(circuits(most_locations=3, schemes=schemes())),
        circuits(most_locations=2).flatmap(rewirings),
    )
)


@pytest.mark.parametrize("components", COMPONENTS.values(), ids=COMPONENTS)
@given(wrong_circuits)
def test_conductors_alone_connect_what_libraries_say(
    components: Components, circuit: Circuit
) -> None:
    """What *paths* takes for one piece of wire is one component, and the other way round."""
    wiring = WireGraph(circuit)
    labels = components(circuit, list(wired(circuit)))
    pairs = {(wiring.component(end), labels[end]) for end in circuit.ends}
    assert len(pairs) == len({piece for piece, _ in pairs}) == len({label for _, label in pairs})


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)
@pytest.mark.parametrize("components", COMPONENTS.values(), ids=COMPONENTS)
@settings(max_examples=60)
@given(wrong_circuits)
def test_behaviour_follows_from_components(
    components: Components, engine: Engine, circuit: Circuit
) -> None:
    """Trips, lamps, floating metal and poles on one switch are questions about components."""
    seen = engine.observe(circuit)
    hazards = dict(zip(HAZARD_NAMES, seen.hazards, strict=True))
    line, neutral, ground = (
        circuit.terminal(circuit.feed, name) for name in ("line", "neutral", "ground")
    )
    by_wire = list(wired(circuit))
    pieces = components(circuit, by_wire)
    floats = any(pieces[part] != pieces[ground] for part in metal(circuit))
    terminals = (
        {pieces[circuit.terminal(switch, name)] for name in switch.form.switched_terminals}
        for switch in circuit.switches
    )
    meets_both = any(
        pieces[line] in reached and not reached.isdisjoint({pieces[neutral], pieces[ground]})
        for reached in terminals
    )
    for state in range(1 << len(circuit.switches)):
        parts = components(circuit, by_wire + list(closed(circuit, state)))
        trips = parts[line] in (parts[neutral], parts[ground])
        assert trips == bool(seen.trips >> state & 1)
        for lamp, lit in zip(circuit.lamps, seen.lit, strict=True):
            sides = [parts[circuit.terminal(lamp, name)] for name in ("contact", "shell")]
            expected = (
                works(circuit, lamp)
                and not trips
                and parts[line] in sides
                and not {parts[neutral], parts[ground]}.isdisjoint(sides)
            )
            assert bool(lit >> state & 1) == expected
        assert bool(hazards["metal-floating"] >> state & 1) == (floats and not trips)
        assert bool(hazards["both-poles-on-switch"] >> state & 1) == (
            bool(meets_both) and not trips
        )


class Logic:
    """What a circuit does as functions of its switches: variable ``s0`` is true with s0 down.

    Functions are numbers of nodes of one diagram, equal if and only if they are the same.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.bdd = BDD()  # type: ignore[abstract] # it compares diagrams as `object` does
        self.names = [f"s{number}" for number in range(len(circuit.switches))]
        self.bdd.declare(*self.names)
        self.edges = [(a, b, self.bdd.true) for a, b in wired(circuit)]
        for number, a, b, up, down in contacts(circuit):
            values = [self.bdd.true if value else self.bdd.false for value in (down, up)]
            self.edges.append((a, b, self.bdd.ite(self.bdd.var(self.names[number]), *values)))
        self.line, neutral, ground = (
            circuit.terminal(circuit.feed, name) for name in ("line", "neutral", "ground")
        )
        self.live = self.reached(self.line)
        by_neutral, by_ground = self.reached(neutral), self.reached(ground)
        self.returns = {end: self.either(by_neutral[end], by_ground[end]) for end in circuit.ends}
        self.trips = self.returns[self.line]

    def either(self, one: int, other: int) -> int:
        """True where one or the other is."""
        return self.bdd.apply("or", one, other)

    def both(self, one: int, other: int) -> int:
        """True where both are."""
        return self.bdd.apply("and", one, other)

    def reached(self, start: End) -> dict[End, int]:
        """For each end, when it is connected to `start`: the smallest solution of the equations."""
        when = dict.fromkeys(self.circuit.ends, self.bdd.false)
        when[start] = self.bdd.true
        changing = True
        while changing:
            changing = False
            for a, b, closed in self.edges:
                through = self.both(self.either(when[a], when[b]), closed)
                for end in (a, b):
                    grown = self.either(when[end], through)
                    changing |= grown != when[end]
                    when[end] = grown
        return when

    def lit(self, lamp: Device) -> int:
        """When a lamp is lit."""
        if not works(self.circuit, lamp):
            return self.bdd.false
        contact, shell = (self.circuit.terminal(lamp, name) for name in ("contact", "shell"))
        upright = self.both(self.live[contact], self.returns[shell])
        reversed_ = self.both(self.live[shell], self.returns[contact])
        return self.both(self.either(upright, reversed_), -self.trips)

    def states(self, function: int) -> int:
        """The set of states in which a function is true."""
        found = 0
        for state in range(1 << len(self.names)):
            positions = {name: bool(state >> i & 1) for i, name in enumerate(self.names)}
            if self.bdd.let(positions, function) == self.bdd.true:
                found |= 1 << state
        return found


@pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)
@settings(max_examples=60)
@given(wrong_circuits)
def test_lamp_is_the_function_that_logic_derives(engine: Engine, circuit: Circuit) -> None:
    """Reachability solved symbolically, in binary decision diagrams of the library dd."""
    logic = Logic(circuit)
    seen = engine.observe(circuit)
    assert seen.trips == logic.states(logic.trips)
    for lamp, lit in zip(circuit.lamps, seen.lit, strict=True):
        assert lit == logic.states(logic.lit(lamp))


@pytest.mark.parametrize("scheme", SCHEMES)
def test_logic_derives_parity(scheme: str) -> None:
    """By logic alone every scheme makes the lamp the parity of the switches or its complement."""
    for layout in (*layouts(2), Layout((ROOT, *range(6))), Layout((ROOT, *range(12)))):
        circuit = layout.circuit(scheme)
        logic = Logic(circuit)
        parity = logic.bdd.false
        for name in logic.names:
            parity = logic.bdd.apply("xor", parity, logic.bdd.var(name))
        assert logic.lit(circuit.lamps[0]) in (parity, -parity)
        assert logic.trips == logic.bdd.false


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
def test_twelve_switches_by_words_and_by_logic(scheme: str) -> None:
    """All 4,096 states of twelve switches, as bits of words and as a diagram, are the same."""
    circuit = Layout((ROOT, *range(12))).circuit(scheme)
    logic = Logic(circuit)
    assert WORDS.observe(circuit).lit == (logic.states(logic.lit(circuit.lamps[0])),)
