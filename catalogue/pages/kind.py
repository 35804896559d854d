"""The page of a fault kind: what it is, worked examples, and how such faults turn out."""

from collections.abc import Iterator

from catalogue.pages.contract import Facts, Page, Row, Visit
from catalogue.pages.coverage import nothing_found
from catalogue.pages.lookup import named_row
from catalogue.pages.rendered import site_place
from catalogue.store.coverage import scheme_title
from verify.fault.contract import FaultKind
from verify.fault.registry import fault_kinds


def kind(visit: Visit) -> Page:
    """Show one kind of mistake."""
    row = named_row(visit, "fault_kind", visit.parts["kind"])
    known = next((kind for kind in fault_kinds() if kind.name == row["name"]), None)
    sizes = list(_counts_by_size(visit, row))
    found = any(size["total"] for size in sizes)
    return Page(
        f"Fault kind: {row['title']}",
        "kind",
        {
            **{key: row[key] for key in ("name", "title", "description", "version")},
            "examples": list(_worked_examples(visit, row, known)) if known else [],
            "verdicts": [r["name"] for r in visit.rows("select name from verdict order by id")],
            "sizes": sizes,
            "nothing": None if found else nothing_found(visit, kind=row["name"]),
        },
    )


def _worked_examples(visit: Visit, row: Row, known: FaultKind) -> Iterator[Facts]:
    """Yield the kind's examples; `is_stored` if the catalogue has circuit and fault."""
    for example in known.examples:
        circuit, site = example.label, ",".join(example.site)
        yield {
            "circuit": circuit,
            "site": site,
            "description": known.in_words(example.site),
            "verdict": example.verdict,
            "why": example.why,
            "is_stored": _is_stored(visit, row, circuit, site),
        }


def _is_stored(visit: Visit, row: Row, label: str, site: str) -> bool:
    circuit = visit.row("select id, label, file from circuit where label = ?", label)
    return bool(
        circuit
        and visit.row(
            "select 1 from fault where circuit_id = ? and kind_id = ? and site = ?",
            *(circuit["id"], row["id"], site_place(circuit, row["name"], site)),
        )
    )


def _counts_by_size(visit: Visit, row: Row) -> Iterator[Facts]:
    """Yield counts by verdict for each size and scheme that the catalogue covers."""
    rows = visit.rows(
        "select locations, scheme, origin, verdict.name as verdict, sum(faults) as number"
        " from profile join verdict on verdict.id = verdict_id"
        " where kind_id = ? group by 1, 2, 3, 4",
        row["id"],
    )
    number = {tuple(r)[:4]: r["number"] for r in rows}
    verdicts = [r["name"] for r in visit.rows("select name from verdict order by id")]
    for scope in visit.rows(
        "select locations, scheme, coverage, circuits, faults from scope where kind_id = ?"
        " order by coverage, locations, scheme",
        row["id"],
    ):
        origin = "layout" if scope["coverage"] == "complete" else "drawn"
        yield {
            "locations": scope["locations"],
            "scheme": scope["scheme"],
            "scheme_title": scheme_title(scope["scheme"]),
            "coverage": scope["coverage"],
            "circuits": scope["circuits"],
            "total": scope["faults"],
            "counts": {
                verdict: number.get((scope["locations"], scope["scheme"], origin, verdict), 0)
                for verdict in verdicts
            },
        }
