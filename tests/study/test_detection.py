"""Which states show every mistake, and the walk to them: exact, by ways that share no code."""

import itertools
from collections import deque
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from verify.behaviour.findings import Findings, states_in
from verify.behaviour.signature import Codes, canonical
from verify.circuit.model import Circuit
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout
from verify.strategies import circuits
from verify.study.detection import (
    MOST_SWITCHES,
    MOST_WALKED,
    Flips,
    changes_function,
    needed,
    plan_flips,
    shortest_walk,
    smallest_sets,
)
from verify.verdict.judging import verdicts

CHAIN = Layout.parse("1.f.1").circuit("chain")
TIED = Layout.parse("f.L.1").circuit("tied")
THREE = Layout.parse("2.f.1.2").circuit("chain")


@cache
def outcomes(circuit: Circuit) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """What a circuit, and each of its single faults, does state by state: by *paths*, in words."""
    paths = PathsEngine()

    def told(circuit: Circuit) -> tuple[str, ...]:
        seen = paths.observe(circuit)
        return tuple(
            "trips"
            if seen.trips >> state & 1
            else " ".join(seen.light(lamp, state) for lamp in range(len(seen.lit)))
            for state in range(1 << seen.switches)
        )

    return told(circuit), tuple(told(fault.apply(circuit)) for fault in all_faults(circuit))


def as_codes(words: tuple[tuple[str, ...], ...]) -> Codes:
    """Words as numbers that differ where the words do."""
    names = sorted({word for row in words for word in row})
    return np.array([[names.index(word) for word in row] for row in words], np.int64)


def plan(circuit: Circuit, *, positions_known: bool, start: int | None = None) -> Flips:
    """How to test a circuit, from what *paths* says."""
    intended, faulted = outcomes(circuit)
    codes = as_codes((intended, *faulted))
    return plan_flips(codes[1:], codes[0], positions_known=positions_known, start=start)


def is_told(circuit: Circuit, states: set[int], *, positions_known: bool) -> bool:
    """Whether what is seen in `states` gives away every mistake that changes the function.

    Straight from the meaning: a person has a list of what a good circuit may do. One who knows the
    positions looks it up; one who does not has begun in any state, and finds nothing that fits
    under any renaming of positions.
    """
    intended, faulted = outcomes(circuit)
    masks = range(len(intended))
    for seen in set(faulted):
        if any(all(seen[s] == intended[s ^ mask] for s in masks) for mask in masks):
            continue
        begun = [0] if positions_known else masks
        if any(
            all(seen[s ^ one] == intended[s ^ other] for s in states)
            for one in begun
            for other in begun
        ):
            return False
    return True


@pytest.mark.parametrize("positions_known", [True, False])
@pytest.mark.parametrize("circuit", [CHAIN, TIED, THREE], ids=["chain", "tied", "three"])
def test_smallest_sets_of_states(circuit: Circuit, positions_known: bool) -> None:
    """The set shows every mistake that changes the function, and no smaller one does."""
    flips = plan(circuit, positions_known=positions_known)
    assert is_told(circuit, set(flips.states), positions_known=positions_known)
    every = range(1 << len(circuit.switches))
    for smaller in itertools.combinations(every, len(flips.states) - 1):
        assert not is_told(circuit, set(smaller), positions_known=positions_known)


@pytest.mark.parametrize("positions_known", [True, False])
@pytest.mark.parametrize("start", [None, 0, 2])
@pytest.mark.parametrize("circuit", [CHAIN, TIED, THREE], ids=["chain", "tied", "three"])
def test_walks_are_of_single_flips_and_shortest(
    circuit: Circuit, start: int | None, positions_known: bool
) -> None:
    """A walk moves one switch at a time, passes every state of its set, and of all walks through
    any smallest set none is shorter: every walk is tried, breadth first.
    """
    flips = plan(circuit, positions_known=positions_known, start=start)
    hold_walk(flips.walk, set(flips.states), start)
    assert flips.is_best
    assert flips.flips == len(flips.walk) - 1
    size = len(flips.states)
    sets = [
        set(states)
        for states in itertools.combinations(range(1 << len(circuit.switches)), size)
        if is_told(circuit, set(states), positions_known=positions_known)
    ]
    # For whom all states are alike, every state is a beginning.
    begin = start if positions_known else None
    assert flips.flips == min(fewest_flips(s, len(circuit.switches), begin) for s in sets)


def hold_walk(walk: tuple[int, ...], states: set[int], start: int | None) -> None:
    """A walk of single flips from `start` through `states`."""
    assert states <= set(walk)
    assert start is None or walk[0] == start
    assert all((here ^ there).bit_count() == 1 for here, there in itertools.pairwise(walk))


def fewest_flips(states: set[int], switches: int, start: int | None) -> int:
    """How many flips it takes to pass all of `states`, by going every way at once."""
    begins = range(1 << switches) if start is None else [start]
    at = {(begin, frozenset({begin} & states)): 0 for begin in begins}
    queue = deque(at)
    while queue:
        here, passed = queue.popleft()
        if passed == states:
            return at[here, passed]
        for switch in range(switches):
            there = here ^ 1 << switch
            then = (there, passed | ({there} & states))
            if then not in at:
                at[then] = at[here, passed] + 1
                queue.append(then)
    raise AssertionError("every state can be reached")


def size_by_integer_program(needs: list[int], states: int) -> int:
    """How many of so many states meet every need, at least: by scipy's solver."""
    meets = np.array([[need >> state & 1 for state in range(states)] for need in needs])
    solved = milp(
        np.ones(states),
        integrality=np.ones(states, np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(meets, 1),
    )
    assert solved.fun is not None
    return round(solved.fun)


@given(needs=st.lists(st.integers(1, 255), min_size=1, max_size=12))
def test_sets_are_as_small_as_integer_programming_finds_them(needs: list[int]) -> None:
    """Branching and an integer program agree on the size, and all smallest sets are found."""
    size = size_by_integer_program(needs, 8)
    every = [
        states
        for states in range(256)
        if states.bit_count() == size and all(states & need for need in needs)
    ]
    assert sorted(smallest_sets(needs, 300)) == every


@given(needs=st.lists(st.integers(1, 2**64 - 1), min_size=1, max_size=40))
def test_large_sets_meet_every_need(needs: list[int]) -> None:
    """With six switches, too, the set found meets every need, and is as small as can be."""
    (found,) = smallest_sets(needs, 1)
    assert all(found & need for need in needs)
    assert found.bit_count() == size_by_integer_program(needs, 64)


@given(states=st.sets(st.integers(0, 15), max_size=9), start=st.none() | st.integers(0, 15))
def test_walks_through_any_states(states: set[int], start: int | None) -> None:
    """Held and Karp's recursion finds what going every way at once finds."""
    walk, is_shortest = shortest_walk(sum(1 << state for state in states), 4, start)
    hold_walk(walk, states, start)
    assert is_shortest
    if walk:
        assert len(walk) - 1 == fewest_flips(states, 4, start)
    else:
        assert (states, start) == (set(), None)


@pytest.mark.parametrize("switches", [5, 6])
def test_all_states_of_many_switches_are_walked_in_gray_order(switches: int) -> None:
    """Where nothing is proved by trying, a walk that passes each state once is shortest."""
    states = (1 << (1 << switches)) - 1
    walk, is_shortest = shortest_walk(states, switches, None)
    hold_walk(walk, set(range(1 << switches)), None)
    assert (len(walk), is_shortest) == (1 << switches, True)


@given(states=st.sets(st.integers(0, 63), min_size=MOST_WALKED + 2), start=st.integers(0, 63))
def test_long_walks_hold_too(states: set[int], start: int) -> None:
    """A walk that is not proved to be shortest still moves one switch at a time and passes all."""
    walk, is_shortest = shortest_walk(sum(1 << state for state in states), 6, start)
    hold_walk(walk, states, start)
    assert not is_shortest or len(walk) == len(states | {start})


@given(circuit=circuits(most_locations=3))
def test_what_changes_the_function_has_another_signature(circuit: Circuit) -> None:
    """A mistake changes the function exactly if its canonical signature is another one."""
    faults = all_faults(circuit)[::7]
    engine = WordsEngine()
    lamps = len(circuit.lamps)
    seen = engine.observe(circuit)
    base = verdicts(Findings.of([seen], switches=seen.switches, lamps=lamps)).codes[0]
    codes = verdicts(engine.observe_faults(circuit, faults)).codes
    expected = [canonical(row, lamps) != canonical(base, lamps) for row in codes]
    assert changes_function(codes, base).tolist() == expected


def test_needs_are_the_smallest() -> None:
    """No set that has to be met contains another, and each is of states that differ."""
    intended, faulted = outcomes(CHAIN)
    codes = as_codes((intended, *faulted))
    for positions_known in (True, False):
        needs = needed(codes[1:], codes[0], positions_known=positions_known)
        assert all(one & other != one for one, other in itertools.permutations(needs, 2))
        assert all(list(states_in(need)) for need in needs)


def test_nothing_to_find_needs_nothing() -> None:
    """A circuit without a mistake that changes it needs no look, and a walk stays where it is."""
    intended = np.array([0, 2, 2, 0], np.int64)
    turned = np.array([[2, 0, 0, 2]], np.int64)
    assert plan_flips(turned, intended, positions_known=True) == Flips((), (), True, True)
    found = plan_flips(turned, intended, positions_known=True, start=3)
    assert (found.states, found.walk, found.flips) == ((), (3,), 0)


def test_too_many_switches_are_refused() -> None:
    """Sets of states beyond one machine word are refused, not judged wrongly."""
    intended = np.zeros(2 << MOST_SWITCHES, np.int64)
    with pytest.raises(ValueError, match="128 states are more than those of 6 switches"):
        plan_flips(intended[None], intended, positions_known=True)
