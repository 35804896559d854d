"""Published numbers that the project must come to by its own way.

"Read": a text stating the number was read; "from memory": it was not checked against the document.
"""

import itertools
from collections import Counter, deque
from typing import cast

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest

from verify.behaviour.signature import DARK, LIT, Signature, canonical
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Join
from verify.engine.words import WordsEngine
from verify.fault.change import NumberedCircuit
from verify.fault.registry import fault_kind
from verify.layout.enumeration import Layout, layouts
from verify.layout.routing import ROOT
from verify.layout.schemes import SOUND_SCHEMES

WORDS = WordsEngine()


# --- contacts and parity


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", range(2, 9))
def test_contacts_are_as_few_as_can_be(locations: int, scheme: str) -> None:
    """4(n − 1) contacts: two changeover switches and n − 2 reversing ones.

    C. E. Shannon, "A Symbolic Analysis of Relay and Switching Circuits", Trans. AIEE 57 (1938)
    713–723 (read); that no network does it with fewer: C. Cardot 1952, as reported by
    Yu. L. Sagalovich, Dokl. AN SSSR 1961 (read).
    """
    switches = Layout((ROOT, *range(locations))).circuit(scheme).switches
    assert sum(len(switch.form.contacts) for switch in switches) == 4 * (locations - 1)
    kinds = Counter(switch.kind for switch in switches)
    assert kinds == Counter({"three-way": 2, "four-way": locations - 2})


def thue_morse(terms: int) -> list[int]:
    """OEIS A010060 (from memory), by its substitution 0 → 01, 1 → 10."""
    sequence = [0]
    while len(sequence) < terms:
        sequence = [term for old in sequence for term in (old, 1 - old)]
    return sequence


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
def test_lamp_is_the_thue_morse_sequence(scheme: str) -> None:
    """State by state the lamp of a sound circuit is the first 2^n terms, or the complement."""
    chains = (Layout((ROOT, *range(locations))) for locations in range(4, 9))
    for layout in (*layouts(2), *layouts(3), *chains):
        (lit,) = WORDS.observe(layout.circuit(scheme)).lit
        states = 1 << layout.locations
        lamp = [lit >> state & 1 for state in range(states)]
        assert lamp in (thue_morse(states), [1 - term for term in thue_morse(states)])


# --- classes of functions

Functions = npt.NDArray[np.int64]
BY_EXCHANGE = (2, 3, 7, 46, 4336)
"""OEIS A000231, offset 0 (read)."""
BY_EXCHANGE_AND_PERMUTATION = (2, 3, 6, 22, 402)
"""OEIS A000616, offset −1 (read)."""
BY_ALL_THREE = (1, 2, 4, 14, 222)
"""OEIS A000370 (read)."""


def tables(switches: int) -> npt.NDArray[np.uint8]:
    """Every function of so many switches: a row for each, a column for each state."""
    states = 1 << switches
    numbers = np.arange(1 << states, dtype=np.int64)
    return (numbers[:, None] >> np.arange(states) & 1).astype(np.uint8)


def numbered(table: npt.NDArray[np.uint8]) -> Functions:
    """The number of each row in `tables`."""
    return table.astype(np.int64) @ (1 << np.arange(table.shape[1], dtype=np.int64))


def first_of_class(switches: int) -> Functions:
    """For each function, the first that exchanging positions can make of it: tried one by one."""
    table = tables(switches)
    states = np.arange(1 << switches)
    first = numbered(table)
    for mask in states:
        first = np.minimum(first, numbered(table[:, states ^ mask]))
    return first


def permuted_states(order: tuple[int, ...]) -> list[int]:
    """The state that each state becomes when switch i takes the place of switch order[i]."""
    return [
        sum((state >> switch & 1) << place for switch, place in enumerate(order))
        for state in range(1 << len(order))
    ]


def signature_of(lights: npt.NDArray[np.uint8]) -> Signature:
    """The signature of one lamp, lit in the states where there is a 1."""
    return canonical(np.where(lights, LIT, DARK).astype(np.int64), 1)


@pytest.mark.parametrize("switches", range(5))
def test_signatures_are_counted_by_exchange(switches: int) -> None:
    """One lamp that is dark or lit has 2, 3, 7, 46, 4336 signatures with n = 0…4 switches."""
    table = tables(switches)
    first = first_of_class(switches)
    firsts = np.unique(first)
    assert len(firsts) == BY_EXCHANGE[switches]
    assert len({signature_of(table[number]) for number in firsts}) == BY_EXCHANGE[switches]


@pytest.mark.parametrize("switches", [*range(4), pytest.param(4, marks=pytest.mark.slow)])
def test_every_function_has_the_signature_of_its_class(switches: int) -> None:
    """All 2^2^n functions, one by one: equal signatures exactly within a class."""
    table = tables(switches)
    first = first_of_class(switches)
    of_class = {int(number): signature_of(table[number]) for number in np.unique(first)}
    for number, lights in enumerate(table):
        assert signature_of(lights) == of_class[int(first[number])]


@pytest.mark.parametrize("switches", range(5))
def test_classes_with_switches_permuted_too(switches: int) -> None:
    """Without regard to the place of switches 2, 3, 6, 22, 402 signatures are left for n = 0…4.

    With on and off exchanged as well they are 1, 2, 4, 14, 222.
    """
    first = first_of_class(switches)
    firsts = np.unique(first)
    table = tables(switches)[firsts]
    without_places = first[firsts]
    for order in itertools.permutations(range(switches)):
        moved = table[:, permuted_states(order)]
        without_places = np.minimum(without_places, first[numbered(moved)])
    assert len(np.unique(without_places)) == BY_EXCHANGE_AND_PERMUTATION[switches]
    smallest = np.full(len(first), -1, np.int64)
    smallest[firsts] = without_places
    complement = smallest[first[numbered(1 - table)]]
    assert len(np.unique(np.minimum(without_places, complement))) == BY_ALL_THREE[switches]


# --- layouts


@pytest.mark.parametrize(
    ("locations", "rooted", "labelled"), [(2, 9, 3), (3, 64, 16), (4, 625, 125), (5, 7776, 1296)]
)
def test_layouts_are_counted_by_cayley(locations: int, rooted: int, labelled: int) -> None:
    """(n+1)^n layouts (OEIS A000169, from memory), (n+1)^(n−1) for each feed (A000272, read)."""
    every = list(layouts(locations))
    assert len(set(every)) == len(every) == rooted == (locations + 1) ** locations
    feeds = Counter(layout.parents.index(ROOT) for layout in every)
    assert feeds == dict.fromkeys(range(locations + 1), labelled)


@pytest.mark.parametrize(("locations", "shapes"), [(2, 1), (3, 2), (4, 3), (5, 6)])
def test_layouts_have_every_shape_of_tree(locations: int, shapes: int) -> None:
    """Without names and feed the layouts are all trees on n + 1 boxes (OEIS A000055, read).

    The shapes are those that networkx generates, each of which every feed must have.
    """
    # The stubs of networkx call them lists.
    expected = cast("list[nx.Graph[int]]", list(nx.nonisomorphic_trees(locations + 1)))
    assert len(expected) == shapes
    found = set()
    for layout in layouts(locations):
        tree = nx.Graph((box, above) for box, above in enumerate(layout.parents) if above != ROOT)
        (shape,) = (number for number, one in enumerate(expected) if nx.is_isomorphic(tree, one))
        found.add((layout.parents.index(ROOT), shape))
    assert found == set(itertools.product(range(locations + 1), range(shapes)))


# --- ways to join the ends in a box


def box_of(ends: int) -> Circuit:
    """A circuit with a box that only the conductors of a cable enter, so many of them."""
    devices = (
        Device("feed", "feed", "landing"),
        Device("lamp", "lamp", "landing"),
        Device("switch", "single-pole", "landing"),
    )
    colours = ("black", "red", "blue", "yellow", "orange", "brown")[:ends]
    return Circuit(
        "Loft with nothing in it",
        (Box("landing"), Box("loft")),
        devices,
        (Cable("run", ("landing", "loft"), colours),),
        (Join("loft", tuple(f"run.{colour}" for colour in colours)),),
    )


@pytest.mark.parametrize(("ends", "ways"), [(1, 1), (2, 2), (3, 5), (4, 15), (5, 52), (6, 203)])
def test_landing_errors_reach_every_way_to_join_ends(ends: int, ways: int) -> None:
    """Moving an end and leaving one off lead from one splice to all partitions of a box's ends.

    They are counted by the Bell numbers, OEIS A000110 (read).
    """
    start = box_of(ends)
    reached = {start}
    waiting = deque([start])
    while waiting:
        circuit = waiting.popleft()
        for kind in ("moved", "left-off"):
            for fault in fault_kind(kind).faults(NumberedCircuit(circuit)):
                if fault.site[0] == "loft":
                    faulted = fault.apply(circuit)
                    if faulted not in reached:
                        reached.add(faulted)
                        waiting.append(faulted)
    assert len(reached) == ways
