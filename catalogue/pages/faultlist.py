"""Lists of faults: the full list with its filters, and short ones for other pages."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Final

from catalogue.pages.contract import Facts, Page, RefusalError, Row, Visit
from catalogue.pages.coverage import nothing_found
from catalogue.pages.fault_choice import FaultChoice, fault_ids, total
from catalogue.pages.lookup import circuit_row, named_row, signature_row
from catalogue.pages.paging import LONGEST_SEARCH, paged, whole_number
from catalogue.pages.rendered import RENDER_COLUMNS, with_words
from catalogue.store.coverage import scheme_title

#: If at least one fault in so many fits, Datasette finds its rows soon.
_SELDOM: Final = 500


def some_faults(visit: Visit, choice: FaultChoice, limit: int, skip: int = 0) -> list[Facts]:
    """Return the first faults of a choice, in the order of the catalogue."""
    return listed_faults(visit, fault_ids(visit, choice, limit, skip))


def listed_faults(visit: Visit, ids: Sequence[int]) -> list[Facts]:
    """Return faults by id as lists show them, in the order of the catalogue."""
    marks = ", ".join("?" * len(ids))
    rows = visit.rows(
        f"select {RENDER_COLUMNS}, circuit.name as circuit_name, kind.title as kind_title,"
        " verdict.name as verdict, hazards"
        " from fault cross join outcome on outcome.id = outcome_id"
        " cross join circuit on circuit.id = circuit_id"
        " cross join fault_kind as kind on kind.id = kind_id"
        " cross join verdict on verdict.id = outcome.verdict_id"
        f" where fault.id in ({marks}) order by fault.id",
        *ids,
    )
    return [with_words(row) for row in rows]


@dataclass(frozen=True, slots=True)
class _Filters:
    """The filters of a visitor; empty or None where nothing is asked for."""

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
    """Show the faults that pass the filters, a page of them."""
    given = visit.query
    filters = _Filters(
        q=given.get("q", "")
        .replace("\0", " ")
        .strip(),  # SQLite would end the search at this character
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
    choice = _fault_choice(filters, chosen)
    number = total(visit, choice)
    paging = paged(given, number)
    listed = some_faults(visit, choice, paging.size, paging.skip) if number else []
    return Page(
        "Faults",
        "faults",
        {
            "filters": asdict(filters),
            "circuit": _picked(chosen.get("circuit"), "label", "name"),
            "signature": _picked(chosen.get("signature"), "word", "name"),
            "choices": _choices(visit),
            "total": number,
            **paging.facts(),
            "faults": listed,
            "table_filters": _table(visit, filters, chosen, number),
            "nothing": None if number else _nothing(visit, filters),
        },
    )


def _chosen(visit: Visit, filters: _Filters) -> dict[str, Row]:
    """Return the rows that the filters name. Raises MissingError for a name that is not there."""
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


def _fault_choice(filters: _Filters, chosen: dict[str, Row]) -> FaultChoice:
    ids = {name: int(row["id"]) for name, row in chosen.items()}
    return FaultChoice(
        circuit=ids.get("circuit"),
        kind=ids.get("kind"),
        verdict=ids.get("verdict"),
        signature=ids.get("signature"),
        hazard=ids.get("hazard"),
        family=filters.family,
        words=filters.q,
        locations=filters.locations,
        scheme=filters.scheme,
    )


def _table(visit: Visit, filters: _Filters, chosen: dict[str, Row], number: int) -> Facts | None:
    """Return the same choice as filters of ``fault_in_words``, if that is of use.

    It is None if ``fault_in_words`` has no such filter, or would go through millions of rows to
    find a few.
    """
    columns = {"circuit": "label", "kind": "name", "verdict": "name"}
    given = {name for name, value in asdict(filters).items() if value not in (None, "")}
    is_found_soon = bool(given & {"circuit", "family"}) or (
        number * _SELDOM >= total(visit, FaultChoice())
    )
    if given - {*columns, "family"} or not is_found_soon:
        return None
    by_name = {name: chosen[name][column] for name, column in columns.items() if name in chosen}
    return {**by_name, **({"mistake": filters.family} if filters.family else {})}


def _picked(row: Row | None, *columns: str) -> Facts | None:
    return {column: row[column] for column in columns} if row else None


def _choices(visit: Visit) -> Facts:
    """Return the choices that the form offers."""
    return {
        "verdict": visit.facts("select name, name as title from verdict"),
        "kind": visit.facts("select name, title from fault_kind order by id"),
        "hazard": visit.facts("select name, title from hazard order by id"),
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
        return (
            "No mistake that was found so has all of these words in its name; try fewer words, "
            "such as common traveler exchanged."
        )
    return nothing_found(visit, filters.kind, filters.locations, filters.scheme)
