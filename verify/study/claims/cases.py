"""The cases that claims speak about: a circuit, as intended or with one fault, and what it does.

A `StudyCase` is one of them. Sets of states are numbers, bit s for state s.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.findings import Words
from verify.behaviour.judgement import VERDICTS
from verify.behaviour.signature import Codes, Signature, canonical, state_codes
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End
from verify.engine.contract import Engine
from verify.engine.words import terminals
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Fault, Site
from verify.fault.families import Roles
from verify.fault.registry import fault_kind
from verify.hazard.definitions import HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.layout.schemes import SCHEMES
from verify.verdict.judging import verdicts

#: The circuit as intended, in a list of faults.
INTENDED: Final = Fault("", (), Change())

_HAZARD: Final = {name: place for place, name in enumerate(HAZARD_NAMES)}

Live = Callable[[Circuit, Sequence[Fault]], Words]


@dataclass(frozen=True)
class Observer:
    """What a claim asks about circuits: an engine, and the states in which each terminal is live.

    `live` is a function such as `WordsEngine.live_terminals`.
    """

    engine: Engine
    live: Live


class Study:
    """One circuit and its faults, judged kind by kind as claims ask; row 0 is as intended.

    `label` is the circuit's in a catalogue, or says where it comes from.
    """

    def __init__(self, circuit: Circuit, label: str, observer: Observer) -> None:
        self.circuit = circuit
        self.label = label
        self.observer = observer
        self.all_states = (1 << (1 << len(circuit.switches))) - 1
        self.faults: list[Fault] = []
        self.sites: list[list[Site]] = []
        self.found: list[Row] = []
        self._rows: dict[str, range] = {}
        self._live: dict[str, list[int]] = {name: [] for name in terminals(circuit)}
        self._siblings: dict[str, Study] = {}
        self._judge([INTENDED], [[]])

    def cases(self, kinds: Sequence[str]) -> Iterator["StudyCase"]:
        """Yield the case of every fault of some kinds, kind by kind."""
        faults: list[Fault] = []
        sites: list[list[Site]] = []
        for kind in kinds:
            if kind not in self._rows:
                start = len(self.faults) + len(faults)
                listed: dict[Site, list[Site]] = {}
                for site, fault in fault_kind(kind).sites(self._wiring):
                    if fault.site not in listed:
                        listed[fault.site] = []
                        faults.append(fault)
                        sites.append(listed[fault.site])
                    listed[fault.site].append(site)
                self._rows[kind] = range(start, start + len(listed))
        if faults:
            self._judge(faults, sites)
        return (StudyCase(self, row) for kind in kinds for row in self._rows[kind])

    def _judge(self, faults: Sequence[Fault], sites: Sequence[list[Site]]) -> None:
        found = self.observer.engine.observe_faults(self.circuit, faults)
        judged = verdicts(found)
        trips, lit, hazards, dim, over, _ = (_numbers(array) for array in found.arrays)
        self.faults += faults
        self.sites += sites
        columns = (trips[:, 0], lit[:, 0], (dim | over)[:, 0], hazards, judged.verdict)
        self.found += [
            Row(trip, on, odd, tuple(held), VERDICTS[verdict], codes)
            for trip, on, odd, held, verdict, codes in zip(
                *(column.tolist() for column in columns), state_codes(found), strict=True
            )
        ]

    def live(self, terminal: str) -> list[int]:
        """Return the states in which a terminal is live, for every row judged so far."""
        known = len(self._live[terminal])
        if known < len(self.faults):
            live = _numbers(self.observer.live(self.circuit, self.faults[known:]))
            for place, states in enumerate(self._live.values()):
                states.extend(live[:, place].tolist())
        return self._live[terminal]

    @property
    def intended(self) -> "StudyCase":
        """The circuit without a mistake."""
        return StudyCase(self, 0)

    @property
    def scheme(self) -> str:
        """The scheme by which it is wired; empty where the label does not say."""
        name = self.label.partition("-")[0]
        return name if name in SCHEMES else ""

    @cached_property
    def layout(self) -> Layout:
        """The layout; raises ValueError if the label does not say it."""
        return Layout.parse(self.label.partition("-")[2])

    def wired_as(self, scheme: str) -> "Study":
        """Return the same layout wired by another scheme."""
        if scheme not in self._siblings:
            circuit = self.layout.circuit(scheme)
            self._siblings[scheme] = Study(circuit, f"{scheme}-{self.layout.code}", self.observer)
        return self._siblings[scheme]

    @cached_property
    def _wiring(self) -> NumberedCircuit:
        return NumberedCircuit(self.circuit)

    @cached_property
    def roles(self) -> Roles:
        """The roles of conductors and terminals."""
        return Roles(self.circuit)

    def net(self, box: str, name: str) -> int:
        """Return the net of an end as intended, by the smallest end of it."""
        return self._wiring.nets[self.circuit.end_index[End(box, name)]]


@dataclass(frozen=True, slots=True)
class Row:
    """What one case does: sets of states of the first lamp and of each hazard, and the verdict.

    `odd` are the states in which the lamp is dim or above its voltage; `codes` as `state_codes`.
    """

    trips: int
    lit: int
    odd: int
    hazards: tuple[int, ...]
    verdict: str
    codes: Codes


def _numbers(words: Words) -> npt.NDArray[np.object_]:
    """Return rows of 64-bit words as one Python number each.

    From (rows, …, words) to (rows, at least 1).
    """
    shape = words.shape[:-1] if words.ndim > 2 else (len(words), 1)
    whole = words.astype(object)
    total = whole[..., 0]
    for place in range(1, words.shape[-1]):
        total = total + (whole[..., place] << (64 * place))
    return np.asarray(total, object).reshape(shape)


@cache
def _down(states: int, switch: int) -> int:
    return sum(1 << state for state in range(states) if state >> switch & 1)


@dataclass(frozen=True, slots=True)
class StudyCase:
    """One circuit with one mistake, or none, and what it does."""

    study: Study
    row: int

    @property
    def circuit(self) -> Circuit:
        """The circuit as intended."""
        return self.study.circuit

    @property
    def intended(self) -> "StudyCase":
        """The same circuit without the mistake."""
        return self.study.intended

    @property
    def fault(self) -> Fault:
        """The mistake, `INTENDED` for none."""
        return self.study.faults[self.row]

    @property
    def kind(self) -> str:
        """The kind of the mistake, empty for none."""
        return self.fault.kind

    @property
    def sites(self) -> list[Site]:
        """Every site that gives this result."""
        return self.study.sites[self.row]

    @property
    def everything(self) -> int:
        """All states."""
        return self.study.all_states

    @property
    def _found(self) -> Row:
        return self.study.found[self.row]

    @property
    def trips(self) -> int:
        """The states in which protection trips."""
        return self._found.trips

    @property
    def lit(self) -> int:
        """The states in which the first lamp is lit."""
        return self._found.lit

    @property
    def odd(self) -> int:
        """The states in which the first lamp is dim or above its voltage."""
        return self._found.odd

    @property
    def dark(self) -> int:
        """The states in which the first lamp is dark and protection holds."""
        return self.everything & ~(self.lit | self.trips | self.odd)

    @property
    def verdict(self) -> str:
        """The verdict."""
        return self._found.verdict

    @property
    def works(self) -> bool:
        """Return True if every flip of every switch changes every lamp and nothing trips."""
        return self.verdict in ("sound", "mimic")

    def hazard(self, name: str) -> int:
        """Return the states in which a hazard holds."""
        return self._found.hazards[_HAZARD[name]]

    @property
    def hazards(self) -> list[str]:
        """Return the hazards that hold in some state."""
        return [n for n, states in zip(HAZARD_NAMES, self._found.hazards, strict=True) if states]

    @property
    def signature(self) -> Signature:
        """Return the signature: what it does, up to renaming each switch's positions."""
        return canonical(self._found.codes, len(self.circuit.lamps))

    def live(self, terminal: str) -> int:
        """Return the states in which a terminal is connected to line and protection holds."""
        return self.study.live(terminal)[self.row]

    def down(self, switch: int) -> int:
        """Return the states in which a switch is down."""
        return _down(self.everything.bit_length(), switch)

    def idle(self, switch: int) -> int:
        """Return the states in which moving a switch changes nothing that can be seen."""
        down, step = self.down(switch), 1 << switch
        up = self.everything & ~down
        differs = 0
        for states in (self.lit, self.trips, self.odd):
            differs |= states ^ ((states & down) >> step | (states & up) << step)
        return self.everything & ~differs

    @property
    def dead(self) -> list[Device]:
        """Return the switches that change nothing in any state."""
        return [
            switch
            for number, switch in enumerate(self.circuit.switches)
            if self.idle(number) == self.everything
        ]
