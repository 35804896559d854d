"""The page of a hazard: when it holds, what it can do, and where it hides."""

from typing import Final

from catalogue.pages.contract import Page, Visit
from catalogue.pages.counts import counts_by_kind
from catalogue.pages.coverage import nothing_found
from catalogue.pages.fault_choice import FaultChoice
from catalogue.pages.faultlist import some_faults
from catalogue.pages.lookup import named_row

_EXAMPLES: Final = 6


def hazard(visit: Visit) -> Page:
    """Show one hazard, with the mimics that have it."""
    row = named_row(visit, "hazard", visit.parts["hazard"])
    mimic = named_row(visit, "verdict", "mimic")
    mimics = some_faults(visit, FaultChoice(hazard=row["id"], verdict=mimic["id"]), _EXAMPLES)
    return Page(
        row["title"],
        "hazard",
        {
            **{key: row[key] for key in ("name", "title", "condition", "danger")},
            "counts": counts_by_kind(visit, FaultChoice(hazard=row["id"])),
            "mimics": mimics,
            "no_mimics": None if mimics else nothing_found(visit),
        },
    )
