"""Differences between a wiring as found and the intended one, told by as few places as possible."""

from collections.abc import Iterator
from dataclasses import dataclass

from verify.circuit.model import Circuit
from verify.circuit.parts import End


@dataclass(frozen=True, slots=True)
class Difference:
    """One place: an end that is joined to something else or badly, or a part that has failed.

    `part` is a conductor (``cable.colour``) or a device; `pair` the other conductor of a short.
    """

    end: End | None = None
    part: str | None = None


def differences(intended: Circuit, found: Circuit) -> list[Difference]:
    """Return the places where two circuits with the same boxes and cables differ."""
    places = [Difference(end=end) for end in _moved_ends(intended, found)]
    kinds = {device.name: device.kind for device in intended.devices}
    places += [
        Difference(part=device.name)
        for device in found.devices
        if kinds.get(device.name) != device.kind
    ]
    for failure in found.failures:
        if failure not in intended.failures:
            part = failure.at[0]
            if failure.box is not None:
                places.append(Difference(end=End(failure.box, part)))
                continue
            is_conductor = failure.kind.startswith("conductor")
            places.append(Difference(part=part if is_conductor else part.partition(".")[0]))
    return places


def _moved_ends(intended: Circuit, found: Circuit) -> Iterator[End]:
    """Yield the ends that joined others, if each old join is taken to keep most of its ends."""
    now = {end: group for group in found.grouped_ends for end in group}
    after = {group: set(group) for group in found.grouped_ends}
    taken: dict[tuple[End, ...], tuple[End, ...]] = {}
    pairs = sorted(
        (
            (-len(set(old) & after[new]), place, new)
            for place, old in enumerate(intended.grouped_ends)
            for new in dict.fromkeys(now[end] for end in old if end in now)
        ),
        key=lambda pair: pair[:2],
    )
    kept: dict[int, tuple[End, ...]] = {}
    for _, place, new in pairs:
        if place not in kept and new not in taken:
            kept[place] = new
            taken[new] = intended.grouped_ends[place]
    for place, old in enumerate(intended.grouped_ends):
        yield from (end for end in old if end in now and now[end] != kept.get(place))
