"""Cells of Datasette's tables get links to our pages, and states get words."""

from collections.abc import Awaitable, Callable
from sqlite3 import Connection
from typing import Any, Final

from markupsafe import Markup

from catalogue.pages.addresses import Addresses
from catalogue.pages.contract import Visit
from catalogue.pages.rendered import fault_words
from catalogue.pages.response import Datasette, addresses, known_catalogue
from catalogue.pages.state_tables import state_words

Cell = Callable[[], Awaitable[Markup | None]]

#: For each column that leads to a fault, the column that has the fault's id.
_FAULTS: Final = {
    ("fault", "site"): "id",
    ("judged_fault", "id"): "id",
    ("fault_in_words", "id"): "id",
    ("pair", "fault_id"): "fault_id",
    ("pair", "other_id"): "other_id",
    ("profile", "example_id"): "example_id",
}
#: For each table with states, the column that has the id of the outcome.
_OUTCOMES: Final = {"outcome": "id", "evidence": "outcome_id", "judged_fault": "outcome_id"}
_OUTCOME: Final = (
    "select verdict.name as verdict, locations from outcome"
    " join verdict on verdict.id = verdict_id join signature on signature.id = signature_id"
    " where outcome.id = ?"
)


def cell(
    datasette: Datasette, row: Any, value: Any, column: str, table: str
) -> Markup | Cell | None:
    """Return what a cell shows, or a function that finds out; None leaves it to Datasette."""
    if value in ("", None):
        return None
    at = addresses(datasette)
    if isinstance(value, dict) and column == "circuit_id":
        return _link(at.circuit(value["label"]), value["label"])
    if (table, column) == ("fault_in_words", "circuit"):
        return _link(at.circuit(value), value)
    if (table, column) in _LABELS:
        return _link(_LABELS[table, column](at, value), value)
    if (table, column) in _FAULTS:
        number = _plain(row, _FAULTS[table, column])
        return _read(datasette, lambda visit: _fault(visit, at, number))
    if table in _OUTCOMES and column == "state":
        number = _plain(row, _OUTCOMES[table])
        return _read(datasette, lambda visit: _state_cell(visit, value, number))
    if column == "outcome_id":
        number = _plain(row, column)
        return _read(datasette, lambda visit: _outcome(visit, at, number))
    return None


_LABELS: Final[dict[tuple[str, str], Callable[[Addresses, str], str]]] = {
    ("circuit", "label"): Addresses.circuit,
    ("signature", "word"): Addresses.signature,
    ("hazard", "name"): Addresses.hazard,
    ("fault_kind", "name"): Addresses.kind,
    ("verdict", "name"): Addresses.terms,
    ("term", "word"): Addresses.terms,
}


def _plain(row: Any, column: str) -> Any:
    """Return the value of a column that Datasette may have labelled; None if it was left out."""
    value = row[column] if column in row.keys() else None  # noqa: SIM118 - rows are no mappings
    return value["value"] if isinstance(value, dict) else value


def _read(datasette: Datasette, show: Callable[[Visit], Markup | None]) -> Cell:
    async def shown() -> Markup | None:
        def read(connection: Connection) -> Markup | None:
            return show(Visit(connection, {}, {}))

        found: Markup | None = await datasette.get_database(known_catalogue(datasette)).execute_fn(
            read
        )
        return found

    return shown


def _fault(visit: Visit, at: Addresses, number: int) -> Markup | None:
    fault = fault_words(visit, number)
    if fault is None:
        return None
    address = at.fault(str(fault["circuit"]), str(fault["kind"]), str(fault["site"]))
    return _link(address, str(fault["description"]))


def _state_cell(visit: Visit, state: int, number: int) -> Markup | None:
    outcome = visit.row(_OUTCOME, number)
    return Markup.escape(state_words(state, outcome["locations"])) if outcome else None


def _outcome(visit: Visit, at: Addresses, number: int) -> Markup | None:
    outcome = visit.row(_OUTCOME, number)
    if outcome is None:
        return None
    return Markup('<a href="{}">{}</a> <em>{}</em>').format(
        at.table("outcome", id=number), outcome["verdict"], number
    )


def _link(address: str, text: str) -> Markup:
    return Markup('<a href="{}">{}</a>').format(address, text)
