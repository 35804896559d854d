"""Evidence: why a claim about a circuit holds, as a state and paths in words.

The engine *paths* finds it, whichever engine made the claim, so finding it checks a claim of
*words*, *volts*, *bdd* or the sweep with code that the claimant does not share (see
`tests/project/test_independence.py`). A claim that does not hold is a `BugError`. Volts, amperes
and watts come from plain nodal analysis (`verify.engine.nodal_analysis`).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal

from verify.base.problems import BugError
from verify.base.telling import Passage, plain
from verify.circuit.devices import Position
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End
from verify.circuit.wording import box_words, conductor_words
from verify.electric.sizes import unreadable_sizes
from verify.engine.nodal_analysis import NodalNetwork, NodalState
from verify.engine.paths import Lamp, StateGraph, WireGraph
from verify.hazard.definitions import ELECTRICAL
from verify.verdict.amounts import Amount, amount_text, amounts, hazard_subjects, tell
from verify.verdict.walk import Tracer, Walk, place_words

_Telling = Iterator[str | Walk]


@dataclass(frozen=True, slots=True)
class Evidence:
    """Why `claim` (``trips``, ``misbehaves`` or a hazard's name) holds.

    `positions` names every switch with its position in `state`. `lamp`, `switch` and `part` say
    what the claim is about: `part` is a conductor or an end, written as in the circuit file.
    `path_words` are sentences without capital and full stop; `walks` are the paths among them,
    for ``misbehaves`` those in the state after moving `switch` too. `amounts` say how much.
    """

    claim: str
    state: int
    positions: tuple[tuple[str, Position], ...]
    path_words: tuple[str, ...]
    walks: tuple[Walk, ...]
    switch: str | None = None
    lamp: str | None = None
    part: str | None = None
    amounts: tuple[Amount, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """The paths and then the amounts, as clauses without capital and full stop."""
        return *self.path_words, *(amount.words for amount in self.amounts)

    def __repr__(self) -> str:
        where = ", ".join(f"{name} {position}" for name, position in self.positions)
        shown_with = Passage(f"{self.claim}, shown with {where}:")
        return plain([[shown_with, *(Passage(words, marker="- ") for words in self.words)]])


@dataclass(frozen=True, slots=True)
class Coverage:
    """What is behind ``sound`` and ``mimic``: an engine went through that many states."""

    claim: Literal["sound", "mimic"]
    engine: str
    states: int

    @property
    def words(self) -> tuple[str, ...]:
        """The number of states as a clause without capital and full stop."""
        return (f"the engine {self.engine} went through all {self.states:,} combinations",)


def find_evidence(
    circuit: Circuit, claim: str, state: int, switch: str | None = None, lamp: str | None = None
) -> Evidence:
    """Return evidence for one claim; to find several about one circuit, keep a `Prover`."""
    return Prover(circuit).find(claim, state, switch, lamp)


class Prover:
    """Finds the evidence for claims about one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self._wiring = WireGraph(circuit)
        self._states: dict[int, StateGraph] = {}
        self._flows: dict[int, NodalState] = {}
        self._lamps = {lamp.name: lamp for lamp in self._wiring.lamps}
        self._switches = [switch.name for switch in circuit.switches]
        self._has_volts = not unreadable_sizes(circuit)

    def find(
        self, claim: str, state: int, switch: str | None = None, lamp: str | None = None
    ) -> Evidence:
        """Return evidence that `claim` holds in `state`.

        ``misbehaves`` needs the switch that is moved and the lamp that does not change. For a
        hazard `lamp` or `switch` selects the subject; by default it is the first. Raises BugError
        if the claim does not hold there, ValueError for a claim or state that does not exist.
        """
        if not 0 <= state < 1 << len(self._switches):
            raise ValueError(f"state={state} does not exist with {len(self._switches)} switches")
        if claim == "trips":
            return self._evidence(claim, state, self._trips(state))
        if claim == "misbehaves":
            if switch not in self._switches or lamp not in self._lamps:
                raise ValueError(f"switch={switch} and lamp={lamp} must be of this circuit")
            telling = self._misbehaves(state, switch, self._lamps[lamp])
            return self._evidence(claim, state, telling, switch=switch, lamp=lamp)
        if claim not in _HAZARDS and claim not in ELECTRICAL:
            raise ValueError(f"claim={claim!r} has no state as its evidence")
        return self._hazard(claim, state, switch or lamp)

    def _at(self, state: int) -> StateGraph:
        if state not in self._states:
            self._states[state] = StateGraph(self._wiring, state)
        return self._states[state]

    @cached_property
    def _network(self) -> NodalNetwork:
        return NodalNetwork(self._wiring.circuit)

    def _flow(self, state: int) -> NodalState:
        if state not in self._flows:
            self._flows[state] = self._network.at(state)
        return self._flows[state]

    def _evidence(
        self,
        claim: str,
        state: int,
        telling: _Telling,
        *,
        switch: str | None = None,
        lamp: str | None = None,
        part: str | None = None,
    ) -> Evidence:
        told = list(telling)
        return Evidence(
            claim,
            state,
            tuple(zip(self._switches, self._wiring.positions(state), strict=True)),
            tuple(map(_item_words, told)),
            tuple(item for item in told if isinstance(item, Walk)),
            switch,
            lamp,
            part,
            tuple(amounts(self._flow(state), claim, switch or lamp or part))
            if self._has_volts
            else (),
        )

    def _refuse(self, claim: str, state: int, subject: str | None = None) -> BugError:
        positions = zip(self._switches, self._wiring.positions(state), strict=True)
        where = ", ".join(f"{name} {position}" for name, position in positions)
        about = f" of {subject}" if subject else ""
        return BugError(
            f"engine paths does not find '{claim}'{about} with {where} in circuit "
            f"{self._wiring.circuit.name!r}"
        )

    def _trips(self, state: int) -> _Telling:
        at = self._at(state)
        if not at.trips:
            tripped = self._flow(state).tripped if self._has_volts else []
            if not tripped:
                raise self._refuse("trips", state)
            for supply in tripped:
                yield f"{supply.name} carries more than its breaker of {supply.rating:g} A holds"
            return
        wiring = self._wiring
        if at.crossed is not None:
            line, other = at.crossed
            yield "lines of feeds on different legs are connected"
            yield Tracer(at).walk("line", [line], [other])
            return
        neutrals = [end for end in wiring.neutrals if at.is_live(end)]
        yield Tracer(at).walk("line", wiring.lines, neutrals or wiring.grounds)

    def _misbehaves(self, state: int, switch: str, lamp: Lamp) -> _Telling:
        number = self._switches.index(switch)
        before, after = self._at(state), self._at(state ^ 1 << number)
        moved = f"with {switch} moved to {self._wiring.positions(after.state)[number]}"
        lights = [self._light_by_volts(at, lamp) for at in (before, after)]
        if any(lights) and not (before.trips or after.trips):
            lights = [self._flow(at.state).light(self._device(lamp)) for at in (before, after)]
            if {*lights} == {"dark", "lit"}:
                raise self._refuse("misbehaves", state, f"{switch} and {lamp.name}")
            yield f"{lamp.name} is {self._light_words(before, lamp)}"
            yield f"{moved}, {lamp.name} is {self._light_words(after, lamp)}"
            return
        lit = before.lit_sides(lamp) is not None
        if before.trips or after.trips or lit != (after.lit_sides(lamp) is not None):
            raise self._refuse("misbehaves", state, f"{switch} and {lamp.name}")
        condition, details = _condition(before, lamp)
        yield f"{lamp.name} is {condition}"
        yield from details
        new_condition, new_details = _condition(after, lamp)
        if new_condition == condition and [*map(_item_words, new_details)] == [
            *map(_item_words, details)
        ]:
            same = "lit in the same way" if lit else "dark for the same reason"
            yield f"{moved}, {lamp.name} is still {same}"
        else:
            yield f"{moved}, {lamp.name} is still {new_condition}"
            yield from new_details

    def _device(self, lamp: Lamp) -> Device:
        return self._wiring.circuit.device(lamp.name)

    def _light_by_volts(self, at: StateGraph, lamp: Lamp) -> str:
        """Return what a lamp does if volts contradict connections, else an empty text."""
        if not self._has_volts:
            return ""
        light = self._flow(at.state).light(self._device(lamp))
        return "" if light == ("lit" if at.lit_sides(lamp) else "dark") else light

    def _light_words(self, at: StateGraph, lamp: Lamp) -> str:
        flow = self._flow(at.state)
        volts = amount_text(flow.across(self._device(lamp)), "volts")
        nominal = self._wiring.circuit.volts
        return f"{flow.light(self._device(lamp))}: {volts} of {nominal:g} V across it"

    def _hazard(self, claim: str, state: int, wanted: str | None) -> Evidence:
        at = self._at(state)
        if claim in ELECTRICAL:
            solved = self._has_volts and not at.trips
            subjects = hazard_subjects(self._flow(state), claim) if solved else []
        else:
            subjects = list(at.subjects(claim))
        if not subjects or (wanted is not None and wanted not in subjects):
            raise self._refuse(claim, state, wanted)
        subject = subjects[0] if wanted is None else wanted
        return self._evidence(
            claim,
            state,
            tell(self._flow(state), claim, subject)
            if claim in ELECTRICAL
            else _HAZARDS[claim](at, subject),
            switch=subject if subject in self._switches else None,
            lamp=subject if subject in self._lamps else None,
            part=None if subject in self._switches or subject in self._lamps else subject,
        )


def _item_words(item: str | Walk) -> str:
    return item.words if isinstance(item, Walk) else item


def _lamp_named(at: StateGraph, name: str) -> Lamp:
    return next(lamp for lamp in at.wiring.lamps if lamp.name == name)


def _condition(at: StateGraph, lamp: Lamp) -> tuple[str, list[str | Walk]]:
    """Return what a lamp does, as the end of a sentence about it, and what shows it."""
    if at.lit_sides(lamp):
        return "lit", list(_lit(at, lamp))
    tracer = Tracer(at)
    live = [side for side in lamp.sides if at.is_live(side)]
    shown: list[str | Walk] = [tracer.walk("line", at.wiring.lines, [side]) for side in live]
    if lamp.failed:
        how = "shorted" if at.wiring.has_failed("lamp-shorted", lamp.name) else "open"
        return f"dark: it has failed ({how})", shown
    if len(live) == 2:
        return "dark: line reaches both of its sides", shown
    if not live:
        several = len(at.wiring.lines) > 1
        return "dark: line does not reach it", [
            f"line{f' of {line.owner}' if several else ''} {tracer.reach(line)}"
            for line in at.wiring.lines
        ]
    (other,) = (side for side in lamp.sides if side not in live)
    reason = f"dark: line reaches its {live[0].part} but no return leads from its {other.part}"
    return reason, [*shown, _way_from(at, other)]


def _lit(at: StateGraph, lamp: Lamp, to_ground: bool = False) -> _Telling:
    """Return the path to a lit lamp and the one back, to the feed's neutral if possible."""
    sides = at.lit_sides(lamp)
    if sides is None:
        raise BugError(f"{lamp.name} is not lit in state {at.state}")
    live, back = sides
    tracer = Tracer(at)
    to_neutral = at.is_neutral(back) and not to_ground
    yield tracer.walk("line", at.wiring.lines, [live])
    yield tracer.walk("the return", [back], at.wiring.neutrals if to_neutral else at.wiring.grounds)


def _way_from(at: StateGraph, end: End) -> str:
    return f"{place_words(at.wiring, end)} {Tracer(at).reach(end)}"


def _way_by_wire_from(at: StateGraph, end: End) -> str:
    place = place_words(at.wiring, end)
    return f"by conductors alone {place} {Tracer(at, by_wire=True).reach(end)}"


def _tell_live_dark(at: StateGraph, name: str) -> _Telling:
    condition, details = _condition(at, _lamp_named(at, name))
    yield f"{name} is {condition}"
    yield from details


def _tell_reversed(at: StateGraph, name: str) -> _Telling:
    return _lit(at, _lamp_named(at, name))


def _tell_neutral_switched(at: StateGraph, name: str) -> _Telling:
    lamp = _lamp_named(at, name)
    yield from _lit(at, lamp)
    back = next(side for side in lamp.sides if not at.is_live(side))
    yield _way_by_wire_from(at, back)


def _tell_both_poles(at: StateGraph, name: str) -> _Telling:
    wiring = at.wiring
    on_line, on_return = next(
        ends for switch, *ends in wiring.switches_on_both_poles if switch.name == name
    )
    tracer = Tracer(at, by_wire=True)
    yield tracer.walk("line", wiring.lines, [on_line])
    if any(wiring.are_wired(on_return, neutral) for neutral in wiring.neutrals):
        yield tracer.walk("neutral", wiring.neutrals, [on_return])
    else:
        yield tracer.walk("ground", wiring.grounds, [on_return])


def _tell_metal_live(at: StateGraph, name: str) -> _Telling:
    yield Tracer(at).walk("line", at.wiring.lines, [_metal_part(at, name)])


def _tell_metal_floating(at: StateGraph, name: str) -> _Telling:
    yield _way_by_wire_from(at, _metal_part(at, name))


def _metal_part(at: StateGraph, name: str) -> End:
    return next(end for end in at.wiring.metal_parts if end.name == name)


def _tell_ground_wire_live(at: StateGraph, name: str) -> _Telling:
    yield Tracer(at).walk("line", at.wiring.lines, at.wiring.conductors[name].ends)


def _tell_ground_carries_load(at: StateGraph, name: str) -> _Telling:
    return _lit(at, _lamp_named(at, name), to_ground=True)


def _tell_neutral_ground_tied(at: StateGraph, _: str) -> _Telling:
    yield Tracer(at).walk("neutral", at.wiring.neutrals, at.wiring.grounds)


def _tell_live_stub(at: StateGraph, name: str) -> _Telling:
    conductor = at.wiring.conductors[name]
    live_stubs = [end for end in conductor.free_ends if at.is_live(end)]
    # Of a broken conductor the joined end may be the live one.
    goals = live_stubs or conductor.ends
    walk = Tracer(at).walk("line", at.wiring.lines, goals)
    yield walk
    stub = walk.ends[-1] if live_stubs else conductor.free_ends[0]
    yield f"{conductor_words(name)} is joined to nothing in {box_words(stub.box)}"


def _tell_backfed(at: StateGraph, name: str) -> _Telling:
    live, other = sorted(_lamp_named(at, name).sides, key=at.is_live, reverse=True)
    yield Tracer(at).walk("line", at.wiring.lines, [live])
    yield _way_from(at, other)


def _tell_receptacle_switched(at: StateGraph, name: str) -> _Telling:
    line, neutral = next(
        (line, neutral) for device, line, neutral in at.wiring.receptacles if device.name == name
    )
    if at.is_live(neutral):
        yield f"{name} is reversed: line reaches its neutral terminal"
        yield Tracer(at).walk("line", at.wiring.lines, [neutral])
        return
    if not at.is_live(line):
        yield f"{name} is dead: line does not reach its line terminal"
        yield _way_from(at, line)
    if not at.has_return(neutral):
        yield f"{name} is dead: no return leads from its neutral terminal"
        yield _way_from(at, neutral)


_HAZARDS: Final[Mapping[str, Callable[[StateGraph, str], _Telling]]] = {
    "lamp-live-dark": _tell_live_dark,
    "lamp-reversed": _tell_reversed,
    "neutral-switched": _tell_neutral_switched,
    "both-poles-on-switch": _tell_both_poles,
    "metal-live": _tell_metal_live,
    "metal-floating": _tell_metal_floating,
    "ground-wire-live": _tell_ground_wire_live,
    "ground-carries-load": _tell_ground_carries_load,
    "neutral-ground-tied": _tell_neutral_ground_tied,
    "live-stub": _tell_live_stub,
    "backfed": _tell_backfed,
    "receptacle-switched": _tell_receptacle_switched,
}
