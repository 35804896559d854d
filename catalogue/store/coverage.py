"""A catalogue's coverage: what was computed completely, what as a sample, and both as a sentence.

Connections give their rows as `sqlite3.Row`.
"""

import sqlite3
from collections.abc import Sequence
from typing import TypedDict

from verify.base.sentences import with_and
from verify.layout.schemes import SCHEMES


def scheme_title(name: str) -> str:
    """Return the scheme of that name in words; a scheme unknown to this version keeps its name."""
    return SCHEMES[name].title if name in SCHEMES else name


class ScopeGroup(TypedDict):
    """The circuits and faults of one size and scheme, computed completely or as a sample."""

    locations: int
    scheme: str
    scheme_title: str
    coverage: str
    circuits: int
    kinds: int
    faults: int


def scope_groups(connection: sqlite3.Connection) -> list[ScopeGroup]:
    """Return circuits and faults for each number of locations, scheme and coverage."""
    return [
        ScopeGroup(
            locations=row["locations"],
            scheme=row["scheme"],
            scheme_title=scheme_title(row["scheme"]),
            coverage=row["coverage"],
            circuits=row["circuits"],
            kinds=row["kinds"],
            faults=row["faults"],
        )
        for row in connection.execute(
            "select locations, scheme, coverage, max(circuits) as circuits,"
            " count(*) as kinds, sum(faults) as faults"
            " from scope group by coverage, locations, scheme"
        )
    ]


def scope_line(connection: sqlite3.Connection) -> str:
    """Return the whole scope in one line, for the foot of every page."""
    rows = connection.execute("select distinct locations from summary order by locations")
    return coverage_line(scope_groups(connection), [row["locations"] for row in rows])


def coverage_line(groups: Sequence[ScopeGroup], counted: Sequence[int] = ()) -> str:
    """Return the scope in one line; `counted` holds the sizes that are stored as counts only."""
    complete = sorted({g["locations"] for g in groups if g["coverage"] == "complete"})
    drawn = [group for group in groups if group["coverage"] == "sampled"]
    told = []
    if complete:
        schemes = dict.fromkeys(
            group["scheme_title"] for group in groups if group["coverage"] == "complete"
        )
        told.append(
            f"Complete for all layouts of {with_and(map(str, complete))} locations "
            f"({with_and(schemes)})"
        )
    if drawn:
        count = sum(group["circuits"] for group in drawn)
        told.append(f"{count:,} more circuits drawn at random, a sample")
    if counted:
        told.append(
            f"faults of {with_and(map(str, counted))} locations counted, without a page each"
        )
    return f"{'; '.join(told)}. Anything else was not computed." if told else "Empty so far."
