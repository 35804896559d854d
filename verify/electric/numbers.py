"""The numbers of `data/electrical.toml` as values, without a formula.

The engines that judge and those that check them read the same numbers here; each has formulae of
its own for what follows from them. Units are SI, temperatures degrees Celsius, alternating
quantities root mean square.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple, cast

from verify.base.resources import data_path

Section = Mapping[str, object]


@cache
def document() -> Mapping[str, Section]:
    """Return all of `data/electrical.toml`."""
    return cast(
        Mapping[str, Section], tomllib.loads(data_path("electrical.toml").read_text("utf-8"))
    )


def section(*path: str) -> Mapping[str, float]:
    """Return the numbers of a section; its texts are in there too, but no caller uses them."""
    found: object = document()
    for name in path:
        found = cast(Section, found)[name]
    return cast(Mapping[str, float], found)


class Resistance(NamedTuple):
    """An entry of a published table: the resistance of a conductor of `size` at `celsius`."""

    size: str
    ohms_per_km: float
    celsius: float


@cache
def published_resistances() -> tuple[Resistance, ...]:
    """Return the sizes whose resistance a table gives."""
    entries = cast(list[Mapping[str, float]], document()["resistance"])
    return tuple(
        Resistance(cast(str, entry["size"]), entry["ohms_per_km"], entry["celsius"])
        for entry in entries
    )


@dataclass(frozen=True, slots=True)
class Parameters:
    """Assumptions for what a circuit file leaves open, and the limits of the outcomes.

    `capacitance` is farads a metre between any two conductors of a cable, `loose` the ohms of a
    loose join. A reading is a phantom if the high input reads at least `phantom_volts` and the low
    one at most the share `phantom_share` of that. With `lamp_exponent` None lamps are constant
    resistances, otherwise their current goes with that power of the volts.
    """

    hertz: float
    size: str
    source: complex
    breaker: str
    length_m: float
    feed_length_m: float
    celsius: float
    terminal: float
    contact: float
    short: float
    loose: float
    capacitance: float
    high_meter: float
    low_meter: float
    phantom_volts: float
    phantom_share: float
    unbalanced_amps: float
    lamp_exponent: float | None = None


@cache
def parameters(palette: str = "us") -> Parameters:
    """Return the parameters for circuits of a palette; raises KeyError for an unknown one."""
    supply, assumed, meter = section("supply", palette), section("assumed"), section("meter")
    return Parameters(
        hertz=supply["hertz"],
        size=cast(str, supply["size"]),
        source=complex(supply["ohms"], supply["reactance_ohms"]),
        breaker=cast(str, supply["breaker"]),
        length_m=assumed["length_m"],
        feed_length_m=assumed["feed_length_m"],
        celsius=assumed["celsius"],
        terminal=assumed["terminal_ohms"],
        contact=assumed["contact_ohms"],
        short=assumed["short_ohms"],
        loose=assumed["loose_ohms"],
        capacitance=section("capacitance")["picofarads_per_m"] * 1e-12,
        high_meter=meter["high_ohms"],
        low_meter=meter["low_ohms"],
        phantom_volts=meter["phantom_volts"],
        phantom_share=meter["phantom_share"],
        unbalanced_amps=section("unbalanced")["amperes"],
    )
