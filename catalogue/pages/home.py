"""The first page: what this is for, what it covers, and the ways in."""

from typing import Final

from catalogue.pages.counts import counts_by_kind
from catalogue.pages.coverage import scope_groups
from catalogue.pages.visit import Page, Visit
from catalogue.schema import TABLES

_SIGNATURES: Final = 6


def home(visit: Visit) -> Page:
    """The ways in, with numbers from the catalogue."""
    counts = counts_by_kind(visit, "fault")
    among_mimics = {
        row["hazard_id"]: row["number"]
        for row in visit.rows(
            "select hazard_id, count(*) as number from fault join evidence"
            " on fault_id = fault.id where verdict_id = (select id from verdict"
            " where name = 'mimic') group by hazard_id"
        )
    }
    in_all = {
        row["hazard_id"]: row["number"]
        for row in visit.rows(
            "select hazard_id, count(*) as number from evidence group by hazard_id"
        )
    }
    frequent = visit.rows(
        "select word, signature.name, locations, lamps, number from signature join"
        " (select signature_id, count(*) as number from fault group by signature_id"
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
            "hazards": [
                {
                    "name": row["name"],
                    "title": row["title"],
                    "faults": in_all.get(row["id"], 0),
                    "mimics": among_mimics.get(row["id"], 0),
                }
                for row in visit.rows("select id, name, title from hazard order by id")
            ],
            "signatures_total": visit.number("select count(*) from signature"),
            "signatures": [dict(row) for row in frequent],
            "scope": scope_groups(visit),
            "tables": [
                {"name": table.name, "help": table.help} for table in TABLES if table.name != "work"
            ],
        },
    )
