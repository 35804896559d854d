"""Families of wirings that differ only in what the devices do not tell apart, and their names.

A symmetry of a device exchanges terminals and leaves its function as it was, except that it may
rename up and down. Wirings that symmetries turn into each other make a family. Families are named
by their structure, which is read from the connections alone.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import factorial
from typing import Final

from verify.base.problems import BugError
from verify.engine.words import WordsEngine
from verify.hazard.definitions import HAZARD_NAMES
from verify.study.census.terminals import (
    CONTACT,
    LINE,
    NEUTRAL,
    SHELL,
    CensusParts,
    Wiring,
    growth_string,
)
from verify.verdict.judging import judge

Permutation = tuple[int, ...]
"""Where each terminal's join goes: the new join of terminal t is the old one of p[t]."""

_FOUR_WAY_TERMINALS: Final = 4


@dataclass(frozen=True, slots=True)
class Symmetry:
    """An exchange of terminals that no device notices."""

    name: str
    permutation: Permutation

    def apply(self, wiring: Sequence[int]) -> Wiring:
        """Return the wiring with these terminals exchanged."""
        return growth_string(wiring[terminal] for terminal in self.permutation)


@dataclass(frozen=True, slots=True)
class Variant:
    """The wirings of a family that differ in no more than switches; all have the same hazards."""

    wirings: tuple[Wiring, ...]
    hazards: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """Wirings that symmetries turn into each other.

    There are one or two `variants`, by which side of the lamp is which; the one with fewer hazards
    is first.
    """

    name: str
    variants: tuple[Variant, ...]

    @property
    def wirings(self) -> int:
        """How many wirings it has."""
        return sum(len(variant.wirings) for variant in self.variants)

    @property
    def sound(self) -> int:
        """How many of them have no hazard."""
        return sum(len(variant.wirings) for variant in self.variants if not variant.hazards)

    @property
    def hazards(self) -> tuple[str, ...]:
        """The hazards that any of its wirings has, in the order of `HAZARDS`."""
        present = {name for variant in self.variants for name in variant.hazards}
        return tuple(name for name in HAZARD_NAMES if name in present)

    @property
    def hazards_of_all(self) -> tuple[str, ...]:
        """The hazards that all of them have; the others depend on the lamp's sides."""
        return tuple(
            name
            for name in self.hazards
            if all(name in variant.hazards for variant in self.variants)
        )

    @property
    def example(self) -> Wiring:
        """A wiring with as few hazards as the family has."""
        return self.variants[0].wirings[0]


def symmetries(parts: CensusParts) -> tuple[Symmetry, ...]:
    """Return symmetries that generate all others, the exchange of the lamp's sides first."""
    names = parts.terminals
    place = {name: number for number, name in enumerate(names)}

    def exchange(title: str, *pairs: tuple[str, str]) -> Symmetry:
        permutation = list(range(len(names)))
        for one, other in pairs:
            permutation[place[one]], permutation[place[other]] = place[other], place[one]
        return Symmetry(title, tuple(permutation))

    found = [exchange("the lamp's sides", ("lamp.contact", "lamp.shell"))]
    for switch in parts.switches:
        name = switch.name
        if switch.form.name == "three-way":
            found.append(
                exchange(f"the travelers of {name}", (f"{name}.traveler-1", f"{name}.traveler-2"))
            )
        else:
            a1, a2, b1, b2 = (f"{name}.{terminal}" for terminal in switch.form.switched_terminals)
            # These make all eight symmetries of the square a1 b1 a2 b2, whose sides are the
            # contacts: every other side is closed in one position.
            found.append(exchange(f"a1 and a2 of {name}", (a1, a2)))
            found.append(exchange(f"the sides of {name}", (a1, b1), (a2, b2)))
    for one, other in zip(parts.switches, parts.switches[1:], strict=False):
        if one.kind == other.kind:
            terminals = one.form.switched_terminals
            found.append(
                exchange(
                    f"{one.name} and {other.name}",
                    *((f"{one.name}.{name}", f"{other.name}.{name}") for name in terminals),
                )
            )
    return tuple(found)


def families_of(parts: CensusParts, wirings: Iterable[Wiring]) -> tuple[Family, ...]:
    """Return all wirings with any-location control in families, sorted by name.

    Within a family a hazard can depend only on which side of the lamp is contact and which is
    shell: line, neutral and the switches of a kind are told apart by no other hazard. So a family
    is parted by the symmetries of the switches, and one wiring of each part is judged. Raises
    BugError if a symmetry leads out of the wirings, or a structure has no name.
    """
    lamp_sides, *of_switches = symmetries(parts)
    left = set(wirings)
    found = []
    while left:
        first = orbit(min(left), of_switches)
        second = orbit(lamp_sides.apply(first[0]), of_switches)
        members = {*first, *second}
        if not members <= left:
            raise BugError(f"the wirings of {parts.locations} locations are not closed")
        left -= members
        variants = sorted(
            (Variant(part, _hazards(parts, part[0])) for part in {first, second}),
            key=lambda variant: (len(variant.hazards), variant.wirings[0]),
        )
        found.append((structure(parts, first[0]), tuple(variants)))
    alike = Counter(shape.title for shape, _ in found)
    named = [
        Family(shape.name if alike[shape.title] > 1 else shape.title, variants)
        for shape, variants in found
    ]
    return tuple(sorted(named, key=lambda family: family.name))


def orbit(wiring: Wiring, by: Sequence[Symmetry]) -> tuple[Wiring, ...]:
    """Return every wiring that symmetries turn this one into, in ascending order."""
    reached = {wiring}
    fresh = [wiring]
    while fresh:
        old = fresh.pop()
        for symmetry in by:
            new = symmetry.apply(old)
            if new not in reached:
                reached.add(new)
                fresh.append(new)
    return tuple(sorted(reached))


def _hazards(parts: CensusParts, wiring: Wiring) -> tuple[str, ...]:
    """Return the hazards of a wiring."""
    judged = judge(parts.circuit(wiring), WordsEngine())
    if not judged.any_location:
        raise BugError(f"wiring {wiring} of {parts.locations} locations is {judged.verdict}")
    return judged.hazards


@dataclass(frozen=True, slots=True)
class Structure:
    """How feed and lamp are connected to the chain of switches.

    `pair` is the pair of travelers that they are connected to, counted from the nearer end, 0 for
    none; `pairs` is the number of pairs.
    """

    title: str
    pair: int
    pairs: int

    @property
    def name(self) -> str:
        """The title, with the pair of travelers."""
        return f"{self.title}, at traveler pair {self.pair} of {self.pairs}"


def structure(parts: CensusParts, wiring: Wiring) -> Structure:
    """Return the structure of a wiring with any-location control.

    Every known structure has the switches in a chain, the three-ways at its ends, and a pair of
    travelers between neighbours. Raises BugError for an unknown one.
    """
    ends, middle = _sides(parts, wiring)
    commons = frozenset(wiring[common] for common, _ in ends)
    pairs = _traveler_chain([pair for _, pair in ends], middle)
    if pairs[-1] != ends[1][1] or len(pairs) != parts.locations - 1:
        raise BugError(f"the switches of wiring {wiring} are in no chain")
    line, neutral = wiring[LINE], wiring[NEUTRAL]
    sides = frozenset((wiring[CONTACT], wiring[SHELL]))
    if len(commons) == 1:
        on_line, on_neutral = line in sides, neutral in sides
        for title, feeding, is_so in (
            ("tied commons in the line", line, on_neutral),
            ("tied commons in the neutral", neutral, on_line),
        ):
            riding = (sides - {line, neutral}) | {feeding}
            if is_so and riding in pairs:
                return _riding(title, pairs, riding)
    for title, chained, direct in (
        ("traveler chain in the line", line, neutral),
        ("traveler chain in the neutral", neutral, line),
    ):
        if direct in sides and commons == (sides - {direct}) | {chained}:
            return Structure(title, 0, len(pairs))
    poles = frozenset((line, neutral))
    if commons == sides and poles in pairs:
        return _riding("both poles on the travelers", pairs, poles)
    raise BugError(f"wiring {wiring} of {parts.locations} locations has no name")


def closed_form(locations: int) -> int:
    """Return how many wirings the named families have: (3n − 1)(n − 2)! 2^(2n − 1).

    A chain from one end to the other is made by choosing which three-way is first, 2, the order of
    the four-ways, (n − 2)!, which side of each comes first, 2^(n − 2), and how each of the n − 1
    pairs of travelers is joined, 2^(n − 1): the four-ways' terminals being all different, these are
    (n − 2)! 2^(2n − 2) wirings.

    - Traveler chain, in line or neutral, 2: feed and lamp are at different ends, and the lamp has 2
      ways round. Together 4 (n − 2)! 2^(2n − 2).
    - Tied commons, in line or neutral, 2: the chain has no direction, so half as many; feed and
      lamp ride on one of n − 1 pairs, on it either way, 2, and the lamp has 2 ways round. Together
      4 (n − 1)! 2^(2n − 2).
    - Both poles: the lamp tells the chain's ends apart, which is counted as the chain's direction;
      n − 1 pairs, and line on either wire, 2. Together 2 (n − 1)! 2^(2n − 2).

    The sum is (n − 2)! 2^(2n − 2) (4 + 6(n − 1)). That nothing else gives any-location control is
    no part of the argument: the search shows it, for each number of locations that it covers.
    """
    return ((3 * locations - 1) * factorial(locations - 2)) << (2 * locations - 1)


def _riding(title: str, pairs: Sequence[frozenset[int]], pair: frozenset[int]) -> Structure:
    """Return the structure of feed and lamp on a pair of travelers."""
    place = pairs.index(pair)
    return Structure(title, min(place + 1, len(pairs) - place), len(pairs))


Pair = frozenset[int]
"""The joins of two travelers, or of the two terminals on one side of a switch."""


def _sides(
    parts: CensusParts, wiring: Sequence[int]
) -> tuple[list[tuple[int, Pair]], list[tuple[Pair, Pair]]]:
    """Return the common and travelers of each three-way, and both sides of each four-way."""
    place = SHELL + 1
    ends, middle = [], []
    for switch in parts.switches:
        size = len(switch.form.switched_terminals)
        joins = wiring[place : place + size]
        if size == _FOUR_WAY_TERMINALS:
            middle.append((frozenset(joins[:2]), frozenset(joins[2:])))
        else:
            ends.append((place, frozenset(joins[1:])))
        place += size
    return ends, middle


def _traveler_chain(ends: Sequence[Pair], middle: Sequence[tuple[Pair, Pair]]) -> list[Pair]:
    """Return the pairs of travelers from one end of the chain to the other, as far as it goes."""
    pairs = [ends[0]]
    left = list(middle)
    while left:
        for sides in left:
            if pairs[-1] in sides:
                left.remove(sides)
                pairs.append(sides[1] if sides[0] == pairs[-1] else sides[0])
                break
        else:
            break
    return pairs
