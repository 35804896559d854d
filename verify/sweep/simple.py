"""Which circuits are so simple that connections tell the path of the current."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.electric.numbers import Parameters, parameters, section
from verify.electric.physics import angular_frequency, ohms_per_metre
from verify.electric.sizes import unreadable_sizes

MOST_SWITCHES: Final = 6
#: Currents in a cable are summed modulo 16, see `verify.sweep.current_kernel`.
MOST_IN_A_CABLE: Final = 15


@dataclass(frozen=True, slots=True)
class Bounds:
    """The resistances of a circuit, and limits within which connections decide.

    - `ohms` (conductors + 1,): of each conductor, and of the place where two touch
    - `contact`: ohms of a closed contact; `contacts`: of all that may be closed at once
    - `room`: of two paths that part, together this many times the ohms of the lesser, both carry a
      current that counts; `room_of_return`: the same of a current that returns on two conductors
    """

    ohms: npt.NDArray[np.float64]
    contact: float
    contacts: float
    room: float
    room_of_return: float


def bounds_of(circuit: Circuit) -> Bounds | None:
    """Return the bounds of a circuit in which connections tell the path of the current, else None.

    It has one feed and one lamp, nothing plugged in, nothing failed and no cable of very many
    conductors. Its resistances are so small that every connected lamp is lit and no leakage
    matters, and so large that no path counts as a perfect short.
    """
    kinds = [device.kind for device in circuit.devices]
    if (kinds.count("feed"), kinds.count("lamp"), kinds.count("receptacle")) != (1, 1, 0):
        return None
    if circuit.failures or len(circuit.switches) > MOST_SWITCHES or unreadable_sizes(circuit):
        return None
    assumed = parameters(circuit.palette)
    ohms = []
    farads = 0.0
    for cable in circuit.cables:
        length = assumed.length_m if cable.length_m is None else cable.length_m
        count = len(cable.conductors)
        if count > MOST_IN_A_CABLE:
            return None
        ohms += [length * ohms_per_metre(cable.size or assumed.size, assumed.celsius)] * count
        farads += count * (count - 1) / 2 * length * assumed.capacitance
    rooms = _rooms(circuit, sum(ohms), farads)
    if rooms is None:
        return None
    return Bounds(
        np.array([*ohms, assumed.short]), assumed.contact, _contacts(circuit, assumed), *rooms
    )


def stays_simple(circuit: Circuit, conductors: int, pairs: int) -> bool:
    """Return True if a simple circuit stays simple with other cables of any length and size.

    They have so many `conductors`, and `pairs` of them in one cable.
    """
    assumed = parameters(circuit.palette)
    ohms = assumed.length_m * ohms_per_metre(assumed.size, assumed.celsius)
    farads = pairs * assumed.length_m * assumed.capacitance
    return _rooms(circuit, conductors * ohms, farads) is not None


def _contacts(circuit: Circuit, assumed: Parameters) -> float:
    return 2 * len(circuit.switches) * assumed.contact


def _rooms(circuit: Circuit, ohms: float, farads: float) -> tuple[float, float] | None:
    """Return `room` and `room_of_return` by the total of all conductors; None if it is too much."""
    assumed, limits = parameters(circuit.palette), section("lamp")
    (feed,) = circuit.feeds
    (lamp,) = circuit.lamps
    if not lamp.watts:
        return None
    load = circuit.volts**2 / lamp.watts
    contacts = _contacts(circuit, assumed)
    wires = assumed.short + contacts + ohms
    length = assumed.feed_length_m if feed.length_m is None else feed.length_m
    outside = length * ohms_per_metre(feed.size or assumed.size, assumed.celsius) + assumed.terminal
    # No path has more than all ohms together, so each of two returns gets at least this share.
    whole = abs(assumed.source) + 2 * outside + wires + assumed.loose
    amps = circuit.volts / (load + whole)
    share = outside / (2 * outside + wires)
    leakage = 2 * circuit.volts * angular_frequency(assumed) * farads
    counts = assumed.unbalanced_amps + leakage
    if not (
        load / (load + whole) > limits["dim_share"]
        and amps * share > counts
        and leakage < assumed.unbalanced_amps
        and leakage * load < limits["dark_share"] * circuit.volts
        and circuit.volts / load < (feed.breaker_amps or 0.0)
    ):
        return None
    return amps / counts, amps * share / counts
