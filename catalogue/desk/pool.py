"""Who may be suspected: the faults of one circuit, or of every circuit of a catalogue.

A suspect stands for one fault of a circuit that is known, or for all faults of a catalogue that
look alike and have one name. Nothing is written: a circuit that somebody sends is judged in
memory and forgotten.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from catalogue.store.spelling import fault_text, site_text
from verify.behaviour.findings import Findings, position
from verify.behaviour.hazards import HAZARD_NAMES
from verify.behaviour.judgement import VERDICTS
from verify.behaviour.signature import Codes, Signature
from verify.circuit.model import Circuit
from verify.engine.volts import engine_for
from verify.fault.contract import Fault
from verify.fault.families import Roles, family, place
from verify.fault.registry import all_faults, fault_kind
from verify.layout.schemes import SOUND_SCHEMES
from verify.verdict.judging import judge_faults, verdicts

#: The suspect that is no fault: the circuit as intended.
NO_FAULT: Final = "nothing wrong"

Execute = Callable[[str, Sequence[object]], Iterable[Sequence[object]]]


@dataclass(frozen=True, slots=True)
class Suspect:
    """What may be the matter. `codes` is a row of the pool's `codes`; `hazards` a set by number.

    `label` is that of the fault, or of the example where it stands for many; `faults` and
    `circuits` say for how many.
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


@dataclass(frozen=True, slots=True)
class Pool:
    """Suspects for a light. `codes` has shape (different behaviours, 2^switches).

    `is_canonical`: the behaviours are known up to exchanging positions only, as in a catalogue.
    `faults` holds the fault of each suspect where the circuit is known.
    """

    switch_names: tuple[str, ...]
    lamps: int
    codes: Codes
    suspects: tuple[Suspect, ...]
    scope: str
    is_canonical: bool
    circuit: Circuit | None = None
    faults: tuple[Fault | None, ...] = ()

    @property
    def switches(self) -> int:
        """How many switches the light has."""
        return len(self.switch_names)

    def positions(self, state: int) -> str:
        """A state in words: every switch with its position."""
        return ", ".join(
            f"{name} {position(state, bit)}" for bit, name in enumerate(self.switch_names)
        )


def pool_of_circuit(circuit: Circuit, *, scope: str = "every single fault of this circuit") -> Pool:
    """Every single fault of `circuit`, and that nothing is wrong with it.

    Raises ValueError if it has more switches than can be judged.
    """
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
    return Pool(
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
) -> Pool:
    """Every single fault of every layout of a size in a catalogue, and that nothing is wrong.

    Suspects that look alike and have one name are one. `execute` runs a query with its parameters
    and returns its rows, so that any connection will do.
    `names` are what the person calls the switches.
    """
    marks = ", ".join("?" * len(schemes))
    words: dict[str, int] = {}
    suspects = []
    for row in execute(_PROFILE.format(marks=marks), [locations, *schemes]):
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
    for word, circuits in execute(_INTENDED.format(marks=marks), [locations, *schemes]):
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
    return Pool(
        switch_names=tuple(names or (f"switch-{n}" for n in range(1, locations + 1))),
        lamps=1,
        codes=np.array([Signature.parse(word).codes for word in words], np.int64).reshape(
            len(words), 1 << locations
        ),
        suspects=tuple(suspects),
        scope=f"every single fault of every layout of {locations} locations in this catalogue",
        is_canonical=True,
    )


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
