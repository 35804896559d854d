"""The register of claims: what people say, what was decided, and counterexamples with a picture."""

from typing import Final

from catalogue.drawing.pictures import wiring_picture
from catalogue.pages.contract import Facts, MissingError, Page, Row, Visit
from catalogue.pages.pictures import MOST_BOXES, picture
from verify.base.problems import CircuitError
from verify.circuit.file import loads
from verify.circuit.model import Circuit
from verify.fault.registry import find_fault

_TITLE: Final = "What people say, and what is so"
_COMMAND: Final = "miswire claims --into DB"
#: The statuses in the order of the page.
_MEANINGS: Final = {
    "refuted": "It is not so: there is a circuit that shows it, and none in the scope is smaller.",
    "depends": "It is so for some circuits and not for others; which, is said with each.",
    "holds-in-samples": "Nothing against it was found in circuits drawn at random: no proof.",
    "proved": "There is no case against it in the scope, which was gone through completely.",
}
_BRIEF: Final = (
    "name",
    "theme",
    "saying",
    "statement",
    "scope",
    "status",
    "decided_by",
    "cases",
    "against",
)


def claims(visit: Visit) -> Page:
    """Show all claims by status, those refuted with a picture."""
    rows = visit.rows("select * from claim order by id")
    return Page(
        _TITLE,
        "claims",
        {
            "nothing": None
            if rows
            else f"Not computed: {_COMMAND} judges all claims and stores them here.",
            "total": len(rows),
            "decided": rows[0]["decided"] if rows else None,
            "version": rows[0]["version"] if rows else None,
            "statuses": [
                {
                    "name": status,
                    "meaning": meaning,
                    "claims": [_claim_facts(visit, row) for row in rows if row["status"] == status],
                }
                for status, meaning in _MEANINGS.items()
            ],
        },
    )


def claim(visit: Visit) -> Page:
    """Show one claim, with its counterexample in any state."""
    row = _row(visit)
    drawn: Facts = {}
    if row["circuit"] is not None:
        intended, found = _circuits(row)
        shown = picture(visit, found, {}, intended=intended if row["fault"] else None)
        drawn = {"picture": shown}
    facts = _claim_facts(visit, row)
    return Page(
        row["saying"],
        "claim",
        {
            **facts,
            "meaning": _MEANINGS.get(row["status"]),
            "decided": row["decided"],
            "version": row["version"],
        },
        drawn=drawn,
    )


def claim_picture(visit: Visit) -> Page:
    """Show the wiring of a counterexample as a picture."""
    row = _row(visit)
    if row["circuit"] is None:
        raise MissingError("Nothing stands against this claim, so there is no picture.")
    intended, found = _circuits(row)
    svg = wiring_picture(found, intended=intended if row["fault"] else None)
    return Page(row["name"], "refusal", {"claim": row["name"]}, svg=svg)


def _row(visit: Visit) -> Row:
    row = visit.row("select * from claim where name = ?", visit.parts["claim"])
    if row is None:
        raise MissingError("There is no claim of that name here; all are on the page of claims.")
    return row


def _circuits(row: Row) -> tuple[Circuit, Circuit]:
    """Return the circuit of a counterexample as intended and as found."""
    try:
        intended = loads(row["circuit"])
        found = find_fault(intended, row["fault"]).apply(intended) if row["fault"] else intended
    except (CircuitError, KeyError) as error:
        raise MissingError(
            "What is stored against this claim is no circuit and fault that this version of "
            f"Miswire can read; judge the claims again: {_COMMAND}"
        ) from error
    if len(intended.boxes) > MOST_BOXES:
        raise MissingError("This circuit is too large for a picture on a page.")
    return intended, found


def _claim_facts(visit: Visit, row: Row) -> Facts:
    against = None
    if row["circuit"] is not None:
        kind, _, site = row["fault"].partition("/")
        against = {
            "label": row["label"],
            "fault": row["fault"],
            "kind": kind,
            "site": site,
            "why": row["why"],
            "circuit": row["circuit"],
            "measure": {name: row[name] for name in ("locations", "boxes", "faults")},
            "is_stored": visit.row("select 1 from circuit where label = ?", row["label"])
            is not None,
        }
    return {**{key: row[key] for key in _BRIEF}, "counterexample": against}
