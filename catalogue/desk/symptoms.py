"""Symptoms are what somebody saw: the light in some combinations of positions, and other signs."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from verify.base.problems import Problem, UserError, listing, shown
from verify.behaviour.signature import DARK, DIM, LIT, OVER, TRIP
from verify.hazard.definitions import HAZARD_NAMES

#: The things that a light can be seen to do, with the outcome that each stands for.
SIGHTS: Final[Mapping[str, int]] = {
    "dark": DARK,
    "dim": DIM,
    "lit": LIT,
    "over": OVER,
    "trips": TRIP,
}
#: A person sees this where lamps do different things, and where one of them is too bright.
SOME_LIT: Final = "some lamps lit"
SOME_OVER: Final = "some lamps too bright"


@dataclass(frozen=True, slots=True)
class Sign:
    """A thing beside the light that somebody may have noticed.

    One of its `hazards` must hold. A sign that no model here computes has no hazards, and `note`
    says what that means.
    """

    name: str
    question: str
    hazards: tuple[str, ...] = ()
    needs_trip: bool = False
    note: str = ""

    @property
    def is_computed(self) -> bool:
        """True if suspects can be judged by this sign."""
        return bool(self.hazards) or self.needs_trip


SIGNS: Final[tuple[Sign, ...]] = (
    Sign(
        "shock",
        "Somebody got a shock or a tingle, from a switch, a plate, the light or a wire.",
        note="A shock is not held against the suspects: which part was touched, and by whom, is "
        "in no circuit file.",
    ),
    Sign(
        "heat-or-smell",
        "A switch, a plate, a box or the lampholder is hot, scorched, smokes or smells of burning.",
        note="Heat and smell are not held against the suspects: how well a connection is made is "
        "known of loose ones only.",
    ),
    Sign(
        "sparks",
        "It sparks, flashes or crackles at a switch, a box or the lampholder.",
        note="Sparks are not held against the suspects: arcs are not computed.",
    ),
    Sign(
        "over-bright",
        "A light is too bright, this one or another, at least now and then.",
        note="Too bright is held against the suspects only as what the light does in a combination "
        "that was tried; a neutral that is lost in the supply of the building is in no circuit "
        "file.",
    ),
    Sign(
        "metal-live",
        "A tester finds metal live: a switch plate, a cover screw, a box, the luminaire.",
        ("metal-live", "ground-wire-live"),
    ),
    Sign(
        "holder-live",
        "A tester finds the lampholder live while the lamp is dark, or its shell live while lit.",
        ("lamp-live-dark", "lamp-reversed"),
    ),
    Sign(
        "for-some-time",
        "It works for some time, or only when something is moved or warm.",
        ("loose-join",),
        note="A connection that comes and goes heats: leave the light off "
        "(common practice, no source).",
    ),
    Sign(
        "trips",
        "The breaker or the residual-current device trips, at least now and then.",
        needs_trip=True,
    ),
    Sign(
        "another-outlet",
        "Another light or outlet goes off, or flickers, with this one.",
        note="Other circuits are in the model only where the circuit file has their feeds; a "
        "neutral shared with one that it does not have is not among the faults judged.",
    ),
)
SIGN: Final = {sign.name: sign for sign in SIGNS}


@dataclass(frozen=True, slots=True)
class Symptoms:
    """The symptoms of a light with a number of switches.

    `seen` maps states to outcomes; a state that is missing was not tried. With `as_found`, up and
    down are only names that were given to the positions of each switch.
    """

    switches: int
    seen: Mapping[int, int] = field(default_factory=dict)
    signs: frozenset[str] = frozenset()
    as_found: bool = True

    @property
    def untried(self) -> tuple[int, ...]:
        """The states that were not tried."""
        return tuple(state for state in range(1 << self.switches) if state not in self.seen)

    def hazard_mask(self, name: str) -> int:
        """Return the hazards of a sign as bits: bit i is hazard i of `HAZARDS`."""
        return sum(1 << HAZARD_NAMES.index(hazard) for hazard in SIGN[name].hazards)


_SAW: Final = re.compile(r"^(?P<positions>[^:]+):(?P<sight>[^:]+)$")


def parse_saw(texts: Iterable[str], switches: Sequence[str]) -> dict[int, int]:
    """Read what was seen from texts such as ``slipway-switch=up,workshop-switch=down: dark``.

    Every text names every switch. Raises UserError with all mistakes of all texts.
    """
    problems: list[Problem] = []
    seen: dict[int, int] = {}
    for text in texts:
        place = f"--saw {shown(text)!r}"
        match = _SAW.match(text)
        if match is None:
            example = ",".join(f"{name}=up" for name in switches)
            problems.append(
                Problem(place, f"write positions, a colon, what you saw: {example}: dark")
            )
            continue
        found = [Problem(place, complaint) for complaint in _complaints(match, switches)]
        problems += found
        if found:
            continue
        positions = _positions_named(match["positions"])
        state = sum(1 << i for i, name in enumerate(switches) if positions[name] == "down")
        outcome = SIGHTS[match["sight"].strip()]
        if seen.setdefault(state, outcome) != outcome:
            problems.append(
                Problem(
                    place,
                    "contradicts what you said of the same positions before; keep one, or if both "
                    "happened, use --sign for-some-time",
                )
            )
    if problems:
        raise UserError(problems)
    return seen


def parse_signs(names: Iterable[str]) -> frozenset[str]:
    """Return signs by name. Raises UserError for names that do not exist."""
    problems = [
        Problem(f"sign {shown(name)}", f"is not known; the signs are {listing(SIGN)}")
        for name in names
        if name not in SIGN
    ]
    if problems:
        raise UserError(problems)
    return frozenset(names)


def named_switches(texts: Iterable[str]) -> tuple[str, ...]:
    """Return the switch names in texts for `parse_saw`, in the order in which they appear."""
    matches = (match for text in texts if (match := _SAW.match(text)))
    return tuple(dict.fromkeys(name for m in matches for name in _positions_named(m["positions"])))


def _positions_named(text: str) -> dict[str, str]:
    pairs = (part.partition("=") for part in text.split(","))
    return {name.strip(): position.strip() for name, _, position in pairs}


def _complaints(match: re.Match[str], switches: Sequence[str]) -> Iterable[str]:
    positions = _positions_named(match["positions"])
    known = ", ".join(switches)
    for name, position in positions.items():
        if name not in switches:
            yield f"there is no switch {shown(name)!r}; the switches are {known}"
        elif position not in ("up", "down"):
            yield f"{name}={shown(position)!r} must be up or down"
    missing = [name for name in switches if name not in positions]
    if missing:
        yield f"say the position of {', '.join(missing)} too; the switches are {known}"
    if match["sight"].strip() not in SIGHTS:
        yield f"{shown(match['sight'].strip())!r} must be one of {', '.join(SIGHTS)}"
