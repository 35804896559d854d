"""Routing: nets go into cables as the rules on circuits in cables ask.

Currents are found here by arithmetic, from the circuit alone: one ampere a lamp along its path.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TypeAlias

import networkx as nx
import pytest

from verify.circuit.colours import PALETTES
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, End, conductor_name, is_ground_colour
from verify.fault.registry import find_fault
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES

GENERATED = {
    **{
        f"{scheme}, {locations} locations": [
            layout.circuit(scheme) for layout in layouts(locations)
        ]
        for locations in (2, 3)
        for scheme in SOUND_SCHEMES
    },
    "drawn": [sample(6, index).circuit for index in range(60)],
}
LARGEST_CABLE = 4

# Its nodes are ends and joins, these by their number: a splice is a star.
Graph: TypeAlias = "nx.Graph[End | int]"


def conductor_ends(cable: Cable) -> Iterator[tuple[str, End, End]]:
    """Each conductor of a cable: its colour, and its ends in the first and the second box."""
    for colour in cable.conductors:
        name = conductor_name(cable.name, colour)
        first, second = (End(box, name) for box in cable.between)
        yield colour, first, second


def connections(circuit: Circuit) -> Graph:
    """What joins and insulated conductors connect.

    Ground conductors are left out: every cable has one, so they make circles where cables run side
    by side, and nothing flows in them.
    """
    graph: Graph = nx.Graph()
    for number, group in enumerate(circuit.grouped_ends):
        graph.add_edges_from((number, end) for end in group)
    for cable in circuit.cables:
        for colour, first, second in conductor_ends(cable):
            if not is_ground_colour(colour):
                graph.add_edge(first, second)
    return graph


def net_of(circuit: Circuit, device: Device, terminal: str) -> set[End | int]:
    """All that conductors alone connect to a terminal."""
    return nx.node_connected_component(connections(circuit), circuit.terminal(device, terminal))


def currents(circuit: Circuit, state: int) -> Counter[str]:
    """Amperes on each conductor from the first to the second box of its cable.

    One ampere flows through each lamp and receptacle that has a path to line; no load is in series
    with another.
    """
    graph = connections(circuit)
    for number, switch in enumerate(circuit.switches):
        is_down = bool(state >> number & 1)
        graph.add_edges_from(
            (circuit.terminal(switch, contact.a), circuit.terminal(switch, contact.b))
            for contact in switch.form.contacts
            if (contact.down if is_down else contact.up)
        )
    loads = [(lamp, "contact", "shell") for lamp in circuit.lamps]
    loads += [(d, "line", "neutral") for d in circuit.devices if d.kind == "receptacle"]
    first_box = {cable.name: cable.between[0] for cable in circuit.cables}
    amperes: Counter[str] = Counter()
    found = nx.bridges(graph)
    bridges: set[object] = set(found)
    for device, one, other in loads:
        into, out = circuit.terminal(device, one), circuit.terminal(device, other)
        lines, neutrals = (
            [
                end
                for feed in circuit.feeds
                for end in [circuit.terminal(feed, name)]
                if nx.has_path(graph, end, side)
            ]
            for name, side in (("line", into), ("neutral", out))
        )
        if not lines:
            continue
        for path in (
            nx.shortest_path(graph, lines[0], into),
            nx.shortest_path(graph, out, neutrals[0]),
        ):
            # Without any of its steps there is no path at all, so the current has no choice.
            assert all(step in bridges or step[::-1] in bridges for step in pairwise(path))
            ends = [node for node in path if isinstance(node, End)]
            for here, there in pairwise(ends):
                if here.name == there.name:
                    amperes[here.name] += 1 if here.box == first_box[here.owner] else -1
    return amperes


def unbalanced(circuit: Circuit) -> Iterator[tuple[int, str]]:
    """The states and cables whose conductors carry more one way than the other."""
    for state in range(1 << len(circuit.switches)):
        sums: Counter[str] = Counter()
        for conductor, amperes in currents(circuit, state).items():
            sums[conductor.partition(".")[0]] += amperes
        yield from ((state, cable) for cable, amperes in sums.items() if amperes)


@pytest.mark.parametrize("circuits", GENERATED.values(), ids=GENERATED)
def test_every_cable_is_balanced_in_every_state(circuits: Sequence[Circuit]) -> None:
    """What a cable carries there it carries back: all conductors of a circuit keep together.

    US NEC 300.3(B) and 300.20 (read); UK BS 7671 521.5.1 (read).
    """
    for circuit in circuits:
        assert list(unbalanced(circuit)) == [], circuit.name


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
def test_every_cable_of_four_locations_is_balanced(scheme: str) -> None:
    """The same for every layout of four locations."""
    for layout in layouts(4):
        assert list(unbalanced(layout.circuit(scheme))) == [], layout.code


def test_mixed_up_cables_are_not_balanced() -> None:
    """The check above can fail: conductors taken for each other at both ends unbalance cables."""
    circuit = Layout.parse("f.L.L.1").circuit("chain")
    mixed = find_fault(circuit, "cables-mixed/box-1-run,box-1-run-2,white").apply(circuit)
    assert {cable for _, cable in unbalanced(mixed)} == {"box-1-run", "box-1-run-2"}


def test_current_flows_in_half_of_the_states() -> None:
    """The currents that are balanced are not all nothing."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    assert sum(bool(currents(circuit, state)) for state in range(4)) == 2


@pytest.mark.parametrize("circuits", GENERATED.values(), ids=GENERATED)
def test_net_takes_no_more_conductors_than_it_needs(circuits: Sequence[Circuit]) -> None:
    """No net runs in a circle, and a conductor is connected at both ends or is a spare.

    But for a neutral taken to a switch that has no use for it, which ends there.
    """
    for circuit in circuits:
        assert nx.is_forest(connections(circuit))
        alone = {group[0] for group in circuit.grouped_ends if len(group) == 1}
        neutral = net_of(circuit, circuit.feed, "neutral")
        for cable in circuit.cables:
            for colour, first, second in conductor_ends(cable):
                if first not in neutral and not is_ground_colour(colour):
                    assert (first in alone) == (second in alone), first


@pytest.mark.parametrize("circuits", GENERATED.values(), ids=GENERATED)
def test_cables_can_be_bought(circuits: Sequence[Circuit]) -> None:
    """Two to four insulated conductors and a ground; more only in a raceway, without spares.

    The traveler chain never needs a raceway.
    """
    for circuit in circuits:
        palette = PALETTES[circuit.palette]
        alone = {group[0] for group in circuit.grouped_ends if len(group) == 1}
        for cable in circuit.cables:
            *insulated, ground = cable.conductors
            assert ground in palette.ground
            assert not set(insulated) & set(palette.ground)
            assert len(insulated) >= 2
            if len(insulated) > LARGEST_CABLE:
                assert "tied" in circuit.name.lower()
                assert not any(
                    {first, second} <= alone for _, first, second in conductor_ends(cable)
                )


@pytest.mark.parametrize("circuits", GENERATED.values(), ids=GENERATED)
def test_neutral_has_its_colour(circuits: Sequence[Circuit]) -> None:
    """In a cable with the neutral, the neutral and nothing else has the neutral's colour.

    IEC 60445 (read) for the palette iec; US NEC 200.7(C) (read) allows another use of it only in
    a cable, re-identified.
    """
    for circuit in circuits:
        colour = PALETTES[circuit.palette].neutral
        neutral = net_of(circuit, circuit.feed, "neutral")
        for cable in circuit.cables:
            on_neutral = {part for part, first, _ in conductor_ends(cable) if first in neutral}
            assert on_neutral <= {colour}
            if colour in cable.conductors and len(cable.conductors) > LARGEST_CABLE + 1:
                assert on_neutral == {colour}


@pytest.mark.parametrize("circuits", GENERATED.values(), ids=GENERATED)
def test_neutral_colour_on_another_net_carries_supply(circuits: Sequence[Circuit]) -> None:
    """Re-identified, it carries supply to a switch, not the return from it, if there is a choice.

    US NEC 200.7(C) (read).
    """
    for circuit in circuits:
        colour = PALETTES[circuit.palette].neutral
        leg = net_of(circuit, circuit.lamps[0], "contact")
        alone = {group[0] for group in circuit.grouped_ends if len(group) == 1}
        for cable in circuit.cables:
            used = {part: first for part, first, _ in conductor_ends(cable) if first not in alone}
            if used.get(colour) in leg:
                assert all(first in leg or is_ground_colour(part) for part, first in used.items())
