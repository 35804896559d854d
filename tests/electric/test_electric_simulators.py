"""The electrical engine against circuit simulators that know nothing of it, on faulted circuits.

The simulators read netlists that are written from the faulted circuit itself; the engine has the
fault as a row of arrays. They share the numbers of `data/electrical.toml` and nothing else.
"""

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pytest

from simulators import Voltages, by_ngspice, by_opendss
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, Failure
from verify.electric.grid import Grid
from verify.electric.readings import readings
from verify.electric.solve import Solution, all_states, solve
from verify.engine.netlist import Netlist
from verify.fault.change import Change
from verify.fault.contract import Fault
from verify.fault.registry import all_faults, fault_kinds
from verify.layout.sampler import sample

TOLERANCE: Final = 1e-3
#: Below a microvolt there is nothing to agree on.
LEAST_VOLTS: Final = 1e-6

Simulator = Callable[[Netlist], Voltages]
SIMULATORS: Final[dict[str, Simulator]] = {
    "ngspice": lambda netlist: by_ngspice(str(netlist)),
    "opendss": by_opendss,
}


@dataclass
class Case:
    """A circuit, which may have loose joins, with a fault in a state."""

    circuit: Circuit
    fault: Fault
    state: int

    def solution(self) -> Solution:
        """What the electrical engine finds: the fault is a row, the only one here."""
        rebuilt = self.fault.change.rebuilt
        grid = Grid(self.circuit if rebuilt is None else rebuilt)
        change = self.fault.change if rebuilt is None else Change()
        states = np.array([[self.state]])
        return solve(grid, grid.network([change]), states)

    def netlist(self) -> Netlist:
        """The same, written from the faulted circuit."""
        return Netlist(self.fault.apply(self.circuit), self.state)


def cases(seed: str, count: int) -> Iterator[Case]:
    """Drawn circuits, of any palette and with a second feed or loads now and then."""
    draws = random.Random(seed)
    for index in range(count):
        circuit = varied(sample(11, index, most=4).circuit, draws)
        if draws.random() < 0.4:
            circuit = loosened(circuit, 1 + int(draws.random() * 3), draws)
        kinds = fault_kinds()
        # Kinds with many sites do not crowd out the rest.
        faults: list[Fault] = []
        while not faults:
            faults = all_faults(circuit, [kinds[int(draws.random() * len(kinds))]])
        yield Case(
            circuit,
            faults[int(draws.random() * len(faults))],
            int(draws.random() * (1 << len(circuit.switches))),
        )


def loosened(circuit: Circuit, count: int, draws: random.Random) -> Circuit:
    """The circuit with ends loose in their joins, perhaps several in one."""
    joined = [(join.box, end) for join in circuit.joins if len(join.ends) > 1 for end in join.ends]
    chosen = {joined[int(draws.random() * len(joined))] for _ in range(count)}
    failures = (Failure("loose-join", (end,), box=box) for box, end in sorted(chosen))
    return replace(circuit, failures=(*circuit.failures, *failures))


def varied(circuit: Circuit, draws: random.Random) -> Circuit:
    """The circuit with lengths and sizes drawn, and a second feed or a receptacle added."""
    sizes = ("14 AWG", "12 AWG") if circuit.palette == "us" else ("1.5 mm²", "2.5 mm²")
    cables = tuple(
        replace(
            cable,
            length_m=round(0.5 + 60 * draws.random() ** 2, 2),
            size=sizes[int(draws.random() * 2)],
        )
        for cable in circuit.cables
    )
    box = circuit.feed.box
    more = (
        Device("second-feed", "feed", box, leg="B", length_m=25.0),
        Device("outlet", "receptacle", box, loads=(200.0, 60.0)),
    )
    joins = []
    for join in circuit.joins:
        ends = list(join.ends)
        for terminal in ("line", "neutral", "ground"):
            if f"feed.{terminal}" in ends:
                ends.append(f"outlet.{terminal}")
                if terminal != "line":
                    ends.append(f"second-feed.{terminal}")
        joins.append(replace(join, ends=tuple(ends)))
    chosen = replace(circuit, cables=cables)
    if draws.random() < 0.5:
        chosen = replace(chosen, devices=(*circuit.devices, *more), joins=tuple(joins))
    return chosen


def worst_deviation(case: Case, simulate: Simulator) -> tuple[float, int]:
    """The largest relative difference of any voltage or lamp current, and how many there were."""
    solution, netlist = case.solution(), case.netlist()
    circuit = solution.grid.circuit
    found = simulate(netlist)
    ours = solution.at(np.arange(len(circuit.ends)))[0, 0]
    # What nothing connects to the rest has no potential, and is no part of the netlist.
    exists = np.array([netlist.node_of.get(end) not in netlist.floating for end in circuit.ends])
    pairs = []
    for end, volts, is_known in zip(circuit.ends, ours, exists, strict=True):
        # A terminal that a replaced switch no longer has is in no netlist.
        if end in netlist.node_of:
            assert np.isnan(volts) != is_known, end
            if is_known:
                pairs.append((volts, found[netlist.node_of[end]]))
    deviations = [abs(one - two) / max(abs(two), LEAST_VOLTS) for one, two in pairs]
    for element in netlist.elements:
        if lamp := re.fullmatch(r"Rlamp(\d+)", element.name):
            number = int(lamp[1]) - 1
            a, b = (0 if node == "0" else found[node] for node in (element.a, element.b))
            theirs = abs(a - b) / float(element.value)
            if solution.network.works[0, number]:
                amps = abs(solution.lamp_amps()[0, 0, number])
                deviations.append(abs(amps - theirs) / max(theirs, LEAST_VOLTS))
    return max(deviations), len(deviations)


def compare(
    name: str, count: int, record: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Hold the engine to a simulator on that many faulted circuits, and say how it went."""
    worst = [worst_deviation(case, SIMULATORS[name]) for case in cases(name, count)]
    deviation = max(part for part, _ in worst)
    values = sum(part for _, part in worst)
    record(f"electric against {name}: circuits", count)
    record(f"electric against {name}: values", values)
    record(f"electric against {name}: worst deviation", f"{deviation:.1e}")
    with capsys.disabled():
        print(
            f"\n{name}: {count} faulted circuits, {values:,} voltages and lamp currents, "
            f"worst deviation {deviation:.1e}"
        )
    assert deviation < TOLERANCE


@pytest.mark.parametrize(("name", "count"), [("ngspice", 40), ("opendss", 100)])
def test_simulators_find_the_same(
    name: str,
    count: int,
    record_testsuite_property: Callable[[str, object], None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every node voltage and lamp current is within 0.1 % of what the simulator finds."""
    compare(name, count, record_testsuite_property, capsys)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "count"), [("ngspice", 300), ("opendss", 1000)])
def test_simulators_find_the_same_on_many(
    name: str,
    count: int,
    record_testsuite_property: Callable[[str, object], None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The same on many more circuits."""
    compare(name, count, record_testsuite_property, capsys)


def test_the_comparison_can_fail() -> None:
    """A netlist with one resistance changed is found out, where current passes it."""
    case = next(
        case for case in cases("one", 40) if abs(case.solution().feed_amps()[0, 0, 0, 0]) > 0.1
    )
    netlist = case.netlist()

    def bent(_: Netlist) -> Voltages:
        text = re.sub(r"^(Rline1 \S+ \S+) .*$", r"\1 50", str(netlist), flags=re.MULTILINE)
        return by_ngspice(text)

    assert worst_deviation(case, SIMULATORS["ngspice"])[0] < TOLERANCE
    assert worst_deviation(case, bent)[0] > TOLERANCE


@pytest.mark.parametrize("name", ["faulty-open-traveler", "stair-feed-at-lamp"])
def test_meters_read_what_ngspice_reads(name: str) -> None:
    """A resistor of 10 MΩ or 3 kΩ put into the netlist gets the voltage that the meter shows."""
    circuit = load(data_path("circuits") / f"{name}.toml")
    read = readings(circuit)[::11]
    phantoms = 0
    for reading in read:
        netlist = Netlist(circuit, reading.state)
        a, b = (netlist.node_of[end] for end in (reading.point, reading.against))
        for ohms, volts in ((10e6, reading.high), (3e3, reading.low)):
            found = by_ngspice(f"{netlist}".replace(".ac", f"Rmeter {a} {b} {ohms}\n.ac"))
            assert volts == pytest.approx(abs(found[a] - found[b]), rel=TOLERANCE, abs=1e-6)
        phantoms += reading.phantom
    assert len(read) > 4
    assert phantoms


def test_shipped_circuits_in_every_state() -> None:
    """Every circuit of the boathouse, in every state, is what OpenDSS finds."""
    count = 0
    for path in sorted(data_path("circuits").glob("*.toml")):
        circuit = load(path)
        grid = Grid(circuit)
        solution = solve(grid, grid.network([Change()]), all_states(grid, 1))
        volts = solution.at(np.arange(len(circuit.ends)))[0]
        for state in range(1 << len(circuit.switches)):
            netlist = Netlist(circuit, state)
            found = by_opendss(netlist)
            for end, ours in zip(circuit.ends, volts[state], strict=True):
                node = netlist.node_of[end]
                if node not in netlist.floating:
                    theirs = found[node]
                    assert abs(ours - theirs) <= TOLERANCE * max(abs(theirs), LEAST_VOLTS), end
                    count += 1
    assert count > 1000
