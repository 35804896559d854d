"""Circuits are judged again while their pages are made, and compared with what is stored.

A row that does not come out as stored must never be shown as if it did.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from verify.base.problems import BugError, CircuitError
from verify.behaviour.judgement import Judgement
from verify.circuit.file import loads
from verify.circuit.model import Circuit
from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.fault.registry import find_fault
from verify.verdict.examination import Examination
from verify.verdict.rechecking import examine


@dataclass(frozen=True, slots=True)
class Stored:
    """The stored verdict on a circuit, with the fields of a `Judgement`; `engine` judged it."""

    verdict: str
    word: str
    state: int | None = None
    switch: int | None = None
    lamp: int | None = None
    hazards: Mapping[str, int] | None = None
    engine: str = VoltsEngine.name


@dataclass(frozen=True, slots=True)
class Recheck:
    """The result: `contradictions` has a sentence for everything that is not as stored.

    The circuit and the examination are None where there is nothing to show, for a reason that is
    among the contradictions.
    """

    contradictions: tuple[str, ...]
    circuit: Circuit | None = None
    examination: Examination | None = None


def recheck(file: str, stored: Stored, fault_label: str | None = None) -> Recheck:
    """Judge the circuit in a stored file, or one of its faults, and compare."""
    try:
        circuit = loads(file)
        if fault_label is not None:
            circuit = find_fault(circuit, fault_label).apply(circuit)
    except CircuitError as error:
        return Recheck((f"The stored circuit file cannot be read: {error}.",))
    except KeyError:
        return Recheck(("The stored circuit has no such fault.",))
    try:
        by_words = stored.engine == WordsEngine.name
        examination = examine(circuit, WordsEngine() if by_words else VoltsEngine())
    except BugError as error:
        return Recheck((f"The engines contradict each other: {error}.",), circuit)
    return Recheck(tuple(_differences(stored, examination.judgement)), circuit, examination)


def _differences(stored: Stored, found: Judgement) -> Iterator[str]:
    word = found.signature.word if found.signature else ""
    for what, is_stored, is_found in (
        ("The verdict", stored.verdict, found.verdict),
        ("The signature", stored.word, word),
        (
            "What shows the verdict",
            _witness(stored.state, stored.switch, stored.lamp),
            _witness(found.state, found.switch, found.lamp),
        ),
        (
            "The hazards with their states",
            _held(stored.hazards or {}),
            _held(dict(found.hazard_states)),
        ),
    ):
        if is_stored != is_found:
            yield f"{what} is stored as “{is_stored}” and comes out as “{is_found}”."


def _witness(state: int | None, switch: int | None, lamp: int | None) -> str:
    numbers = (("state", state), ("switch", switch), ("lamp", lamp))
    return ", ".join(f"{name} {number}" for name, number in numbers if number is not None) or "none"


def _held(hazards: Mapping[str, int]) -> str:
    return ", ".join(f"{name} in {state}" for name, state in sorted(hazards.items())) or "none"
