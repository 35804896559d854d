"""How protection acts on a current: bands of circuit-breakers, curves of residual devices.

All functions take arrays. Multiples and times are those of `data/electrical.toml`.
"""

from dataclasses import dataclass
from functools import cache
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from verify.electric.numbers import section

Reals = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]

#: What a breaker does with a lasting current, from not tripping to tripping at once.
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

    It carries `carries` times its rating for good and has tripped within the conventional time, an
    hour or two, at `trips_in_time`; it may trip at once above `band[0]` and must above `band[1]`.
    """

    name: str
    carries: float
    trips_in_time: float
    band: tuple[float, float]

    def level(self, amps: Reals, rating: Reals | float) -> Bytes:
        """Return the level of each current, as a place in `LEVELS`."""
        limits = np.array([self.carries, self.trips_in_time, *self.band])
        return np.searchsorted(limits, amps / rating, side="left").astype(np.uint8)


@cache
def curve(name: str) -> Curve:
    """Return the curve of that name; raises KeyError for an unknown one."""
    numbers = section("breaker", name)
    low, high = cast(list[float], numbers["at_once"])
    return Curve(name, numbers["carries"], numbers["trips_in_time"], (low, high))


def class_a_seconds(amps: Reals) -> Reals:
    """Return the longest that a North American device for people may take to trip.

    There is one time for each residual current; it is infinite where the device need not trip.
    """
    device = section("residual", "class-a")
    milliamperes = np.maximum(amps * 1000, device["always_from_milliamperes"])
    seconds = (device["constant_milliamperes"] / milliamperes) ** device["exponent"]
    must = amps * 1000 >= device["always_from_milliamperes"] * (1 - 1e-12)
    return np.where(must, np.maximum(seconds, device["fastest_asked_seconds"]), np.inf)


def general_seconds(amps: Reals, rated_milliamperes: float | None = None) -> Reals:
    """Return the longest that a general residual-current device may take to trip.

    Its rating is 30 mA unless another is given; below it, the time is infinite.
    """
    device = section("residual", "general")
    rating = device["rated_milliamperes"] if rated_milliamperes is None else rated_milliamperes
    multiples = np.array(device["multiples"]) * (1 - 1e-12)
    seconds = np.array([np.inf, *cast(list[float], device["seconds"])])
    return seconds[np.searchsorted(multiples, amps * 1000 / rating, side="right")]
