"""Circuits and faults as plain dictionaries: the JSON of commands and pages.

`FORMAT` is raised when a key changes its meaning or goes; keys may be added.
"""

import json
from collections.abc import Iterable, Iterator
from typing import Final, NotRequired, TypedDict

from verify.base.cautions import cautions
from verify.behaviour.findings import Observation
from verify.behaviour.judgement import Judgement
from verify.behaviour.naming import signature_name
from verify.behaviour.states import state_rows
from verify.circuit.devices import Position
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.fault.change import NumberedCircuit as Numbered
from verify.fault.change import changed
from verify.rules.book import BookChoice, Rulebook
from verify.rules.remarks import BookForm, RemarkForm, book_form, remark_form, remarks
from verify.verdict.evidence import Coverage, Evidence
from verify.verdict.examination import Examination
from verify.verdict.single_faults import FaultList, JudgedFault

FORMAT: Final = 1


class StateForm(TypedDict):
    """One state as JSON: `protection` holds or trips, each lamp is dark, dim, lit or over."""

    positions: dict[str, Position]
    protection: str
    lamps: dict[str, str]


class SignatureForm(TypedDict):
    """A signature and its name in plain words, as JSON."""

    word: str
    name: str


class RecheckForm(TypedDict):
    """The second engine and how many states it went through independently, as JSON."""

    engine: str
    states: int


class CheckForm(TypedDict):
    """The verdict on one circuit as JSON.

    `states` are by number, `hazards` in the order of `HAZARDS`. `by_volts` is true where
    connections alone would say otherwise. `evidence` has an entry for the verdict and one for each
    hazard, by name. `rules` are observations against the `rulebook`, whose note goes with them.
    """

    format: int
    file: NotRequired[str]
    name: str
    verdict: str
    any_location: bool
    by_volts: bool
    signature: SignatureForm | None
    states: list[StateForm]
    hazards: list[str]
    evidence: dict[str, dict[str, object]]
    engine: str
    recheck: RecheckForm
    rulebook: BookForm
    rules: list[RemarkForm]
    cautions: list[str]


class FaultForm(TypedDict):
    """One fault as JSON; `circuit` is the faulted circuit as a circuit file."""

    kind: str
    site: str
    description: str
    verdict: str
    signature: str
    signature_name: str
    hazards: list[str]
    circuit: str


class FaultsHead(TypedDict):
    """The part of ``miswire faults --json`` that comes before its list.

    `verdict` and `hazards` are those of the circuit as it stands.
    """

    format: int
    name: str
    verdict: str
    hazards: list[str]
    total: int
    counts: dict[str, dict[str, int]]
    cautions: list[str]


def evidence_form(evidence: Evidence | Coverage) -> dict[str, object]:
    """Return what ``check --json`` says as ``evidence`` for one claim."""
    if isinstance(evidence, Coverage):
        return {"engine": evidence.engine, "states": evidence.states}
    about = {"switch": evidence.switch, "lamp": evidence.lamp, "part": evidence.part}
    found: dict[str, object] = {
        "state": dict(evidence.positions),
        **{key: name for key, name in about.items() if name is not None},
        "path": list(evidence.path_words),
    }
    if evidence.amounts:
        found["amounts"] = [
            {"of": amount.of, amount.unit: float(f"{amount.value:.4g}"), "words": amount.words}
            for amount in evidence.amounts
        ]
    return found


def check_form(
    examination: Examination, file: str | None = None, book: Rulebook | None = None
) -> CheckForm:
    """Return the JSON of ``miswire check``; `file` says where the circuit came from.

    Without a `book` the rules are the latest known where the circuit's palette belongs.
    """
    circuit, found = examination.circuit, examination.judgement
    book = book or BookChoice().book(circuit.palette)
    evidence = {claim: evidence_form(item) for claim, item in examination.evidence.items()}
    if found.verdict == "undecided":
        evidence["undecided"] = {"reason": found.reason}
    form = CheckForm(
        format=FORMAT,
        name=circuit.name,
        verdict=found.verdict,
        any_location=found.any_location,
        by_volts=found.by_volts,
        signature=_signature_form(found),
        states=[] if found.observation is None else [*state_forms(circuit, found.observation)],
        hazards=list(found.hazards),
        evidence=evidence,
        engine=examination.engine,
        recheck=RecheckForm(engine=examination.checker, states=examination.rechecked),
        rulebook=book_form(book),
        rules=[remark_form(remark) for remark in remarks(circuit, book)],
        cautions=short_cautions(),
    )
    return form if file is None else CheckForm(**{**form, "file": file})


def _signature_form(found: Judgement) -> SignatureForm | None:
    if found.signature is None:
        return None
    return SignatureForm(word=found.signature.word, name=signature_name(found.signature))


def state_forms(circuit: Circuit, seen: Observation) -> Iterator[StateForm]:
    """Yield what a circuit does in each state, in the order of their numbers."""
    for row in state_rows(circuit, seen):
        yield StateForm(
            positions=dict(row.positions), protection=row.protection, lamps=dict(row.lamps)
        )


def short_cautions() -> list[str]:
    """Return the cautions, a sentence each."""
    return [caution.short for caution in cautions()]


def faults_head(judged: FaultList) -> FaultsHead:
    """Return the JSON of ``miswire faults`` without its list."""
    return FaultsHead(
        format=FORMAT,
        name=judged.circuit.name,
        verdict=judged.judgement.verdict,
        hazards=list(judged.judgement.hazards),
        total=len(judged),
        counts=judged.counts,
        cautions=short_cautions(),
    )


def fault_forms(circuit: Circuit, faults: Iterable[JudgedFault]) -> Iterator[FaultForm]:
    """Yield the entries of the list of ``miswire faults``."""
    wiring = Numbered(circuit)
    for judged in faults:
        yield FaultForm(
            kind=judged.fault.kind,
            site=judged.fault.site_text,
            description=judged.description,
            verdict=judged.verdict,
            signature=judged.signature,
            signature_name=judged.signature_name,
            hazards=list(judged.hazards),
            circuit=dump(changed(wiring, judged.fault.change)),
        )


def faults_json(judged: FaultList, listed: Iterable[JudgedFault]) -> Iterator[str]:
    """Yield the JSON of ``miswire faults`` in lines, one a fault: a large circuit has many."""
    head = json.dumps(faults_head(judged))
    yield f'{head[:-1]}, "faults": ['
    waiting = ""
    for form in fault_forms(judged.circuit, listed):
        if waiting:
            yield f"{waiting},"
        waiting = json.dumps(form)
    if waiting:
        yield waiting
    yield "]}"
