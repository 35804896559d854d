"""Other programs solve here what `verify.electric` solves, for tests and benchmarks.

Simulators that know nothing of Miswire, ngspice and OpenDSS, solve netlists; arrays are solved by
one matrix for each row and state.
"""

import math
import re
import subprocess
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import opendssdirect as dss

from verify.electric.grid import Grid, Network
from verify.electric.numbers import Parameters
from verify.electric.solving_kernel import Phasors
from verify.engine.netlist import REFERENCE, Element, Netlist
from verify.fault.network import CLOSED_DOWN, CLOSED_UP

Voltages = dict[str, complex]

_ANALYSIS = re.compile(r"^\.(print|end).*\n", re.MULTILINE)
_VECTOR = re.compile(r"^(\S+) = (\S+),(\S+)$", re.MULTILINE)
_CONTROL = ".control\nset numdgt=12\nrun\nprint all\nquit\n.endc\n.end\n"


def by_ngspice(netlist: str) -> Voltages:
    """Return the voltage of every node and the current of every source, by an ngspice process."""
    done = subprocess.run(
        ["ngspice", "-b", "/dev/stdin"],
        input=_ANALYSIS.sub("", netlist) + _CONTROL,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    found = _VECTOR.findall(done.stdout)
    if not found:
        raise ValueError(f"ngspice found nothing:\n{done.stdout}\n{done.stderr}")
    return {name: complex(float(real), float(imag)) for name, real, imag in found}


def by_opendss(netlist: Netlist) -> Voltages:
    """Return the voltage of every node, by OpenDSS in this process; it needs no leaks."""
    load_opendss(netlist.elements, netlist.assumed)
    dss.Solution.Solve()
    volts = dss.Circuit.AllBusVolts()
    names = (name.partition(".")[0] for name in dss.Circuit.AllNodeNames())
    return {
        name: complex(*pair)
        for name, pair in zip(names, zip(volts[::2], volts[1::2], strict=True), strict=True)
    }


def load_opendss(elements: Sequence[Element], assumed: Parameters) -> None:
    """Load the elements into OpenDSS, ready to be solved directly, since all are linear."""
    dss.Text.Command("Clear")
    dss.Text.Command(f"Set DefaultBaseFrequency={assumed.hertz:g}")
    sources = 0
    for element in elements:
        name = element.name
        a, b = _bus(element.a), _bus(element.b)
        if element.a == REFERENCE:
            a, b = b, f"{element.b}.0"
        elif element.b == REFERENCE:
            b = f"{element.a}.0"
        if name.startswith("V"):
            _, _, _, volts, phase = element.value.split()
            # OpenDSS makes the first source with the circuit.
            new = "Circuit.miswire" if sources == 0 else f"Vsource.{name}"
            sources += 1
            text = f"bus1={a} basekv={float(volts) / 1000} pu=1 angle={phase}"
            text += f" frequency={assumed.hertz:g} Z1=[1e-9,1e-9] Z0=[1e-9,1e-9]"
        elif name.startswith("C"):
            new = f"Capacitor.{name}"
            text = f"bus1={a} bus2={b} cuf={float(element.value) * 1e6:.12g} kv=0.12"
        else:
            new = f"Reactor.{name}"
            henries = float(element.value) if name.startswith("L") else 0.0
            ohms = 0.0 if name.startswith("L") else float(element.value)
            reactance = 2 * math.pi * assumed.hertz * henries
            text = f"bus1={a} bus2={b} R={ohms!r} X={reactance!r}"
        dss.Text.Command(f"New {new} phases=1 {text}")
    dss.Text.Command("Set ControlMode=off Mode=direct")


def _bus(node: str) -> str:
    return f"{node}.1"


def by_one_matrix(grid: Grid, network: Network, row: int, state: int) -> Phasors:
    """Return the voltages (N,) of one row in one state, not-a-number without a potential."""
    y, fed = _matrix(grid, network, row, state)
    exists = _reaches_last(y)[:-1]
    volts = np.full(len(fed), np.nan, np.complex128)
    volts[exists] = np.linalg.solve(y[:-1, :-1][np.ix_(exists, exists)], fed[exists])
    return volts


def _matrix(grid: Grid, network: Network, row: int, state: int) -> tuple[Phasors, Phasors]:
    """Return admittances of nodes, the reference last (N+1, N+1), and currents fed in (N,)."""
    join, nodes = network.node_of[row], len(network.order)
    positions = np.where(state >> grid.contact_switch & 1, CLOSED_DOWN, CLOSED_UP)
    closes = (network.closed[row] & positions) > 0
    pairs = join[np.concatenate([grid.branches, network.extras[row], grid.contacts])]
    siemens = np.concatenate(
        [network.admittances[row], network.extra_admittances[row], closes / grid.assumed.contact]
    )
    y = np.zeros((nodes + 1, nodes + 1), np.complex128)
    a, b = pairs.T
    for one, other, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
        np.add.at(y, (one, other), sign * siemens)
    fed = np.zeros(nodes, np.complex128)
    lines, into = join[grid.feed_lines], network.source_admittances[row]
    np.add.at(y, (lines, lines), into)
    np.add.at(y, (lines, nodes), -into)
    np.add.at(fed, lines, into * grid.source_volts)
    return y, fed


def _reaches_last(y: Phasors) -> npt.NDArray[np.bool_]:
    """Return which nodes the admittances connect with the last."""
    linked = y != 0
    reached = np.zeros(len(y), np.bool_)
    reached[-1] = True
    while True:
        grown = reached | linked[:, reached].any(axis=1)
        if (grown == reached).all():
            return reached
        reached = grown
