"""What is found of a fault, as one value."""

from collections.abc import Sequence
from typing import NamedTuple

from verify.signature import canonical
from verify.verdict import MIMIC, NONE, SOUND, Verdicts


class Outcome(NamedTuple):
    """All that is found of a fault; see `verify.verdict.Verdicts` for the fields.

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


def outcome_of(found: Verdicts, row: int, lamps: int) -> Outcome:
    """One row of verdicts on a circuit with so many lamps."""
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
    """An outcome by connections with what currents add to it."""
    outcome = outcome._replace(hazards=tuple(sorted((*outcome.hazards, *electrical))))
    if outcome.verdict == SOUND:
        return outcome._replace(verdict=MIMIC, by_volts=True)
    return outcome
