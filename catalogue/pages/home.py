"""The first page: what this is for, what it covers, and the ways in."""

from typing import Final

from catalogue.pages.contract import Page, Visit
from catalogue.pages.counts import IS_MIMIC, counts_by_kind
from catalogue.pages.fault_choice import FaultChoice
from catalogue.store.coverage import scope_groups
from catalogue.store.fault_tables import VIEWS
from catalogue.store.tables import TABLES

_SIGNATURES: Final = 6


def home(visit: Visit) -> Page:
    """Show the ways in, with numbers from the catalogue."""
    counts = counts_by_kind(visit, FaultChoice())
    hazards = visit.rows(
        "select hazard.name, title, coalesce(sum(faults), 0) as faults,"
        f" coalesce(sum(faults * ({IS_MIMIC})), 0) as mimics"
        " from hazard left join profile on hazard_set >> (hazard.id - 1) & 1"
        " group by hazard.id order by hazard.id"
    )
    frequent = visit.rows(
        "select word, signature.name, locations, lamps, number from signature join"
        " (select signature_id, sum(faults) as number from profile group by signature_id"
        f" order by number desc limit {_SIGNATURES:d}) on signature_id = id order by number desc"
    )
    return Page(
        "Miswire: what one wiring mistake does",
        "home",
        {
            "circuits": visit.number("select count(*) from circuit"),
            "counts": counts,
            "verdicts": [
                {
                    "name": row["name"],
                    "meaning": row["meaning"],
                    "faults": counts["verdicts"][row["name"]],
                }
                for row in visit.rows("select name, meaning from verdict order by id")
            ],
            "hazards": [dict(row) for row in hazards],
            "signatures_total": visit.number("select count(*) from signature"),
            "signatures": [dict(row) for row in frequent],
            "scope": scope_groups(visit.catalogue),
            "tables": [
                *({"name": t.name, "help": t.help} for t in TABLES if t.name != "work"),
                *({"name": view.name, "help": view.help} for view in VIEWS),
            ],
        },
    )
