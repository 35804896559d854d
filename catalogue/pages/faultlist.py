"""Lists of faults: the full one with its filters, and the few that other pages show."""

from dataclasses import asdict, dataclass
from typing import Final

from catalogue.pages.coverage import nothing_found, scheme_title
from catalogue.pages.lookup import circuit_row, named_row, signature_row
from catalogue.pages.paging import LONGEST_SEARCH, paged, search_words, whole_number
from catalogue.pages.visit import Facts, Page, RefusalError, Row, Visit

_COLUMNS: Final = (
    "circuit.label as circuit, circuit.name as circuit_name, kind.name as kind,"
    " kind.title as kind_title, fault.site, fault.description, verdict.name as verdict,"
    " fault.hazards"
)
_JOINED: Final = (
    "join circuit on circuit.id = fault.circuit_id"
    " join fault_kind as kind on kind.id = fault.kind_id"
    " join verdict on verdict.id = fault.verdict_id"
)


def some_faults(
    visit: Visit, where: str, *parameters: object, limit: int, skip: int = 0
) -> list[Facts]:
    """The first faults, in the order of the catalogue, that meet a condition on ``fault``."""
    # The ids come first: joins chosen by the planner could begin at the far end.
    rows = visit.rows(
        f"with found as materialized (select id from fault where {where}"
        f" order by id limit {limit:d} offset {skip:d})"
        f" select {_COLUMNS} from found join fault on fault.id = found.id {_JOINED}"
        " order by fault.id",
        *parameters,
    )
    return [dict(row) for row in rows]


@dataclass(frozen=True, slots=True)
class _Filters:
    """What a visitor asked for; empty or None where nothing."""

    q: str = ""
    verdict: str = ""
    kind: str = ""
    hazard: str = ""
    locations: int | None = None
    scheme: str = ""
    signature: str = ""
    circuit: str = ""
    family: str = ""


def faults(visit: Visit) -> Page:
    """All faults that the filters leave, a page of them."""
    given = visit.query
    filters = _Filters(
        q=given.get("q", "").replace("\0", " ").strip(),  # SQLite would end the search there
        verdict=given.get("verdict", ""),
        kind=given.get("kind", ""),
        hazard=given.get("hazard", ""),
        locations=whole_number(given, "locations"),
        scheme=given.get("scheme", ""),
        signature=given.get("signature", ""),
        circuit=given.get("circuit", ""),
        family=given.get("family", ""),
    )
    if len(filters.q) > LONGEST_SEARCH:
        raise RefusalError(f"A search may have {LONGEST_SEARCH} characters; use fewer words.")
    chosen = _chosen(visit, filters)
    where, parameters = _condition(filters, chosen)
    total = visit.number(f"select count(*) from fault where {where}", *parameters)
    paging = paged(given, total)
    listed = some_faults(visit, where, *parameters, limit=paging.size, skip=paging.skip)
    return Page(
        "Faults",
        "faults",
        {
            "filters": asdict(filters),
            "circuit": _picked(chosen.get("circuit"), "label", "name"),
            "signature": _picked(chosen.get("signature"), "word", "name"),
            "choices": _choices(visit),
            "total": total,
            **paging.facts(),
            "faults": listed,
            "table_filters": _table_filters(filters, chosen),
            "nothing": None if total else _nothing(visit, filters),
        },
    )


def _chosen(visit: Visit, filters: _Filters) -> dict[str, Row]:
    """The rows that the filters name. Raises MissingError for a name that is not there."""
    chosen = {
        name: named_row(visit, table, value)
        for name, table, value in (
            ("verdict", "verdict", filters.verdict),
            ("kind", "fault_kind", filters.kind),
            ("hazard", "hazard", filters.hazard),
        )
        if value
    }
    if filters.circuit:
        chosen["circuit"] = circuit_row(visit, filters.circuit)
    if filters.signature:
        chosen["signature"] = signature_row(visit, filters.signature)
    return chosen


def _condition(filters: _Filters, chosen: dict[str, Row]) -> tuple[str, list[object]]:
    conditions: list[str] = []
    parameters: list[object] = []
    for name in ("verdict", "kind", "signature", "circuit"):
        if name in chosen:
            conditions.append(f"{name}_id = ?")
            parameters.append(chosen[name]["id"])
    if "hazard" in chosen:
        conditions.append("id in (select fault_id from evidence where hazard_id = ?)")
        parameters.append(chosen["hazard"]["id"])
    if filters.q:
        conditions.append("id in (select rowid from fault_fts where fault_fts match ?)")
        parameters.append(search_words(filters.q))
    if filters.family:
        conditions.append("family_id in (select id from family where name = ?)")
        parameters.append(filters.family)
    if filters.locations is not None or filters.scheme:
        conditions.append(
            "circuit_id in (select id from circuit where (? is null or locations = ?)"
            " and (? = '' or scheme = ?))"
        )
        parameters += [filters.locations, filters.locations, filters.scheme, filters.scheme]
    return " and ".join(conditions) or "true", parameters


def _table_filters(filters: _Filters, chosen: dict[str, Row]) -> Facts:
    """The same choice as filters of the table of faults, as far as that has the columns."""
    columns = ("verdict", "kind", "signature", "circuit")
    by_id = {f"{name}_id": chosen[name]["id"] for name in columns if name in chosen}
    return {**by_id, **({"_search": filters.q} if filters.q else {})}


def _picked(row: Row | None, *columns: str) -> Facts | None:
    return {column: row[column] for column in columns} if row else None


def _choices(visit: Visit) -> Facts:
    """What the form offers."""
    return {
        "verdict": [dict(row) for row in visit.rows("select name, name as title from verdict")],
        "kind": [dict(row) for row in visit.rows("select name, title from fault_kind order by id")],
        "hazard": [dict(row) for row in visit.rows("select name, title from hazard order by id")],
        "locations": [
            row["locations"]
            for row in visit.rows("select distinct locations from scope order by locations")
        ],
        "scheme": [
            {"name": row["scheme"], "title": scheme_title(row["scheme"])}
            for row in visit.rows("select distinct scheme from scope order by scheme")
        ],
    }


def _nothing(visit: Visit, filters: _Filters) -> str:
    if filters.q:
        return "No description has all of these words; try fewer, or parts of the circuit's names."
    return nothing_found(visit, filters.kind, filters.locations, filters.scheme)
