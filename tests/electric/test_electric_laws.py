"""Laws of the electrical engine, on circuits wired in any way at all."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import networkx as nx
import numpy as np
import pytest
from boathouse import stair
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators import by_one_matrix
from verify.base.compiling import compiled
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Failure
from verify.electric import solve as solving
from verify.electric.grid import Grid
from verify.electric.numbers import parameters
from verify.electric.outcomes import (
    DARK,
    DIM,
    LIT,
    Energised,
    Outcomes,
    circuit_outcomes,
    energise,
    outcomes_of_faults,
)
from verify.electric.readings import readings
from verify.electric.solve import all_states, solve
from verify.electric.solving_kernel import solve_rows
from verify.engine.paths import StateGraph
from verify.engine.paths import WireGraph as Paths
from verify.engine.words import WordsEngine
from verify.fault.change import Change
from verify.fault.failed_parts import LooseJoin
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout, layouts
from verify.strategies import circuits, failing_circuits, miswired_circuits, rewirings, states

FEW: Final = settings(max_examples=40)


def anything() -> st.SearchStrategy[Circuit]:
    """Circuits with mistakes, failed parts, or every join another."""
    small = circuits(most_locations=3)
    return st.one_of(
        miswired_circuits(small),
        failing_circuits(small),
        small.flatmap(rewirings),
        miswired_circuits(small).map(with_second_feed),
    )


def with_second_feed(circuit: Circuit) -> Circuit:
    """The circuit with a feed on the other leg, returning where the first does."""
    feed = replace(circuit.feed, name="second-feed", leg="B")
    joins = tuple(
        replace(join, ends=(*join.ends, *more))
        for join in circuit.joins
        for more in [
            [f"second-feed.{t}" for t in ("neutral", "ground") if f"feed.{t}" in join.ends]
        ]
    )
    return replace(circuit, devices=(*circuit.devices, feed), joins=joins)


def power(circuit: Circuit) -> Energised:
    """The circuit in all states."""
    grid = Grid(circuit)
    return energise(grid, grid.network([Change()]))


def loads_in_series(circuit: Circuit, state: int) -> bool:
    """True if current can go through one load and then another.

    Loads meet in series in a piece that neither line, neutral nor ground of a feed belongs to.
    """
    feeds = {
        circuit.terminal(feed, terminal)
        for feed in circuit.feeds
        for terminal in feed.form.terminals
    }
    lamps = [lamp for lamp in Paths(circuit).lamps if not lamp.failed]
    return any(
        sum(len(piece & set(lamp.sides)) == 1 for lamp in lamps) > 1
        for piece in nx.connected_components(StateGraph(Paths(circuit), state).graph)
        if not piece & feeds
    )


def compared(circuit: Circuit) -> Iterator[int]:
    """Hold the engine to the words engine in each state where no load is in series with another.

    Yields those states. Loose joins, of which connections say nothing, are tightened first. Several
    feeds have protection of their own, and lamps between two legs are over, of which the words
    engine says nothing: there only the trips are compared.
    """
    tight = tuple(failure for failure in circuit.failures if failure.kind != "loose-join")
    circuit = replace(circuit, failures=tight)
    words = WordsEngine().observe(circuit)
    found = circuit_outcomes(circuit)
    for state in range(1 << len(circuit.switches)):
        trips = bool(words.trips >> state & 1)
        if loads_in_series(circuit, state) and not trips:
            continue
        assert found.trips[0, state] == trips, state
        if len(circuit.feeds) == 1:
            for number, states in enumerate(words.lit):
                wanted = LIT if states >> state & 1 else DARK
                assert found.lamps[0, state, number] == wanted, (state, number)
        yield state


@given(anything())
def test_words_and_volts_agree(circuit: Circuit) -> None:
    """Lamps are lit or dark, and protection trips, as connectivity says."""
    for _ in compared(circuit):
        pass


@pytest.mark.parametrize("scheme", ["chain", "tied"])
def test_words_and_volts_agree_on_every_fault(scheme: str) -> None:
    """The same for all single faults of a small circuit, of which few put loads in series."""
    circuit = Layout.parse("1.f.1").circuit(scheme)
    words = WordsEngine().observe_faults(circuit, every := all_faults(circuit))
    found = outcomes_of_faults(circuit, every)
    states = range(1 << len(circuit.switches))
    for row, fault in enumerate(every):
        seen = words.observation(row)
        # One lamp has nothing to be in series with.
        assert found.trips[row].tolist() == [bool(seen.trips >> s & 1) for s in states], fault.label
        lit = [LIT if seen.lit[0] >> s & 1 else DARK for s in states]
        assert found.lamps[row, :, 0].tolist() == lit, fault.label


def test_loads_in_series_are_met() -> None:
    """The exception is not empty: two lamps, one behind the other, are left to the volts."""
    behind = stair(
        {"feed.neutral lamp.shell": "lamp.shell other.contact|feed.neutral other.shell"},
        devices=[Device("other", "lamp", "landing")],
    )
    assert list(compared(behind)) == []
    assert len(list(compared(stair()))) == 4
    lit = WordsEngine().observe(stair()).lit[0]
    expected = [[DIM, DIM] if lit >> state & 1 else [DARK, DARK] for state in range(4)]
    assert circuit_outcomes(behind).lamps[0].tolist() == expected
    assert WordsEngine().observe(behind).lit == (0, 0)


@FEW
@given(anything())
def test_one_matrix_finds_the_same(circuit: Circuit) -> None:
    """Elimination without subtraction finds what solving the matrix finds, and where it exists."""
    grid = Grid(circuit)
    network = grid.network([Change()])
    found = solve(grid, network, all_states(grid, 1))
    for state in range(1 << len(circuit.switches)):
        plain = by_one_matrix(grid, network, 0, state)
        np.testing.assert_allclose(found.volts[0, state, :-1], plain, rtol=1e-5, atol=1e-9)


@FEW
@given(anything(), st.data())
def test_a_potential_exists_where_something_leads_to_the_reference(
    circuit: Circuit, data: st.DataObject
) -> None:
    """By galvanic paths, lamps and the capacitance of cables; nowhere else."""
    state = data.draw(states(circuit))
    graph: nx.Graph[object] = nx.Graph(StateGraph(Paths(circuit), state).graph.edges)
    for cable in circuit.cables:
        for box in cable.between:
            ends = [End(box, f"{cable.name}.{colour}") for colour in cable.conductors]
            nx.add_path(graph, ends)
    for lamp in Paths(circuit).lamps:
        if not lamp.failed:
            graph.add_edge(lamp.contact, lamp.shell)
    for feed in circuit.feeds:
        nx.add_star(graph, ["service", *(circuit.terminal(feed, t) for t in feed.form.terminals)])
    exists = nx.node_connected_component(graph, "service")
    grid = Grid(circuit)
    solution = solve(grid, grid.network([Change()]), np.array([[state]]))
    volts = solution.at(np.arange(len(circuit.ends)))[0, 0]
    for end, found in zip(circuit.ends, volts, strict=True):
        assert np.isnan(found) == (end not in exists), end


@FEW
@given(anything())
def test_cables_in_a_tree_are_balanced(circuit: Circuit) -> None:
    """Whatever is wrong, what goes out by the only way between two places comes back by it."""
    found = circuit_outcomes(circuit)
    graph: nx.MultiGraph[str] = nx.MultiGraph(cable.between for cable in circuit.cables)
    if graph.number_of_edges() == graph.number_of_nodes() - 1:
        scale = 1 + found.inrush.max(axis=2) * ~found.trips
        assert (found.unbalanced_amps <= 1e-9 * scale).all()


@FEW
@given(anything())
def test_what_is_off_is_dead(circuit: Circuit) -> None:
    """Where every breaker has tripped no lamp has volts, and no meter reads any."""
    energised = power(circuit)
    off = ~energised.solution.feeding[0].any(axis=1)
    found = Outcomes.of(energised)
    assert not found.lamp_volts[0, off].any()
    assert not found.ground_amps[0, off].any()
    if off.any():
        ends = (End(circuit.feed.box, "feed.neutral"), circuit.terminal(circuit.lamps[0], "shell"))
        for reading in readings(circuit, [ends]):
            if off[reading.state]:
                assert (reading.high, reading.low) == (0, 0)


@settings(max_examples=15)
@given(anything())
def test_less_ohms_in_the_meter_read_less(circuit: Circuit) -> None:
    """A meter loads what it measures: the low input never reads more than the high one."""
    for reading in readings(circuit):
        assert reading.low <= reading.high * (1 + 1e-9) + 1e-9


@FEW
@given(anything(), st.data())
def test_a_meter_is_a_load_between_two_points(circuit: Circuit, data: st.DataObject) -> None:
    """What it reads is the voltage that remains when its ohms are connected there for good."""
    assumed = parameters(circuit.palette)
    ends = data.draw(st.lists(st.sampled_from(circuit.ends), min_size=2, max_size=2, unique=True))
    state = data.draw(states(circuit))
    energised = power(circuit)
    grid, network = energised.solution.grid, energised.solution.network
    network = network.fed_by(energised.solution.feeding[0, state])
    reading = readings(circuit, [(ends[0], ends[1])])[state]
    pair = np.array([circuit.end_index[end] for end in ends])
    for ohms, read in ((assumed.high_meter, reading.high), (assumed.low_meter, reading.low)):
        there = replace(
            network,
            extras=np.concatenate([network.extras, pair.astype(np.int16)[None, None]], axis=1),
            extra_admittances=np.append(network.extra_admittances, [[1 / ohms]], axis=1),
        )
        a, b = solve(grid, there, np.array([[state]])).at(pair)[0, 0]
        expected = 0.0 if np.isnan(a - b) else abs(a - b)
        assert read == pytest.approx(expected, rel=1e-5, abs=1e-6)


REALS: Final = (
    "inrush",
    "lamp_amps",
    "residual_amps",
    "unbalanced_amps",
    "ground_amps",
    "loose_watts",
)


def assert_rows_are_circuits(circuit: Circuit) -> None:
    """Hold each row of a batch to the faulted circuit by itself."""
    every = all_faults(circuit)
    found = outcomes_of_faults(circuit, every)
    for row, fault in enumerate(every):
        alone = circuit_outcomes(fault.apply(circuit))
        for name in ("level", "lamps"):
            assert (getattr(found, name)[row] == getattr(alone, name)[0]).all(), fault.label
        for name in REALS:
            np.testing.assert_allclose(
                getattr(found, name)[row], getattr(alone, name)[0], rtol=1e-6, atol=1e-9
            )


def test_row_of_a_batch_is_the_faulted_circuit() -> None:
    """Every fault of every kind is the same mistake as arrays and as a circuit of its own."""
    assert_rows_are_circuits(Layout.parse("f.L.L.1").circuit("chain"))


def test_row_of_a_batch_is_the_faulted_circuit_where_joins_are_loose() -> None:
    """So it is where ends are loose already, moved, left off, or gone with a replaced switch."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    loose = [
        ("box-1", "feed.line"),
        ("box-1", "switch-1.common"),
        ("box-2", "switch-2.traveler-1"),
        ("lamp-box", "lamp-box-run.white"),
    ]
    failures = tuple(Failure("loose-join", (end,), box=box) for box, end in loose)
    assert_rows_are_circuits(replace(circuit, failures=failures))


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["chain", "tied", "both-poles"])
def test_row_of_a_batch_is_the_faulted_circuit_in_every_small_layout(scheme: str) -> None:
    """The same for all layouts of two locations."""
    for layout in layouts(2):
        assert_rows_are_circuits(layout.circuit(scheme))


@settings(max_examples=15)
@given(anything())
def test_compiled_kernel_does_what_the_source_says(circuit: Circuit) -> None:
    """Machine code and plain Python fill the same array."""
    grid = Grid(circuit)
    network, states = grid.network([Change()]), all_states(grid, 1)
    compiled(solve_rows)
    as_machine_code = solve(grid, network, states)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solving, "compiled_where", lambda _, kernel: kernel)
        interpreted = solve(grid, network, states)
    np.testing.assert_allclose(as_machine_code.volts, interpreted.volts, rtol=1e-9, atol=1e-12)


@FEW
@given(circuits(most_locations=4))
def test_filaments_change_nothing_at_their_volts(circuit: Circuit) -> None:
    """In a sound circuit no lamp is far from its volts, whatever law its current follows."""
    assumed = parameters(circuit.palette)
    constant = circuit_outcomes(circuit, assumed)
    filaments = circuit_outcomes(circuit, replace(assumed, lamp_exponent=0.541))
    assert (constant.lamps == filaments.lamps).all()
    lit = constant.lamps == LIT
    np.testing.assert_allclose(constant.lamp_amps[lit], filaments.lamp_amps[lit], rtol=0.02)


@FEW
@given(circuits(most_locations=3), st.data())
def test_loose_joins_let_no_more_flow(circuit: Circuit, data: st.DataObject) -> None:
    """A loose join heats with the square of its current, and no ohms added let more flow.

    That the whole current never rises with a resistance is Rayleigh's law of monotony.
    """
    loose = data.draw(st.sampled_from(all_faults(circuit, [LooseJoin()])))
    grid = Grid(circuit)
    found = Outcomes.of(energise(grid, grid.network([Change(), loose.change])))
    assert (found.inrush[1] <= found.inrush[0] + 1e-6).all()
    assert (found.loose_watts[0] == 0).all()
    most = found.inrush[1].max(axis=1)
    assert (found.loose_watts[1] <= grid.assumed.loose * (most * 1.001 + 1e-3) ** 2).all()
