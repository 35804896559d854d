"""What a claim is, how it is decided, and how the answer is worded.

A claim is about every case of a domain. One case against it refutes it. The first such case is
kept; domains are ordered by locations, then boxes, so that no smaller one was found; circuits as
intended have no fault, all others one.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final, Protocol

from verify.behaviour.naming import signature_name
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.fault.contract import Site
from verify.fault.registry import fault_kind
from verify.study.claims.cases import INTENDED, Observer, Study, StudyCase

STATUSES: Final = ("proved", "holds-in-samples", "depends", "refuted")

#: True or False for a case that the claim speaks about, None for others.
Test = Callable[[StudyCase], bool | None]
Progress = Callable[[int, int], None]


class CircuitSource(Protocol):
    """Circuits to study, in order, with a description of which they are."""

    @property
    def words(self) -> str:
        """A description of the circuits."""
        ...

    @property
    def is_sample(self) -> bool:
        """True if they are a random sample, False if they are all there are."""
        ...

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """Yield the label and the circuit of each, the smallest first."""
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
class ClaimAnswer:
    """The answer to a claim: `cases` were looked at, `against` of them are against it.

    `scope` says which circuits the statement was decided for, `decided_by` how.
    """

    status: str
    scope: str
    decided_by: str
    cases: int
    against: int
    counterexample: Counterexample | None = None


class ClaimQuestion(Protocol):
    """How a claim is decided."""

    def answer(self, bench: "ClaimBench") -> ClaimAnswer:
        """Decide the claim."""
        ...


@dataclass(frozen=True)
class Claim:
    """A named property. `saying` is what people say, in our words, `statement` what is decided."""

    name: str
    theme: str
    saying: str
    statement: str
    question: ClaimQuestion


@dataclass
class ClaimBench:
    """Decides claims and keeps the studies of a run, so that each is made once.

    `observer` knows connections, `volts` what claims about volts and amperes need.
    """

    observer: Observer
    volts: Observer
    _kept: dict[tuple[CircuitSource, bool], list[Study]] = field(default_factory=dict)
    _by_label: dict[tuple[str, bool], Study] = field(default_factory=dict)

    def studies(self, source: CircuitSource, *, volts: bool = False) -> list[Study]:
        """Return the studies of a source's circuits; a circuit of several is studied once."""
        key = (source, volts)
        if key not in self._kept:
            observer = self.volts if volts else self.observer
            self._kept[key] = [
                self._by_label.setdefault((label, volts), Study(circuit, label, observer))
                for label, circuit in source.circuits()
            ]
        return self._kept[key]


@dataclass(frozen=True)
class Some:
    """A property that some case of the sources has: what can happen, not what always does."""

    sources: tuple[CircuitSource, ...]
    test: Test
    of: tuple[str, ...]

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Count the cases that have it."""
        cases = 0
        found: list[StudyCase] = []
        for source in self.sources:
            for study in bench.studies(source):
                for case in study.cases(self.of):
                    held = self.test(case)
                    cases += held is not None
                    if held:
                        found.append(case)
        told = f"exhaustive: {len(found):,} of {cases:,} faulted circuits show it"
        if found:
            told += f", the first of them {found[0].study.label}/{found[0].fault.label}"
        return ClaimAnswer(
            "proved" if found else "refuted",
            scope(self.sources, self.of),
            told,
            cases,
            0 if found else cases,
        )


@dataclass(frozen=True)
class Every:
    """A property of every case of some sources.

    `of` are the fault kinds to make cases of; none: only the circuits as intended. `by` sorts cases
    into groups: a property that holds for all of one and fails in another depends on the group.
    `because` explains a counterexample, `named` picks the name under which a counterexample is
    shown where several sites are one mistake.
    """

    sources: tuple[CircuitSource, ...]
    test: Test
    of: tuple[str, ...] = ()
    because: str = ""
    by: Callable[[StudyCase], str] | None = None
    volts: bool = False
    named: Callable[[Site], bool] = lambda _: True

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Decide it by going through all cases."""
        seen: Counter[str] = Counter()
        against: Counter[str] = Counter()
        first: StudyCase | None = None
        circuits = 0
        states: set[int] = set()
        sampled = 0
        for source in self.sources:
            for study in bench.studies(source, volts=self.volts):
                touched = False
                for case in study.cases(self.of) if self.of else [study.intended]:
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
                    states.add(study.all_states.bit_length())
                    sampled += source.is_sample
        status = self._status(seen, against)
        return ClaimAnswer(
            status,
            scope(self.sources, self.of),
            self._words(status, seen, against, circuits, states, sampled),
            seen.total(),
            against.total(),
            None if first is None else counterexample(first, self.because, self.named),
        )

    def _status(self, seen: Counter[str], against: Counter[str]) -> str:
        if not seen.total():
            raise ValueError("a claim about nothing is no claim: no case of its domain fits it")
        if not against.total():
            sampled = any(source.is_sample for source in self.sources)
            return "holds-in-samples" if sampled else "proved"
        return "depends" if any(not against[group] for group in seen) else "refuted"

    def _words(
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
        each = " or ".join(str(number) for number in sorted(states))
        told = (
            f"{'' if sampled else 'exhaustive: '}{seen.total():,} {what} that the statement speaks "
            f"about, of {circuits:,} circuits, each in all of its {each} states, by the engine "
            f"{engine}"
        )
        if status == "holds-in-samples":
            told += (
                f"; of the {sampled:,} circuits drawn at random none is against it, so that with "
                f"95 % confidence it fails in fewer than {300 / sampled:.2f} % of circuits drawn "
                "that way (rule of three)"
            )
        if against.total():
            told += f"; {against.total():,} are against it"
        if status == "depends":
            holds = ", ".join(sorted(group for group in seen if not against[group]))
            fails = ", ".join(sorted(group for group in seen if against[group]))
            told += f"; it holds for {holds} and not for {fails}"
        return told


def scope(sources: tuple[CircuitSource, ...], kinds: tuple[str, ...] = ()) -> str:
    """Return which circuits, and which mistakes in them, in words."""
    where = "; ".join(source.words for source in sources)
    return f"{where}; every single fault of {_listed(kinds)}" if kinds else f"{where}, as intended"


def _listed(kinds: tuple[str, ...]) -> str:
    return f"the kind {kinds[0]}" if len(kinds) == 1 else f"the kinds {', '.join(kinds)}"


def counterexample(
    case: StudyCase, because: str, named: Callable[[Site], bool] = lambda _: True
) -> Counterexample:
    """Return what refutes a claim, in words that begin with what was found."""
    circuit = case.circuit
    site = next(filter(named, case.sites), case.fault.site)
    label = "" if case.fault is INTENDED else replace(case.fault, site=site).label
    return Counterexample(
        dump(circuit),
        label,
        " ".join(filter(None, (told(case, site), because))),
        case.study.label,
        (len(circuit.switches), len(circuit.boxes), int(bool(label))),
    )


def told(case: StudyCase, site: Site) -> str:
    """Return what the mistake is, by one of its names, and what the light does, as found."""
    does = signature_name(case.signature)
    name = case.circuit.name.rstrip(".")
    if case.fault is INTENDED:
        return f"{name}, wired as intended: {does}."
    mistake = fault_kind(case.kind).in_words(site)
    hazards = f" Hazards: {', '.join(case.hazards)}." if case.hazards else ""
    return f"{name}. {mistake} Verdict {case.verdict}: {does}.{hazards}"


@dataclass(frozen=True, slots=True)
class JudgedClaim:
    """A claim with its answer."""

    claim: Claim
    answer: ClaimAnswer
