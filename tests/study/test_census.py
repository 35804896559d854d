"""The census: complete, the same by every way of counting, and what is left out is nothing."""

import itertools
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.study.census.pruning import PRUNED, PRUNING_RULES, UNPRUNED
from verify.study.census.search import SearchBatch, run_of, search_batch, search_batches, tables_of
from verify.study.census.search_kernel import (
    ENOUGH_CONTACTS_LEFT,
    LIGHT_IS_FINAL,
    NO_STATE_DOES_MORE,
    ONE_PLACE_SERVES,
    Scratch,
    search_growth_strings,
)
from verify.study.census.terminals import CensusParts, Wiring, bell, growth_string, parts_of
from verify.verdict.judging import judge

WORDS = WordsEngine()
PATHS = PathsEngine()


@cache
def searched(locations: int, rules: int = PRUNED) -> tuple[tuple[Wiring, ...], int]:
    """Every wiring with any-location control, and how often a terminal was placed."""
    run = run_of(locations, rules)
    results = [part for _, part in search_batches(run.batches)]
    wirings = tuple(wiring for part in results for wiring in part.wirings)
    return wirings, run.nodes + sum(part.nodes for part in results)


def found(locations: int, rules: int = PRUNED) -> list[Wiring]:
    """Every wiring with any-location control."""
    return list(searched(locations, rules)[0])


def nodes(locations: int, rules: int) -> int:
    """How often a terminal was placed."""
    return searched(locations, rules)[1]


# --- counting partitions


def test_bell_numbers() -> None:
    """OEIS A000110 (from memory); those that are needed also by another way, Bell's triangle."""
    known = [1, 1, 2, 5, 15, 52, 203, 877, 4140, 21147, 115975]
    assert [bell(size) for size in range(11)] == known
    row, triangle = [1], [1]
    for _ in range(22):
        new = [row[-1]]
        for number in row:
            new.append(new[-1] + number)
        row = new
        triangle.append(row[0])
    assert [bell(size) for size in range(23)] == triangle
    assert (bell(14), bell(18)) == (190899322, 682076806159)


@pytest.mark.parametrize("locations", range(2, 6))
def test_terminals_are_those_of_the_parts(locations: int) -> None:
    """4n + 2: line, neutral, the lamp's two, three for two switches and four for the others."""
    parts = parts_of(locations)
    assert len(parts.terminals) == len({*parts.terminals}) == 4 * locations + 2
    assert parts.wirings == bell(4 * locations + 2)


def partitions(size: int) -> Iterator[Wiring]:
    """Every growth string, by a way of its own."""
    strings: list[Wiring] = [()]
    for _ in range(size):
        strings = [(*s, new) for s in strings for new in range(max(s, default=-1) + 2)]
    return iter(strings)


def test_growth_strings_are_the_partitions() -> None:
    """Each partition has one: renaming the classes of a partition does not change its string."""
    strings = list(partitions(6))
    assert len(strings) == bell(6)
    assert all(growth_string(string) == string for string in strings)
    assert growth_string([7, 3, 7, 0, 3]) == (0, 1, 0, 2, 1)


# --- complete


def works(parts: CensusParts, wiring: Wiring) -> bool:
    """Any-location control by its definition, state by state with a general graph library."""
    terminals = parts.terminals
    lit = []
    for positions in itertools.product((False, True), repeat=parts.locations):
        graph: nx.Graph[str] = nx.Graph()
        graph.add_nodes_from(terminals)
        for join in parts.joins(wiring):
            nx.add_path(graph, join)
        for switch, is_down in zip(parts.switches, positions, strict=True):
            for contact in switch.form.contacts:
                if contact.down if is_down else contact.up:
                    graph.add_edge(f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}")
        live = nx.node_connected_component(graph, "feed.line")
        back = nx.node_connected_component(graph, "feed.neutral")
        if "feed.neutral" in live:
            return False
        lit.append(
            ("lamp.contact" in live and "lamp.shell" in back)
            or ("lamp.shell" in live and "lamp.contact" in back)
        )
    states = list(itertools.product((0, 1), repeat=parts.locations))
    shines = dict(zip(states, lit, strict=True))
    return all(
        shines[state] != shines[(*state[:place], 1 - state[place], *state[place + 1 :])]
        for state in states
        for place in range(parts.locations)
    )


def test_two_locations_by_brute_force() -> None:
    """Of all 115,975 wirings exactly those of the search pass, none left out.

    All at once, a row for each: in each state a closed contact gives one piece the other's number.
    Of the terminals 0 is line, 1 neutral, 2 and 3 are the lamp's, 4 and 7 commons.
    """
    everything = np.array(list(partitions(10)), np.int8)
    assert len(everything) == 115975
    lit, trips = [], np.zeros(len(everything), bool)
    for first, second in itertools.product((0, 1), repeat=2):
        piece = everything.copy()
        for common, traveler in ((4, 5 + first), (7, 8 + second)):
            is_met = piece == piece[:, [traveler]]
            piece = np.where(is_met, piece[:, [common]], piece)
        line, neutral, contact, shell = piece[:, :4].T
        trips |= line == neutral
        lit.append((line == contact) & (neutral == shell) | (line == shell) & (neutral == contact))
    neither, one, other, both = lit
    control = ~trips & (neither != one) & (neither != other) & (both != one) & (both != other)
    assert found(2) == [tuple(row) for row in everything[control].tolist()]


@pytest.mark.slow
def test_two_locations_by_the_independent_engine() -> None:
    """Every wiring that could work by what is plain to see is judged by *paths*.

    Left out are those with line and neutral in one join, or both sides of the lamp; those with one
    of these four, or a common, in no join; and those with two terminals of a switch in one join:
    there one position connects all that the other does, so no light depends on it.
    """
    parts = parts_of(2)

    def may_work(wiring: Wiring) -> bool:
        line, neutral, contact, shell, common, *travelers = wiring[:7]
        other_common, *other_travelers = wiring[7:]
        return (
            line != neutral
            and contact != shell
            and len({common, *travelers}) == len({other_common, *other_travelers}) == 3
            and all(
                wiring.count(join) > 1
                for join in (line, neutral, contact, shell, common, other_common)
            )
        )

    candidates = [w for w in partitions(len(parts.terminals)) if may_work(w)]
    assert len(candidates) > 1000
    assert found(2) == [w for w in candidates if judge(parts.circuit(w), PATHS).any_location]


SUBSETS = range(PRUNED + 1)


@pytest.mark.parametrize("rules", SUBSETS)
def test_no_rule_loses_a_wiring_of_two_locations(rules: int) -> None:
    """With any of the rules left out the same wirings are found, with no fewer nodes."""
    assert found(2, rules) == found(2)
    assert nodes(2, rules) >= nodes(2, PRUNED)


@pytest.mark.parametrize("rules", [PRUNED & ~rule.bit for rule in PRUNING_RULES if rule.bit])
def test_no_rule_loses_a_wiring_of_three_locations(rules: int) -> None:
    """With one of the rules left out the same wirings are found, by no fewer nodes."""
    assert found(3, rules) == found(3)
    assert nodes(3, rules) >= nodes(3, PRUNED)


@pytest.mark.slow
@pytest.mark.parametrize("rules", [UNPRUNED, *(rule.bit for rule in PRUNING_RULES if rule.bit)])
def test_three_locations_without_the_rules(rules: int) -> None:
    """With no rule but that shorts are final, or with any one more, the same wirings are found."""
    assert found(3, rules) == found(3)


def test_every_rule_is_told_and_each_does_something() -> None:
    """The rules that are told are those of the kernel, and none is idle for three locations."""
    bits = [rule.bit for rule in PRUNING_RULES]
    assert bits == [0, LIGHT_IS_FINAL, NO_STATE_DOES_MORE, ENOUGH_CONTACTS_LEFT, ONE_PLACE_SERVES]
    assert sum(bits) == PRUNED
    assert UNPRUNED == 0
    for rule in PRUNING_RULES:
        assert rule.statement.endswith(".")
        assert rule.reason.endswith(".")
        if rule.bit:
            assert nodes(3, PRUNED & ~rule.bit) > nodes(3, PRUNED)


def test_nodes_without_rules_are_counted_by_hand() -> None:
    """A node is a terminal in a place, be it in a join that is there or in a new one.

    Line has 1; neutral 2, with line or not, and the former is a short; the lamp's contact 3; its
    shell 3, 3 or 4 for these, 10.
    """
    given = np.zeros((1, 0), np.int8)
    placed = np.zeros(10, np.int64)
    scratch, found = Scratch.of(10), np.zeros((100, 4), np.int8)
    search_growth_strings(*tables_of(parts_of(2)), *scratch, given, 4, UNPRUNED, found, placed)
    assert placed.tolist()[:5] == [1, 2, 3, 10, 0]


# --- the kernel knows what circuits do


@st.composite
def wirings(draw: st.DrawFn, *, fewest: int = 2, most: int = 4) -> tuple[CensusParts, Wiring]:
    """Any partition of the terminals of two to four locations."""
    parts = parts_of(draw(st.integers(fewest, most)))
    size = len(parts.terminals)
    classes = draw(st.lists(st.integers(0, size - 1), min_size=size, max_size=size))
    return parts, growth_string(classes)


@st.composite
def changed_wirings(draw: st.DrawFn) -> tuple[CensusParts, Wiring]:
    """A wiring that works, with terminals moved to other joins or left where they are."""
    parts = parts_of(draw(st.integers(2, 3)))
    wiring = list(draw(st.sampled_from(found(parts.locations))))
    for _ in range(draw(st.integers(0, 3))):
        terminal = draw(st.integers(0, len(wiring) - 1))
        wiring[terminal] = draw(st.integers(0, max(wiring) + 1))
    return parts, growth_string(wiring)


@pytest.mark.parametrize("rules", [UNPRUNED, PRUNED])
@given(wired=wirings() | changed_wirings())
def test_the_kernel_judges_as_the_engine_does(
    rules: int, wired: tuple[CensusParts, Wiring]
) -> None:
    """The search finds a wiring exactly if *words* finds any-location control in its circuit."""
    parts, wiring = wired
    alone = search_batch(SearchBatch(parts.locations, rules, 0, (wiring,)))
    expected = judge(parts.circuit(wiring), WORDS).any_location
    assert alone.wirings == ((wiring,) if expected else ())


@given(wired=wirings(most=3) | changed_wirings())
def test_a_circuit_joins_what_the_wiring_joins(wired: tuple[CensusParts, Wiring]) -> None:
    """The circuit of a wiring works exactly if the wiring does by the definition."""
    parts, wiring = wired
    assert judge(parts.circuit(wiring), WORDS).any_location == works(parts, wiring)


# --- spreading a run


def test_batches_are_the_whole() -> None:
    """The beginnings of all batches are different and as many as the search has at that depth."""
    run = run_of(4)
    beginnings = [beginning for batch in run.batches for beginning in batch.beginnings]
    assert len(beginnings) == len({*beginnings}) == 205
    assert beginnings == sorted(beginnings)
    assert [batch.number for batch in run.batches] == list(range(len(run.batches)))


def test_splitting_finds_the_same_by_the_same_work() -> None:
    """Batch by batch as many nodes are visited as in one piece, and the same wirings found."""
    whole = search_batch(SearchBatch(3, PRUNED, 0, ((),)))
    assert len(run_of(3).batches) > 1
    assert nodes(3, PRUNED) == whole.nodes
    assert tuple(found(3)) == whole.wirings


def test_room_for_results_grows() -> None:
    """More beginnings are found than the kernel is first given room for, and none is lost."""
    run = run_of(5)
    assert sum(len(batch.beginnings) for batch in run.batches) == 22733


def test_a_batch_that_ends_in_nothing_is_nothing() -> None:
    """A beginning that shorts the feed has no wirings and no nodes."""
    shorted = replace(run_of(3).batches[0], beginnings=((0, 0),))
    result = search_batch(shorted)
    assert (result.wirings, result.nodes) == ((), 0)
