"""What claims speak about: a circuit, each of its single faults, and what every engine row says.

A `Case` is one of them, or the circuit as intended. Sets of states are numbers, bit s for state s.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import networkx as nx
import numpy as np

from verify.behaviour import Words
from verify.change import Change, Wiring
from verify.circuit import Circuit, Device, End, conductor_name
from verify.engines import Engine
from verify.engines.words import WordsEngine, terminals
from verify.families import Roles
from verify.faults import Fault, Site, fault_kind
from verify.hazards import HAZARD_NAMES
from verify.layouts import Layout
from verify.schemes import SCHEMES
from verify.signature import Signature, canonical, state_codes
from verify.verdict import VERDICTS, verdicts

#: The circuit as intended, in a list of faults.
INTENDED: Final = Fault("", (), Change())

Live = Callable[[Circuit, Sequence[Fault]], Words]


@dataclass(frozen=True)
class Eyes:
    """Who says what circuits do: an engine, and the states in which each terminal is live.

    `live` is as `WordsEngine.live_terminals`.
    """

    engine: Engine
    live: Live


def words_eyes() -> Eyes:
    """The fast engine."""
    engine = WordsEngine()
    return Eyes(engine, engine.live_terminals)


class Study:
    """One circuit with its faults of some kinds; row 0 is the circuit as intended.

    `label` is the circuit's in a catalogue, or says where it comes from.
    """

    def __init__(self, circuit: Circuit, label: str, kinds: Sequence[str], eyes: Eyes) -> None:
        self.circuit = circuit
        self.label = label
        self.kinds = tuple(kinds)
        self._siblings: dict[str, Study] = {}
        self.eyes = eyes
        self.all_states = (1 << (1 << len(circuit.switches))) - 1
        self.faults: list[Fault] = [INTENDED]
        self.sites: list[list[Site]] = [[]]
        wiring = Wiring(circuit)
        for kind in kinds:
            rows: dict[Site, int] = {}
            for site, fault in fault_kind(kind).sites(wiring):
                if fault.site not in rows:
                    rows[fault.site] = len(self.faults)
                    self.faults.append(fault)
                    self.sites.append([])
                self.sites[rows[fault.site]].append(site)

    @property
    def scheme(self) -> str:
        """How it is wired; empty where the label does not say."""
        name = self.label.partition("-")[0]
        return name if name in SCHEMES else ""

    @cached_property
    def layout(self) -> Layout:
        """Where everything is; raises ValueError if the label does not say."""
        return Layout.parse(self.label.partition("-")[2])

    def wired_as(self, scheme: str) -> "Study":
        """The same layout wired by another scheme, with faults of the same kinds."""
        if scheme not in self._siblings:
            circuit = self.layout.circuit(scheme)
            label = f"{scheme}-{self.layout.code}"
            self._siblings[scheme] = Study(circuit, label, self.kinds, self.eyes)
        return self._siblings[scheme]

    @cached_property
    def roles(self) -> Roles:
        """What each conductor and terminal is for."""
        return Roles(self.circuit)

    @cached_property
    def _nets(self) -> dict[int, int]:
        """The smallest end that conductors connect with each end of the circuit as intended."""
        wiring = Wiring(self.circuit)
        graph: nx.Graph[int] = nx.Graph()
        for ends in wiring.joins:
            nx.add_path(graph, ends)
        for cable in self.circuit.cables:
            for colour in cable.conductors:
                name = conductor_name(cable.name, colour)
                here, there = (wiring.number(box, name) for box in cable.between)
                graph.add_edge(here, there)
        return {end: min(net) for net in nx.connected_components(graph) for end in net}

    def net(self, box: str, name: str) -> int:
        """What an end is connected to by conductors as intended, as the smallest end of it."""
        return self._nets[self.circuit.end_index[End(box, name)]]

    @cached_property
    def _found(self) -> "_Rows":
        found = self.eyes.engine.observe_faults(self.circuit, self.faults)
        judged = verdicts(found)
        trips, lit, hazards, dim, over, _ = (_numbers(array) for array in found.arrays)
        return _Rows(
            trips=trips[:, 0].tolist(),
            lit=lit.tolist(),
            other=(dim | over).tolist(),
            hazards=hazards.tolist(),
            verdicts=[VERDICTS[number] for number in judged.verdict],
            codes=state_codes(found),
        )

    @cached_property
    def _live(self) -> dict[str, list[int]]:
        live = _numbers(self.eyes.live(self.circuit, self.faults))
        return {
            name: live[:, place].tolist() for place, name in enumerate(terminals(self.circuit))
        }

    def cases(self) -> Iterator["Case"]:
        """Every case, the circuit as intended first."""
        return (Case(self, row) for row in range(len(self.faults)))


@dataclass(frozen=True, slots=True)
class _Rows:
    trips: list[int]
    lit: list[list[int]]
    other: list[list[int]]
    hazards: list[list[int]]
    verdicts: list[str]
    codes: "np.typing.NDArray[np.int64]"


def _numbers(words: Words) -> "np.typing.NDArray[np.object_]":
    """Rows of 64-bit words as one Python number each: (rows, …, words) to (rows, at least 1)."""
    shape = words.shape[:-1] if words.ndim > 2 else (len(words), 1)
    whole = words.astype(object)
    total = whole[..., 0]
    for place in range(1, words.shape[-1]):
        total = total + (whole[..., place] << (64 * place))
    return np.asarray(total, object).reshape(shape)


@dataclass(frozen=True, slots=True)
class Case:
    """One circuit with one mistake, or none, and what it does."""

    study: Study
    row: int

    @property
    def circuit(self) -> Circuit:
        """The circuit as intended."""
        return self.study.circuit

    @property
    def intended(self) -> "Case":
        """The same circuit without the mistake."""
        return Case(self.study, 0)

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
    def trips(self) -> int:
        """Where protection trips."""
        return self.study._found.trips[self.row]

    @property
    def lit(self) -> int:
        """Where the first lamp is lit."""
        return self.study._found.lit[self.row][0]

    @property
    def dark(self) -> int:
        """Where the first lamp is dark and protection holds."""
        return self.everything & ~(self.lit | self.trips | self.study._found.other[self.row][0])

    @property
    def odd(self) -> int:
        """Where the first lamp is dim or above its voltage."""
        return self.study._found.other[self.row][0]

    @property
    def verdict(self) -> str:
        """The verdict."""
        return self.study._found.verdicts[self.row]

    @property
    def works(self) -> bool:
        """True if every flip of every switch changes every lamp and nothing trips."""
        return self.verdict in ("sound", "mimic")

    def hazard(self, name: str) -> int:
        """Where a hazard holds."""
        return self.study._found.hazards[self.row][HAZARD_NAMES.index(name)]

    @property
    def hazards(self) -> list[str]:
        """The hazards that hold in some state."""
        found = self.study._found.hazards[self.row]
        return [name for name, states in zip(HAZARD_NAMES, found, strict=True) if states]

    @property
    def signature(self) -> Signature:
        """What it does, up to renaming each switch's positions."""
        return canonical(self.study._found.codes[self.row], len(self.circuit.lamps))

    def live(self, terminal: str) -> int:
        """Where a terminal of a lamp or switch is connected to line and protection holds."""
        return self.study._live[terminal][self.row]

    def down(self, switch: int) -> int:
        """Where a switch is down."""
        return sum(1 << s for s in range(self.everything.bit_length()) if s >> switch & 1)

    def idle(self, switch: int) -> int:
        """Where moving a switch changes nothing that can be seen."""
        down, step = self.down(switch), 1 << switch

        def moved(states: int) -> int:
            return (states & down) >> step | (states & ~down & self.everything) << step

        shown = (self.lit, self.trips, self.odd)
        differs = 0
        for states in shown:
            differs |= states ^ moved(states)
        return self.everything & ~differs

    @property
    def dead(self) -> list[Device]:
        """The switches that change nothing in any state."""
        return [
            switch
            for number, switch in enumerate(self.circuit.switches)
            if self.idle(number) == self.everything
        ]
