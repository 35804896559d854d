"""Failed parts: conductors, contacts, switches, lamps and joins that no longer do their work."""

import itertools
from collections.abc import Iterator
from typing import ClassVar, Final

from verify.base.sentences import capital
from verify.circuit.devices import POSITIONS
from verify.circuit.parts import Failure, conductor_name
from verify.circuit.wording import box_words, spoken
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Example, FaultKind, Site


class ConductorOpen(FaultKind):
    """A conductor broken inside its cable."""

    name = "conductor-open"
    title = "open conductor"
    description = (
        "A conductor is broken somewhere along its cable: a nail, a staple, a nicked wire that "
        "gave way."
    )
    examples = (
        Example(
            ("box-2-run.white",),
            "misbehaves",
            "An open traveler: the light comes on in one combination of positions only.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield the break of every conductor."""
        for cable in wiring.circuit.cables:
            for colour in cable.conductors:
                name = conductor_name(cable.name, colour)
                yield (name,), Change(failure=Failure(self.name, (name,)))

    def in_words(self, site: Site) -> str:
        """Return what failed, as a sentence."""
        return f"{capital(spoken(site[0]))} is broken inside the cable."


class ConductorsShorted(FaultKind):
    """Two conductors of a cable that touch."""

    name = "conductors-shorted"
    title = "shorted conductors"
    description = (
        "Two conductors of one cable touch: a screw through the cable, insulation melted or "
        "gnawed away."
    )
    examples = (
        Example(
            ("box-2-run.white", "box-2-run.bare"),
            "trips",
            "A grounded traveler trips the breaker whenever the feed's switch selects it.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield the short of every pair of conductors of one cable."""
        for cable in wiring.circuit.cables:
            for pair in itertools.combinations(cable.conductors, 2):
                names = tuple(conductor_name(cable.name, colour) for colour in pair)
                yield names, Change(failure=Failure(self.name, names))

    def in_words(self, site: Site) -> str:
        """Return what failed, as a sentence."""
        cable, _, one = site[0].partition(".")
        other = site[1].partition(".")[2]
        return f"In the cable {cable}, {one} and {other} touch."


class _ContactFault(FaultKind):
    """The base of open and welded contacts: a fault at every contact of every switch."""

    failed: ClassVar[str]

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield the failure of every contact of every switch."""
        for switch in wiring.circuit.switches:
            for contact in switch.form.contacts:
                names = (f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}")
                yield names, Change(failure=Failure(self.name, names))

    def in_words(self, site: Site) -> str:
        """Return what failed, as a sentence."""
        switch, _, one = site[0].partition(".")
        other = site[1].partition(".")[2]
        return f"In {switch}, the contact between {one} and {other} {self.failed}."


class ContactOpen(_ContactFault):
    """A contact that never closes."""

    name = "contact-open"
    title = "contact never closes"
    description = "A contact inside a switch is burnt or broken: it stays open in every position."
    failed = "never closes"
    examples = (
        Example(
            ("switch-1.common", "switch-1.traveler-1"),
            "misbehaves",
            "With the first switch up nothing passes, whatever the second does.",
        ),
    )


class ContactWelded(_ContactFault):
    """A contact that never opens."""

    name = "contact-welded"
    title = "contact never opens"
    description = "A contact inside a switch has welded: it stays closed in every position."
    failed = "never opens"
    examples = (
        Example(
            ("switch-1.common", "switch-1.traveler-1"),
            "misbehaves",
            "One traveler is always fed: with the first switch down both are, and the light "
            "stays on.",
        ),
    )


class SwitchStuck(FaultKind):
    """A switch whose handle moves and whose contacts do not."""

    name = "switch-stuck"
    title = "switch stuck"
    description = "The handle moves, the contacts stay in one position."
    examples = (
        Example(
            ("switch-2", "up"),
            "misbehaves",
            "The light works from the first switch only.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every switch stuck in each position."""
        for switch in wiring.circuit.switches:
            for position in POSITIONS:
                failure = Failure(self.name, (switch.name,), position)
                yield (switch.name, position), Change(failure=failure)

    def in_words(self, site: Site) -> str:
        """Return what failed, as a sentence."""
        return f"The contacts of {site[0]} are stuck in position {site[1]}."


class LooseJoin(FaultKind):
    """A connection that conducts badly."""

    name = "loose-join"
    title = "loose connection"
    description = (
        "A screw or wire connector is loose: the connection still conducts, with some ohms, and "
        "heats whenever a load draws current through it."
    )
    examples = (
        Example(
            ("lamp-box", "lamp.contact"),
            "mimic",
            "The light works from everywhere; the loose connection heats while it is lit.",
            by_connections="sound",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield, for every join of two ends or more, its first end held by a bad contact."""
        for join in wiring.joins:
            if len(join) > 1:
                end = wiring.circuit.ends[join[0]]
                failure = Failure(self.name, (end.name,), box=end.box)
                yield (end.box, end.name), Change(failure=failure)

    def in_words(self, site: Site) -> str:
        """Return what is loose, as a sentence."""
        return f"In {box_words(site[0])}, {spoken(site[1])} is loose in its join."


class _LampFault(FaultKind):
    """The base of open and shorted lamps: a fault at every lamp."""

    failed: ClassVar[str]

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield the failure of every lamp."""
        for lamp in wiring.circuit.lamps:
            yield (lamp.name,), Change(failure=Failure(self.name, (lamp.name,)))

    def in_words(self, site: Site) -> str:
        """Return what failed, as a sentence."""
        return f"{capital(site[0])} {self.failed}."


class LampOpen(_LampFault):
    """A burnt-out lamp."""

    name = "lamp-open"
    title = "lamp burnt out"
    description = "The lamp is burnt out or loose in its holder: no current passes."
    failed = "is burnt out"
    examples = (
        Example(
            ("lamp",),
            "misbehaves",
            "It never lights; everything else is as it should be.",
        ),
    )


class LampShorted(_LampFault):
    """A lamp or lampholder with a short circuit inside."""

    name = "lamp-shorted"
    title = "lamp shorted"
    description = "The lamp or its holder has a short circuit between its two sides."
    failed = "is shorted between contact and shell"
    examples = (
        Example(
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
