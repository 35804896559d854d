"""What protection does with a current: bands of circuit-breakers, curves of residual devices.

Everything takes arrays. Multiples and times are those of `data/electrical.toml`.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from verify.electric.numbers import section

Reals = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]

#: What a breaker does with a current that lasts, from nothing to the most certain.
HOLDS: Final = 0
MAY_TRIP_IN_TIME: Final = 1
TRIPS_IN_TIME: Final = 2
MAY_TRIP_AT_ONCE: Final = 3
TRIPS_AT_ONCE: Final = 4
LEVELS: Final = (
    "holds",
    "may-trip-in-time",
    "trips-in-time",
    "may-trip-at-once",
    "trips-at-once",
)


@dataclass(frozen=True, slots=True)
class Curve:
    """A breaker's behaviour in multiples of its rating.

    It carries `carries` for good and has tripped within the conventional time, an hour or two, at
    `trips_in_time`; it may trip at once above `band[0]` and must above `band[1]`.
    """

    name: str
    carries: float
    trips_in_time: float
    band: tuple[float, float]

    def level(self, amps: Reals, rating: Reals | float) -> Bytes:
        """The level of each current, as a place in `LEVELS`."""
        limits = np.array([self.carries, self.trips_in_time, *self.band])
        return np.searchsorted(limits, amps / rating, side="left").astype(np.uint8)


@cache
def curve(name: str) -> Curve:
    """The curve of that name; raises KeyError for an unknown one."""
    numbers = section("breaker", name)
    low, high = cast(list[float], numbers["at_once"])
    return Curve(name, numbers["carries"], numbers["trips_in_time"], (low, high))


def class_a_seconds(amps: Reals) -> Reals:
    """The longest a North American device for people may take at each residual current.

    Infinite below the current at which it has to trip; where it may and need not, infinite too.
    """
    device = section("residual", "class-a")
    milliamperes = np.maximum(amps * 1000, device["always_from_milliamperes"])
    seconds = (device["constant_milliamperes"] / milliamperes) ** device["exponent"]
    must = amps * 1000 >= device["always_from_milliamperes"] * (1 - 1e-12)
    return np.where(must, np.maximum(seconds, device["fastest_asked_seconds"]), np.inf)


def general_seconds(amps: Reals, rated_milliamperes: float | None = None) -> Reals:
    """The longest a general residual-current device may take; 30 mA unless another is given.

    Infinite below its rating.
    """
    device = section("residual", "general")
    rating = device["rated_milliamperes"] if rated_milliamperes is None else rated_milliamperes
    multiples = np.array(device["multiples"]) * (1 - 1e-12)
    seconds = np.array([np.inf, *cast(list[float], device["seconds"])])
    return seconds[np.searchsorted(multiples, amps * 1000 / rating, side="right")]
