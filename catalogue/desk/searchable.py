"""A size can be searched if a catalogue has every layout of it.

Where nothing was searched nothing was found either, and that must never read as "none".
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Final

from verify.base.sentences import counted
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES

Execute = Callable[[str, Sequence[object]], Iterable[Sequence[object]]]


def covered_sizes(execute: Execute) -> dict[int, tuple[str, ...]]:
    """Return the sizes of which every layout is stored, with the schemes that they are wired by."""
    found: dict[int, tuple[str, ...]] = {}
    for (locations, scheme), circuits in sorted(_circuits_stored(execute).items()):
        if circuits == _layouts_in_all(locations) and scheme in SOUND_SCHEMES:
            found[locations] = (*found.get(locations, ()), scheme)
    return found


def why_not_searched(execute: Execute, locations: int, schemes: Sequence[str]) -> str:
    """Return why layouts of a size and scheme cannot be searched, and what to do instead."""
    wired = " or ".join(SCHEMES[scheme].title for scheme in schemes)
    stored = _circuits_stored(execute)
    begun = [stored[locations, scheme] for scheme in schemes if (locations, scheme) in stored]
    if begun:
        why = (
            f"only {max(begun):,} of the {_layouts_in_all(locations):,} layouts of {locations} "
            f"switches wired as {wired} are stored, so they were not searched: the build is not "
            "finished; repeat the miswire build that made this catalogue"
        )
    elif locations in _numbers(execute, _COUNTED):
        why = (
            f"faults of {locations} switches are only counted in this catalogue (--summary), so "
            "there is nothing to search"
        )
    else:
        why = (
            f"layouts of {counted(locations, 'switch', 'switches')}, wired as {wired}, were not "
            "computed in this catalogue, so nothing was searched"
        )
    return f"{why}; {_what_there_is(execute)}"


def _what_there_is(execute: Execute) -> str:
    there = covered_sizes(execute)
    drawn = _numbers(execute, _DRAWN)[0]
    only = {
        size: " and ".join(SCHEMES[scheme].title for scheme in schemes)
        for size, schemes in there.items()
        if schemes != SOUND_SCHEMES
    }
    sizes = [f"{size} (only {only[size]})" if size in only else str(size) for size in there]
    has = f"this catalogue has all layouts of {_or(sizes)} switches"
    if not sizes:
        has = "this catalogue has all layouts of no size"
    if drawn:
        circuits = "circuit" if drawn == 1 else "circuits"
        has += f", and {drawn:,} {circuits} drawn at random, each to be searched by itself"
    return has


def _or(words: Sequence[str]) -> str:
    *most, last = words or [""]
    return f"{', '.join(most)} or {last}" if most else last


def _layouts_in_all(locations: int) -> int:
    """Return how many layouts of a size there are: the number of rooted trees on its boxes."""
    return int((locations + 1) ** locations)


def _circuits_stored(execute: Execute) -> Mapping[tuple[int, str], int]:
    rows = execute(_STORED, ())
    return {(int(str(size)), str(scheme)): int(str(number)) for size, scheme, number in rows}


def _numbers(execute: Execute, query: str) -> list[int]:
    return [int(str(number)) for (number,) in execute(query, ())]


_STORED: Final = """
select locations, scheme, count(*) from circuit where origin = 'layout' group by 1, 2
"""
_COUNTED: Final = "select distinct locations from summary"
_DRAWN: Final = "select count(*) from circuit where origin <> 'layout'"
