"""What the rules take for granted about a circuit, held to both engines and to a graph library."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

import networkx as nx
from boathouse import stair
from hypothesis import given, settings
from ruling import (
    NEUTRAL_APART,
    NEUTRAL_BESIDE,
    NEUTRAL_TWICE,
    book,
    findings,
    two_cables,
)

from verify.behaviour.findings import Observation
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End
from verify.engine.paths import StateGraph, WireGraph
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults
from verify.layout.enumeration import layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES
from verify.rules.currents import ConductorStep, Flow
from verify.rules.premises import Premises
from verify.rules.remarks import remarks
from verify.strategies import circuits, failing_circuits, miswired_circuits

#: Rules that something seen of can be about a circuit that is as it should be: a neutral may be
#: missing at switches, and sizes and boxes are not the wiring's.
HARMLESS = {"neutral-at-switch"}


def working(circuit: Circuit) -> Circuit:
    """The circuit with lamps that have not failed."""
    failures = tuple(f for f in circuit.failures if not f.kind.startswith("lamp"))
    return replace(circuit, failures=failures)


def seen(circuit: Circuit, jurisdiction: str = "us") -> set[str]:
    """The rules of which something is seen in a circuit."""
    return {
        remark.rule.id
        for remark in remarks(circuit, book(jurisdiction))
        if remark.finding.standing == "seen"
    }


@given(failing_circuits(miswired_circuits()))
def test_premises_are_what_the_words_engine_finds(circuit: Circuit) -> None:
    """Protection holds, and a lamp has its current, in exactly the states of the fast engine."""
    circuit = working(circuit)
    at = Premises(circuit)
    observed = WordsEngine().observe(circuit)
    assert at.every & ~at.holds == observed.trips
    for lamp, lit in zip(circuit.lamps, observed.lit, strict=True):
        load = next(load for load in at.loads if load.name == lamp.name)
        assert at.runs(*load.ways[0]) | at.runs(*load.ways[1]) == lit


@given(failing_circuits(miswired_circuits()))
def test_hazards_and_rules_agree_where_they_mean_the_same(circuit: Circuit) -> None:
    """What one engine calls a hazard, the rule about it sees, and the other way round."""
    circuit = working(circuit)
    observed: Observation = WordsEngine().observe(circuit)
    hazards = set(observed.hazard_names)
    found = seen(circuit)
    if observed.trips == (1 << (1 << observed.switches)) - 1:
        return  # no hazard is looked for where nothing ever holds
    assert ("neutral-ground-tied" in hazards) == ("neutral-ground-tied" in found)
    assert ("ground-carries-load" in hazards) == ("objectionable-current" in found)
    if "lamp-reversed" in hazards:
        assert "shell-on-neutral" in found
    if "neutral-switched" in hazards:
        assert "switching-ungrounded" in found
    if "yoke-grounded" in found:
        assert "metal-floating" in hazards


@given(circuits())
def test_sound_circuits_are_wired_as_the_rules_ask(circuit: Circuit) -> None:
    """Nothing is seen in a circuit without a mistake but that no neutral comes to a switch."""
    for jurisdiction in ("us", "ca", "uk"):
        assert seen(circuit, jurisdiction) <= HARMLESS


def test_all_layouts_of_three_locations_keep_conductors_together() -> None:
    """No layout of a sound scheme has an unbalanced cable, or a white one used the wrong way."""
    counts: Counter[str] = Counter()
    for scheme in SOUND_SCHEMES:
        for layout in layouts(3):
            counts.update(seen(layout.circuit(scheme)))
    assert counts.keys() == HARMLESS


def ways(circuit: Circuit, flow: Flow) -> set[tuple[ConductorStep, ...]]:
    """Every way that a load's current can take in a state, by trying all paths of a graph."""
    wiring = WireGraph(circuit)
    at = StateGraph(wiring, flow.state)
    sides = at.lit_sides(next(lamp for lamp in wiring.lamps if lamp.name == flow.load.name))
    assert sides is not None
    graph: nx.Graph[object] = nx.Graph(at.graph.edges)
    graph.add_edges_from(("lines", end) for end in wiring.lines)
    graph.add_edges_from(("service", end) for end in (*wiring.neutrals, *wiring.grounds))
    first_box = {cable.name: cable.between[0] for cable in circuit.cables}

    def steps(path: Iterable[object]) -> Iterator[ConductorStep]:
        ends = [node for node in path if isinstance(node, End)]
        for here, there in pairwise(ends):
            if here.name == there.name:
                yield ConductorStep(here.name, here.box == first_box[here.owner])

    return {
        (*steps(out), *steps(back))
        for out in nx.all_simple_paths(graph, "lines", sides[0])
        for back in nx.all_simple_paths(graph, sides[1], "service")
    }


@settings(max_examples=50)
@given(failing_circuits(miswired_circuits(circuits(most_locations=3))))
def test_a_current_that_is_told_has_no_other_way(circuit: Circuit) -> None:
    """Where steps are told, all paths that a graph library finds from line and back are those."""
    circuit = working(circuit)
    currents = Premises(circuit).currents
    assert currents.is_complete
    for flow in currents.flows:
        if flow.steps is not None:
            assert ways(circuit, flow) == {flow.steps}


def test_a_current_with_two_ways_is_not_told() -> None:
    """A neutral in two cables divides the current; apart from the travelers it does not."""
    divided = two_cables(NEUTRAL_TWICE)
    flows = Premises(divided).currents.flows
    assert flows
    assert all(flow.steps is None and len(ways(divided, flow)) == 2 for flow in flows)
    apart = Premises(two_cables(NEUTRAL_APART)).currents.flows
    assert all(flow.steps is not None for flow in apart)


@given(circuits())
def test_currents_of_sound_circuits_are_all_told(circuit: Circuit) -> None:
    """Without a mistake there is one way for each current, and every load has one in some state."""
    currents = Premises(circuit).currents
    assert {flow.load.name for flow in currents.flows} == {lamp.name for lamp in circuit.lamps}
    assert all(flow.steps for flow in currents.flows if circuit.cables)


def test_many_switches_are_gone_through_in_part_and_said_so() -> None:
    """Of 512 states a choice is gone through: a bad cable is found, a good one is left open."""
    circuit = sample(1, 0, fewest=9, most=9).circuit
    currents = Premises(circuit).currents
    assert not currents.is_complete
    assert currents.flows
    assert len({flow.state for flow in currents.flows}) <= 256
    more = [Device(f"more-{number}", "single-pole", "loft") for number in range(7)]

    def with_more(joins: str) -> Circuit:
        small = two_cables(joins)
        return replace(small, devices=(*small.devices, *more))

    (good,) = findings(with_more(NEUTRAL_BESIDE), "conductors-together")
    assert (good.standing, good.raised_by) == ("open", ("short-way", "long-way"))
    assert "too many states" in good.because
    bad = findings(with_more(NEUTRAL_APART), "conductors-together")
    assert [finding.standing for finding in bad] == ["seen", "seen"]


def test_nothing_is_seen_of_a_cable_that_is_the_only_way() -> None:
    """Whatever the mistake, what goes out in the only way between two sides comes back in it."""
    for fault in all_faults(stair()):
        found = seen(fault.apply(stair()))
        assert not {"conductors-together", "induced-heating"} & found, fault.site_text
