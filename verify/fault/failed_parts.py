"""Failed parts: conductors, contacts, switches and lamps that no longer do their work."""

import itertools
from collections.abc import Iterator
from typing import ClassVar, Final

from verify.base.sentences import capital
from verify.circuit.devices import POSITIONS
from verify.circuit.parts import Failure, conductor_name
from verify.circuit.wording import box_words, spoken
from verify.fault.change import Change, Wiring
from verify.fault.contract import Example, FaultKind, Site


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
        return f"{capital(spoken(site[0]))} is broken inside the cable."

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


class LooseJoin(FaultKind):
    """A connection that conducts badly."""

    name: ClassVar[str] = "loose-join"
    title: ClassVar[str] = "loose connection"
    description: ClassVar[str] = (
        "A screw or wire connector is loose: the connection still conducts, with some ohms, and "
        "heats whenever a load draws current through it."
    )

    def changes(self, wiring: Wiring) -> Iterator[tuple[Site, Change]]:
        """Every join of two ends or more: its first end hangs on by a bad contact."""
        for join in wiring.joins:
            if len(join) > 1:
                end = wiring.circuit.ends[join[0]]
                failure = Failure(self.name, (end.name,), box=end.box)
                yield (end.box, end.name), Change(failure=failure)

    def in_words(self, site: Site) -> str:
        """What is loose."""
        return f"In {box_words(site[0])}, {spoken(site[1])} is loose in its join."

    def examples(self) -> tuple[Example, ...]:
        """The splice that glows."""
        return (
            Example(
                "chain",
                "1.f.1",
                ("lamp-box", "lamp.contact"),
                "mimic",
                "The light works from everywhere; the loose connection heats while it is lit.",
                by_connections="sound",
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
        return f"{capital(site[0])} {self.failed}."


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


PART_KINDS: Final[tuple[FaultKind, ...]] = (
    ConductorOpen(),
    ConductorsShorted(),
    ContactOpen(),
    ContactWelded(),
    SwitchStuck(),
    LampOpen(),
    LampShorted(),
    LooseJoin(),
)
