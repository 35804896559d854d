"""Measure one question, any-location control of a faulted circuit, in Miswire and general tools.

Every tool gets what conductors alone connect (`Components`), so that none is measured at reading
circuits, and is used as its own documentation shows: networkx and scipy go through the states, z3
and a SAT solver get the lamp as a formula and look for a state in which it differs from the parity
that state 0 implies.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any

import networkx as nx
import numpy as np
import z3
from pysat.solvers import Cadical153
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from verify.behaviour.judgement import VERDICTS
from verify.circuit.model import Circuit
from verify.engine.components import Components
from verify.engine.diagrams import DiagramsEngine
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.contract import Fault
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout
from verify.verdict.judging import judge, judge_faults


class Asked:
    """A circuit with one lamp as pieces: `contacts` are (switch, closed up, closed down, a, b)."""

    def __init__(self, circuit: Circuit) -> None:
        pieces = Components(circuit)
        self.circuit = circuit
        self.switches = len(circuit.switches)
        numbers: dict[int, int] = {}

        def number(piece: int) -> int:
            return numbers.setdefault(piece, len(numbers))

        self.line = number(pieces.lines[0])
        self.back = (number(pieces.neutrals[0]), number(pieces.grounds[0]))
        self.sides = tuple(number(side) for side in pieces.lamps[0])
        self.works = not pieces.failed_lamps[0]
        self.contacts = [
            (switch, up, down, number(a), number(b))
            for switch, up, down, a, b in pieces.contacts()
            if up or down
        ]
        self.nodes = len(numbers)

    def closed(self, state: int) -> list[tuple[int, int]]:
        """Return the contacts that are closed in a state."""
        return [
            (a, b)
            for switch, up, down, a, b in self.contacts
            if (down if state >> switch & 1 else up)
        ]

    def any_location(self, part_of: Callable[[int], Sequence[int]]) -> bool:
        """Return whether it has any-location control; `part_of` gives what a state connects."""
        first: bool | None = None
        for state in range(1 << self.switches):
            part = part_of(state)
            live, backs = part[self.line], [part[end] for end in self.back]
            if live in backs:
                return False
            one, other = (part[side] for side in self.sides)
            lit = self.works and (
                (one == live and other in backs) or (other == live and one in backs)
            )
            even = lit ^ bool(state.bit_count() % 2)
            if first is None:
                first = even
            elif even != first:
                return False
        return True


def by_networkx(asked: Asked) -> bool:
    """Decide it by a graph for each state, and its connected components."""

    def part_of(state: int) -> Sequence[int]:
        graph: nx.Graph[int] = nx.empty_graph(asked.nodes)
        graph.add_edges_from(asked.closed(state))
        part = [0] * asked.nodes
        for number, component in enumerate(nx.connected_components(graph)):
            for node in component:
                part[node] = number
        return part

    return asked.any_location(part_of)


def by_scipy(asked: Asked) -> bool:
    """Decide it by a sparse matrix for each state, and `connected_components`."""

    def part_of(state: int) -> Sequence[int]:
        ends = np.array(asked.closed(state), np.int32).reshape(-1, 2).T
        shape = (asked.nodes, asked.nodes)
        graph = coo_array((np.ones(ends.shape[1], np.int8), (ends[0], ends[1])), shape=shape)
        parts: list[int] = connected_components(graph, directed=False)[1].tolist()
        return parts

    return asked.any_location(part_of)


class Formula:
    """The lamp as a formula over the switches: reachability, unrolled to its end.

    The operations are given: of z3 or of clauses.
    """

    def __init__(self, asked: Asked, logic: Any) -> None:
        down = [logic.variable(f"s{number}") for number in range(asked.switches)]
        edges = [
            (a, b, logic.true if up and low else down[switch] if low else logic.no(down[switch]))
            for switch, up, low, a, b in asked.contacts
        ]

        def reached(start: int) -> list[Any]:
            at = [logic.true if node == start else logic.false for node in range(asked.nodes)]
            for _ in range(asked.nodes):
                more: list[list[Any]] = [[here] for here in at]
                for a, b, closed in edges:
                    more[b].append(logic.both(at[a], closed))
                    more[a].append(logic.both(at[b], closed))
                at = [logic.some(ways) for ways in more]
            return at

        live = reached(asked.line)
        returns = [reached(end) for end in asked.back]
        one, other = asked.sides
        self.trips = logic.some([live[end] for end in asked.back])
        self.lit = (
            logic.some(
                [
                    logic.both(live[a], back[b])
                    for back in returns
                    for a, b in ((one, other), (other, one))
                ]
            )
            if asked.works
            else logic.false
        )
        self.odd = logic.false
        for variable in down:
            self.odd = logic.differ(self.odd, variable)


class _Z3:
    true, false = z3.BoolVal(True), z3.BoolVal(False)
    variable = staticmethod(z3.Bool)
    no = staticmethod(z3.Not)
    both = staticmethod(z3.And)
    some = staticmethod(z3.Or)
    differ = staticmethod(z3.Xor)


def by_z3(asked: Asked) -> bool:
    """Decide it by two checks that no state trips or breaks the parity: one for each parity."""
    formula = Formula(asked, _Z3)
    for even in (False, True):
        solver = z3.Solver()
        solver.add(z3.Or(formula.trips, z3.Xor(z3.Xor(formula.lit, formula.odd), even)))
        if solver.check() == z3.unsat:
            return True
    return False


class _Clauses:
    """Tseitin's clauses: a literal for every part of a formula."""

    def __init__(self) -> None:
        self.clauses: list[list[int]] = [[1]]
        self.true, self.false = 1, -1
        self._last = 1

    def _new(self) -> int:
        self._last += 1
        return self._last

    def variable(self, _: str) -> int:
        return self._new()

    def no(self, one: int) -> int:
        return -one

    def both(self, one: int, other: int) -> int:
        if self.false in (one, other):
            return self.false
        if one == self.true:
            return other
        if other == self.true:
            return one
        return -self.some([-one, -other])

    def some(self, ways: list[int]) -> int:
        ways = [way for way in dict.fromkeys(ways) if way != self.false]
        if self.true in ways:
            return self.true
        if len(ways) < 2:
            return ways[0] if ways else self.false
        found = self._new()
        self.clauses += [[-way, found] for way in ways]
        self.clauses.append([-found, *ways])
        return found

    def differ(self, one: int, other: int) -> int:
        if one in (self.true, self.false):
            return other if one == self.false else -other
        found = self._new()
        self.clauses += [
            [-found, one, other],
            [-found, -one, -other],
            [found, -one, other],
            [found, one, -other],
        ]
        return found


def by_sat(asked: Asked) -> bool:
    """Decide it by the same two checks as clauses, with a fresh solver for each question."""
    logic = _Clauses()
    formula = Formula(asked, logic)
    uneven = logic.differ(formula.odd, formula.lit)
    for found in (uneven, -uneven):
        with Cadical153(bootstrap_with=[*logic.clauses, [formula.trips, found]]) as solver:
            if not solver.solve():
                return True
    return False


def peers(locations: int, count: int) -> dict[str, Any]:
    """Return circuits a second by each tool, on the same circuits; all answers must agree.

    *words* is measured in one call for all, as it is used, and circuit by circuit. Miswire's
    engines find every hazard too, which the other tools are not asked for.
    """
    parents = [1, "f", *range(1, locations)]
    circuit = Layout.parse(".".join(map(str, parents))).circuit("chain")
    faults = [fault for fault in all_faults(circuit) if fault.change.rebuilt is None]
    faults = faults[:: max(1, len(faults) // count)][:count]
    asked = [Asked(fault.apply(circuit)) for fault in faults]
    words, paths, bdd = WordsEngine(), PathsEngine(), DiagramsEngine()
    tools: dict[str, Callable[[Asked], bool]] = {
        "words": lambda one: judge(one.circuit, words).any_location,
        "bdd": lambda one: bdd.prove(one.circuit).any_location,
        "paths": lambda one: judge(one.circuit, paths).any_location,
        "networkx": by_networkx,
        "scipy": by_scipy,
        "z3": by_z3,
        "sat": by_sat,
    }
    _together(circuit, faults, words)
    started = time.perf_counter()
    together = _together(circuit, faults, words)
    answers: dict[str, list[bool]] = {"words, all at once": together}
    seconds = {"words, all at once": time.perf_counter() - started}
    for name, tool in tools.items():
        started = time.perf_counter()
        answers[name] = [tool(one) for one in asked]
        seconds[name] = time.perf_counter() - started
    if any(found != answers["words"] for found in answers.values()):
        raise AssertionError("the tools disagree: nothing here counts")
    return {
        "locations": locations,
        "circuits": len(asked),
        "circuits_per_second": {
            name: round(len(asked) / took, 1) for name, took in seconds.items()
        },
        "times_as_long_as_words_all_at_once": {
            name: round(took / seconds["words, all at once"], 1) for name, took in seconds.items()
        },
    }


def _together(circuit: Circuit, faults: Sequence[Fault], words: WordsEngine) -> list[bool]:
    return [
        VERDICTS[verdict] in ("sound", "mimic")
        for _, _, found in judge_faults(circuit, faults, words)
        for verdict in found.verdict.tolist()
    ]
