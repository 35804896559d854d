"""The page of a hazard: when it holds, what it can do, and where it hides."""

from typing import Final

from catalogue.pages.counts import counts_by_kind
from catalogue.pages.coverage import nothing_found
from catalogue.pages.faultlist import some_faults
from catalogue.pages.lookup import named_row
from catalogue.pages.visit import Page, Visit

_EXAMPLES: Final = 6


def hazard(visit: Visit) -> Page:
    """One hazard, with the mimics that show it."""
    row = named_row(visit, "hazard", visit.parts["hazard"])
    counts = counts_by_kind(
        visit, "evidence join fault on fault.id = fault_id where hazard_id = ?", row["id"]
    )
    mimics = some_faults(
        visit,
        "verdict_id = (select id from verdict where name = 'mimic')"
        " and exists (select 1 from evidence where fault_id = fault.id and hazard_id = ?)",
        row["id"],
        limit=_EXAMPLES,
    )
    return Page(
        row["title"],
        "hazard",
        {
            **{key: row[key] for key in ("name", "title", "condition", "danger")},
            "counts": counts,
            "mimics": mimics,
            "no_mimics": None if mimics else nothing_found(visit),
        },
    )
