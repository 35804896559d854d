"""Readings of meters in a circuit, point by point, for commands and pages."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TypedDict

from verify.behaviour.findings import position
from verify.circuit.devices import Position
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.electric.numbers import Parameters, parameters
from verify.electric.readings import Reading, points, readings
from verify.electric.sizes import unreadable_sizes
from verify.engine.paths import WireGraph
from verify.verdict.walk import place_words

#: In circuits of more states readings are not computed for all states.
MOST_STATES: Final = 64

RETURNS: Final = ("neutral", "ground")
_DECIMALS: Final = 3
_VOLT: Final = 1.0


@dataclass(frozen=True, slots=True)
class ProbePoint:
    """A point that a probe can touch: its `ends`, the best known first, and its `words`."""

    box: str
    ends: tuple[End, ...]
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """The readings between two points, in the order of the states that were asked for."""

    point: ProbePoint
    against: ProbePoint
    readings: tuple[Reading, ...]


class PointForm(TypedDict):
    """A point as JSON: its name, its box, and its ends as circuit files write them."""

    name: str
    box: str
    ends: list[str]


class ReadingForm(TypedDict):
    """A state by number as JSON, with the volts on an ordinary and on a low-impedance meter."""

    state: int
    high: float
    low: float
    phantom: bool


class MeasuredForm(TypedDict):
    """The readings between two points as JSON."""

    point: PointForm
    against: PointForm
    states: list[ReadingForm]


def all_points(circuit: Circuit) -> list[ProbePoint]:
    """Return every point: first those at a side of a lamp, then those at switches, then the rest.

    Raises `CircuitError` where a size says nothing of resistance.
    """
    wiring = WireGraph(circuit)

    def rank(end: End) -> int:
        device = next((d for d in circuit.devices if d.name == end.owner), None)
        if device is None:
            return 4
        if end.part == "ground":
            return 3
        return 0 if device in circuit.lamps else 1 if device.form.is_switch else 2

    found = [tuple(sorted(ends, key=rank)) for ends in points(circuit)]
    return [
        ProbePoint(ends[0].box, ends, tuple(place_words(wiring, end) for end in ends))
        for ends in sorted(found, key=lambda ends: rank(ends[0]))
    ]


def point_of(every: Iterable[ProbePoint], end: End) -> ProbePoint:
    """Return the point to which an end belongs."""
    return next(point for point in every if end in point.ends)


def pairs_to(
    circuit: Circuit, every: Sequence[ProbePoint], terminal: str
) -> list[tuple[ProbePoint, ProbePoint]]:
    """Pair every point with a terminal of the first feed, ``neutral`` or ``ground``."""
    against = point_of(every, circuit.terminal(circuit.feed, terminal))
    return [(point, against) for point in every if point != against]


def measured(
    circuit: Circuit, pairs: Sequence[tuple[ProbePoint, ProbePoint]], states: Sequence[int]
) -> list[Measured]:
    """Compute the readings between pairs of points in some states."""
    read = iter(readings(circuit, [(a.ends[0], b.ends[0]) for a, b in pairs], states=states))
    return [Measured(a, b, tuple(next(read) for _ in states)) for a, b in pairs]


def against_returns(circuit: Circuit, states: Sequence[int]) -> dict[str, list[Measured]]:
    """Compute the readings of every point against neutral and against ground, in some states.

    Raises `CircuitError` where a size says nothing of resistance.
    """
    every = all_points(circuit)
    pairs = {terminal: pairs_to(circuit, every, terminal) for terminal in RETURNS}
    found = iter(measured(circuit, [pair for part in pairs.values() for pair in part], states))
    return {terminal: [next(found) for _ in part] for terminal, part in pairs.items()}


def why_not(circuit: Circuit, most_states: int = MOST_STATES) -> str:
    """Return why the readings of a circuit in all states are not computed; empty if they are."""
    states = 1 << len(circuit.switches)
    if states > most_states:
        return f"{states:,} states are more than the {most_states} that are computed as a whole"
    return "; ".join(map(str, unreadable_sizes(circuit)))


class ReadingsForm(TypedDict):
    """The readings of a circuit against neutral and ground in every state, as JSON.

    Where `readings_computed` is false the list is empty and `readings_note` says why; where it is
    true the note says what the readings rest on.
    """

    readings_computed: bool
    readings_note: str
    readings: list[MeasuredForm]


def readings_form(circuit: Circuit) -> ReadingsForm:
    """Return the readings that ``miswire check --json`` contains."""
    refusal = why_not(circuit)
    if refusal:
        return ReadingsForm(
            readings_computed=False, readings_note=f"Not computed: {refusal}.", readings=[]
        )
    found = against_returns(circuit, range(1 << len(circuit.switches)))
    return ReadingsForm(
        readings_computed=True,
        readings_note=assumed_words(circuit),
        readings=measured_forms([item for part in found.values() for item in part]),
    )


def measured_forms(found: Iterable[Measured]) -> list[MeasuredForm]:
    """Return readings as JSON."""
    return [
        MeasuredForm(
            point=_point_form(item.point),
            against=_point_form(item.against),
            states=list(map(_reading_form, item.readings)),
        )
        for item in found
    ]


def _point_form(point: ProbePoint) -> PointForm:
    return PointForm(
        name=", ".join(point.words), box=point.box, ends=[end.name for end in point.ends]
    )


def _reading_form(reading: Reading) -> ReadingForm:
    return ReadingForm(
        state=reading.state,
        high=round(reading.high, _DECIMALS),
        low=round(reading.low, _DECIMALS),
        phantom=reading.phantom,
    )


def positions(circuit: Circuit, state: int) -> dict[str, Position]:
    """Return the position of each switch in a state."""
    return {switch.name: position(state, number) for number, switch in enumerate(circuit.switches)}


def agree(reading: Reading) -> bool:
    """Return whether both meters read the same, as far as a person can see."""
    return reading.high - reading.low < _VOLT


def assumed_words(circuit: Circuit) -> str:
    """Return the assumed values that the readings rest on, as a sentence."""
    assumed = parameters(circuit.palette)
    return (
        f"Assumed: {', '.join(_assumed(circuit, assumed))}; lamps as constant resistances, meters "
        f"of {assumed.high_meter / 1e6:g} MΩ and {assumed.low_meter / 1e3:g} kΩ, breakers that "
        "have acted."
    )


def _assumed(circuit: Circuit, assumed: Parameters) -> Iterator[str]:
    if any(cable.length_m is None for cable in circuit.cables):
        yield f"{assumed.length_m:g} m for a cable without a length"
    sizes = [cable.size for cable in circuit.cables] + [feed.size for feed in circuit.feeds]
    if None in sizes:
        yield f"{assumed.size} where no size is given"
    if any(feed.length_m is None for feed in circuit.feeds):
        yield f"{assumed.feed_length_m:g} m from the service to a feed"
    yield f"{assumed.capacitance * 1e12:g} pF a metre between conductors of a cable"
