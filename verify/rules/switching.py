"""Rules on what switches open and close, and on the sides of a load."""

from collections.abc import Iterator, Mapping
from typing import Final

from verify.base.sentences import with_and
from verify.circuit.parts import Device
from verify.rules.book import Text
from verify.rules.premises import Finding, Premises, Reach, some_positions

#: Switches that control a light together with others.
_SEVERAL: Final = ("three-way", "four-way")


def switching_ungrounded(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield three-way and four-way switches whose contacts pass neutral or ground on."""
    told: set[str] = set()
    for supply, what in ((at.neutral, "neutral"), (at.ground, "ground")):
        found = {
            switch.name: terminals
            for switch, terminals in _passed_on(at, supply)
            if switch.kind in _SEVERAL and switch.name not in told
        }
        yield from _opened_and_closed(found, what)
        told |= found.keys()


def no_switch_in_neutral(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield switches whose contacts pass neutral on."""
    found = {switch.name: terminals for switch, terminals in _passed_on(at, at.neutral)}
    yield from _opened_and_closed(found, "neutral")


def _passed_on(at: Premises, supply: Reach) -> Iterator[tuple[Device, str]]:
    """Yield switches with the terminals through whose contacts a supply passes.

    States that trip are left out.
    """
    for switch, contacts in at.switch_contacts.items():
        terminals = dict.fromkeys(
            end.part
            for a, b, closed in contacts
            for end in (a, b)
            if supply.at(a) & closed & at.holds
        )
        if terminals:
            yield switch, ", ".join(terminals)


def _opened_and_closed(found: Mapping[str, str], what: str) -> Iterator[Finding]:
    if found:
        places = with_and(f"{name} ({terminals})" for name, terminals in found.items())
        yield Finding(
            "seen", tuple(found), f"The feed's {what} is opened and closed by contacts of {places}."
        )


def neutral_at_switch(at: Premises, text: Text) -> Iterator[Finding]:
    """Yield switches in boxes without a neutral."""
    with_neutral = {end.box for end in at.circuit.ends if at.neutral.is_wired_to(end)}
    without = [switch for switch in at.circuit.switches if switch.box not in with_neutral]
    if not without:
        return
    names = tuple(switch.name for switch in without)
    boxes = list(dict.fromkeys(switch.box for switch in without))
    box_of = "the box" if len(boxes) == 1 else "the boxes"
    because = f"No neutral comes to {with_and(boxes)}, {box_of} of {with_and(names)}."
    others = [switch.name for switch in at.circuit.switches if switch.box in with_neutral]
    if text.variant == "at-each" or not others:
        yield Finding("seen", names, because)
    else:
        yield Finding(
            "open",
            names,
            f"{because} There is one at {with_and(others)}, which is enough if the whole floor is "
            "seen from the switches; a file does not hold the room.",
        )


def shell_on_neutral(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield lamps whose screw shell line reaches."""
    for lamp in at.wiring.lamps:
        live = at.line.at(lamp.shell) & at.holds
        if live:
            yield Finding(
                "seen",
                (lamp.name,),
                f"Line reaches the shell of {lamp.name} with {some_positions(at, live)}.",
            )


def polarity(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield loads with neutral on the side meant for line, and line on that meant for neutral."""
    for load in at.loads:
        states = at.neutral.at(load.line) & at.line.at(load.neutral) & at.holds
        if states:
            yield Finding(
                "seen",
                (load.name,),
                f"Neutral is on {load.line.name} and line on {load.neutral.name} with "
                f"{some_positions(at, states)}.",
            )
