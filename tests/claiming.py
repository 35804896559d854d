"""Claims decided by engines that share no code with those that the register uses."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from verify.behaviour.findings import Words, word_count
from verify.circuit.model import Circuit
from verify.engine.nodal import NodalEngine
from verify.engine.paths import PathsEngine, StateGraph, WireGraph
from verify.engine.words import WordsEngine, terminals
from verify.fault.contract import Fault
from verify.study.claims.cases import Observer, Study, StudyCase
from verify.study.claims.contract import CircuitSource, Claim, ClaimBench, Every, Some


def live_by_paths(circuit: Circuit, faults: Sequence[Fault]) -> Words:
    """As `WordsEngine.live_terminals`, by going through graphs state by state."""
    names = terminals(circuit)
    found = np.zeros((len(faults), len(names), word_count(len(circuit.switches))), np.uint64)
    for row, fault in enumerate(faults):
        faulted = fault.apply(circuit)
        ends = {end.name: end for end in faulted.ends}
        wiring = WireGraph(faulted)
        for state in range(1 << len(circuit.switches)):
            at = StateGraph(wiring, state)
            for place, name in enumerate(names):
                if not at.trips and name in ends and at.is_live(ends[name]):
                    found[row, place, state // 64] |= np.uint64(1 << state % 64)
    return found


def paths_bench() -> ClaimBench:
    """*paths* for connections and *nodal* for volts."""
    return ClaimBench(
        Observer(PathsEngine(), live_by_paths), volts=Observer(NodalEngine(), live_by_paths)
    )


def words_observer() -> Observer:
    """The fast engine."""
    engine = WordsEngine()
    return Observer(engine, engine.live_terminals)


@dataclass(frozen=True)
class Thinned:
    """Of a source each `two`th circuit where that has two locations, else each `three`th."""

    source: CircuitSource
    two: int
    three: int
    is_sample: bool = False

    @property
    def words(self) -> str:
        """Which circuits these are."""
        return f"some of {self.source.words}"

    def circuits(self) -> Iterator[tuple[str, Circuit]]:
        """In the order of the source; 0 leaves a size out."""
        for number, (label, circuit) in enumerate(self.source.circuits()):
            step = self.two if len(circuit.switches) == 2 else self.three
            if step and number % step == 0:
                yield label, circuit


def thinned(claim: Claim, two: int, three: int) -> Claim:
    """A claim about fewer circuits; questions of other forms stay as they are."""
    question = claim.question
    if isinstance(question, Every | Some):
        sources = tuple(Thinned(source, two, three) for source in question.sources)
        question = replace(question, sources=sources)
    return replace(claim, question=question)


def case_of(study: Study, label: str) -> StudyCase:
    """The case of a fault by its label, that of the circuit as intended for none."""
    if not label:
        return study.intended
    kind, _, site = label.partition("/")
    return next(
        case for case in study.cases((kind,)) if site in {",".join(names) for names in case.sites}
    )
