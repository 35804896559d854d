"""Cells of Datasette's tables that lead to our pages, and states in words."""

from collections.abc import Awaitable, Callable
from sqlite3 import Connection
from typing import Any, Final

from markupsafe import Markup

from catalogue.pages.addresses import Addresses
from catalogue.pages.site import Datasette, addresses, known_catalogue
from catalogue.pages.states import state_words

#: The column of each table that holds the id of a fault.
_FAULT_ID: Final = {"fault": "id", "evidence": "fault_id"}
_FAULT: Final = (
    "select circuit.label, kind.name, site, fault.description, circuit.locations from fault"
    " join circuit on circuit.id = circuit_id join fault_kind as kind on kind.id = kind_id"
    " where fault.id = ?"
)

Cell = Callable[[], Awaitable[Markup | None]]


def cell(
    datasette: Datasette, row: Any, value: Any, column: str, table: str
) -> Markup | Cell | None:
    """What a cell shows, or a function that finds out; None leaves it to Datasette."""
    if value in ("", None):
        return None
    at = addresses(datasette)
    if isinstance(value, dict) and column == "circuit_id":
        return _link(at.circuit(value["label"]), value["label"])
    if (table, column) in _LABELS:
        return _link(_LABELS[table, column](at, value), value)
    if (table, column) in (("fault", "description"), ("evidence", "fault_id")):
        return _of_fault(datasette, row, table, lambda fault: _fault_link(at, fault))
    if table in _FAULT_ID and column == "state":
        return _of_fault(datasette, row, table, lambda fault: _state(value, fault))
    return None


_LABELS: Final[dict[tuple[str, str], Callable[[Addresses, str], str]]] = {
    ("circuit", "label"): Addresses.circuit,
    ("signature", "word"): Addresses.signature,
    ("hazard", "name"): Addresses.hazard,
    ("fault_kind", "name"): Addresses.kind,
    ("verdict", "name"): Addresses.terms,
    ("term", "word"): Addresses.terms,
}


def _of_fault(datasette: Datasette, row: Any, table: str, show: Callable[[Any], Markup]) -> Cell:
    async def shown() -> Markup | None:
        fault_id = row[_FAULT_ID[table]]
        number = fault_id["value"] if isinstance(fault_id, dict) else fault_id

        def read(connection: Connection) -> Any:
            return connection.execute(_FAULT, [number]).fetchone()

        fault = await datasette.get_database(known_catalogue(datasette)).execute_fn(read)
        return show(fault) if fault else None

    return shown


def _fault_link(at: Addresses, fault: Any) -> Markup:
    circuit, kind, site, description, _ = fault
    return _link(at.fault(circuit, kind, site), description)


def _state(state: int, fault: Any) -> Markup:
    return Markup.escape(state_words(state, fault["locations"]))


def _link(address: str, text: str) -> Markup:
    return Markup('<a href="{}">{}</a>').format(address, text)
