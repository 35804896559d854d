"""Measure electrical solutions a second, beside circuit simulators and single matrices."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import opendssdirect as dss

from simulators import by_ngspice, by_one_matrix, load_opendss
from verify.base.compiling import compiled
from verify.circuit.model import Circuit
from verify.electric.grid import Grid
from verify.electric.outcomes import Outcomes, energise
from verify.electric.solve import all_states, solve
from verify.electric.solving_kernel import solve_rows
from verify.engine.netlist import Netlist
from verify.fault.registry import all_faults


class Rate(Protocol):
    """Measures how much of an amount of work is done a second."""

    def __call__(self, work: Callable[[], object], amount: int, seconds: float) -> float:
        """Repeat `work` for so many seconds."""


class _OpenDSS:
    """A circuit in OpenDSS with all its contacts, which are operated from state to state."""

    def __init__(self, circuit: Circuit) -> None:
        netlists = [Netlist(circuit, state) for state in range(1 << len(circuit.switches))]
        elements = {element.name: element for netlist in netlists for element in netlist.elements}
        load_opendss(list(elements.values()), netlists[0].assumed)
        contacts = [name for name in elements if name.startswith("Rcontact")]
        self.operations = []
        before = set(contacts)
        for netlist in netlists:
            closed = {e.name for e in netlist.elements if e.name in contacts}
            self.operations.append([(name, name in closed) for name in sorted(closed ^ before)])
            before = closed
        first = {e.name for e in netlists[0].elements}
        self.operations[0] = [(name, name in first) for name in contacts]

    def solve_all(self) -> None:
        """Solve every state and fetch the voltages of all nodes."""
        for operations in self.operations:
            for name, closes in operations:
                dss.Circuit.SetActiveElement(f"Reactor.{name}")
                dss.CktElement.Enabled(closes)
            dss.Solution.Solve()
            dss.Circuit.AllBusVolts()


def electric(circuit: Circuit, rate: Rate, seconds: float) -> dict[str, float]:
    """Return solutions a second; a solution is one faulted circuit in one state.

    *batch* solves all faults in all states from prepared arrays; *outcomes* makes the arrays and
    says what every lamp and breaker does as well. *plain* makes and solves one matrix for each.
    *opendss* has the circuit loaded, operates its contacts and solves; *ngspice* is a process for
    each, and gets netlists that are written already.
    """
    grid = Grid(circuit)
    changes = [f.change for f in all_faults(circuit) if f.change.rebuilt is None]
    network = grid.network(changes)
    states = all_states(grid, len(network))
    compiled(solve_rows)
    solve(grid, network, states)
    some = [(row, state) for row in range(0, len(network), 16) for state in states[0].tolist()]
    netlists = [str(Netlist(circuit, state)) for state in states[0].tolist()]
    simulated = _OpenDSS(circuit)
    result = {
        "nodes": len(network.order),
        "solutions": states.size,
        "batch_per_second": rate(lambda: solve(grid, network, states), states.size, seconds),
        "outcomes_per_second": rate(
            lambda: Outcomes.of(energise(grid, grid.network(changes))), states.size, seconds
        ),
        "plain_per_second": rate(
            lambda: [by_one_matrix(grid, network, row, state) for row, state in some],
            len(some),
            seconds,
        ),
        "opendss_per_second": rate(simulated.solve_all, len(netlists), seconds),
        "ngspice_per_second": rate(
            lambda: [by_ngspice(netlist) for netlist in netlists], len(netlists), seconds
        ),
    }
    for rival in ("plain", "opendss", "ngspice"):
        result[f"batch_to_{rival}"] = result["batch_per_second"] / result[f"{rival}_per_second"]
        result[f"outcomes_to_{rival}"] = (
            result["outcomes_per_second"] / result[f"{rival}_per_second"]
        )
    return result
