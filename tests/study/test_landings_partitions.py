"""Partitions of free ends: how many there are, and how far one is from another."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from landing import BELL

from verify.study.landings.partitions import (
    MOST_ENDS,
    NO_WAY,
    bell,
    codes,
    fewest_exchanges,
    fewest_moves,
    growth_strings,
    partitions,
)

ENDS = 5


def grown(ends: int) -> st.SearchStrategy[list[int]]:
    """Groups of so many ends, with any numbers."""
    return st.lists(st.integers(0, ends), min_size=ends, max_size=ends)


def test_there_are_as_many_as_bell_numbers() -> None:
    """OEIS A000110, for every size that is allowed."""
    assert [bell(ends) for ends in range(MOST_ENDS + 1)] == list(BELL)
    for ends in range(10):
        rows = partitions(ends)
        assert rows.shape == (BELL[ends], ends)


@pytest.mark.parametrize("ends", range(1, 9))
def test_each_partition_is_listed_once_in_order(ends: int) -> None:
    """Rows are canonical and ascending, and so are their codes."""
    rows = partitions(ends)
    listed = [tuple(row) for row in rows.tolist()]
    assert listed == sorted(set(listed))
    assert (growth_strings(rows.astype(np.int64)) == rows).all()
    assert (np.diff(codes(rows)) > 0).all()


def test_too_many_ends_are_refused() -> None:
    """The rows of thirteen ends would not be worth their memory."""
    with pytest.raises(ValueError, match="ends=13"):
        partitions(MOST_ENDS + 1)


@given(grown(7), st.permutations(range(20, 28)))
def test_the_names_of_groups_do_not_count(groups: list[int], names: list[int]) -> None:
    """Renumbered groups have the same canonical row, and it joins the same ends."""
    renamed = [names[group] for group in groups]
    one, other = (growth_strings(np.array([row])) for row in (groups, renamed))
    assert (one == other).all()
    for a, b in itertools.combinations(range(len(groups)), 2):
        assert (one[0, a] == one[0, b]) == (groups[a] == groups[b])


def cycles(order: tuple[int, ...]) -> int:
    """How many cycles a permutation has."""
    graph = nx.Graph(enumerate(order))
    return nx.number_connected_components(graph)


@given(grown(ENDS))
def test_exchanges_are_fewest_transpositions(start: list[int]) -> None:
    """A permutation of n ends with c cycles takes n − c exchanges; the best one counts."""
    row = growth_strings(np.array([start]))
    best: dict[tuple[int, ...], int] = {}
    for order in itertools.permutations(range(ENDS)):
        reached = tuple(growth_strings(row[:, order].astype(np.int64))[0].tolist())
        best[reached] = min(best.get(reached, ENDS), ENDS - cycles(order))
    every = partitions(ENDS)
    expected = [best.get(tuple(target), NO_WAY) for target in every.tolist()]
    assert fewest_exchanges(row, every).tolist() == expected


def test_moves_are_fewest_ends_landed_elsewhere() -> None:
    """They are the shortest ways in the graph whose edges move one end to any group or to none."""
    every = partitions(ENDS)
    number = {tuple(row): place for place, row in enumerate(every.tolist())}
    graph: nx.Graph[int] = nx.Graph()
    for row, place in number.items():
        for end, group in itertools.product(range(ENDS), range(ENDS + 1)):
            moved = np.array([(*row[:end], group, *row[end + 1 :])])
            graph.add_edge(place, number[tuple(growth_strings(moved)[0].tolist())])
    for place in range(0, len(every), 7):
        shortest = nx.single_source_shortest_path_length(graph, place)
        found = fewest_moves(every[[place]], every).tolist()
        assert found == [shortest[target] for target in range(len(every))]
