"""Rules on conductors that have the neutral's colour and are not neutrals."""

from collections.abc import Iterator
from typing import NamedTuple

from verify.base.sentences import with_and
from verify.circuit.colours import PALETTES
from verify.circuit.parts import Cable, End, conductor_name
from verify.rules.book import Text
from verify.rules.premises import Finding, Premises


class _White(NamedTuple):
    """A conductor in the neutral's colour that line reaches, and its ends in its cable's order."""

    cable: Cable
    name: str
    ends: tuple[End, End]


def neutral_colour_on_line(at: Premises, text: Text) -> Iterator[Finding]:
    """Yield line conductors in the neutral's colour; no file says whether they are marked."""
    names = tuple(white.name for white in _whites(at))
    if not names:
        return
    colour = PALETTES[at.circuit.palette].neutral
    because = f"Line reaches {with_and(names)}"
    if at.circuit.palette == text.jurisdiction.palette:
        because += f", in the neutral's colour: a file does not say whether the {colour} is marked."
    else:
        because += (
            f": {colour} is the neutral's colour in this file, whose palette, "
            f"{at.circuit.palette}, is not the one that the rule is about."
        )
    yield Finding("open", names, because)


def supply_not_return(at: Premises, text: Text) -> Iterator[Finding]:
    """Yield white line conductors that lead back from a switch."""
    whites = list(_whites(at))
    if not whites or at.circuit.palette != text.jurisdiction.palette:
        return
    for white in whites:
        if _is_leg(at, white.ends[0]):
            why = "is the conductor between the switches and the lamp"
        elif at.currents.directions.get(white.name) == {_is_homeward(at, white.cable)}:
            why = "carries current only from a switch back towards the feed"
        else:
            continue
        yield Finding("seen", (white.name,), f"{white.name} {why}.")


def _whites(at: Premises) -> Iterator[_White]:
    colour = PALETTES[at.circuit.palette].neutral
    for cable in at.circuit.cables:
        if colour in cable.conductors:
            name = conductor_name(cable.name, colour)
            ends = at.wiring.conductors[name].ends
            if any(at.line.at(end) & at.holds for end in ends):
                yield _White(cable, name, ends)


def _is_leg(at: Premises, end: End) -> bool:
    """Return True if a lamp or receptacle is wired to `end` and the feed's line is not."""
    component = at.wiring.component(end)
    return not at.line.is_wired_to(end) and any(
        at.wiring.component(side) == component
        for load in at.loads
        for side in (load.line, load.neutral)
    )


def _is_homeward(at: Premises, cable: Cable) -> bool | None:
    """Return the direction in which a cable leads to the nearest feed, None if in neither.

    A direction is as `ConductorStep.forward` has it.
    """
    near, far = (at.distance.get(box) for box in cable.between)
    if near is None or far is None or near == far:
        return None
    return far < near
