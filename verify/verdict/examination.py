"""The result of examining a circuit: its verdict, states, hazards and evidence, and its text.

`verify.verdict.rechecking` makes it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice
from typing import Final

from verify.base.sentences import counted
from verify.base.telling import (
    COLUMNS,
    NO_LIMIT,
    Group,
    Passage,
    TextTable,
    cautions_group,
    grid_width,
    heading,
    html,
    listed,
    plain,
)
from verify.behaviour.findings import Observation
from verify.behaviour.judgement import MEANINGS, Judgement
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import Signature
from verify.behaviour.states import StateRow, positions_words, state_rows
from verify.circuit.model import Circuit
from verify.engine.diagrams import DiagramsEngine
from verify.engine.volts import VoltsEngine, why_not_volts
from verify.hazard.definitions import HAZARDS
from verify.verdict.evidence import Coverage, Evidence

_MOST_STATES_SHOWN: Final = 16
_GROUP: Final = 4
_PROTECTION: Final = "protection"
_INDENT: Final = "  "


@dataclass(frozen=True)
class Examination:
    """A circuit, its verdict by `engine`, and the evidence for each claim, by name.

    Claims are the verdict and the hazards. `rechecked` says how many states the engine `checker`
    went through on its own: all of a small circuit, else those that the evidence speaks of.
    """

    circuit: Circuit
    judgement: Judgement
    evidence: Mapping[str, Evidence | Coverage]
    engine: str
    checker: str
    rechecked: int

    @property
    def verdict(self) -> str:
        """``sound``, ``mimic``, ``misbehaves``, ``trips`` or ``undecided``."""
        return self.judgement.verdict

    @property
    def meaning(self) -> str:
        """What the verdict says of the circuit, in sentences."""
        if self.verdict == "undecided":
            return f"{self.judgement.reason}."
        return MEANINGS[self.verdict]

    @property
    def hazards(self) -> tuple[str, ...]:
        """The names of the hazards that hold in some state, in the order of `HAZARDS`."""
        return self.judgement.hazards

    @property
    def signature(self) -> Signature | None:
        """What the light does up to renaming positions; None where states are not listed."""
        return self.judgement.signature

    @property
    def behaviour(self) -> str:
        """What the light does, in a few words; empty where states are not listed."""
        return "" if self.signature is None else signature_name(self.signature)

    @cached_property
    def states(self) -> tuple[StateRow, ...]:
        """What each lamp and the protection do, a row for each of the 2^switches states.

        The first switch changes fastest, and every switch begins with up. Empty where there are
        too many states to be listed.
        """
        seen = self.judgement.observation
        return () if seen is None else tuple(state_rows(self.circuit, seen))

    @property
    def how_proved(self) -> str:
        """By which engines, in how many states, and whether volts were computed, in sentences."""
        switches = len(self.circuit.switches)
        if self.engine == DiagramsEngine.name:
            return (
                f"Proved for all 2^{switches} combinations, without listing them, by the engine "
                f"{self.engine}; the engine {self.checker}, which shares no code with it, finds "
                f"the same in {self.rechecked} of them. Volts and amperes were not computed."
            )
        states = 1 << switches
        reach = "all of them" if self.rechecked == states else f"{self.rechecked:,} of them"
        proved = f"Proved in {counted(states, 'combination')} by the engine {self.engine}"
        if self.engine != VoltsEngine.name:
            missing = why_not_volts(self.circuit)
            proved = f"Volts and amperes were not computed: {missing}. {proved}"
        if not self.rechecked:
            return f"{proved}."
        decided = " Volts and amperes decided: connections alone would say otherwise."
        return (
            f"{proved}; the engine {self.checker}, which shares no code with it, finds the same in "
            f"{reach}.{decided if self.judgement.by_volts else ''}"
        )

    def told(self, columns: int, rest_of_states: str = "states has them all") -> Iterator[Group]:
        """Yield the verdict with all that shows it, its table of states fit for the columns.

        `rest_of_states` says where to find the states that the table leaves out.
        """
        yield [Passage(f"{self.verdict.upper()}: {self.meaning}")]
        if self.verdict == "undecided":
            return
        in_short: list[Passage] = []
        if self.judgement.observation is not None:
            yield from _state_table(
                self.circuit, self.judgement.observation, columns, rest_of_states
            )
            in_short = [Passage(_in_short(self.behaviour))]
        yield [*in_short, Passage(self.how_proved)]
        proof = self.evidence[self.verdict]
        if isinstance(proof, Evidence):
            yield [heading(f"Why it {self.verdict}"), *_evidence_passages(proof)]
        if self.hazards:
            yield [heading(counted(len(self.hazards), "hazard"))]
        for hazard in HAZARDS:
            item = self.evidence.get(hazard.name)
            if isinstance(item, Evidence):
                yield [
                    heading(f"{hazard.title} ({hazard.name})", _INDENT),
                    Passage(hazard.danger, _INDENT),
                    *_evidence_passages(item),
                ]

    def _all_told(self, columns: int) -> Iterator[Group]:
        yield [heading(self.circuit.name)]
        yield from self.told(columns)
        yield cautions_group()

    def __repr__(self) -> str:
        return plain(self._all_told(COLUMNS))

    def _repr_html_(self) -> str:
        return html(self._all_told(NO_LIMIT))


def _in_short(name: str) -> str:
    legend = " Switches are numbered from left to right." if "switch" in name else ""
    return f"What the light does: {name}.{legend if any(map(str.isdigit, name)) else ''}"


def _state_table(circuit: Circuit, seen: Observation, columns: int, rest: str) -> Iterator[Group]:
    """Yield the table of states, in the longest words for which there is room."""
    switches = [switch.name for switch in circuit.switches]
    lamps = [lamp.name for lamp in circuit.lamps]
    short_switches = [f"S{number}" for number, _ in enumerate(switches, 1)]
    short_lamps = [f"L{number}" for number, _ in enumerate(lamps, 1)]
    rows = list(islice(state_rows(circuit, seen), _MOST_STATES_SHOWN))
    positions: list[list[str]] = [[*row.positions.values()] for row in rows]
    headings = [*switches, *lamps]
    if _is_too_wide(headings, columns):
        legend = zip((*short_switches, *short_lamps), headings, strict=True)
        told = [Passage(listed(f"{short} = {name}" for short, name in legend))]
        headings = [*short_switches, *short_lamps]
        if _is_too_wide(headings, columns):
            told.append(Passage(f"{_in_one_column(short_switches)}: u up, d down"))
            headings = [_in_one_column(short_switches), *short_lamps]
            positions = [[_initials(row)] for row in positions]
        yield told
    table = TextTable(
        [*headings, _PROTECTION],
        [
            [*where, *row.lamps.values(), row.protection]
            for where, row in zip(positions, rows, strict=True)
        ],
    )
    states = 1 << seen.switches
    left_out = Passage(f"… and {states - len(rows):,} more of {states:,} combinations; {rest}.")
    yield [table, left_out] if states > len(rows) else [table]


def _is_too_wide(headings: Sequence[str], columns: int) -> bool:
    return grid_width([*headings, _PROTECTION], len("down")) > columns


def _in_one_column(headings: Sequence[str]) -> str:
    """Return one heading for all columns, for a table too wide for a column each."""
    return f"{headings[0]} to {headings[-1]}"


def _initials(positions: Sequence[str]) -> str:
    """Return the positions by a letter each, in groups that the eye can count."""
    letters = "".join(position[0] for position in positions)
    return " ".join(letters[start : start + _GROUP] for start in range(0, len(letters), _GROUP))


def _evidence_passages(evidence: Evidence) -> Iterator[Passage]:
    """Yield the state, the paths and the amounts that show a claim."""
    yield Passage(f"Shown with {positions_words(dict(evidence.positions))}:", _INDENT)
    for words in evidence.words:
        yield Passage(words, _INDENT, "- ")
