"""The page on what a catalogue covers, and the sentence for lists where nothing was found.

"None found" and "not computed" are different sentences, and only a complete search shows that there
is none.
"""

from catalogue.pages.contract import Page, Visit
from catalogue.store.coverage import scope_groups


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
