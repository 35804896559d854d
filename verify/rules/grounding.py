"""Rules on ground: conductors bring it wherever it should be, and it carries no load."""

from collections.abc import Iterator

from verify.base.sentences import with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import End, is_ground_colour
from verify.rules.book import Text
from verify.rules.premises import Finding, Premises, some_positions


def ground_continuous(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield grounds in one box that are not joined, and ground that passes through a switch.

    Metal boxes are left out.
    """
    for box in at.circuit.boxes:
        grounds = [end for end in at.circuit.ends if end.box == box.name and _arrives(at, end)]
        groups = {frozenset((end, *at.joined_with(end))) for end in grounds}
        alone = [end.name for end in grounds if at.wiring.is_alone(end)]
        if alone:
            yield Finding(
                "seen",
                tuple(alone),
                f"In {box.name}, {with_and(alone)} {_is_or_are(alone)} joined to nothing.",
            )
        elif len(groups) > 1:
            names = tuple(end.name for end in grounds)
            yield Finding(
                "seen",
                names,
                f"In {box.name}, {with_and(names)} are not all joined to each other.",
            )
    metal = [
        end.name for end in at.circuit.ends if end.owner == "box" and not at.ground.is_wired_to(end)
    ]
    if metal:
        yield Finding(
            "seen",
            tuple(metal),
            f"No conductor connects {with_and(metal)} to the feed's ground.",
        )
    yield from _through_devices(at)


def _is_or_are(names: list[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _arrives(at: Premises, end: End) -> bool:
    """Return True for the ground of a feed, and of a cable that is in use in the box."""
    if end.owner in {feed.name for feed in at.circuit.feeds}:
        return end.part == "ground"
    conductor = at.wiring.conductors.get(end.name)
    return (
        conductor is not None
        and conductor.is_ground
        and any(
            other.owner == end.owner and other.box == end.box and not at.wiring.is_alone(other)
            for other in at.circuit.ends
        )
    )


def _through_devices(at: Premises) -> Iterator[Finding]:
    """Yield ground parts that reach ground through a switch only."""
    parts = [
        end.name
        for end in at.circuit.ends
        if _is_ground(at.circuit, end)
        and at.ground.at(end) & at.holds
        and not at.ground.is_wired_to(end)
    ]
    if parts:
        names = tuple(dict.fromkeys(parts))
        yield Finding(
            "seen",
            names,
            f"Ground comes to {with_and(names)} only through the contact of a switch.",
        )


def _is_ground(circuit: Circuit, end: End) -> bool:
    """Return True for ends meant for ground: terminals, conductors by colour, metal boxes."""
    if any(end.owner == cable.name for cable in circuit.cables):
        return is_ground_colour(end.part)
    return end.owner == "box" or end.part == "ground"


def yoke_grounded(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield switches whose ground terminal no conductor connects to ground."""
    names = tuple(
        switch.name
        for switch in at.circuit.switches
        if not at.ground.is_wired_to(at.circuit.terminal(switch, "ground"))
    )
    if names:
        yield Finding(
            "seen",
            names,
            f"No conductor connects the ground terminal of {with_and(names)} to the feed's ground.",
        )


def neutral_ground_tied(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield neutrals and grounds that are connected beyond the feed."""
    for feed in at.circuit.feeds:
        neutral = at.circuit.terminal(feed, "neutral")
        states = at.ground.at(neutral) & at.holds
        if not states:
            continue
        if at.ground.is_wired_to(neutral):
            meeting = list(_meeting(at, neutral))
            names = tuple(dict.fromkeys(name for name, _ in meeting)) or (neutral.name,)
            boxes = list(dict.fromkeys(box for _, box in meeting))
            where = f" in {with_and(boxes)}, by way of {with_and(names)}" if boxes else ""
            because = f"The neutral of {feed.name} is connected to ground{where}."
        else:
            names = (neutral.name,)
            because = (
                f"The neutral of {feed.name} is connected to ground through a switch with "
                f"{some_positions(at, states)}."
            )
        yield Finding("seen", names, because)


def _meeting(at: Premises, neutral: End) -> Iterator[tuple[str, str]]:
    """Yield ends not meant for ground that are joined with ends that are, where neutral is tied."""
    for group in at.circuit.grouped_ends:
        if at.wiring.are_wired(group[0], neutral):
            others = [end for end in group if not _is_ground(at.circuit, end)]
            if 0 < len(others) < len(group):
                yield from ((end.name, end.box) for end in others)


def objectionable_current(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield loads whose return is on ground."""
    for load in at.loads:
        for come, leave in load.ways:
            states = at.runs(come, leave) & at.ground.at(leave)
            if not states:
                continue
            shared = " and on neutral" if states & at.neutral.at(leave) else ""
            yield Finding(
                "seen",
                (load.name,),
                f"With {some_positions(at, states)}, the current of {load.name} leaves by "
                f"{leave.name}, which is on ground{shared}.",
            )
