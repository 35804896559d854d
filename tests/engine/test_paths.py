"""The inside of the engine *paths*; what it says of circuits is tested with the other engines."""

import networkx as nx
from boathouse import LINE_ON_SHELL, SWITCH_NOT_GROUNDED, failed, stair
from hypothesis import given
from hypothesis import strategies as st

from verify.circuit.model import Circuit
from verify.engine.paths import StateGraph, WireGraph
from verify.strategies import circuits, miswired_circuits, states


def test_feed_ground_is_no_metal_part() -> None:
    """What a person can touch: every ground terminal but the feed's, then the metal boxes."""
    parts = WireGraph(stair(metal=["landing"])).metal_parts
    assert [part.name for part in parts] == [
        "lamp.ground",
        "slipway-switch.ground",
        "workshop-switch.ground",
        "box.landing",
    ]


def test_no_subject_of_a_hazard_where_protection_trips() -> None:
    """In a state that trips nothing shows a hazard, though the plate is not grounded there."""
    circuit = stair({**SWITCH_NOT_GROUNDED, **LINE_ON_SHELL}, failed("lamp-shorted", "lamp"))
    wiring = WireGraph(circuit)
    assert list(StateGraph(wiring, 0).subjects("metal-floating")) == []
    assert list(StateGraph(wiring, 1).subjects("metal-floating")) == ["slipway-switch.ground"]


@given(miswired_circuits(circuits(most_locations=3)), st.data())
def test_contracted_graph_says_what_the_whole_graph_says(
    circuit: Circuit, data: st.DataObject
) -> None:
    """Contracting what conductors connect loses nothing: both graphs say the same of each end."""
    wiring = WireGraph(circuit)
    at = StateGraph(wiring, data.draw(states(circuit)))
    for end in circuit.ends:
        for feed, found in (
            (wiring.lines[0], at.is_live(end)),
            (wiring.neutrals[0], at.is_neutral(end)),
            (wiring.grounds[0], at.is_ground(end)),
        ):
            assert found == nx.has_path(at.graph, feed, end), (end, feed)
