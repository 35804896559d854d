"""The register of claims is turned here into JSON and into rows of a catalogue."""

from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from catalogue.report.json_forms import FORMAT, short_cautions
from catalogue.store.schema import open_for_writing
from catalogue.store.writing import now, require_catalogue
from verify.base.version import version
from verify.study.claims.contract import JudgedClaim


def register_form(judged: Sequence[JudgedClaim]) -> dict[str, object]:
    """Return the register as the command prints it for programs."""
    return {
        "format": FORMAT,
        "claims": [_claim_form(item) for item in judged],
        "cautions": short_cautions(),
    }


def _claim_form(item: JudgedClaim) -> dict[str, object]:
    found = item.answer.counterexample
    return {
        **_decided(item),
        "counterexample": None
        if found is None
        else {
            "circuit": found.circuit,
            "fault": found.fault,
            "why": found.why,
            "label": found.label,
            "measure": dict(zip(("locations", "boxes", "faults"), found.measure, strict=True)),
        },
    }


def _decided(item: JudgedClaim) -> dict[str, object]:
    """Return what was decided of a claim, without its counterexample."""
    claim, answer = item.claim, item.answer
    return {
        "name": claim.name,
        "theme": claim.theme,
        "saying": claim.saying,
        "statement": claim.statement,
        "scope": answer.scope,
        "status": answer.status,
        "decided_by": answer.decided_by,
        "cases": answer.cases,
        "against": answer.against,
    }


def store_register(path: Path, judged: Sequence[JudgedClaim]) -> None:
    """Put the register into a catalogue, replacing the one that is there.

    Raises UserError for a file that is no catalogue.
    """
    require_catalogue(path)
    decided, made_by = now(), version()
    rows = []
    for item in judged:
        found = item.answer.counterexample
        locations, boxes, faults = found.measure if found else (None, None, None)
        rows.append(
            {
                **_decided(item),
                "circuit": found.circuit if found else None,
                "label": found.label if found else None,
                "fault": found.fault if found else None,
                "why": found.why if found else None,
                "locations": locations,
                "boxes": boxes,
                "faults": faults,
                "decided": decided,
                "version": made_by,
            }
        )
    with closing(open_for_writing(str(path))) as db, db.atomic():
        db.table("claim").delete_where()
        db.table("claim").insert_all(rows)
