"""The sites of single faults: complete, each listed once, and what the definitions say.

The results of landing errors are derived here once more from the definitions, as sets of sets.
"""

import itertools
from collections.abc import Iterator
from math import comb

import pytest
from hypothesis import given, settings

from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.fault.change import NumberedCircuit, changed
from verify.fault.mixed_supplies import SUPPLY_KINDS
from verify.fault.registry import fault_kind, fault_kinds
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES, WRONG_SCHEMES
from verify.strategies import circuits, miswired_circuits

KINDS = {kind.name: kind for kind in fault_kinds()}

SMALL = {
    f"{layout.code} {scheme}": layout.circuit(scheme)
    for layout in layouts(2)
    for scheme in SOUND_SCHEMES
}
DRAWN = {drawn.label: drawn.circuit for drawn in (sample(7, index, most=4) for index in range(6))}
SIDE_BY_SIDE = Layout.parse("f.L.L.1").circuit("chain")

Joins = frozenset[frozenset[End]]


def joins_of(circuit: Circuit) -> Joins:
    """Every join with unconnected ends as joins of their own."""
    return frozenset(map(frozenset, circuit.grouped_ends))


class Definitions:
    """Every result of each kind of landing error, straight from its definition."""

    def __init__(self, circuit: Circuit) -> None:
        self.joins = joins_of(circuit)
        self.join = {end: group for group in self.joins for end in group}
        self.cables = circuit.cables

    def with_groups(self, old: set[frozenset[End]], *new: frozenset[End]) -> Joins:
        """The joins with some replaced by others."""
        return (self.joins - old) | {group for group in new if group}

    def pairs_in_a_box(self) -> Iterator[tuple[frozenset[End], frozenset[End]]]:
        """Every two different joins of one box, in both orders."""
        for one, other in itertools.permutations(self.joins, 2):
            if next(iter(one)).box == next(iter(other)).box:
                yield one, other

    def left_off(self) -> Iterator[Joins]:
        """An end of a join of two or more is alone."""
        for end, group in self.join.items():
            if len(group) >= 2:
                yield self.with_groups({group}, group - {end}, frozenset({end}))

    def moved(self) -> Iterator[Joins]:
        """An end is in another join of its box."""
        for here, there in self.pairs_in_a_box():
            for end in here:
                yield self.with_groups({here, there}, here - {end}, there | {end})

    def exchanged(self) -> Iterator[Joins]:
        """Two ends of different joins have changed places; not both were alone."""
        for here, there in self.pairs_in_a_box():
            if len(here) > 1 or len(there) > 1:
                for one, other in itertools.product(here, there):
                    yield self.with_groups(
                        {here, there}, here - {one} | {other}, there - {other} | {one}
                    )

    def bridged(self) -> Iterator[Joins]:
        """Two joins of two or more each are one."""
        for one, other in self.pairs_in_a_box():
            if len(one) >= 2 and len(other) >= 2:
                yield self.with_groups({one, other}, one | other)

    def split(self) -> Iterator[Joins]:
        """A join of four or more is two joins of two or more."""
        for group in self.joins:
            for size in range(2, len(group) - 1):
                for part in map(frozenset, itertools.combinations(group, size)):
                    yield self.with_groups({group}, part, group - part)

    def cables_mixed(self) -> Iterator[Joins]:
        """A conductor has changed places with its like in the cable beside it, at both ends."""
        for one, other in itertools.combinations(self.cables, 2):
            if set(one.between) == set(other.between):
                for colour in set(one.conductors) & set(other.conductors):
                    names = (f"{one.name}.{colour}", f"{other.name}.{colour}")
                    swap = {
                        End(box, name): End(box, names[place - 1])
                        for place, name in enumerate(names)
                        for box in one.between
                    }
                    yield frozenset(
                        frozenset(swap.get(end, end) for end in group) for group in self.joins
                    )


DEFINED = {
    "left-off": Definitions.left_off,
    "moved": Definitions.moved,
    "exchanged": Definitions.exchanged,
    "bridged": Definitions.bridged,
    "split": Definitions.split,
    "cables-mixed": Definitions.cables_mixed,
}


def has_outlets(circuit: Circuit) -> bool:
    """True if something can be plugged in."""
    return any(device.kind == "receptacle" for device in circuit.devices)


def assert_landings_are_complete(circuit: Circuit) -> None:
    """Hold the landing errors of a circuit to their definitions: all results, each once."""
    definitions = Definitions(circuit)
    for kind, defined in DEFINED.items():
        expected = set(defined(definitions))
        found = [
            joins_of(fault.apply(circuit)) for fault in KINDS[kind].faults(NumberedCircuit(circuit))
        ]
        assert set(found) == expected, kind
        assert len(found) == len(expected), kind
    assert len([*KINDS["split"].faults(NumberedCircuit(circuit))]) == sum(
        2 ** (len(group) - 1) - 1 - len(group) for group in definitions.joins if len(group) >= 4
    )


@pytest.mark.parametrize("name", SMALL)
def test_landing_errors_are_complete_for_two_locations(name: str) -> None:
    """Each way to land an end wrongly is a fault, and no result is listed twice."""
    assert_landings_are_complete(SMALL[name])


@pytest.mark.parametrize("label", DRAWN)
def test_landing_errors_are_complete_for_drawn_circuits(label: str) -> None:
    """The same with more locations, shared boxes and cables side by side."""
    assert_landings_are_complete(DRAWN[label])


@settings(max_examples=12)
@given(miswired_circuits(circuits(most_locations=2)))
def test_landing_errors_are_complete_after_others(circuit: Circuit) -> None:
    """The same where something is wrong already, with ends unconnected or joined oddly."""
    assert_landings_are_complete(circuit)


@pytest.mark.parametrize("circuit", [*SMALL.values(), *DRAWN.values()], ids=[*SMALL, *DRAWN])
def test_failed_parts_are_counted_by_formula(circuit: Circuit) -> None:
    """Each part fails in each way it can; each switch is replaced in each way it can."""
    three_ways = sum(switch.kind == "three-way" for switch in circuit.switches)
    four_ways = len(circuit.switches) - three_ways
    conductors = [len(cable.conductors) for cable in circuit.cables]
    expected = {
        "conductor-open": sum(conductors),
        "conductors-shorted": sum(comb(number, 2) for number in conductors),
        "contact-open": 2 * three_ways + 4 * four_ways,
        "contact-welded": 2 * three_ways + 4 * four_ways,
        "switch-stuck": 2 * len(circuit.switches),
        "lamp-open": len(circuit.lamps),
        "lamp-shorted": len(circuit.lamps),
        "loose-join": sum(len(ends) > 1 for ends in circuit.grouped_ends),
        "wrong-device": (3 + 3) * three_ways + 4 * 3 * four_ways,
        # A wrong scheme has no place for what hangs on the feed besides.
        "whole-circuit": 0 if has_outlets(circuit) else len(WRONG_SCHEMES),
    }
    # Supplies mixed up have their definitions in `test_supply_faults`.
    supplies = {kind.name for kind in SUPPLY_KINDS}
    assert DEFINED.keys() | expected.keys() | supplies == KINDS.keys()
    for kind, number in expected.items():
        faulted = [fault.apply(circuit) for fault in KINDS[kind].faults(NumberedCircuit(circuit))]
        assert len(faulted) == len(set(faulted)) == number, kind


@pytest.mark.parametrize("kind", KINDS)
def test_of_sites_with_one_result_the_first_is_listed(kind: str) -> None:
    """The list is what is left of all sites, in order, when repeated results are struck out."""
    for circuit in (SMALL["1.f.1 chain"], SIDE_BY_SIDE):
        wiring = NumberedCircuit(circuit)
        first: dict[object, tuple[str, ...]] = {}
        for site, change in KINDS[kind].changes(wiring):
            first.setdefault(changed(wiring, change), site)
        assert [fault.site for fault in KINDS[kind].faults(wiring)] == [*first.values()]


def passes(circuit: Circuit, switch: str, old: Circuit) -> frozenset[frozenset[frozenset[str]]]:
    """What a switch connects in each position: pairs of conductors, called as in `old`.

    A conductor is called by the terminal of `old` on which it was; positions are not told apart.
    """
    called = {
        mate: terminal
        for terminal in old.device(switch).form.switched_terminals
        for mate in mates(old, switch, terminal)
    }
    device = circuit.device(switch)
    positions = []
    for position in ("up", "down"):
        pairs = []
        for contact in device.form.contacts:
            if getattr(contact, position):
                sides = [mates(circuit, switch, terminal) for terminal in (contact.a, contact.b)]
                if all(sides):
                    pairs.append(frozenset(called[next(iter(side))] for side in sides))
        positions.append(frozenset(pairs))
    return frozenset(positions)


def mates(circuit: Circuit, switch: str, terminal: str) -> frozenset[End]:
    """What is joined to a terminal of a switch."""
    end = circuit.terminal(circuit.device(switch), terminal)
    return next(group for group in joins_of(circuit) if end in group) - {end}


def one_or_other(common: str, *others: str) -> frozenset[frozenset[frozenset[str]]]:
    """What a changeover switch with these conductors connects, in each position."""
    return frozenset(frozenset({frozenset({common, other})}) for other in others)


def test_wrong_devices_pass_what_the_definition_says() -> None:
    """A replaced switch connects the old conductors as its own contacts and landing have it."""
    circuit = Layout.parse("f.L.1.2").circuit("chain")
    kinds = {"switch-1": "three-way", "switch-2": "four-way", "switch-3": "three-way"}
    for switch, kind in kinds.items():
        terminals = circuit.device(switch).form.switched_terminals
        expected: dict[str, set[object]] = {"single-pole": set(), "four-way": set()}
        if kind == "three-way":
            for pair in itertools.combinations(terminals, 2):
                expected["single-pole"].add(frozenset({frozenset({frozenset(pair)}), frozenset()}))
            for beside in terminals:
                expected["four-way"].add(one_or_other(beside, *set(terminals) - {beside}))
        else:
            expected = {"three-way": set()}
            for off, common in itertools.permutations(terminals, 2):
                expected["three-way"].add(one_or_other(common, *set(terminals) - {off, common}))
        found: dict[str, set[object]] = {name: set() for name in expected}
        for fault in fault_kind("wrong-device").faults(NumberedCircuit(circuit)):
            if fault.site[0] == switch:
                faulted = fault.apply(circuit)
                found[faulted.device(switch).kind].add(passes(faulted, switch, circuit))
        assert found == expected
