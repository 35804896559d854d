"""Kernels are the same as machine code and as plain Python, helpers and all."""

import importlib
import itertools
import re
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from verify.base.compiling import compiled
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.fault.change import NumberedCircuit
from verify.layout.enumeration import Layout
from verify.study.census import search_kernel
from verify.study.census.pruning import PRUNED, UNPRUNED
from verify.study.census.search import tables_of
from verify.study.census.terminals import parts_of
from verify.study.landings import search as landing_search
from verify.study.landings.instance import LandingInstance
from verify.study.landings.landing_search_kernel import merge_rows, number_equals
from verify.sweep import interning, network_keys
from verify.sweep.listing import Listing
from verify.sweep.networks import NetworkRows
from verify.sweep.simple import bounds_of

ROOT = Path(__file__).parents[2]

HELPERS = '''
from verify.base.compiling import inlined

@inlined
def first_above(numbers, limit):
    """The place of the first number above a limit."""
    for place in range(len(numbers)):
        if numbers[place] > limit:
            return place
    return MISSING

MISSING = -1
'''
KERNEL = '''
from helpers import first_above
from verify.base.compiling import inlined

def kernel(numbers, places):
    """The first number above each place."""
    for place in range(len(places)):
        places[place] = above(numbers, place)

@inlined
def above(numbers, limit):
    """A helper that calls another, of another module, under a name of its own."""
    found = first_above(numbers, limit)
    if found < 0:
        return found
    return 10 * found
'''


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], list[list[int]]]:
    """Results of a kernel with these helpers: as plain Python, then as machine code."""
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "kernels.py").write_text(KERNEL, "utf-8")

    def results(helpers: str) -> list[list[int]]:
        (tmp_path / "helpers.py").write_text(helpers, "utf-8")
        importlib.invalidate_caches()
        for name in ("helpers", "kernels"):
            sys.modules.pop(name, None)
        plain = importlib.import_module("kernels").kernel
        found = []
        for function in (plain, compiled(plain)):
            places = np.zeros(5, np.int64)
            function(np.array([0, 3, 1, 4]), places)
            found.append(places.tolist())
        return found

    return results


def test_helpers_are_called_and_written_in_alike(
    kernel: Callable[[str], list[list[int]]],
) -> None:
    """A helper may leave its loop, and call another helper of another module."""
    plain, machine = kernel(HELPERS)
    assert plain == machine == [10, 10, 10, 30, -1]


def test_machine_code_of_other_helpers_is_not_used(
    kernel: Callable[[str], list[list[int]]],
) -> None:
    """What is kept on disk goes by the helpers as well, though they are in another file."""
    assert kernel(HELPERS)[1] == [10, 10, 10, 30, -1]
    plain, machine = kernel(HELPERS.replace("MISSING = -1", "MISSING = -7"))
    assert plain == machine == [10, 10, 10, 30, -7]


def test_networks_get_the_same_names() -> None:
    """Names, nets and numbers of all rows of a circuit."""
    listing = Listing(NumberedCircuit(Layout.parse("1.f.1").circuit("tied")))
    bounds = bounds_of(listing.wiring.circuit)
    assert bounds is not None
    shared = np.delete(np.arange(len(listing)), list(listing.rebuilt))
    rows = NetworkRows.of_listing(listing, shared, bounds)
    batch = rows.batch
    found = []
    for name, look_up in (
        (network_keys.fill_network_keys, interning.look_up_keys),
        (compiled(network_keys.fill_network_keys), compiled(interning.look_up_keys)),
    ):
        keys = np.full((len(batch), rows.key_width), 77, np.uint64)
        nets = np.full((len(batch), int(batch.join_of.max()) + 1), 77, np.uint16)
        name(
            rows.terminals.view(np.uint16),
            batch.conductors.view(np.uint16),
            batch.is_ground,
            batch.join_of.view(np.uint16),
            batch.conducts,
            batch.closed,
            batch.works,
            batch.bridges,
            keys,
            nets,
        )
        known, hashes = np.zeros_like(keys), np.zeros(2048, np.uint64)
        places = np.full(2048, -1, np.int64)
        numbers, first = np.zeros((2, len(keys)), np.int64)
        with np.errstate(over="ignore"):  # words have 64 bits, and hashes need no more
            count = look_up(keys, known, hashes, places, numbers, first, 0)
        assert count == len({tuple(row) for row in keys.tolist()})
        found.append((keys, nets, known, hashes, places, numbers, first))
    assert_equal_arrays(*found)


def assert_equal_arrays(plain: Iterable[object], machine: Iterable[object]) -> None:
    """What plain Python and machine code give."""
    for one, other in zip(plain, machine, strict=True):
        np.testing.assert_array_equal(one, other)


@pytest.mark.parametrize("rules", [PRUNED, search_kernel.ENOUGH_CONTACTS_LEFT, UNPRUNED])
def test_the_census_goes_the_same_way(rules: int) -> None:
    """Every wiring of two locations, and how often each terminal was placed; the first six only."""
    found = []
    for search in (
        search_kernel.search_growth_strings,
        compiled(search_kernel.search_growth_strings, allocates=False),
    ):
        scratch = search_kernel.Scratch.of(10)
        wirings, nodes = np.zeros((3000, 6), np.int8), np.zeros(10, np.int64)
        beginning = np.zeros((1, 0), np.int8)
        total = search(*tables_of(parts_of(2)), *scratch, beginning, 6, rules, wirings, nodes)
        found.append((total, wirings.tolist(), nodes.tolist()))
    assert found[0] == found[1]
    assert found[0][0] > 0


def test_landings_are_merged_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Some rows of each merge of a hookup: what comes of them, and which of that is equal."""
    merges: list[tuple[Any, ...]] = []

    def noting(function: Callable[..., Any]) -> Callable[..., Any]:
        def run(*arguments: Any) -> Any:
            if function is merge_rows:
                merges.append(arguments)
            return compiled(function)(*arguments)

        return run

    monkeypatch.setattr(landing_search, "compiled", noting)
    hookup = load(data_path("circuits") / "workshop-feed-and-lamp-at-ends.toml")
    assert len(landing_search.search(LandingInstance(hookup)))
    assert len(merges) > 4
    kept = 0
    for left, right, *others, _, _ in merges:
        some = left[:: 1 + len(left) // 12], right[:: 1 + len(right) // 12]
        arguments = *map(np.ascontiguousarray, some), *others, 0, len(some[0])
        plain, machine = merge_rows(*arguments), compiled(merge_rows)(*arguments)
        assert_equal_arrays(plain, machine)
        kept += len(plain[0])
        rows = plain[0].reshape(len(plain[0]), plain[0][:1].size)
        with np.errstate(over="ignore"):
            assert_equal_arrays(number_equals(rows), compiled(number_equals)(rows))
    assert kept > 20


def test_only_kernels_that_say_why_are_complex() -> None:
    """The linter's limit is lifted for kernels only, and their derivations say why."""
    lifted = {
        path
        for path, text in (
            (path, path.read_text("utf-8"))
            for path in itertools.chain.from_iterable(
                (ROOT / folder).rglob("*.py") for folder in ("verify", "catalogue", "scripts")
            )
        )
        if re.search(r"noqa:[^\n]*\bC901\b", text)
    }
    for path in lifted:
        assert path.stem.endswith("_kernel")
        assert "**Why it is one function.**" in path.read_text("utf-8")
