"""The resistance of copper conductors, for the engines that check `verify.electric`.

The formulae are those of `verify.electric.physics` written a second time from their sources, so
that a mistake in one of the two shows. The numbers and the way sizes are written are the same.
"""

import math
from functools import lru_cache

from verify.electric.numbers import published_resistances, section
from verify.electric.sizes import AWG, read_size

_MM_PER_INCH = 25.4


def _mm2(text: str) -> float:
    """Return the area of a size in mm².

    Each gauge is a 39th of the way, in ratio, from 0.46 inch (4/0) to 0.005 inch (36): ASTM B258,
    from memory; 4/0 is gauge -3.
    """
    size = read_size(text)
    if size.unit != AWG:
        return size.number
    radius: float = _MM_PER_INCH * 0.46 * (0.005 / 0.46) ** ((size.number + 3) / 39) / 2
    return math.pi * radius * radius


@lru_cache(maxsize=256)
def ohms_per_metre(size: str, celsius: float) -> float:
    """Return the resistance of a conductor in ohms a metre, by a table if one has its size.

    Raises ValueError for a size that cannot be read or a temperature that no conductor has.
    """
    copper = section("copper")

    def rise(to: float) -> float:
        """Return what one ohm at copper's own reference temperature has become."""
        return 1 + copper["per_kelvin"] * (to - copper["celsius"])

    if not 0 < rise(celsius) < math.inf:
        raise ValueError(f"celsius={celsius} is not a temperature of a conductor in a building")
    area = _mm2(size)
    at_reference = copper["ohm_mm2_per_m"] / area
    for entry in published_resistances():
        if abs(_mm2(entry.size) / area - 1) < 1e-6:
            at_reference = entry.ohms_per_km / 1000 / rise(entry.celsius)
    return at_reference * rise(celsius)
