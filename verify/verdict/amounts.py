"""The volts, amperes and watts behind a claim, by plain nodal analysis of one state."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, cast

import numpy as np

from verify.circuit.parts import End, conductor_name
from verify.circuit.wording import box_words, conductor_words
from verify.electric.numbers import section
from verify.electric.protection import class_a_seconds, general_seconds
from verify.engine.nodal import electrical_subjects
from verify.engine.nodal_analysis import NodalState, highest

SYMBOLS: Final = {"volts": "V", "amperes": "A", "watts": "W"}


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount of something: `of` is a cable, conductor, device or end; `note` what follows."""

    of: str
    value: float
    unit: str
    what: str
    note: str = ""

    @property
    def words(self) -> str:
        """The amount as a clause, without capital and full stop."""
        note = f": {self.note}" if self.note else ""
        return f"{self.what} {amount_text(self.value, self.unit)}{note}"


def amount_text(value: float, unit: str) -> str:
    """Return an amount with as many digits as a person wants to read."""
    digits = 0 if value >= 100 else 1 if value >= 10 else 2
    if 0 < value < 0.095:
        return f"{value * 1000:.{0 if value >= 0.01 else 2}f} m{SYMBOLS[unit]}"
    return f"{value:.{digits}f} {SYMBOLS[unit]}"


def amounts(at: NodalState, claim: str, subject: str | None = None) -> Iterator[Amount]:
    """Yield the amounts behind a claim in a state, about `subject` if the claim is about a part.

    There are amounts for ``trips``, the electrical hazards, and those hazards of connections whose
    amount matters; none for others.
    """
    if claim in _AMOUNTS:
        yield from _AMOUNTS[claim](at, subject)


def tell(at: NodalState, claim: str, subject: str) -> Iterator[str]:
    """Yield what shows an electrical hazard of `subject`, each as a clause without full stop."""
    if claim == "cable-unbalanced":
        yield from _currents(at, subject)
    elif claim == "ground-current":
        yield f"current flows in the grounding conductor {conductor_words(subject)}"
    elif claim == "loose-join":
        yield f"the loose connection of {conductor_words(subject)} carries current"
    else:
        yield f"{subject} has more than its {at.network.circuit.volts:g} V"


def hazard_subjects(at: NodalState, claim: str) -> list[str]:
    """Return the parts that show an electrical hazard in a state, the worst first."""
    found = sorted(electrical_subjects(at, claim), key=lambda item: -item[1])
    return [name for name, _ in found]


def _currents(at: NodalState, cable: str) -> Iterator[str]:
    """Yield what each conductor of a cable carries, and where to."""
    part = next(c for c in at.network.circuit.cables if c.name == cable)
    amperes = at.amperes("conductor")
    names = [conductor_name(cable, colour) for colour in part.conductors]
    # Alternating currents have no direction of their own; they have one to the supply's volts.
    volts = at.network.supplies[0].volts
    for name in names:
        value = amperes.get(name, 0j)
        if abs(value) > at.network.assumed.unbalanced_amps / 10:
            near, far = part.between if (value / volts).real > 0 else part.between[::-1]
            carried = amount_text(abs(value), "amperes")
            yield f"{conductor_words(name)} carries {carried} from {near} to {far}"


def _tripping(at: NodalState, _: str | None) -> Iterator[Amount]:
    for supply in at.network.supplies:
        amps = at.drawn.get(supply.name, 0.0)
        action = _breaker_action(at.network.assumed.breaker, amps / supply.rating)
        if action != _HOLDS or not at.tripped:
            note = f"a breaker of {supply.rating:g} A {action}"
            yield Amount(supply.name, amps, "amperes", f"{supply.name} carries", note)


_HOLDS: Final = "holds"


def _breaker_action(curve: str, multiple: float) -> str:
    """Return what a breaker does with a lasting current, given as a multiple of its rating."""
    limits = section("breaker", curve)
    may_at_once, at_once = cast(list[float], limits["at_once"])
    if multiple > at_once:
        return "trips at once"
    if multiple > may_at_once:
        return "trips at once or within minutes"
    if multiple > limits["trips_in_time"]:
        return "trips within an hour or two, perhaps at once"
    return "may trip after some hours" if multiple > limits["carries"] else _HOLDS


def _unbalanced_currents(at: NodalState, subject: str | None) -> Iterator[Amount]:
    amounts = at.unbalanced()
    cable = subject or highest(amounts)[0]
    yield Amount(
        cable, amounts[cable], "amperes", f"the currents of {cable} add up to", _trip_time(at)
    )


def _ground_currents(at: NodalState, subject: str | None) -> Iterator[Amount]:
    amounts = at.in_ground()
    name, worst = (subject, amounts[subject]) if subject in amounts else highest(amounts)
    if worst > at.network.assumed.unbalanced_amps:
        yield Amount(name, worst, "amperes", f"{conductor_words(name)} carries", _trip_time(at))


def _trip_time(at: NodalState) -> str:
    """Return what residual-current protection at the feed would do, if there were any."""
    amps = max(residuals(at).values(), default=0.0)
    if amps * 1000 < 1:
        return ""
    is_american = at.network.circuit.palette == "us"
    seconds = float((class_a_seconds if is_american else general_seconds)(np.array(amps)))
    device = "class A" if is_american else "30 mA"
    left = amount_text(amps, "amperes")
    if not np.isfinite(seconds):
        return f"{left} do not return to the feed, too little for a {device} device to trip"
    return f"{left} do not return to the feed: a {device} device trips within {seconds:.2g} s"


def residuals(at: NodalState) -> dict[str, float]:
    """Return, for each feed, the amperes that its line and neutral do not return to each other."""
    service = at.amperes("service")
    found = {}
    for supply in at.network.supplies:
        into = 0j
        if supply.name in at.feeding:
            line = at.between(supply.line, "bond")
            into = (supply.volts - line) * supply.siemens
        found[supply.name] = abs(into - service[f"{supply.name}.neutral"])
    return found


def _loose_heat(at: NodalState, subject: str | None) -> Iterator[Amount]:
    amounts = at.loose_watts()
    name, watts = (subject, amounts[subject]) if subject in amounts else highest(amounts)
    amps = (watts / at.network.assumed.loose) ** 0.5
    note = f"{amount_text(amps, 'amperes')} through {at.network.assumed.loose:g} Ω"
    loose = (b.a for b in at.branches if (b.kind, b.name) == ("loose", name))
    box = next(end.box for end in loose if isinstance(end, End))
    where = f"the loose connection in {box_words(box)} heats with"
    yield Amount(name, watts, "watts", where, note)


def _overvoltage(at: NodalState, subject: str | None) -> Iterator[Amount]:
    amounts = at.overloaded()
    name, volts = (subject, amounts[subject]) if subject in amounts else highest(amounts)
    nominal = at.network.circuit.volts
    yield Amount(name, volts, "volts", f"{name} has", f"{volts / nominal:.0%} of its {nominal:g} V")


def _backfed(at: NodalState, subject: str | None) -> Iterator[Amount]:
    """Yield the volts of the far side of the lamp against the ground of the feed."""
    network = at.network
    for lamp in network.wiring.lamps:
        if lamp.name == subject:
            ground = network.node(network.wiring.grounds[0])
            far = min(
                (abs(at.between(network.node(side), ground)), side.part) for side in lamp.sides
            )
            what = f"{lamp.name} at {far[1]}, against ground, has"
            yield Amount(lamp.name, far[0], "volts", what)


_AMOUNTS: Final[Mapping[str, Callable[[NodalState, str | None], Iterator[Amount]]]] = {
    "trips": _tripping,
    "backfed": _backfed,
    "ground-carries-load": _ground_currents,
    "neutral-ground-tied": _ground_currents,
    "cable-unbalanced": _unbalanced_currents,
    "ground-current": _ground_currents,
    "loose-join": _loose_heat,
    "overvoltage": _overvoltage,
}
