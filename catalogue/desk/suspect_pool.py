"""The pool of suspects: the faults of one circuit, or of every circuit of a catalogue.

A suspect stands for one fault of a circuit that is known, or for all faults of a catalogue that
look alike and have one name. Nothing is written: a circuit that somebody sends is judged in
memory and forgotten.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from catalogue.desk.searchable import Execute, covered_sizes, why_not_searched
from catalogue.store.rendering import fault_text, site_text
from verify.base.problems import CircuitError, Problem, UserError
from verify.base.sentences import counted
from verify.behaviour.findings import Findings, position
from verify.behaviour.judgement import VERDICTS
from verify.behaviour.signature import MOST_LAMPS, Codes, Signature
from verify.circuit.model import Circuit
from verify.engine.volts import engine_for
from verify.fault.contract import Fault
from verify.fault.families import Roles, family, place
from verify.fault.registry import all_faults, fault_kind
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES
from verify.verdict.judging import judge_faults, verdicts

#: This suspect is no fault: it is the circuit as intended.
NO_FAULT: Final = "nothing wrong"

#: A join of so many ends can be parted in 131,000 ways, which take about a minute to judge.
MOST_JOINED: Final = 18


@dataclass(frozen=True, slots=True)
class Suspect:
    """One possible cause: a fault, or all faults that look alike and have one name.

    `codes` is a row of the pool's `codes`; `hazards` is a set by number. `label` is that of the
    fault, or of the example where it stands for many; `faults` and `circuits` say for how many.
    """

    kind: str
    family: str
    place: str
    label: str
    description: str
    verdict: str
    codes: int
    hazards: int
    faults: int = 1
    circuits: int = 1


@dataclass(frozen=True, eq=False, slots=True)  # arrays have no one truth
class SuspectPool:
    """Suspects for a light. `codes` has shape (different behaviours, 2^switches).

    `codes` has shape (different behaviours, 2^switches). With `is_canonical` the behaviours are
    known only up to exchanging positions, as in a catalogue. `faults` holds the fault of each
    suspect where the circuit is known.
    """

    switch_names: tuple[str, ...]
    lamps: int
    codes: Codes
    suspects: tuple[Suspect, ...]
    scope: str
    is_canonical: bool
    circuit: Circuit | None = None
    faults: tuple[Fault | None, ...] = ()

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {counted(len(self.suspects), 'suspect')}, {self.scope}>"

    @property
    def switches(self) -> int:
        """The number of switches of the light."""
        return len(self.switch_names)

    def positions(self, state: int) -> str:
        """Return a state in words: every switch with its position."""
        return ", ".join(
            f"{name} {position(state, bit)}" for bit, name in enumerate(self.switch_names)
        )


def require_judgeable(circuit: Circuit) -> None:
    """Raise CircuitError if `circuit` has too many lamps, or too many mistakes, to be judged."""
    beside = "leave out lamps that are connected beside another one, which do what that one does"
    problems = []
    if (lamps := len(circuit.lamps)) > MOST_LAMPS:
        problems.append(
            Problem(
                f"lamps={lamps}",
                f"must be at most {MOST_LAMPS}, because what all lamps do in a combination of "
                f"positions is kept as one number; {beside}",
            )
        )
    widest = max(circuit.joins, key=lambda join: len(join.ends), default=None)
    if widest is not None and len(widest.ends) > MOST_JOINED:
        problems.append(
            Problem(
                f"box.{widest.box}: ends={len(widest.ends)}",
                f"must be at most {MOST_JOINED} in one join, because each way to part it is a "
                f"mistake to be judged; make several joins of it, or {beside}",
            )
        )
    if problems:
        raise CircuitError(problems)


def pool_of_circuit(
    circuit: Circuit, *, scope: str = "every single fault of this circuit"
) -> SuspectPool:
    """Judge every single fault of `circuit`; "nothing wrong" is a suspect too.

    Raises CircuitError as `require_judgeable`, ValueError if there are too many switches.
    """
    require_judgeable(circuit)
    roles = Roles(circuit)
    faults = all_faults(circuit)
    engine = engine_for(circuit, len(faults))
    alone = engine.observe(circuit)
    intended = Findings.of([alone], switches=alone.switches, lamps=len(alone.lit))
    parts = [verdicts(intended), *(part for _, _, part in judge_faults(circuit, faults, engine))]
    different, which = np.unique(
        np.concatenate([part.codes for part in parts]), axis=0, return_inverse=True
    )
    bits = 1 << np.arange(len(HAZARD_NAMES))
    judged = zip(
        np.concatenate([part.verdict for part in parts]).tolist(),
        which.reshape(-1).tolist(),
        ((np.concatenate([part.hazard_state for part in parts]) >= 0) @ bits).tolist(),
        strict=True,
    )
    verdict, codes, hazards = next(judged)
    suspects = [
        Suspect(
            kind="",
            family=NO_FAULT,
            place="",
            label="",
            description="The circuit is as intended.",
            verdict=VERDICTS[verdict],
            codes=codes,
            hazards=hazards,
        )
    ]
    suspects += [
        Suspect(
            kind=fault.kind,
            family=family(roles, fault),
            place=place(fault),
            label=fault.label,
            description=fault_kind(fault.kind).in_words(fault.site),
            verdict=VERDICTS[verdict],
            codes=codes,
            hazards=hazards,
        )
        for fault, (verdict, codes, hazards) in zip(faults, judged, strict=True)
    ]
    return SuspectPool(
        switch_names=tuple(switch.name for switch in circuit.switches),
        lamps=len(circuit.lamps),
        codes=different,
        suspects=tuple(suspects),
        scope=scope,
        is_canonical=False,
        circuit=circuit,
        faults=(None, *faults),
    )


def pool_of_catalogue(
    execute: Execute,
    locations: int,
    schemes: Sequence[str] = SOUND_SCHEMES,
    *,
    names: Sequence[str] = (),
) -> SuspectPool:
    """Read every single fault of every layout of a size; "nothing wrong" is a suspect too.

    Suspects that look alike and have one name are one. `execute` runs a query with its parameters
    and returns its rows, so that any connection will do.
    `names` are what the person calls the switches. Schemes of which not every layout is stored are
    left out, as `scope` says; raises UserError if that leaves none, since nothing found would then
    only mean that nothing was searched.
    """
    there = tuple(s for s in schemes if s in covered_sizes(execute).get(locations, ()))
    if not there:
        why = why_not_searched(execute, locations, schemes)
        raise UserError([Problem(f"locations={locations}", why)])
    marks = ", ".join("?" * len(there))
    words: dict[str, int] = {}
    suspects = []
    for row in execute(_PROFILE.format(marks=marks), [locations, *there]):
        word, kind, name, where, circuit, file, site, verdict, hazards, faults, circuits = row
        example = str(circuit), str(file), str(kind), int(str(site))
        suspects.append(
            Suspect(
                kind=str(kind),
                family=str(name),
                place=str(where),
                label=f"{circuit}/{kind}/{site_text(*example)}",
                description=fault_text(*example),
                verdict=str(verdict),
                codes=words.setdefault(str(word), len(words)),
                hazards=int(str(hazards)),
                faults=int(str(faults)),
                circuits=int(str(circuits)),
            )
        )
    for word, circuits in execute(_INTENDED.format(marks=marks), [locations, *there]):
        suspects.append(
            Suspect(
                kind="",
                family=NO_FAULT,
                place="",
                label="",
                description="The circuit is as intended.",
                verdict="sound",
                codes=words.setdefault(str(word), len(words)),
                hazards=0,
                faults=int(str(circuits)),
                circuits=int(str(circuits)),
            )
        )
    return SuspectPool(
        switch_names=tuple(names or (f"switch-{n}" for n in range(1, locations + 1))),
        lamps=1,
        codes=np.array([Signature.parse(word).codes for word in words], np.int64).reshape(
            len(words), 1 << locations
        ),
        suspects=tuple(suspects),
        scope=f"every single fault of every layout of {locations} locations in this catalogue"
        + _wired_as(there, schemes),
        is_canonical=True,
    )


def _wired_as(schemes: Sequence[str], asked: Sequence[str]) -> str:
    """Return how the layouts are wired, empty if in all ways that were asked for."""
    missing = [SCHEMES[scheme].title for scheme in asked if scheme not in schemes]
    if not missing:
        return ""
    wired = " or ".join(SCHEMES[scheme].title for scheme in schemes)
    return f", wired as {wired}; {' and '.join(missing)}: not computed"


_PROFILE: Final = """
select word, kind.name, family.name, place, circuit.label, circuit.file, site, verdict.name,
       hazard_set, profile.faults, profile.circuits
from profile
join signature on signature.id = profile.signature_id
join fault_kind as kind on kind.id = profile.kind_id
join family on family.id = profile.family_id
join fault on fault.id = example_id
join circuit on circuit.id = circuit_id
join verdict on verdict.id = profile.verdict_id
where profile.origin = 'layout' and profile.locations = ? and profile.scheme in ({marks})
order by profile.id
"""
_INTENDED: Final = """
select word, count(*) from circuit join signature on signature.id = signature_id
where origin = 'layout' and circuit.locations = ? and circuit.scheme in ({marks}) group by word
"""
