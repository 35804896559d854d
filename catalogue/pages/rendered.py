"""The texts of faults on pages are rendered from what their rows hold."""

from typing import Final, NamedTuple

from catalogue.pages.contract import Facts, Row, Visit
from catalogue.store import rendering
from verify.base.problems import CircuitError

_UNREADABLE: Final = (
    "A mistake without words: what is stored of it or of its circuit is not what this version of "
    "Miswire can read."
)

#: A query selects these columns for `with_words`, with these names for the tables.
RENDER_COLUMNS: Final = "circuit.label as circuit, circuit.file, kind.name as kind, fault.site"


class RenderedFault(NamedTuple):
    """A fault in words: its site as it stands in labels, and the mistake as a sentence."""

    site: str
    description: str


def render_fault(circuit: str, file: str, kind: str, site: int) -> RenderedFault:
    """Return the words for a fault, given its circuit, kind and the number of its site.

    Where nothing can be read the words say so: a page must not fail because of one row of a file
    that somebody tampered with.
    """
    try:
        return RenderedFault(
            rendering.site_text(circuit, file, kind, site),
            rendering.fault_text(circuit, file, kind, site),
        )
    except (CircuitError, KeyError):
        return RenderedFault(f"number {site}", _UNREADABLE)


def with_words(row: Row) -> Facts:
    """Return a row that has `RENDER_COLUMNS`, with texts in place of the circuit file."""
    facts: Facts = dict(row)
    words = render_fault(row["circuit"], row["file"], row["kind"], row["site"])
    del facts["file"]
    return {**facts, **words._asdict()}


def site_place(circuit: Row, kind: str, text: str) -> int | None:
    """Return the place of the site with that text, or of the one that lists its result."""
    try:
        return rendering.site_place(circuit["label"], circuit["file"], kind, text)
    except (CircuitError, KeyError):
        return None


def fault_words(visit: Visit, number: int) -> Facts | None:
    """Return a fault by id, in words, with the names of its circuit and kind."""
    row = visit.row(
        f"select {RENDER_COLUMNS} from fault join circuit on circuit.id = circuit_id"
        " join fault_kind as kind on kind.id = kind_id where fault.id = ?",
        number,
    )
    return None if row is None else with_words(row)
