"""The page on what a catalogue covers, and the sentence for lists where nothing was found.

"None found" and "not computed" are different sentences, and a complete search shows that there is
none in the circuits that were searched, and nothing beyond them.
"""

from catalogue.pages.contract import Page, Visit
from catalogue.store.coverage import scope_groups
from verify.base.sentences import with_and


def nothing_found(
    visit: Visit, kind: str = "", locations: int | None = None, scheme: str = ""
) -> str:
    """Return what it means that no fault of a kind, size and scheme was found."""
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
        return (
            "Not searched: no circuit here has a site for this kind of mistake. "
            f"{_circuits_judged(visit, locations, scheme)}"
        )
    if "sampled" not in found:
        return (
            f"None found among all {found['complete']:,} faults of the circuits judged; the search "
            f"was complete for them. {_circuits_judged(visit, locations, scheme)}"
        )
    complete = (
        f"none among the {found['complete']:,} of the complete layouts; "
        if "complete" in found
        else ""
    )
    return (
        f"None found: {complete}none among the {found['sampled']:,} in circuits drawn at random, "
        "which does not show that there is none. "
        f"{_circuits_judged(visit, locations, scheme)}"
    )


def _circuits_judged(visit: Visit, locations: int | None, scheme: str) -> str:
    """Return what the circuits of a size and scheme have: what they lack was never looked at."""
    row = visit.row(
        "select count(*) as circuits, min(lamps), max(lamps), "
        f"{_least_and_most('feed')}, {_least_and_most('receptacle')}"
        " from circuit where (? is null or locations = ?) and (? = '' or scheme = ?)",
        *(locations, locations, scheme, scheme),
    )
    if row is None or not row["circuits"]:
        return "Other circuits were not computed."
    _, *numbers = tuple(row)
    lamps, feeds, outlets = zip(numbers[::2], numbers[1::2], strict=True)
    has = (_numbered(*feeds, "feed"), _numbered(*lamps, "lamp"), _numbered(*outlets, "outlet"))
    return f"Each has {with_and(has)}; other circuits were not computed."


def _least_and_most(kind: str) -> str:
    """Return the columns that count the devices of a kind in circuit files."""
    line = f'kind = "{kind}"'
    number = f"(length(file) - length(replace(file, '{line}', ''))) / {len(line)}"
    return f"min({number}), max({number})"


def _numbered(least: int, most: int, name: str) -> str:
    """Return numbers of things: "no outlet", "one feed", "1 to 3 lamps"."""
    if least == most <= 1:
        return f"{'one' if most else 'no'} {name}"
    return f"{least} to {most} {name}s" if least < most else f"{most} {name}s"


def scope(visit: Visit) -> Page:
    """Show everything that was computed, by size, scheme and kind of mistake."""
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
        for group in scope_groups(visit.catalogue)
    ]
    return Page("What this catalogue covers", "scope", {"groups": groups})
