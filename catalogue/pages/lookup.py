"""The labels in an address are looked up here and give the rows they stand for."""

from typing import Final

from catalogue.pages.addresses import HASHED, LONGEST_WORD, signature_label
from catalogue.pages.contract import MissingError, Row, Visit

_WHAT: Final = {"verdict": "verdict", "fault_kind": "kind of fault", "hazard": "hazard"}


def named_row(visit: Visit, table: str, name: str) -> Row:
    """Return a verdict, kind or hazard by name. Raises MissingError with the known names."""
    row = visit.row(f"select * from {table} where name = ?", name)
    if row is None:
        known = ", ".join(r["name"] for r in visit.rows(f"select name from {table} order by id"))
        raise MissingError(f"There is no {_WHAT[table]} of that name; choose one of {known}.")
    return row


def circuit_row(visit: Visit, label: str) -> Row:
    """Return a circuit by label. Raises MissingError."""
    row = visit.row(
        "select circuit.*, verdict.name as verdict, verdict.meaning as meaning,"
        " signature.word, signature.name as signature_name"
        " from circuit join verdict on verdict.id = verdict_id"
        " join signature on signature.id = signature_id where label = ?",
        label,
    )
    if row is None:
        raise MissingError(
            "There is no circuit with that label. Labels look like chain-1.f.1: the scheme, then "
            "for the lamp and each location the box it hangs on; all are in the list of circuits."
        )
    return row


def signature_row(visit: Visit, label: str) -> Row:
    """Return a signature by its word, or a long one by its hash. Raises MissingError."""
    if label.startswith(HASHED):
        long_words = visit.rows("select * from signature where length(word) > ?", LONGEST_WORD)
        row = next((row for row in long_words if signature_label(row["word"]) == label), None)
    else:
        row = visit.row("select * from signature where word = ?", label)
    if row is None:
        raise MissingError(
            "No fault in this catalogue has that signature. A signature is written with one "
            "symbol a state, - for dark, L for lit, T for trips, in its smallest form; all are "
            "in the list of signatures."
        )
    return row
