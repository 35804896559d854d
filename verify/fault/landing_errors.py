"""Landing errors: an end connected where it should not be, all within one box."""

import itertools
from collections.abc import Iterator
from typing import Final

from verify.base.sentences import with_and
from verify.circuit.wording import box_words, spoken
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Example, FaultKind, Site

_SMALLEST_SPLIT: Final = 2


class LeftOff(FaultKind):
    """An end left unconnected."""

    name = "left-off"
    title = "left off"
    description = (
        "A conductor or terminal is left unconnected: pulled out of its splice, or never landed."
    )
    examples = (
        Example(
            ("lamp-box", "lamp.shell"),
            "misbehaves",
            "Without its return the lamp never lights; its other side is still switched.",
        ),
        Example(
            ("box-2", "switch-2.ground"),
            "mimic",
            "The light works from everywhere; the metal of the switch is not grounded.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every end that is connected to something, left off."""
        unconnected = len(wiring.joins)
        for box, ends in wiring.site_order.items():
            for end in ends:
                if len(wiring.joins[wiring.join_of[end]]) > 1:
                    yield (box, wiring.name(end)), Change(((end, unconnected),))

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return f"In {box_words(site[0])}, {spoken(site[1])} is left off."


class Moved(FaultKind):
    """An end landed in another join of its box."""

    name = "moved"
    title = "moved"
    description = (
        "A conductor or terminal is landed in the wrong place: it leaves its own splice or screw "
        "and joins another in the same box."
    )
    examples = (
        Example(
            ("box-1", "switch-1.traveler-1", "switch-1.common"),
            "misbehaves",
            "A traveler conductor has lost its screw, which is on the feed's splice instead.",
        ),
        Example(
            ("box-2", "feed.line", "feed.neutral"),
            "trips",
            "Line on the neutral splice is a short circuit in every state.",
            layout="2.L.f",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every end, moved to every other join in its box."""
        for box, ends in wiring.site_order.items():
            joins = wiring.joins_in(box)
            for end in ends:
                for join in joins:
                    if join != wiring.join_of[end]:
                        target = wiring.join_name(join)
                        yield (box, wiring.name(end), target), Change(((end, join),))

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return f"In {box_words(site[0])}, {spoken(site[1])} is landed with {spoken(site[2])}."


class Exchanged(FaultKind):
    """Two ends that changed places."""

    name = "exchanged"
    title = "exchanged"
    description = (
        "Two conductors or terminals of one box have changed places: each is where the other "
        "belongs. A common exchanged with a traveler is of this kind."
    )
    examples = (
        Example(
            ("box-1", "switch-1.common", "switch-1.traveler-1"),
            "misbehaves",
            "The classic: common and traveler exchanged, the light comes on in one combination "
            "of positions only.",
        ),
        Example(
            ("box-2", "switch-2.traveler-1", "switch-2.traveler-2"),
            "sound",
            "Travelers exchanged at one end only turn the sense of the handle around.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every two ends of a box in different joins, exchanged, unless both are alone."""
        for box, ends in wiring.site_order.items():
            for one, other in itertools.combinations(ends, 2):
                here, there = wiring.join_of[one], wiring.join_of[other]
                if here != there and len(wiring.joins[here]) + len(wiring.joins[there]) > 2:
                    site = (box, wiring.name(one), wiring.name(other))
                    yield site, Change(((one, there), (other, here)))

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return f"In {box_words(site[0])}, {spoken(site[1])} and {spoken(site[2])} are exchanged."


class Bridged(FaultKind):
    """Two joins that became one."""

    name = "bridged"
    title = "bridged"
    description = (
        "Two splices or screws of one box touch and have become one: a stray strand, a bared "
        "conductor against a screw, two bundles under one wire connector."
    )
    examples = (
        Example(
            ("box-1", "switch-1.traveler-1", "switch-1.traveler-2"),
            "misbehaves",
            "Travelers that touch: the light is on in every state.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every pair of joins of a box with two ends or more each, bridged."""
        for box in wiring.boxes:
            joins = [join for join in wiring.joins_in(box) if len(wiring.joins[join]) > 1]
            for one, other in itertools.combinations(joins, 2):
                site = (box, *(wiring.join_name(join) for join in (one, other)))
                yield site, Change(tuple((end, one) for end in wiring.joins[other]))

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return (
            f"In {box_words(site[0])}, the join of {spoken(site[1])} and the join of "
            f"{spoken(site[2])} touch."
        )


class Split(FaultKind):
    """One join that fell into two."""

    name = "split"
    title = "split"
    description = (
        "A splice of four or more ends was made as two: each conductor is connected to something, "
        "but not to everything it belongs with."
    )
    examples = (
        Example(
            ("box-1", "feed.ground", "lamp-box-run.bare+box-2-run.bare"),
            "mimic",
            "Half of the grounds are together, but not with the feed's.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every way to part a join of four ends or more into two groups of two or more."""
        other_part = len(wiring.joins)
        for box in wiring.boxes:
            for join in wiring.joins_in(box):
                first, *rest = wiring.joins[join]
                for size in range(_SMALLEST_SPLIT, len(rest) + 2 - _SMALLEST_SPLIT):
                    for leaving in itertools.combinations(rest, size):
                        site = (box, wiring.name(first), "+".join(map(wiring.name, leaving)))
                        yield site, Change(tuple((end, other_part) for end in leaving))

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        leaving = with_and(map(spoken, site[2].split("+")))
        return f"In {box_words(site[0])}, {leaving} are spliced apart from {spoken(site[1])}."


LANDING_KINDS: Final[tuple[FaultKind, ...]] = (
    LeftOff(),
    Moved(),
    Exchanged(),
    Bridged(),
    Split(),
)
