"""Verdicts as words and values.

The words are fixed, and the first that applies counts: ``undecided`` (an engine gave up), ``trips``
(some state trips), ``misbehaves`` (no any-location control), ``mimic`` (any-location control and a
hazard), ``sound``.
"""

from dataclasses import dataclass
from typing import Final

from verify.behaviour.findings import Observation
from verify.behaviour.signature import Signature

VERDICTS: Final = ("sound", "mimic", "misbehaves", "trips", "undecided")


#: The verdicts that an engine can reach, in the order of tables.
PROVED_VERDICTS: Final = ("sound", "mimic", "misbehaves", "trips")


SOUND: Final = 0


MIMIC: Final = 1


MISBEHAVES: Final = 2


TRIPS: Final = 3


#: What each verdict says about a circuit.
MEANINGS: Final = {
    "sound": "Every switch changes every lamp in every combination of positions, and none of the "
    "hazards that are looked for is there.",
    "mimic": "Every switch changes every lamp in every combination of positions, and yet there is "
    "a hazard. Nobody notices it by using the light.",
    "misbehaves": "In some combination of positions a switch does not change a lamp.",
    "trips": "In some combination of positions line is connected to neutral or ground without a "
    "load, or a breaker carries too much: it opens.",
    "undecided": "No engine could prove it.",
}


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one circuit, with the states, switch and lamp that show it.

    The fields are those of `verify.verdict.judging.Verdicts`.
    """

    verdict: str
    observation: Observation | None
    signature: Signature | None
    state: int | None = None
    switch: int | None = None
    lamp: int | None = None
    hazard_states: tuple[tuple[str, int], ...] = ()
    by_volts: bool = False
    reason: str = ""

    @property
    def any_location(self) -> bool:
        """True if every flip of every switch changes every lamp and nothing trips."""
        return self.verdict in ("sound", "mimic")

    @property
    def hazards(self) -> tuple[str, ...]:
        """The hazards that hold in some state, in the order of `HAZARDS`."""
        return tuple(name for name, _ in self.hazard_states)
