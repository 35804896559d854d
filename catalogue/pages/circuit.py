"""The page of a circuit as intended, and the list of circuits."""

from typing import Final

from catalogue.pages.contract import Facts, Page, Visit
from catalogue.pages.counts import counts_by_kind
from catalogue.pages.fault_choice import FaultChoice
from catalogue.pages.lookup import circuit_row
from catalogue.pages.outline import outline
from catalogue.pages.paging import paged, whole_number
from catalogue.pages.pictures import picture
from catalogue.pages.provenance import provenance
from catalogue.pages.readings import reading_facts
from catalogue.pages.recheck import Stored, recheck
from catalogue.pages.rulefacts import rule_facts
from catalogue.pages.state_tables import shown_states, state_facts
from catalogue.report.json_forms import evidence_form
from catalogue.store.coverage import scheme_title
from verify.layout.schemes import SCHEMES

_LISTED: Final = (
    "circuit.label, circuit.name, origin, scheme, circuit.locations, circuit.lamps, boxes, faults,"
    " verdict.name as verdict"
)


def circuit(visit: Visit) -> Page:
    """Show one circuit: what it is, what it does, and how its single faults turn out."""
    row = circuit_row(visit, visit.parts["circuit"])
    checked = recheck(row["file"], Stored(row["verdict"], row["word"], engine=row["engine"]))
    scheme = SCHEMES.get(row["scheme"])
    facts: Facts = {
        "label": row["label"],
        "name": row["name"],
        "origin": row["origin"],
        "scheme": {
            "name": row["scheme"],
            "title": scheme_title(row["scheme"]),
            "description": scheme.description if scheme else None,
        },
        "locations": row["locations"],
        "lamps": row["lamps"],
        "boxes": row["boxes"],
        "verdict": row["verdict"],
        "meaning": row["meaning"],
        "signature": {"word": row["word"], "name": row["signature_name"]},
        "contradictions": list(checked.contradictions),
        "rechecked": 0,
        "states_total": 1 << row["locations"],
        "states": [],
        "evidence": {},
        "layout": outline(checked.circuit) if checked.circuit else [],
        "counts": counts_by_kind(visit, FaultChoice(circuit=row["id"])),
        "circuit_file": row["file"],
        "provenance": provenance(visit, row["work_id"]),
        **reading_facts(checked.circuit),
        **rule_facts(visit, checked.circuit),
    }
    if checked.examination and checked.examination.judgement.observation:
        seen = checked.examination.judgement.observation
        shown = shown_states(seen.switches, ())
        facts |= {
            "rechecked": checked.examination.rechecked,
            "states": state_facts(checked.examination.circuit, seen, shown),
            "evidence": {
                claim: evidence_form(item) for claim, item in checked.examination.evidence.items()
            },
        }
    drawn: Facts = {}
    if checked.circuit:
        evidence = checked.examination.evidence if checked.examination else {}
        drawn["picture"] = picture(visit, checked.circuit, evidence)
    return Page(f"Circuit {row['label']}", "circuit", facts, drawn=drawn)


def circuits(visit: Visit) -> Page:
    """Show the circuits that pass the filters, a page of them."""
    locations = whole_number(visit.query, "locations")
    scheme, origin = visit.query.get("scheme", ""), visit.query.get("origin", "")
    where = (
        "(? is null or circuit.locations = ?) and (? = '' or scheme = ?) and (? = '' or origin = ?)"
    )
    parameters = (locations, locations, scheme, scheme, origin, origin)
    total = visit.number(f"select count(*) from circuit where {where}", *parameters)
    paging = paged(visit.query, total)
    rows = visit.rows(
        f"select {_LISTED} from circuit join verdict on verdict.id = verdict_id where {where}"
        f" order by circuit.id limit {paging.size:d} offset {paging.skip:d}",
        *parameters,
    )
    sizes = visit.rows("select distinct locations from circuit order by 1")
    schemes = visit.rows("select distinct scheme from circuit order by 1")
    return Page(
        "Circuits",
        "circuits",
        {
            "filters": {"locations": locations, "scheme": scheme, "origin": origin},
            "choices": {
                "locations": [row["locations"] for row in sizes],
                "scheme": [
                    {"name": row["scheme"], "title": scheme_title(row["scheme"])} for row in schemes
                ],
                "origin": [
                    {"name": "layout", "title": "all layouts of a size"},
                    {"name": "drawn", "title": "drawn at random"},
                ],
            },
            "total": total,
            **paging.facts(),
            "circuits": [
                {**dict(row), "scheme_title": scheme_title(row["scheme"])} for row in rows
            ],
        },
    )
