"""The page of a fault: what was done wrong, what the light then does, and what shows it."""

from dataclasses import replace
from functools import lru_cache
from typing import Final

from catalogue.pages.contract import Facts, MissingError, Page, Row, Visit
from catalogue.pages.fault_choice import FaultChoice, fault_ids, total
from catalogue.pages.faultlist import listed_faults
from catalogue.pages.lookup import circuit_row, named_row
from catalogue.pages.pictures import picture
from catalogue.pages.provenance import provenance
from catalogue.pages.readings import reading_facts
from catalogue.pages.recheck import Recheck, Stored, recheck
from catalogue.pages.rendered import render_fault, site_place
from catalogue.pages.rulefacts import rule_facts
from catalogue.pages.state_tables import compared_facts, forms_of, shown_states
from catalogue.report.json_forms import evidence_form
from verify.behaviour.findings import Observation
from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.engine.volts import engine_for
from verify.verdict.evidence import Evidence
from verify.verdict.judging import judge

_ALIKE_HERE: Final = 8
_ALIKE_ELSEWHERE: Final = 4
_INTENDED_KEPT: Final = 64


def fault(visit: Visit) -> Page:
    """Show one fault, judged again while its page is made."""
    parts = visit.parts
    circuit = circuit_row(visit, parts["circuit"])
    kind = named_row(visit, "fault_kind", parts["kind"])
    row = _fault_row(visit, circuit, kind, parts["site"])
    held = visit.rows(
        "select hazard.name, title, condition, danger, state from evidence"
        " join hazard on hazard.id = hazard_id where outcome_id = ? order by hazard.id",
        row["outcome_id"],
    )
    stored = Stored(
        row["verdict"],
        row["word"],
        row["state"],
        row["switch"],
        row["lamp"],
        {hazard["name"]: hazard["state"] for hazard in held},
        circuit["engine"],
    )
    words = render_fault(circuit["label"], circuit["file"], kind["name"], row["site"])
    checked = recheck(circuit["file"], stored, f"{kind['name']}/{words.site}")
    evidence = checked.examination.evidence if checked.examination else {}
    shown = {claim: evidence_form(item) for claim, item in evidence.items()}
    return Page(
        words.description,
        "fault",
        {
            "label": f"{circuit['label']}/{kind['name']}/{words.site}",
            "description": words.description,
            "kind": {key: kind[key] for key in ("name", "title", "description", "version")},
            "site": words.site,
            "circuit": {"label": circuit["label"], "name": circuit["name"]},
            "verdict": row["verdict"],
            "meaning": row["meaning"],
            "by_volts": bool(row["by_volts"]),
            "engine": circuit["engine"],
            "contradictions": list(checked.contradictions),
            "rechecked": checked.examination.rechecked if checked.examination else 0,
            "states_total": 1 << circuit["locations"],
            "states": _state_comparison(circuit["file"], checked),
            "evidence": shown.get(row["verdict"]),
            "hazards": [
                {
                    **{key: hazard[key] for key in ("name", "title", "condition", "danger")},
                    "evidence": shown.get(hazard["name"]),
                }
                for hazard in held
            ],
            "signature": {
                "word": row["word"],
                "name": row["signature_name"],
                "any_location": bool(row["any_location"]),
            },
            "alike": _alike(visit, row),
            "family": _family(visit, row),
            "circuit_file": dump(checked.circuit) if checked.circuit else None,
            "provenance": provenance(visit, circuit["work_id"]),
            **reading_facts(checked.circuit),
            **_rules(visit, circuit["file"], checked),
        },
        drawn=_both_wirings(visit, circuit["file"], checked),
    )


def _rules(visit: Visit, intended_file: str, checked: Recheck) -> Facts:
    """Return what published rules say about the mistake."""
    intended = loads(intended_file) if checked.circuit else None
    return rule_facts(visit, checked.circuit, intended)


def _both_wirings(visit: Visit, intended_file: str, checked: Recheck) -> Facts:
    """Return the picture of the wiring as intended and as found, beside each other."""
    if checked.circuit is None:
        return {}
    evidence = checked.examination.evidence if checked.examination else {}
    return {"picture": picture(visit, checked.circuit, evidence, intended=loads(intended_file))}


def _fault_row(visit: Visit, circuit: Row, kind: Row, site: str) -> Row:
    """Return the row of the fault at a site, or of the one with which its result is listed."""
    row = visit.row(
        "select fault.*, outcome.verdict_id, outcome.signature_id, outcome.state, outcome.switch,"
        " outcome.lamp, outcome.by_volts, verdict.name as verdict, verdict.meaning,"
        " signature.word, signature.name as signature_name, signature.any_location,"
        " family.name as family"
        " from fault cross join outcome on outcome.id = fault.outcome_id"
        " cross join verdict on verdict.id = outcome.verdict_id"
        " cross join family on family.id = fault.family_id"
        " cross join signature on signature.id = outcome.signature_id"
        " where circuit_id = ? and kind_id = ? and site = ?",
        *(circuit["id"], kind["id"], site_place(circuit, kind["name"], site)),
    )
    if row is None:
        raise MissingError(
            f"Circuit {circuit['label']} has no fault of kind {kind['name']} at that site. All "
            "faults of the circuit are on its page."
        )
    return row


@lru_cache(maxsize=_INTENDED_KEPT)
def _intended(file: str) -> tuple[Circuit, Observation | None]:
    """Return a circuit and what it does as intended; the same for every fault of it."""
    circuit = loads(file)
    return circuit, judge(circuit, engine_for(circuit)).observation


def _state_comparison(intended_file: str, checked: Recheck) -> list[Facts]:
    """Return the table that compares the circuit as intended with the faulted one."""
    examination = checked.examination
    if examination is None or examination.judgement.observation is None:
        return []
    intended, before = _intended(intended_file)
    after = examination.judgement.observation
    if before is None:
        return []
    witnesses = [i.state for i in examination.evidence.values() if isinstance(i, Evidence)]
    shown = shown_states(after.switches, witnesses)
    return compared_facts(
        forms_of(intended, before, shown), forms_of(examination.circuit, after, shown)
    )


def _alike(visit: Visit, row: Row) -> Facts:
    """Return other faults that nobody can tell from this one by flipping switches."""
    everywhere = FaultChoice(signature=row["signature_id"])
    within = replace(everywhere, circuit=row["circuit_id"])
    here = fault_ids(visit, within, total(visit, within))
    shown = [number for number in here if number != row["id"]][:_ALIKE_HERE]
    beyond = set(fault_ids(visit, everywhere, len(here) + _ALIKE_ELSEWHERE)).difference(here)
    return {
        "here_total": len(here) - 1,
        "here": listed_faults(visit, shown),
        "elsewhere_total": total(visit, everywhere) - len(here),
        "elsewhere": listed_faults(visit, sorted(beyond)[:_ALIKE_ELSEWHERE]),
    }


def _family(visit: Visit, row: Row) -> Facts:
    """Return a person's name for the fault, and how many faults have that name."""
    return {"name": row["family"], "faults": total(visit, FaultChoice(family=row["family"]))}
