"""Formulae for copper and for the frequency, used by the engines that judge.

The engines that check these have a formula of their own for copper, in `verify.engine.copper`.
"""

import math
from functools import lru_cache

from verify.electric.numbers import Parameters, published_resistances, section
from verify.electric.sizes import MM2, read_size


def temperature_factor(celsius: float, reference: float) -> float:
    """Return the resistance of copper at `celsius` over that at `reference` (degrees).

    Raises ValueError for a conductor colder than copper's formula reaches.
    """
    copper = section("copper")
    alpha, base = copper["per_kelvin"], copper["celsius"]
    factor = (1 + alpha * (celsius - base)) / (1 + alpha * (reference - base))
    if not (math.isfinite(factor) and factor > 0):
        raise ValueError(f"celsius={celsius} is not a temperature of a conductor in a building")
    return factor


def area_mm2(size: str) -> float:
    """Return the area of a conductor in mm² by its size, such as ``14 AWG`` or ``1.5 mm²``.

    American gauges by their geometric definition (ASTM B258, from memory). Raises ValueError for a
    size that is neither, or has no area.
    """
    number, unit = read_size(size)
    if unit == MM2:
        return number
    diameter: float = 0.127 * 92 ** ((36 - number) / 39)
    return math.pi / 4 * diameter**2


@lru_cache(maxsize=256)
def ohms_per_metre(size: str, celsius: float) -> float:
    """Return the resistance of a copper conductor, in ohms a metre.

    Tabulated sizes go by their table, others by their area. Raises ValueError for an unknown way to
    write a size.
    """
    area = area_mm2(size)
    for entry in published_resistances():
        if math.isclose(area_mm2(entry.size), area, rel_tol=1e-6):
            return entry.ohms_per_km / 1000 * temperature_factor(celsius, entry.celsius)
    copper = section("copper")
    return copper["ohm_mm2_per_m"] / area * temperature_factor(celsius, copper["celsius"])


def angular_frequency(assumed: Parameters) -> float:
    """Return the angular frequency of the supply, in radians a second."""
    return 2 * math.pi * assumed.hertz
