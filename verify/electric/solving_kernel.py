"""Elimination of nodes: the voltages of many networks that differ a little, in many states.

A node is eliminated by turning the star of its admittances into a mesh between its neighbours,
the current fed into it being shared out among them. Nothing is ever subtracted, so a floating
conductor that holds on by picofarads beside contacts of milliohms comes out with full precision,
and the sum at a node is zero exactly if nothing connects it to the reference: such a potential does
not exist, and comes out as not-a-number.

One function, so that numba can compile it and Python can run it as it is.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, because numba inlines it

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int16]
Bytes = npt.NDArray[np.uint8]
States = npt.NDArray[np.int64]
Phasors = npt.NDArray[np.complex128]

_UP = 1
_DOWN = 2
_BOTH = 3


def solve_rows(
    joins: Integers,
    branches: Integers,
    admittances: Phasors,
    extras: Integers,
    extra_admittances: Phasors,
    contacts: Integers,
    contact_switch: Integers,
    closed: Bytes,
    contact_admittance: float,
    sources: Integers,
    source_admittances: Phasors,
    source_volts: Phasors,
    order: Integers,
    states: States,
    volts: Phasors,
) -> None:
    """Fill `volts`, the phasor at each node, not-a-number where there is no potential.

    Shapes, with R rows, E ends of which the last is the reference, M branches, X extra branches,
    K contacts, F sources, N nodes, T states solved in each row:
    `joins` (R, E): the node of each end, N for the reference; `branches` (M, 2) ends with
    `admittances` (R, M); `extras` (R, X, 2) ends with `extra_admittances` (R, X);
    `contacts` (K, 2) ends, `contact_switch` (K,), `closed` (R, K) as in `verify.fault.network`;
    `sources` (F,) ends fed with `source_volts` (F,) through `source_admittances` (R, F), which is
    0 where the source is off; `order` (N,): the nodes in a good order of elimination;
    `states` (R, T): bit i set where switch i is down; `volts` (R, T, N + 1), the reference last.
    """
    nodes = len(order)
    y = np.zeros((nodes, nodes + 1), np.complex128)  # upper triangle; the last is the reference
    kept = np.zeros((nodes, nodes + 1), np.complex128)
    fed = np.zeros(nodes, np.complex128)
    kept_fed = np.zeros(nodes, np.complex128)
    total = np.zeros(nodes, np.complex128)
    potential = np.zeros(nodes, np.complex128)
    place = np.zeros(nodes + 1, np.int64)
    place[nodes] = nodes
    varies = np.zeros(nodes + 1, np.bool_)
    near = np.zeros(nodes + 1, np.int64)
    for row in range(len(joins)):
        # Nodes that contacts touch come last: the others are eliminated once for all states.
        for node in range(nodes):
            varies[node] = False
        for contact in range(len(contacts)):
            if closed[row, contact] == _UP or closed[row, contact] == _DOWN:
                varies[joins[row, contacts[contact, 0]]] = True
                varies[joins[row, contacts[contact, 1]]] = True
        constant = 0
        for node in range(nodes):
            constant += not varies[node]
        first, last = 0, constant
        for number in range(nodes):
            node = order[number]
            if varies[node]:
                place[node] = last
                last += 1
            else:
                place[node] = first
                first += 1
        for node in range(nodes):
            fed[node] = 0
            for other in range(node + 1, nodes + 1):
                y[node, other] = 0
        for branch in range(len(branches)):
            a = place[joins[row, branches[branch, 0]]]
            b = place[joins[row, branches[branch, 1]]]
            if a != b:
                y[min(a, b), max(a, b)] += admittances[row, branch]
        for branch in range(extras.shape[1]):
            a = place[joins[row, extras[row, branch, 0]]]
            b = place[joins[row, extras[row, branch, 1]]]
            if a != b:
                y[min(a, b), max(a, b)] += extra_admittances[row, branch]
        for source in range(len(sources)):
            a = place[joins[row, sources[source]]]
            y[a, nodes] += source_admittances[row, source]
            fed[a] += source_admittances[row, source] * source_volts[source]
        for turn in range(-1, states.shape[1]):
            first, last = 0, constant
            if turn >= 0:
                first, last = constant, nodes
                for node in range(constant, nodes):
                    fed[node] = kept_fed[node]
                    for other in range(node + 1, nodes + 1):
                        y[node, other] = kept[node, other]
            for contact in range(len(contacts)):
                when = closed[row, contact]
                closes = when == _BOTH
                if turn >= 0:
                    is_down = states[row, turn] >> contact_switch[contact] & 1
                    closes = when == (_DOWN if is_down else _UP)
                a = place[joins[row, contacts[contact, 0]]]
                b = place[joins[row, contacts[contact, 1]]]
                if closes and a != b:
                    y[min(a, b), max(a, b)] += contact_admittance
            for node in range(first, last):
                neighbours = 0
                total[node] = 0
                for other in range(node + 1, nodes + 1):
                    if y[node, other] != 0:
                        total[node] += y[node, other]
                        near[neighbours] = other
                        neighbours += 1
                each = 1 / total[node] if neighbours > 0 else total[node]
                for number in range(neighbours):
                    one = near[number]
                    if one < nodes:
                        share = y[node, one] * each
                        fed[one] += share * fed[node]
                        for further in range(number + 1, neighbours):
                            other = near[further]
                            y[one, other] += share * y[node, other]
            if turn < 0:
                for node in range(constant, nodes):
                    kept_fed[node] = fed[node]
                    for other in range(node + 1, nodes + 1):
                        kept[node, other] = y[node, other]
                continue
            for node in range(nodes - 1, -1, -1):
                current = fed[node]
                for other in range(node + 1, nodes):
                    if y[node, other] != 0:
                        current += y[node, other] * potential[other]
                potential[node] = np.nan if total[node] == 0 else current / total[node]
            for node in range(nodes):
                volts[row, turn, node] = potential[place[node]]
            volts[row, turn, nodes] = 0
