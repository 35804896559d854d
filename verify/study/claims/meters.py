"""Claims about meters: phantom voltage, continuity, and where line is to be found."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from verify.base.sentences import with_and
from verify.behaviour.findings import position, states_in
from verify.circuit.devices import POSITIONS, Position
from verify.circuit.parts import Device, Failure
from verify.electric.numbers import parameters
from verify.electric.readings import Reading, ground_readings, readings
from verify.engine.words import terminals
from verify.study.claims.cases import Study, StudyCase
from verify.study.claims.contract import (
    CircuitSource,
    Claim,
    ClaimAnswer,
    ClaimBench,
    Every,
    counterexample,
    scope,
)
from verify.study.claims.domains import TWO, TWO_AND_THREE
from verify.study.claims.vocabulary import scheme_title

_THEME: Final = "what meters say"


@dataclass(frozen=True, slots=True)
class ReadsLive:
    """The claim that a screw is connected to line wherever a meter reads a voltage to ground.

    With `low` the low-impedance meter's reading counts, else the ordinary one's. `of` are fault
    kinds; without any, the claim is about circuits as intended.
    """

    source: CircuitSource
    low: bool
    of: tuple[str, ...] = ()
    because: str = ""

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Compare every reading that counts as voltage with the connections."""
        cases = against = circuits = 0
        first: tuple[StudyCase, _Reading] | None = None
        for study in bench.studies(self.source):
            circuits += 1
            found = list(study.cases(self.of)) if self.of else [study.intended]
            for case, reading in self._readings(study, found):
                cases += 1
                if not case.live(reading.terminal) >> reading.state & 1:
                    against += 1
                    first = first or (case, reading)
        told = (
            "exhaustive: every screw of lamp and switches in every state at which "
            f"{'a low-impedance' if self.low else 'an ordinary'} meter reads "
            f"{parameters('us').phantom_volts:g} V or more to ground, {cases:,} of them in "
            f"{circuits:,} circuits, by the electrical solution; {against:,} are against it"
        )
        shown = None
        if first is not None:
            case, reading = first
            shown = counterexample(case, f"{_reads(case, reading)} {self.because}")
        return ClaimAnswer(
            "refuted" if against else "proved",
            scope((self.source,), self.of),
            told,
            cases,
            against,
            shown,
        )

    def _readings(
        self, study: Study, cases: Sequence[StudyCase]
    ) -> Iterator[tuple[StudyCase, "_Reading"]]:
        """Yield every reading that counts as voltage, in states that do not trip."""
        names = terminals(study.circuit)
        read = ground_readings(study.circuit, [case.fault for case in cases], names)
        least = parameters(study.circuit.palette).phantom_volts
        for row, state, place in np.argwhere((read.low if self.low else read.high) >= least):
            if not cases[row].trips >> int(state) & 1:
                high, low = (float(volts[row, state, place]) for volts in (read.high, read.low))
                yield cases[row], _Reading(names[place], int(state), high, low)


class _Reading(NamedTuple):
    """The readings of two meters at a terminal in a state, in volts."""

    terminal: str
    state: int
    high: float
    low: float


def _reads(case: StudyCase, reading: _Reading) -> str:
    """Return what the meters read at a point, in words."""
    handles = with_and(
        f"{switch.name} {position(reading.state, number)}"
        for number, switch in enumerate(case.circuit.switches)
    )
    return (
        f"With {handles}, {reading.terminal} is connected to line by no wire and no contact; to "
        f"ground an ordinary meter of 10 MΩ reads {reading.high:.0f} V there, a low-impedance one "
        f"{reading.low:.0f} V."
    )


@dataclass(frozen=True, slots=True)
class PhantomAtLamp:
    """The claim that a lampholder without its lamp reads a phantom voltage in every dark state.

    The voltage is between its sides.
    """

    source: CircuitSource

    def answer(self, bench: ClaimBench) -> ClaimAnswer:
        """Measure across every empty lampholder."""
        cases = against = circuits = 0
        first: tuple[StudyCase, Reading] | None = None
        holds = 0
        for study in bench.studies(self.source):
            circuits += 1
            (case,) = study.cases(("lamp-open",))
            circuit = case.fault.apply(case.circuit)
            (lamp,) = circuit.lamps
            pair = circuit.terminal(lamp, "contact"), circuit.terminal(lamp, "shell")
            dark = [*states_in(case.intended.dark)]
            missing = [r for r in readings(circuit, [pair], states=dark) if not r.phantom]
            cases += len(dark)
            against += len(missing)
            holds += not missing
            if missing and first is None:
                first = case, missing[0]
        told = (
            f"exhaustive: {cases:,} dark states of {circuits:,} circuits "
            f"whose lamp is taken out, by the electrical solution; {against:,} are against it"
        )
        status = "proved" if not against else "depends" if holds else "refuted"
        if status == "depends":
            told += f"; it holds in every dark state of {holds:,} of the circuits"
        if first is None:
            return ClaimAnswer(status, scope((self.source,), ("lamp-open",)), told, cases, against)
        case, reading = first
        volts = (
            f"Across the empty lampholder an ordinary meter reads {reading.high:.1f} V in a state "
            "in which the light should be off."
        )
        found = counterexample(case, volts)
        return ClaimAnswer(
            status, scope((self.source,), ("lamp-open",)), told, cases, against, found
        )


def _continuity(switch: Device, failure: Failure | None) -> dict[Position, set[frozenset[str]]]:
    """Return which screws of a disconnected switch have continuity, by position."""
    found: dict[Position, set[frozenset[str]]] = {}
    for where in POSITIONS:
        handle = where
        if failure is not None and failure.kind == "switch-stuck":
            handle = failure.position or where
        pairs = set()
        for contact in switch.form.contacts:
            names = (f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}")
            closed = contact.up if handle == "up" else contact.down
            if failure is not None and {*names} == {*failure.at}:
                closed = failure.kind == "contact-welded"
            if closed:
                pairs.add(frozenset((contact.a, contact.b)))
        # A path may lead through one closed contact and then another.
        pairs |= {one ^ other for one, other in combinations(pairs, 2) if len(one ^ other) == 2}
        found[where] = pairs
    return found


def _taken_for_common(switch: Device, failure: Failure | None) -> set[str]:
    """Return the screws that have continuity to one other screw alone, then to another alone."""
    at = _continuity(switch, failure)
    screws = switch.form.switched_terminals
    named = set()
    for screw in screws:
        alone = {
            where: [other for other in screws if frozenset((screw, other)) in pairs]
            for where, pairs in at.items()
        }
        partners = [others[0] for others in alone.values() if len(others) == 1]
        if len(set(partners)) == 2:
            named.add(screw)
    return named


def _failed_three_way(case: StudyCase) -> Device | None:
    name = case.fault.site[0].partition(".")[0]
    switch = case.circuit.device(name)
    return switch if switch.kind == "three-way" else None


def _good_switch(case: StudyCase) -> bool:
    three_ways = [switch for switch in case.circuit.switches if switch.kind == "three-way"]
    return all(_taken_for_common(switch, None) == {"common"} for switch in three_ways)


def _any_switch(case: StudyCase) -> bool | None:
    switch = _failed_three_way(case)
    if switch is None:
        return None
    return _taken_for_common(switch, case.fault.change.failure) == {"common"}


def _never_wrong(case: StudyCase) -> bool | None:
    switch = _failed_three_way(case)
    if switch is None:
        return None
    return _taken_for_common(switch, case.fault.change.failure) <= {"common"}


def _hot_in_feed_box(case: StudyCase) -> bool:
    boxes = {
        switch.box
        for switch in case.circuit.switches
        for part in switch.form.switched_terminals
        if case.live(f"{switch.name}.{part}") == case.everything
    }
    return boxes == {case.circuit.feed.box}


def _where_the_feed_is(case: StudyCase) -> str:
    first = case.circuit.switches[0].box == case.circuit.feed.box
    where = "arriving at the first switch" if first else "arriving elsewhere"
    return f"{scheme_title(case)} with the feed {where}"


_WORN: Final = ("contact-open", "contact-welded", "switch-stuck")
CLAIMS: Final = (
    Claim(
        "reading-proves-live",
        _THEME,
        "A voltage reading proves that the wire is live.",
        "In a circuit as intended, every screw at which an ordinary meter of 10 MΩ reads a "
        "voltage to ground is connected to line.",
        ReadsLive(
            TWO,
            low=False,
            because="It hangs on nothing but the capacitance to the hot wires beside it: a "
            "phantom. A wire is not proved live by a reading on a meter that draws no current, and "
            "no reading on any meter is a reason to touch one.",
        ),
    ),
    Claim(
        "low-impedance-reading-proves-live-when-healthy",
        _THEME,
        "In a circuit without a mistake, a reading on a low-impedance meter is line.",
        "In a circuit as intended, every screw at which a low-impedance meter reads a voltage to "
        "ground is connected to line.",
        ReadsLive(TWO, low=True),
    ),
    Claim(
        "low-impedance-reading-proves-live",
        _THEME,
        "A reading on a low-impedance meter proves that a wire leads to line.",
        "With something left off or broken, every screw at which a low-impedance meter reads a "
        "voltage to ground is connected to line by wires and contacts.",
        ReadsLive(
            TWO,
            low=True,
            of=("left-off", "conductor-open"),
            because="The voltage comes through the lamp, whose other side has lost its way back: "
            "no wire leads there from line, and it can kill as well as one that does.",
        ),
    ),
    Claim(
        "phantom-feeds-dark-lamp",
        _THEME,
        "A light-emitting-diode lamp glows when it is off because of the travelers.",
        "With the lamp taken out there is a phantom voltage across the lampholder in every dark "
        "state. What such a lamp does with it is not in the model.",
        PhantomAtLamp(TWO_AND_THREE),
    ),
    Claim(
        "continuity-finds-common",
        _THEME,
        "With the power off, the screw with continuity to one of the others and then to the other "
        "is the common.",
        "On a good three-way off its wires, the common, and no other screw, has continuity to each "
        "of the two others alone in one of the two positions.",
        Every((TWO,), _good_switch),
    ),
    Claim(
        "continuity-finds-common-of-any-switch",
        _THEME,
        "Continuity finds the common of any three-way switch.",
        "On a three-way off its wires with a failed contact or stuck, the common, and no other "
        "screw, has continuity to each of the two others alone in one of the two positions.",
        Every(
            (TWO,),
            _any_switch,
            _WORN,
            "On this switch no screw has continuity to each of the others in turn, and the rule "
            "finds none. That is worth knowing: a switch on which it finds no common is bad.",
        ),
    ),
    Claim(
        "continuity-never-names-wrong",
        _THEME,
        "Continuity never names a wrong screw as the common.",
        "On a three-way off its wires with a failed contact or stuck, no screw but the common has "
        "continuity to each of the two others alone in one of the two positions.",
        Every((TWO,), _never_wrong, _WORN),
    ),
    Claim(
        "always-hot-box-is-the-feeds",
        _THEME,
        "The switch box with a conductor that is hot in every state is the one with the feed.",
        "In a circuit as intended, the box where the feed arrives, and no other, has a switch with "
        "a screw that is live in every state.",
        Every(
            (TWO_AND_THREE,),
            _hot_in_feed_box,
            because="Line travels on from where the feed arrives: here the always-hot wire on a "
            "switch came through another box, or several switches have one.",
            by=_where_the_feed_is,
        ),
    ),
)
