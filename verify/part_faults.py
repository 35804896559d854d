"""Failed parts, wrong parts, cables mixed up, and the wrong idea altogether."""

import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import ClassVar, Final

from verify.change import Change, Replacement, Wiring
from verify.circuit import Circuit, Device, Failure, conductor_name
from verify.devices import POSITIONS
from verify.faults import Example, FaultKind, Site
from verify.landing_faults import spoken
from verify.routing import arrangement_of, wire
from verify.schemes import SCHEMES, WRONG_SCHEMES


class ConductorOpen(FaultKind):
    """A conductor broken inside its cable."""

    name: ClassVar[str] = "conductor-open"
    title: ClassVar[str] = "open conductor"
    description: ClassVar[str] = (
        "A conductor is broken somewhere along its cable: a nail, a staple, a nicked wire that "
        "gave way."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every conductor."""
        for cable in wiring.circuit.cables:
            for colour in cable.conductors:
                name = conductor_name(cable.name, colour)
                yield (name,), Change(failure=Failure(self.name, (name,)))

    def in_words(self, site: Site) -> str:
        """What failed."""
        return f"{_capital(spoken(site[0]))} is broken inside the cable."

    def examples(self) -> tuple[Example, ...]:
        """An open traveler."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("box-2-run.white",),
                "misbehaves",
                "An open traveler: the light comes on in one combination of positions only.",
            ),
        )


class ConductorsShorted(FaultKind):
    """Two conductors of a cable that touch."""

    name: ClassVar[str] = "conductors-shorted"
    title: ClassVar[str] = "shorted conductors"
    description: ClassVar[str] = (
        "Two conductors of one cable touch: a screw through the cable, insulation melted or "
        "gnawed away."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every pair of conductors of one cable."""
        for cable in wiring.circuit.cables:
            for pair in itertools.combinations(cable.conductors, 2):
                names = tuple(conductor_name(cable.name, colour) for colour in pair)
                yield names, Change(failure=Failure(self.name, names))

    def in_words(self, site: Site) -> str:
        """What failed."""
        cable, _, one = site[0].partition(".")
        other = site[1].partition(".")[2]
        return f"In the cable {cable}, {one} and {other} touch."

    def examples(self) -> tuple[Example, ...]:
        """A traveler against ground."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("box-2-run.white", "box-2-run.bare"),
                "trips",
                "A grounded traveler trips the breaker whenever the feed's switch selects it.",
            ),
        )


class _ContactFault(FaultKind):
    """What open and welded contacts have in common: every contact of every switch."""

    failed: ClassVar[str]

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every contact of every switch."""
        for switch in wiring.circuit.switches:
            for contact in switch.form.contacts:
                names = (f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}")
                yield names, Change(failure=Failure(self.name, names))

    def in_words(self, site: Site) -> str:
        """What failed."""
        switch, _, one = site[0].partition(".")
        other = site[1].partition(".")[2]
        return f"In {switch}, the contact between {one} and {other} {self.failed}."


class ContactOpen(_ContactFault):
    """A contact that never closes."""

    name: ClassVar[str] = "contact-open"
    title: ClassVar[str] = "contact never closes"
    description: ClassVar[str] = (
        "A contact inside a switch is burnt or broken: it stays open in every position."
    )
    failed: ClassVar[str] = "never closes"

    def examples(self) -> tuple[Example, ...]:
        """A worn contact."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("switch-1.common", "switch-1.traveler-1"),
                "misbehaves",
                "With the first switch up nothing passes, whatever the second does.",
            ),
        )


class ContactWelded(_ContactFault):
    """A contact that never opens."""

    name: ClassVar[str] = "contact-welded"
    title: ClassVar[str] = "contact never opens"
    description: ClassVar[str] = (
        "A contact inside a switch has welded: it stays closed in every position."
    )
    failed: ClassVar[str] = "never opens"

    def examples(self) -> tuple[Example, ...]:
        """Both travelers fed at once."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("switch-1.common", "switch-1.traveler-1"),
                "misbehaves",
                "One traveler is always fed: with the first switch down both are, and the light "
                "stays on.",
            ),
        )


class SwitchStuck(FaultKind):
    """A switch whose handle moves and whose contacts do not."""

    name: ClassVar[str] = "switch-stuck"
    title: ClassVar[str] = "switch stuck"
    description: ClassVar[str] = "The handle moves, the contacts stay in one position."

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every switch, each position."""
        for switch in wiring.circuit.switches:
            for position in POSITIONS:
                failure = Failure(self.name, (switch.name,), position)
                yield (switch.name, position), Change(failure=failure)

    def in_words(self, site: Site) -> str:
        """What failed."""
        return f"The contacts of {site[0]} are stuck in position {site[1]}."

    def examples(self) -> tuple[Example, ...]:
        """A dead handle."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("switch-2", "up"),
                "misbehaves",
                "The light works from the first switch only.",
            ),
        )


class _LampFault(FaultKind):
    """What open and shorted lamps have in common: every lamp."""

    failed: ClassVar[str]

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every lamp."""
        for lamp in wiring.circuit.lamps:
            yield (lamp.name,), Change(failure=Failure(self.name, (lamp.name,)))

    def in_words(self, site: Site) -> str:
        """What failed."""
        return f"{_capital(site[0])} {self.failed}."


class LampOpen(_LampFault):
    """A burnt-out lamp."""

    name: ClassVar[str] = "lamp-open"
    title: ClassVar[str] = "lamp burnt out"
    description: ClassVar[str] = "The lamp is burnt out or loose in its holder: no current passes."
    failed: ClassVar[str] = "is burnt out"

    def examples(self) -> tuple[Example, ...]:
        """The first thing to check."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("lamp",),
                "misbehaves",
                "It never lights; everything else is as it should be.",
            ),
        )


class LampShorted(_LampFault):
    """A lamp or lampholder with a short circuit inside."""

    name: ClassVar[str] = "lamp-shorted"
    title: ClassVar[str] = "lamp shorted"
    description: ClassVar[str] = "The lamp or its holder has a short circuit between its two sides."
    failed: ClassVar[str] = "is shorted between contact and shell"

    def examples(self) -> tuple[Example, ...]:
        """It trips when switched on."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("lamp",),
                "trips",
                "The breaker trips in exactly the states in which the light should be on.",
            ),
        )


class WrongDevice(FaultKind):
    """A switch of another kind in its place."""

    name: ClassVar[str] = "wrong-device"
    title: ClassVar[str] = "wrong device"
    description: ClassVar[str] = (
        "A switch of the wrong kind was put in: a single-pole or a four-way where a three-way "
        "belongs, or a three-way where a four-way belongs."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every three-way as single-pole or four-way, every four-way as three-way."""
        broken = {
            name.partition(".")[0]
            for failure in wiring.circuit.failures
            if failure.kind.startswith("contact")
            for name in failure.at
        }
        for switch in wiring.circuit.switches:
            # A failed contact belongs to the old switch and would go with it.
            if switch.name in broken:
                continue
            options = {"three-way": self._for_three_way, "four-way": self._for_four_way}
            if switch.kind in options:
                for site, kind, landed in options[switch.kind](switch.form.switched_terminals):
                    yield (switch.name, *site), _replacement(wiring, switch, kind, landed)

    @staticmethod
    def _for_three_way(
        terminals: tuple[str, ...],
    ) -> Iterator[tuple[Site, str, dict[str, str]]]:
        for pair in itertools.combinations(terminals, 2):
            yield (
                ("single-pole", "+".join(pair)),
                "single-pole",
                dict(zip(pair, ("s1", "s2"), strict=True)),
            )
        for beside in terminals:
            one, other = (terminal for terminal in terminals if terminal != beside)
            yield ("four-way", beside), "four-way", {beside: "a1", one: "b1", other: "b2"}

    @staticmethod
    def _for_four_way(
        terminals: tuple[str, ...],
    ) -> Iterator[tuple[Site, str, dict[str, str]]]:
        for off in terminals:
            rest = [terminal for terminal in terminals if terminal != off]
            for common in rest:
                one, other = (terminal for terminal in rest if terminal != common)
                landed = {common: "common", one: "traveler-1", other: "traveler-2"}
                yield ("three-way", off, common), "three-way", landed

    def in_words(self, site: Site) -> str:
        """What was put in, and how the old conductors landed on it."""
        switch, kind, *landing = site
        if kind == "single-pole":
            how = f"only the conductors of {' and '.join(landing[0].split('+'))} are landed"
        elif kind == "four-way":
            how = f"the conductor of {landing[0]} shares a side with the unused terminal"
        else:
            how = (
                f"the conductor of {landing[0]} is left off, that of {landing[1]} is on the common"
            )
        return f"{_capital(switch)} was replaced by a {kind} switch; {how}."

    def examples(self) -> tuple[Example, ...]:
        """A single-pole from the spares box."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("switch-2", "single-pole", "common+traveler-1"),
                "misbehaves",
                "A single-pole switch passes one traveler and leaves the other in the air.",
            ),
        )


def _replacement(wiring: Wiring, switch: Device, kind: str, landed: dict[str, str]) -> Change:
    gone = [terminal for terminal in switch.form.switched_terminals if terminal not in landed]
    # A terminal that is no longer there is an end connected to nothing.
    moves = tuple(
        (wiring.number(switch.box, f"{switch.name}.{terminal}"), len(wiring.joins) + offset)
        for offset, terminal in enumerate(gone)
    )
    return Change(moves, replacement=Replacement(switch.name, kind, landed))


class CablesMixed(FaultKind):
    """Conductors of two cables side by side taken for each other."""

    name: ClassVar[str] = "cables-mixed"
    title: ClassVar[str] = "cables mixed up"
    description: ClassVar[str] = (
        "Of two cables side by side, two conductors of the same colour are taken for each other "
        "at both ends. The connections are the same; currents may run one way in one cable and "
        "back in the other."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Two cables between the same boxes: every pair of conductors of the same colour."""
        for one, other in itertools.combinations(wiring.circuit.cables, 2):
            if set(one.between) != set(other.between):
                continue
            for colour in one.conductors:
                if colour in other.conductors:
                    moves = []
                    for box in one.between:
                        pair = [
                            wiring.number(box, conductor_name(cable.name, colour))
                            for cable in (one, other)
                        ]
                        here, there = (wiring.join_of[end] for end in pair)
                        moves += [(pair[0], there), (pair[1], here)]
                    yield (one.name, other.name, colour), Change(tuple(moves))

    def in_words(self, site: Site) -> str:
        """Which conductors."""
        return (
            f"The {site[2]} conductors of the cables {site[0]} and {site[1]} are taken for each "
            "other at both ends."
        )

    def examples(self) -> tuple[Example, ...]:
        """The same connections, another path of the current."""
        return (
            Example(
                "chain",
                "f.L.L.1",
                ("box-1-run", "box-1-run-2", "white"),
                "sound",
                "Every connection is as intended, so no flip of a switch can tell.",
            ),
        )


class WholeCircuit(FaultKind):
    """The whole circuit wired by a scheme that is known to be wrong."""

    name: ClassVar[str] = "whole-circuit"
    title: ClassVar[str] = "wrong scheme"
    description: ClassVar[str] = (
        "The whole circuit was wired by a scheme that passes every flip and is wrong: the switches "
        "in the neutral, or line and neutral on the travelers."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every wrong scheme, on the boxes and devices of this circuit."""
        circuit = wiring.circuit
        arrangement = arrangement_of(circuit)
        if arrangement is None:
            return
        order = [device.name for device in circuit.devices]
        for scheme in WRONG_SCHEMES:
            rewired = wire(scheme, arrangement, circuit.name, order)
            rebuilt: Circuit = replace(rewired, devices=circuit.devices, volts=circuit.volts)
            yield (scheme,), Change(rebuilt=rebuilt)

    def in_words(self, site: Site) -> str:
        """Which scheme."""
        return f"The whole circuit is wired as {SCHEMES[site[0]].title}."

    def examples(self) -> tuple[Example, ...]:
        """The mimics that give the kind its name."""
        return tuple(
            Example("chain", "1.f.1", (scheme,), "mimic", SCHEMES[scheme].description)
            for scheme in WRONG_SCHEMES
        )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


PART_KINDS: Final[tuple[FaultKind, ...]] = (
    ConductorOpen(),
    ConductorsShorted(),
    ContactOpen(),
    ContactWelded(),
    SwitchStuck(),
    LampOpen(),
    LampShorted(),
    WrongDevice(),
    CablesMixed(),
    WholeCircuit(),
)
