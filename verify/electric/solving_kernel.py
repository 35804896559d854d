"""Elimination of nodes: the voltages of many networks that differ a little, in many states.

**What the numbers mean.** `y[i, j]`, i < j, is the admittance between the nodes at places i and j,
summed over all that lies between them; the last column is the reference. `fed[i]` is the current
that sources push into node i, as if it were at the potential of the reference. Kirchhoff's law at
node i then says: the sum over all j of y[i, j] · (v[i] − v[j]) is fed[i].

**Elimination.** Solved for v[i], the law is v[i] = (fed[i] + the sum of y[i, j] · v[j]) / total[i],
where total[i] is the sum of y[i, j]. Put into the laws of the other nodes, this turns the star of
admittances around node i into a mesh between its neighbours: y[j, k] grows by
y[i, j] · y[i, k] / total[i], and fed[j] by y[i, j] · fed[i] / total[i]. *Invariant*: what is left
of the network has the same potentials as before. Each step takes one node away and nothing is ever
put back, so it ends after as many steps as there are nodes; then the potentials follow from the
last node to the first.

Nothing is ever subtracted: sums and products of positive conductances keep their full precision, so
a floating conductor that holds on by picofarads beside contacts of milliohms comes out right, and
the sum at a node is zero exactly if nothing connects it to the reference: such a potential does not
exist, and comes out as not-a-number. With capacitances the admittances are complex, and sums of
those that point apart may lose some; tests hold the answers to plain nodal analysis.

**States.** Nodes that no switching contact touches are the same in all states: they come first, are
eliminated once, and what is left is kept as the beginning of every state.

**Where the ideas are published** (from memory). Star and mesh: Rosen, *A new network theorem*,
Journal of the Institution of Electrical Engineers 62 (1924). That elimination without subtraction
is exact in every entry: Grassmann, Taksar and Heyman, *Regenerative analysis and steady state
distributions for Markov chains*, Operations Research 33 (1985).
"""

# ruff: noqa: PLR0913, PLR0917 - numba takes arrays one by one, not as fields of an object

import numpy as np
import numpy.typing as npt

from verify.base.compiling import inlined

Integers = npt.NDArray[np.int16]
Bytes = npt.NDArray[np.uint8]
States = npt.NDArray[np.int64]
Places = npt.NDArray[np.int64]
Phasors = npt.NDArray[np.complex128]

_UP = 1
_DOWN = 2
_BOTH = 3
#: Stands in place of a state for all states together.
_ANY_STATE = -1


def solve_rows(
    node_of: Integers,
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
    `node_of` (R, E): the node of each end, N for the reference; `branches` (M, 2) ends with
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
    for row in range(len(node_of)):
        of = node_of[row]
        constant = _place_nodes(row, contacts, closed, of, order, varies, place)
        for node in range(nodes):
            fed[node] = 0
            for other in range(node + 1, nodes + 1):
                y[node, other] = 0
        for branch in range(len(branches)):
            _add(y, place, of, branches[branch, 0], branches[branch, 1], admittances[row, branch])
        for extra in range(extras.shape[1]):
            one, other = extras[row, extra, 0], extras[row, extra, 1]
            _add(y, place, of, one, other, extra_admittances[row, extra])
        for source in range(len(sources)):
            a = place[of[sources[source]]]
            y[a, nodes] += source_admittances[row, source]
            fed[a] += source_admittances[row, source] * source_volts[source]
        first, last = 0, constant
        for turn in range(-1, states.shape[1]):
            state = _ANY_STATE
            if turn >= 0:
                state = states[row, turn]
                first, last = constant, nodes
                _copy(kept, kept_fed, constant, y, fed)
            _add_contacts(
                row, contacts, contact_switch, closed, state, contact_admittance, of, place, y
            )
            _eliminate(first, last, y, fed, total, near)
            if turn < 0:
                _copy(y, fed, constant, kept, kept_fed)
                continue
            _find_potentials(y, fed, total, potential)
            for node in range(nodes):
                volts[row, turn, node] = potential[place[node]]
            volts[row, turn, nodes] = 0


@inlined
def _place_nodes(
    row: int,
    contacts: Integers,
    closed: Bytes,
    of: Integers,
    order: Integers,
    varies: npt.NDArray[np.bool_],
    place: Places,
) -> int:
    """Give nodes places in the order of elimination, those that switching contacts touch last.

    Returns how many nodes come before those.
    """
    nodes = len(order)
    for node in range(nodes):
        varies[node] = False
    for contact in range(len(contacts)):
        if closed[row, contact] == _UP or closed[row, contact] == _DOWN:
            varies[of[contacts[contact, 0]]] = True
            varies[of[contacts[contact, 1]]] = True
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
    return constant


@inlined
def _add(
    y: Phasors, place: Places, of: Integers, one: int, other: int, admittance: complex
) -> None:
    """Add an admittance between two ends to the matrix."""
    a = place[of[one]]
    b = place[of[other]]
    if a != b:
        y[min(a, b), max(a, b)] += admittance


@inlined
def _add_contacts(
    row: int,
    contacts: Integers,
    contact_switch: Integers,
    closed: Bytes,
    state: int,
    admittance: float,
    of: Integers,
    place: Places,
    y: Phasors,
) -> None:
    """Add the switching contacts that are closed in a state, or else those that always are."""
    for contact in range(len(contacts)):
        when = closed[row, contact]
        closes = when == _BOTH
        if state >= 0:
            is_down = state >> contact_switch[contact] & 1
            closes = when == (_DOWN if is_down else _UP)
        if closes:
            _add(y, place, of, contacts[contact, 0], contacts[contact, 1], admittance)


@inlined
def _copy(y: Phasors, fed: Phasors, start: int, to_y: Phasors, to_fed: Phasors) -> None:
    """Copy the rest of the network, from the place `start` on."""
    nodes = len(fed)
    for node in range(start, nodes):
        to_fed[node] = fed[node]
        for other in range(node + 1, nodes + 1):
            to_y[node, other] = y[node, other]


@inlined
def _eliminate(
    first: int, last: int, y: Phasors, fed: Phasors, total: Phasors, near: Places
) -> None:
    """Turn the stars of the nodes at the places `first` ≤ i < `last` into meshes, one by one.

    `total` gets the sum of admittances at each of them; `near` is scratch.
    """
    nodes = len(fed)
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


@inlined
def _find_potentials(y: Phasors, fed: Phasors, total: Phasors, potential: Phasors) -> None:
    """Fill `potential` (nodes,) by places, from the node eliminated last to the first."""
    nodes = len(fed)
    for node in range(nodes - 1, -1, -1):
        current = fed[node]
        for other in range(node + 1, nodes):
            if y[node, other] != 0:
                current += y[node, other] * potential[other]
        potential[node] = np.nan if total[node] == 0 else current / total[node]
