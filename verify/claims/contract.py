"""What a claim is, how it is decided, and what is said of it.

A claim is about every case of a domain. One case against it refutes it; the first in the order of
the domain is kept, and domains are ordered by locations, then boxes, then faults, so that no
smaller one exists in what was searched.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final, Protocol

from verify.circuit import Circuit
from verify.circuitfile import dump
from verify.claims.study import INTENDED, Case, Eyes, Study, words_eyes
from verify.faults import fault_kind
from verify.naming import signature_name

STATUSES: Final = ("proved", "holds-in-samples", "depends", "refuted")

#: True or False for a case that the claim speaks about, None for others.
Test = Callable[[Case], bool | None]
Progress = Callable[[int, int], None]


class Source(Protocol):
    """Circuits to study, in order, with a description of which they are."""

    @property
    def words(self) -> str:
        """Which circuits these are."""
        ...

    @property
    def is_sample(self) -> bool:
        """True if they are drawn and not all there are."""
        ...

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Label and circuit of each, the smallest first."""
        ...


@dataclass(frozen=True, slots=True)
class Counterexample:
    """A circuit, the fault in it or none, and why that refutes the claim.

    `circuit` is the circuit file as intended, `fault` the label of the fault, empty for none;
    `measure` counts locations, boxes and faults.
    """

    circuit: str
    fault: str
    why: str
    label: str
    measure: tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Answer:
    """How a claim came out. `cases` were looked at, `against` of them are against it."""

    status: str
    decided_by: str
    cases: int
    against: int
    counterexample: Counterexample | None = None


class Question(Protocol):
    """How a claim is decided."""

    def answer(self, bench: "Bench") -> Answer:
        """Decide it."""
        ...


@dataclass(frozen=True)
class Claim:
    """A named property. `saying` is ours for what people say, `statement` what is decided."""

    name: str
    theme: str
    saying: str
    statement: str
    question: Question


@dataclass
class Bench:
    """Where claims are decided: the studies of a run, each made once."""

    eyes: Eyes = field(default_factory=words_eyes)
    volts: Eyes | None = None
    _kept: dict[object, list[Study]] = field(default_factory=dict)

    def studies(self, source: Source, kinds: tuple[str, ...], *, volts: bool) -> list[Study]:
        """The circuits of a source with their faults of some kinds."""
        key = (source, kinds, volts)
        if key not in self._kept:
            eyes = self.volts if volts and self.volts is not None else self.eyes
            self._kept[key] = [
                Study(circuit, label, kinds, eyes) for label, circuit in source.circuits()
            ]
        return self._kept[key]


@dataclass(frozen=True)
class Every:
    """A property of every case of some sources.

    `of` are the fault kinds to make cases of; none: only the circuits as intended. `by` sorts cases
    into groups: a property that holds for all of one and fails in another depends on which it is.
    `because` explains what is behind a counterexample.
    """

    sources: tuple[Source, ...]
    test: Test
    of: tuple[str, ...] = ()
    because: str = ""
    by: Callable[[Case], str] | None = None
    volts: bool = False

    def answer(self, bench: Bench) -> Answer:
        """Go through all cases."""
        seen: Counter[str] = Counter()
        against: Counter[str] = Counter()
        first: Case | None = None
        circuits = 0
        states: set[int] = set()
        sampled = 0
        for source in self.sources:
            for study in bench.studies(source, self.of, volts=self.volts):
                touched = False
                for case in study.cases():
                    if bool(case.kind) != bool(self.of):
                        continue
                    held = self.test(case)
                    if held is None:
                        continue
                    touched = True
                    group = self.by(case) if self.by else ""
                    seen[group] += 1
                    if not held:
                        against[group] += 1
                        first = first or case
                if touched:
                    circuits += 1
                    states.add(case.everything.bit_length())
                    sampled += source.is_sample
        status = self._status(seen, against)
        return Answer(
            status,
            self._words(status, seen, against, circuits, states, sampled),
            seen.total(),
            against.total(),
            None if first is None else counterexample(first, self.because),
        )

    def _status(self, seen: Counter[str], against: Counter[str]) -> str:
        if not seen.total():
            raise ValueError("a claim about nothing is no claim: no case of its domain fits it")
        if not against.total():
            sampled = any(source.is_sample for source in self.sources)
            return "holds-in-samples" if sampled else "proved"
        return "depends" if any(not against[group] for group in seen) else "refuted"

    def _words(  # noqa: PLR0913, PLR0917 - the numbers of one sentence
        self,
        status: str,
        seen: Counter[str],
        against: Counter[str],
        circuits: int,
        states: set[int],
        sampled: int,
    ) -> str:
        what = "faulted circuits" if self.of else "circuits"
        engine = "volts" if self.volts else "words"
        where = "; ".join(source.words for source in self.sources)
        each = " or ".join(str(number) for number in sorted(states))
        told = (
            f"exhaustive over {where}: {seen.total():,} {what} that the statement speaks about, of "
            f"{circuits:,} circuits, each in all of its {each} states, by the engine {engine}"
        )
        if sampled:
            told = told.replace("exhaustive over", "all of", 1)
        if status == "holds-in-samples":
            told += (
                f"; of the {sampled:,} circuits drawn at random none is against it, so that with "
                f"95 % confidence it fails in fewer than {3 / sampled:.2%} of circuits drawn that "
                "way (rule of three)"
            )
        if against.total():
            told += f"; {against.total():,} are against it"
        if status == "depends":
            holds = ", ".join(sorted(group for group in seen if not against[group]))
            fails = ", ".join(sorted(group for group in seen if against[group]))
            told += f"; it holds for {holds} and not for {fails}"
        return told


def counterexample(case: Case, because: str) -> Counterexample:
    """What refutes a claim, in words that begin with what was found."""
    label = "" if case.fault is INTENDED else case.fault.label
    circuit = case.circuit
    return Counterexample(
        dump(circuit),
        label,
        " ".join(filter(None, (told(case), because))),
        case.study.label,
        (len(circuit.switches), len(circuit.boxes), int(bool(label))),
    )


def told(case: Case) -> str:
    """What the mistake is and what the light does, as found."""
    does = signature_name(case.signature)
    name = case.circuit.name.rstrip(".")
    if case.fault is INTENDED:
        return f"{name}, wired as intended: {does}."
    mistake = fault_kind(case.kind).in_words(case.fault.site)
    hazards = f" Hazards: {', '.join(case.hazards)}." if case.hazards else ""
    return f"{name}. {mistake} Verdict {case.verdict}: {does}.{hazards}"


@dataclass(frozen=True, slots=True)
class Judged:
    """A claim with its answer."""

    claim: Claim
    answer: Answer
