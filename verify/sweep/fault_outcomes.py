"""The outcome of a fault, as one value."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from verify.behaviour.judgement import MIMIC, SOUND
from verify.behaviour.signature import canonical
from verify.verdict.judging import NONE, Verdicts


@dataclass(frozen=True)
class Outcome:
    """All that is found of a fault; see `verify.verdict.judging.Verdicts` for the fields.

    `word` is that of the signature, `codes` the outcomes as they are, state by state; `hazards`
    pairs the place in `HAZARDS` with the state that shows it.
    """

    verdict: int
    word: str
    codes: tuple[int, ...]
    state: int
    switch: int
    lamp: int
    hazards: tuple[tuple[int, int], ...]
    by_volts: bool

    @cached_property
    def _hash(self) -> int:
        return hash((self.verdict, self.word, self.codes, self.state, self.switch, self.hazards))

    def __hash__(self) -> int:
        """Return a hash that is computed once, since few outcomes are looked up often."""
        return self._hash


class KnownOutcomes:
    """Outcomes that were met; each new one gets the next number."""

    def __init__(self) -> None:
        self.every: list[Outcome] = []
        self._numbers: dict[Outcome, int] = {}

    def __len__(self) -> int:
        return len(self.every)

    def __getitem__(self, number: int) -> Outcome:
        return self.every[number]

    def number(self, outcome: Outcome) -> int:
        """Return the number of an outcome."""
        number = self._numbers.setdefault(outcome, len(self.every))
        if number == len(self.every):
            self.every.append(outcome)
        return number


def outcome_of(found: Verdicts, row: int, lamps: int) -> Outcome:
    """Return one row of verdicts on a circuit of `lamps` lamps."""
    codes = found.codes[row]
    return Outcome(
        int(found.verdict[row]),
        canonical(codes, lamps).word,
        tuple(codes.tolist()),
        int(found.state[row]),
        int(found.switch[row]),
        int(found.lamp[row]),
        tuple(
            (number, state)
            for number, state in enumerate(found.hazard_state[row].tolist())
            if state != NONE
        ),
        bool(found.by_volts[row]),
    )


def with_hazards(outcome: Outcome, electrical: Sequence[tuple[int, int]]) -> Outcome:
    """Return an outcome by connections with the hazards that currents add."""
    hazards = tuple(sorted((*outcome.hazards, *electrical)))
    if outcome.verdict == SOUND:
        return replace(outcome, hazards=hazards, verdict=MIMIC, by_volts=True)
    return replace(outcome, hazards=hazards)
