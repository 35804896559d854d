"""What a catalogue covers, in sentences.

"None found" and "not computed" are different sentences, and only a complete search shows that there
is none.
"""

from collections.abc import Sequence
from typing import TypedDict

from catalogue.pages.visit import Page, Visit
from verify.layout.schemes import SCHEMES


def scheme_title(name: str) -> str:
    """The scheme of that name in words; a scheme unknown to this version keeps its name."""
    return SCHEMES[name].title if name in SCHEMES else name


class ScopeGroup(TypedDict):
    """What was computed of one size and scheme, completely or as a sample."""

    locations: int
    scheme: str
    scheme_title: str
    coverage: str
    circuits: int
    kinds: int
    faults: int


def scope_groups(visit: Visit) -> list[ScopeGroup]:
    """Circuits and faults for each number of locations, scheme and coverage."""
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
        for row in visit.rows(
            "select locations, scheme, coverage, max(circuits) as circuits,"
            " count(*) as kinds, sum(faults) as faults"
            " from scope group by coverage, locations, scheme"
        )
    ]


def scope_line(visit: Visit) -> str:
    """The whole scope in a line, for the foot of every page."""
    rows = visit.rows("select distinct locations from summary order by locations")
    return coverage_line(scope_groups(visit), [row["locations"] for row in rows])


def coverage_line(groups: Sequence[ScopeGroup], counted: Sequence[int] = ()) -> str:
    """The scope in a line; `counted` are the sizes that were only counted."""
    complete = sorted({g["locations"] for g in groups if g["coverage"] == "complete"})
    drawn = [group for group in groups if group["coverage"] == "sampled"]
    told = []
    if complete:
        schemes = dict.fromkeys(
            group["scheme_title"] for group in groups if group["coverage"] == "complete"
        )
        told.append(
            f"Complete for all layouts of {_and(list(map(str, complete)))} locations "
            f"({_and(list(schemes))})"
        )
    if drawn:
        count = sum(group["circuits"] for group in drawn)
        told.append(f"{count:,} more circuits drawn at random, a sample")
    if counted:
        told.append(
            f"faults of {_and(list(map(str, counted)))} locations counted, without a page each"
        )
    return f"{'; '.join(told)}. Anything else was not computed." if told else "Empty so far."


def nothing_found(
    visit: Visit, kind: str = "", locations: int | None = None, scheme: str = ""
) -> str:
    """What it means that no fault was found, among those of a kind, size and scheme."""
    rows = visit.rows(
        "select coverage, sum(faults) as faults from scope join fault_kind on fault_kind.id ="
        " kind_id where (? = '' or fault_kind.name = ?) and (? is null or locations = ?)"
        " and (? = '' or scheme = ?) group by coverage",
        *(kind, kind, locations, locations, scheme, scheme),
    )
    if not rows:
        return "Not computed: this catalogue has no circuits of that size and scheme."
    found = {row["coverage"]: row["faults"] for row in rows if row["faults"]}
    if not found:
        return "Nothing to judge: no circuit here has a site for this kind of mistake."
    if "sampled" not in found:
        return (
            f"None found among all {found['complete']:,} faults judged; "
            "the search was complete, so there is none."
        )
    complete = (
        f"none among the {found['complete']:,} of the complete layouts; "
        if "complete" in found
        else ""
    )
    return (
        f"None found: {complete}none among the {found['sampled']:,} in circuits drawn at random, "
        "which does not show that there is none."
    )


def scope(visit: Visit) -> Page:
    """Everything that was computed, by size, scheme and kind of mistake."""
    rows = visit.rows(
        "select locations, scheme, coverage, circuits, faults, fault_kind.name as kind,"
        " fault_kind.title as kind_title"
        " from scope join fault_kind on fault_kind.id = kind_id"
        " order by coverage, locations, scheme, kind_id"
    )
    groups = [
        {
            **group,
            "by_kind": [
                {"name": row["kind"], "title": row["kind_title"], "faults": row["faults"]}
                for row in rows
                if row["locations"] == group["locations"]
                and row["scheme"] == group["scheme"]
                and row["coverage"] == group["coverage"]
            ],
        }
        for group in scope_groups(visit)
    ]
    return Page("What this catalogue covers", "scope", {"groups": groups})


def _and(words: Sequence[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last
