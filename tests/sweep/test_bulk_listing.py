"""Single faults as arrays: the same faults, in the same order, as one by one."""

import random
from collections.abc import Sequence

import pytest
from feeding import fed_twice
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.circuit.model import Circuit
from verify.fault.change import NumberedCircuit
from verify.fault.families import Roles, family, place
from verify.fault.registry import all_faults, fault_kinds
from verify.layout.enumeration import Layout, layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES
from verify.strategies import (
    circuits,
    failing_circuits,
    furnished_circuits,
    miswired_circuits,
    supplied_circuits,
)
from verify.sweep.family_numbers import Families
from verify.sweep.listing import Listing, sites_of

#: One for all tests: what it remembers of other circuits must not matter.
FAMILIES = Families()


def assert_lists_all_faults(circuit: Circuit) -> None:
    """Kind, site, change and family of each fault, and where its site stands among its kind's."""
    listing = Listing(NumberedCircuit(circuit))
    every = all_faults(circuit)
    assert len(listing) == len(every)
    assert listing.faults(range(len(listing))) == every
    assert [listing.change(row) for row in range(len(listing))] == [f.change for f in every]
    kinds, wiring, roles = fault_kinds(), NumberedCircuit(circuit), Roles(circuit)
    sites = {kind.name: sites_of(kind, wiring) for kind in kinds}
    numbers = FAMILIES.of(listing)
    for row, fault in enumerate(every):
        assert kinds[listing.kind[row]].name == fault.kind
        assert sites[fault.kind][listing.site[row]] == fault.site
        assert FAMILIES.names[numbers[row]] == (family(roles, fault), place(fault)), fault.label


def some_layouts(locations: int, count: int) -> Sequence[Layout]:
    """So many of the layouts, the same every time."""
    return random.Random(locations).sample(list(layouts(locations)), count)


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [2, 3])
def test_every_layout(locations: int, scheme: str) -> None:
    """All of two and three locations."""
    for layout in layouts(locations):
        assert_lists_all_faults(layout.circuit(scheme))


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [4, 5])
def test_some_layouts(locations: int, scheme: str) -> None:
    """Cables side by side and wide joins, of which small layouts have none."""
    for layout in some_layouts(locations, 12):
        assert_lists_all_faults(layout.circuit(scheme))


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
def test_every_layout_of_four(scheme: str) -> None:
    """All of four locations."""
    for layout in layouts(4):
        assert_lists_all_faults(layout.circuit(scheme))


def test_drawn_circuits() -> None:
    """Metal, shared boxes, several lamps, receptacles, a second feed."""
    for index in range(20):
        assert_lists_all_faults(sample(3, index).circuit)


@settings(max_examples=40)
@given(
    st.one_of(
        failing_circuits(miswired_circuits()),
        failing_circuits(furnished_circuits(circuits(most_locations=3))),
        failing_circuits(supplied_circuits()),
        failing_circuits(fed_twice()),
    )
)
def test_any_circuit(circuit: Circuit) -> None:
    """Circuits with mistakes and failures in them, with more devices, and fed twice."""
    assert_lists_all_faults(circuit)


def test_faults_can_be_asked_for_in_any_order() -> None:
    """Rows are faults, whatever rows are asked for with them."""
    circuit = Layout.parse("f.L.L.1").circuit("chain")
    every = all_faults(circuit)
    listing = Listing(NumberedCircuit(circuit))
    rows = random.Random(5).sample(range(len(every)), 50)
    assert listing.faults(rows) == [every[row] for row in rows]
    assert listing.faults([]) == []


def test_families_are_numbered_once() -> None:
    """A family that was met keeps its number, in whatever circuit it is met again."""
    families = Families()
    one, other = (Layout.parse(code).circuit("chain") for code in ("1.f.1", "2.f.1"))
    first = families.of(Listing(NumberedCircuit(one))).tolist()
    families.of(Listing(NumberedCircuit(other)))
    names = list(families.names)
    assert families.of(Listing(NumberedCircuit(one))).tolist() == first
    assert families.names == names
    assert len(set(names)) == len(names)
