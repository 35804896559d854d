"""What is said of circuits and faults, as plain dictionaries: the JSON of commands and pages.

`FORMAT` counts up when a key changes its meaning or goes; keys may be added.
"""

import hashlib
import json
import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, NotRequired, TypedDict

import numpy as np

from verify.base.cautions import cautions
from verify.base.problems import BugError
from verify.behaviour.findings import Observation, position
from verify.behaviour.hazards import HAZARD_NAMES
from verify.behaviour.judgement import VERDICTS, Judgement
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import canonical
from verify.circuit.devices import Position
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.engine.contract import Engine
from verify.engine.diagrams import DiagramsEngine
from verify.engine.nodal import NodalEngine
from verify.engine.paths import PathsEngine, StateGraph, Wiring
from verify.engine.volts import VoltsEngine, engine_for
from verify.engine.words import WORTH_COMPILING_ONCE
from verify.fault.change import Wiring as Numbered
from verify.fault.change import changed
from verify.fault.contract import Fault, FaultKind
from verify.fault.registry import all_faults, fault_kinds
from verify.rules.book import BookChoice, Rulebook
from verify.rules.remarks import BookForm, RemarkForm, book_form, remark_form, remarks
from verify.verdict.evidence import Coverage, Evidence, Prover, to_json
from verify.verdict.judging import NONE, Verdicts, judge, judge_faults, why_unprovable

FORMAT: Final = 1

#: The verdicts that an engine can reach, in the order of tables.
PROVED_VERDICTS: Final = tuple(verdict for verdict in VERDICTS if verdict != "undecided")

#: How many states of a circuit with too many are gone through by the second engine.
_SAMPLED: Final = 32

#: Circuits with at most so many states are gone through by the second engine as a whole.
_MOST_TRACED: Final = 256

Progress = Callable[[int, int], None]


class StateForm(TypedDict):
    """One state: `protection` holds or trips, each lamp is dark, dim, lit or over."""

    positions: dict[str, Position]
    protection: str
    lamps: dict[str, str]


class SignatureForm(TypedDict):
    """A signature and its name in plain words."""

    word: str
    name: str


class RecheckForm(TypedDict):
    """The second engine, and how many states it went through on its own."""

    engine: str
    states: int


class CheckForm(TypedDict):
    """The verdict on one circuit: `states` by number, `hazards` in the order of `HAZARDS`.

    `by_volts` is true where connections alone would say otherwise.
    `evidence` has an entry for the verdict and one for each hazard, by name. `rules` are
    observations against the `rulebook`, whose note goes with them.
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
    """One fault; `circuit` is the faulted circuit as a circuit file."""

    kind: str
    site: str
    description: str
    verdict: str
    signature: str
    signature_name: str
    hazards: list[str]
    circuit: str


class FaultsHead(TypedDict):
    """What `faults --json` says before its list. `total` and `counts` are of all faults.

    `verdict` and `hazards` are those of the circuit as it stands.
    """

    format: int
    name: str
    verdict: str
    hazards: list[str]
    total: int
    counts: dict[str, dict[str, int]]
    cautions: list[str]


@dataclass(frozen=True, slots=True)
class Examination:
    """A circuit, its verdict by `engine`, and the evidence for each claim, by name.

    `rechecked` says how many states the engine `checker` went through on its own: all of a small
    circuit, else those that the evidence speaks of.
    """

    circuit: Circuit
    judgement: Judgement
    evidence: Mapping[str, Evidence | Coverage]
    engine: str
    checker: str
    rechecked: int


def examine(circuit: Circuit, engine: Engine | None = None) -> Examination:
    """Judge a circuit and find the evidence, by default with the engine `engine_for` it.

    Raises BugError if the engine that checks it, *nodal* or *paths*, finds anything else.
    """
    engine = engine or engine_for(circuit)
    if why_unprovable(circuit, engine):
        return _examine_many(circuit)
    checker: Engine = NodalEngine() if engine.name == VoltsEngine.name else PathsEngine()
    found = judge(circuit, engine)
    states = 1 << len(circuit.switches)
    if states <= _MOST_TRACED and checker.observe(circuit) != found.observation:
        raise BugError(
            f"the engines {engine.name} and {checker.name} disagree on circuit {circuit.name!r}"
        )
    evidence = dict(_evidence(circuit, found, engine.name))
    rechecked = states if states <= _MOST_TRACED else len(_shown(evidence))
    return Examination(circuit, found, evidence, engine.name, checker.name, rechecked)


def _examine_many(circuit: Circuit) -> Examination:
    """Judge a circuit whose states are too many to be listed, by decision diagrams.

    The engine *paths* confirms what the evidence shows, and any-location control in a sample.
    """
    found = DiagramsEngine().prove(circuit)
    evidence = dict(_evidence(circuit, found, DiagramsEngine.name))
    states = _shown(evidence)
    if found.any_location:
        sample = {0, *_sample(len(circuit.switches))}
        _require_parity(circuit, sample)
        states |= sample
    return Examination(circuit, found, evidence, DiagramsEngine.name, PathsEngine.name, len(states))


def _shown(evidence: Mapping[str, Evidence | Coverage]) -> set[int]:
    return {item.state for item in evidence.values() if isinstance(item, Evidence)}


def _sample(switches: int) -> Iterator[int]:
    draws = random.Random(0)
    return (draws.getrandbits(switches) for _ in range(_SAMPLED))


def _require_parity(circuit: Circuit, states: Iterable[int]) -> None:
    """Raise BugError unless in these states every lamp is lit as any-location control demands."""
    wiring = Wiring(circuit)
    first = [StateGraph(wiring, 0).lit_sides(lamp) is not None for lamp in wiring.lamps]
    for state in states:
        at = StateGraph(wiring, state)
        is_odd = bool(state.bit_count() % 2)
        lit = [(at.lit_sides(lamp) is not None) ^ is_odd for lamp in wiring.lamps]
        if at.trips or lit != first:
            raise BugError(
                f"the engines {DiagramsEngine.name} and {PathsEngine.name} disagree on circuit "
                f"{circuit.name!r}"
            )


def _evidence(
    circuit: Circuit, found: Judgement, engine: str
) -> Iterator[tuple[str, Evidence | Coverage]]:
    prover = Prover(circuit)
    if found.any_location:
        claim: Literal["sound", "mimic"] = "mimic" if found.hazards else "sound"
        yield claim, Coverage(claim, engine, 1 << len(circuit.switches))
    elif found.state is not None:
        switch = None if found.switch is None else circuit.switches[found.switch].name
        lamp = None if found.lamp is None else circuit.lamps[found.lamp].name
        yield found.verdict, prover.find(found.verdict, found.state, switch, lamp)
    for hazard, state in found.hazard_states:
        yield hazard, prover.find(hazard, state)


def check_form(
    examination: Examination, file: str | None = None, book: Rulebook | None = None
) -> CheckForm:
    """The JSON of ``miswire check``; `file` is where the circuit came from.

    Without a `book` the rules are the latest known where the circuit's palette belongs.
    """
    circuit, found = examination.circuit, examination.judgement
    book = book or BookChoice().book(circuit.palette)
    evidence = {claim: to_json(item) for claim, item in examination.evidence.items()}
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
    """What a circuit does in each state, in the order of their numbers."""
    switches = [switch.name for switch in circuit.switches]
    lamps = [lamp.name for lamp in circuit.lamps]
    for state in range(1 << seen.switches):
        yield StateForm(
            positions={name: position(state, number) for number, name in enumerate(switches)},
            protection="trips" if seen.trips >> state & 1 else "holds",
            lamps={name: seen.light(number, state) for number, name in enumerate(lamps)},
        )


def short_cautions() -> list[str]:
    """The cautions, a sentence each."""
    return [caution.short for caution in cautions()]


@dataclass(frozen=True, slots=True)
class JudgedFault:
    """A fault with what is known of it."""

    fault: Fault
    description: str
    verdict: str
    signature: str
    signature_name: str
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Survey:
    """A circuit as it stands, and all its single faults in their order."""

    circuit: Circuit
    judgement: Judgement
    faults: Sequence[JudgedFault]

    @property
    def counts(self) -> dict[str, dict[str, int]]:
        """How many faults of each kind have each verdict; every kind and verdict is there."""
        counts = {kind.name: dict.fromkeys(PROVED_VERDICTS, 0) for kind in fault_kinds()}
        for judged in self.faults:
            counts[judged.fault.kind][judged.verdict] += 1
        return counts


def survey(circuit: Circuit, progress: Progress = lambda done, total: None) -> Survey:
    """Judge every single fault of a circuit. Raises ValueError if no engine can prove them."""
    kinds = {kind.name: kind for kind in fault_kinds()}
    names = _Signatures(len(circuit.lamps))
    faults = all_faults(circuit)
    engine = engine_for(circuit, len(faults), WORTH_COMPILING_ONCE)
    judged: list[JudgedFault] = []
    for part, _, verdicts in judge_faults(circuit, faults, engine):
        judged += _judged(part, verdicts, kinds, names)
        progress(len(judged), len(faults))
    return Survey(circuit, judge(circuit, engine), judged)


def _judged(
    faults: Sequence[Fault],
    found: Verdicts,
    kinds: Mapping[str, FaultKind],
    names: "_Signatures",
) -> Iterator[JudgedFault]:
    rows = zip(faults, found.verdict.tolist(), found.hazard_state != NONE, found.codes, strict=True)
    for fault, verdict, hazards, codes in rows:
        signature = names.of(codes)
        yield JudgedFault(
            fault,
            kinds[fault.kind].in_words(fault.site),
            VERDICTS[verdict],
            signature["word"],
            signature["name"],
            tuple(HAZARD_NAMES[number] for number in np.flatnonzero(hazards)),
        )


class _Signatures:
    """Signatures by what shows them; few faults differ, so each is worked out once and shared."""

    def __init__(self, lamps: int) -> None:
        self._lamps = lamps
        self._known: dict[bytes, SignatureForm] = {}

    def of(self, codes: "np.typing.NDArray[np.int64]") -> SignatureForm:
        """The signature of one row of `Verdicts.codes`."""
        key = hashlib.sha256(codes.tobytes()).digest()  # with 16 switches a row has half a megabyte
        if key not in self._known:
            signature = canonical(codes, self._lamps)
            self._known[key] = SignatureForm(word=signature.word, name=signature_name(signature))
        return self._known[key]


def faults_head(surveyed: Survey) -> FaultsHead:
    """The JSON of ``miswire faults`` but for its list."""
    return FaultsHead(
        format=FORMAT,
        name=surveyed.circuit.name,
        verdict=surveyed.judgement.verdict,
        hazards=list(surveyed.judgement.hazards),
        total=len(surveyed.faults),
        counts=surveyed.counts,
        cautions=short_cautions(),
    )


def fault_forms(circuit: Circuit, faults: Iterable[JudgedFault]) -> Iterator[FaultForm]:
    """The entries of the list of ``miswire faults``."""
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


def faults_json(surveyed: Survey, listed: Iterable[JudgedFault]) -> Iterator[str]:
    """The JSON of ``miswire faults`` in lines, a fault each: a large circuit has a great many."""
    head = json.dumps(faults_head(surveyed))
    yield f'{head[:-1]}, "faults": ['
    waiting = ""
    for form in fault_forms(surveyed.circuit, listed):
        if waiting:
            yield f"{waiting},"
        waiting = json.dumps(form)
    if waiting:
        yield waiting
    yield "]}"
