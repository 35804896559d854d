"""What copper, lamps, supplies and meters are: the numbers of `data/electrical.toml`.

Units are SI, temperatures degrees Celsius, alternating quantities root mean square.
"""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Final, cast

from verify.base.problems import CircuitError, Problem
from verify.base.resources import data_path
from verify.circuit.model import Circuit

_AWG: Final = re.compile(r"\s*(\d{1,2})\s*AWG\s*", re.IGNORECASE)
_MM2: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*mm(?:²|2|\^2)\s*", re.IGNORECASE)

Section = Mapping[str, object]


@cache
def document() -> Mapping[str, Section]:
    """All of `data/electrical.toml`."""
    return cast(
        Mapping[str, Section], tomllib.loads(data_path("electrical.toml").read_text("utf-8"))
    )


def section(*path: str) -> Mapping[str, float]:
    """The numbers of a section; its words are there too, but nobody asks for them here."""
    found: object = document()
    for name in path:
        found = cast(Section, found)[name]
    return cast(Mapping[str, float], found)


def temperature_factor(celsius: float, reference: float) -> float:
    """How many times its resistance at `reference` a copper conductor has at `celsius`.

    Raises ValueError for a conductor colder than copper's formula reaches.
    """
    copper = section("copper")
    alpha, base = copper["per_kelvin"], copper["celsius"]
    factor = (1 + alpha * (celsius - base)) / (1 + alpha * (reference - base))
    if not (math.isfinite(factor) and factor > 0):
        raise ValueError(f"celsius={celsius} is not a temperature of a conductor in a building")
    return factor


def area_mm2(size: str) -> float:
    """The area of a conductor by its size, such as ``14 AWG`` or ``1.5 mm²``.

    American gauges by their geometric definition (ASTM B258, from memory).
    Raises ValueError for a size that is neither, or has no area.
    """
    if match := _MM2.fullmatch(size):
        area = float(match[1])
    elif match := _AWG.fullmatch(size):
        area = math.pi / 4 * (0.127 * 92 ** ((36 - int(match[1])) / 39)) ** 2
    else:
        area = 0.0
    if area <= 0:
        raise ValueError(f"size={size!r} is neither a gauge like 14 AWG nor an area like 1.5 mm²")
    return area


@lru_cache(maxsize=256)
def ohms_per_metre(size: str, celsius: float) -> float:
    """The resistance of a copper conductor; tabulated sizes by their table, others by their area.

    Raises ValueError for an unknown way to write a size.
    """
    area = area_mm2(size)
    for entry in _tabulated():
        if math.isclose(area_mm2(cast(str, entry["size"])), area, rel_tol=1e-6):
            per_km, reference = cast(float, entry["ohms_per_km"]), cast(float, entry["celsius"])
            return per_km / 1000 * temperature_factor(celsius, reference)
    copper = section("copper")
    return copper["ohm_mm2_per_m"] / area * temperature_factor(celsius, copper["celsius"])


def _tabulated() -> list[Section]:
    return cast(list[Section], document()["resistance"])


@dataclass(frozen=True, slots=True)
class Parameters:
    """What a circuit file leaves open, and the limits of the outcomes.

    `capacitance` is farads a metre between any two conductors of a cable, `loose` the ohms of a
    loose join, `phantom_volts` and `phantom_share` what a phantom reads at least on the high
    input and at most, as a share of that, on the low one. With `lamp_exponent` None lamps are
    constant resistances, otherwise their current goes with that power of the volts.
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

    @property
    def angular(self) -> float:
        """Radians a second."""
        return 2 * math.pi * self.hertz


@cache
def parameters(palette: str = "us") -> Parameters:
    """The declared parameters for circuits of a palette; raises KeyError for an unknown one."""
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


def unreadable_sizes(circuit: Circuit) -> list[Problem]:
    """Every size of a circuit that says nothing of its resistance: the file takes any text."""
    sized = [(f"cable '{cable.name}'", cable.size) for cable in circuit.cables]
    sized += [(f"device '{feed.name}'", feed.size) for feed in circuit.feeds]
    problems = []
    for place, size in sized:
        try:
            area_mm2(size or "14 AWG")
        except ValueError as error:
            problems.append(Problem(place, f"{error}; write it so or leave it out", "size"))
    return problems


def check_sizes(circuit: Circuit) -> None:
    """Raise `CircuitError` with all `unreadable_sizes`, or return."""
    if problems := unreadable_sizes(circuit):
        raise CircuitError(problems)
