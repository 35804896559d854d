"""The page of a signature, which is what a light does as seen from outside, and their list."""

from typing import Final

from catalogue.pages.contract import Page, Visit
from catalogue.pages.counts import counts_by_kind
from catalogue.pages.fault_choice import FaultChoice
from catalogue.pages.faultlist import some_faults
from catalogue.pages.lookup import signature_row
from catalogue.pages.paging import paged, whole_number
from catalogue.pages.state_tables import signature_facts
from verify.behaviour.signature import Signature

_EXAMPLES: Final = 3


def signature(visit: Visit) -> Page:
    """Show one signature: its table of states, and the faults that look like this."""
    row = signature_row(visit, visit.parts["signature"])
    counts = counts_by_kind(visit, FaultChoice(signature=row["id"]))
    examples = [
        {
            "verdict": verdict["name"],
            "faults": some_faults(
                visit, FaultChoice(signature=row["id"], verdict=verdict["id"]), _EXAMPLES
            ),
        }
        for verdict in visit.rows("select id, name from verdict order by id")
        if counts["verdicts"][verdict["name"]]
    ]
    return Page(
        f"Signature {row['name']}",
        "signature",
        {
            "word": row["word"],
            "name": row["name"],
            "locations": row["locations"],
            "lamps": row["lamps"],
            "any_location": bool(row["any_location"]),
            "states_total": 1 << row["locations"],
            "states": signature_facts(Signature.parse(row["word"], row["lamps"])),
            "counts": counts,
            "examples": examples,
        },
    )


def signatures(visit: Visit) -> Page:
    """Show the signatures of a number of switches, the most frequent first, a page of them."""
    locations = whole_number(visit.query, "locations")
    where = "? is null or locations = ?"
    total = visit.number(f"select count(*) from signature where {where}", locations, locations)
    paging = paged(visit.query, total)
    rows = visit.rows(
        "select word, name, locations, lamps, any_location,"
        " (select coalesce(sum(faults), 0) from profile where signature_id = signature.id)"
        " as faults"
        f" from signature where {where} order by faults desc, id"
        f" limit {paging.size:d} offset {paging.skip:d}",
        *(locations, locations),
    )
    sizes = visit.rows("select distinct locations from signature order by 1")
    return Page(
        "Signatures",
        "signatures",
        {
            "filters": {"locations": locations},
            "choices": {"locations": [row["locations"] for row in sizes]},
            "total": total,
            **paging.facts(),
            "signatures": [
                {**dict(row), "any_location": bool(row["any_location"])} for row in rows
            ],
        },
    )
