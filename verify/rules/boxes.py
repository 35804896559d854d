"""Rules on terminals, the sizes of conductors, and the room in boxes."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from verify.base.sentences import with_and
from verify.circuit.parts import Box, Device, is_ground_colour
from verify.rules.book import Text
from verify.rules.premises import Finding, Premises

#: Copper by AWG: the most amperes of its breaker. NEC 240.4(D), from memory.
MOST_AMPS: Final[Mapping[int, float]] = {14: 15.0, 12: 20.0, 10: 30.0}
#: Copper by AWG: the volume of one conductor in a box. NEC Table 314.16(B), read; the table is
#: numbered 314.16(B)(1) in recent editions.
CUBIC_INCHES: Final[Mapping[int, float]] = {14: 2.00, 12: 2.25, 10: 2.50}
#: An inch is 2.54 cm exactly.
CUBIC_CM: Final = 2.54**3

_GAUGE: Final = re.compile(r"\s*(\d{1,2})\s*AWG\s*", re.IGNORECASE)
_GROUNDS_IN_ONE: Final = 4


def gauge(size: str | None) -> int | None:
    """Return the AWG number of a size such as ``14 AWG``; None for any other."""
    found = _GAUGE.fullmatch(size or "")
    return int(found[1]) if found else None


def one_conductor_a_terminal(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield terminals joined with more than one conductor: under one screw, or by a pigtail."""
    feeds = {feed.name for feed in at.circuit.feeds}
    devices = {device.name for device in at.circuit.devices} - feeds
    names = tuple(
        name
        for join in at.circuit.joins
        if len(join.ends) > 2
        for name in join.ends
        if name.partition(".")[0] in devices
    )
    if names:
        yield Finding(
            "open",
            names,
            f"Joined with two or more others: {with_and(names)}. A file does not say whether more "
            "than one conductor is under a screw, or one pigtail that comes from a splice.",
        )


def size_against_breaker(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield cables and feeds that are too thin for their breaker, and those of unknown size."""
    unknown: list[str] = []
    for name, size, feed in _runs(at):
        awg = gauge(size)
        most = MOST_AMPS.get(awg) if awg is not None else None
        amps = feed.breaker_amps or 0.0
        if most is None:
            unknown.append(name)
        elif amps > most:
            yield Finding(
                "seen",
                (name, feed.name),
                f"{name} is {awg} AWG, for {most:g} A at most, and the breaker of {feed.name} has "
                f"{amps:g} A.",
            )
    if unknown:
        yield Finding(
            "open",
            tuple(unknown),
            f"No copper size of 14, 12 or 10 AWG is in the file for {with_and(unknown)}.",
        )


def _runs(at: Premises) -> Iterator[tuple[str, str | None, Device]]:
    """Yield cables, and feeds of known size, with their feed that has the largest breaker."""
    for feed in at.circuit.feeds:
        if feed.size is not None:
            yield feed.name, feed.size, feed
    lines = {feed: at.supply("line", feed) for feed in at.circuit.feeds}
    for cable in at.circuit.cables:
        ends = [end for end in at.circuit.ends if end.owner == cable.name]
        on_it = [feed for feed, line in lines.items() if any(map(line.at, ends))]
        yield cable.name, cable.size, max(on_it or lines, key=lambda feed: feed.breaker_amps or 0.0)


class _Share(NamedTuple):
    """One term of the sum: `times` the volume of a conductor of `awg`."""

    what: str
    times: float
    awg: int

    @property
    def cubic_inches(self) -> float:
        return self.times * CUBIC_INCHES[self.awg]


class _UnknownSizeError(Exception):
    """A size that the table does not have, as the file writes it."""


def box_fill(at: Premises, text: Text) -> Iterator[Finding]:
    """Yield the volume that each box needs, as a sum."""
    sizes = _Sizes(at)
    for box in at.circuit.boxes:
        try:
            shares = list(_shares(at, box, sizes, text.variant))
        except _UnknownSizeError as error:
            yield Finding(
                "open",
                (box.name,),
                f"The room needed in {box.name} is not counted: {error} is not among the sizes "
                "14, 12 and 10 AWG.",
            )
            continue
        if shares:
            volume = sum(share.cubic_inches for share in shares)
            terms = "; ".join(
                f"{share.what}, {share.times:g} × {CUBIC_INCHES[share.awg]:.2f}" for share in shares
            )
            yield Finding(
                "note",
                (box.name,),
                f"{box.name} needs {volume:.2f} in³ ({volume * CUBIC_CM:.0f} cm³): {terms}."
                + sizes.remark(box),
            )


class _Sizes:
    """The sizes of conductors by the names of their cables and feeds, assumed where not known."""

    def __init__(self, at: Premises) -> None:
        self._at = at
        circuit = at.circuit
        self._written = {cable.name: cable.size for cable in circuit.cables}
        self._written |= {feed.name: feed.size for feed in circuit.feeds}
        largest = max(feed.breaker_amps or 0.0 for feed in circuit.feeds)
        #: The thinnest copper that the breaker allows.
        self.assumed = next((awg for awg, amps in MOST_AMPS.items() if largest <= amps), 10)

    def of(self, owner: str) -> int:
        """Return the AWG number of a cable's or feed's conductors."""
        size = self._written[owner]
        awg = self.assumed if size is None else gauge(size)
        if awg is None or awg not in CUBIC_INCHES:
            raise _UnknownSizeError(f"'{size}' of {owner}")
        return awg

    def remark(self, box: Box) -> str:
        """Return a sentence about the sizes assumed in a box, with a space before it."""
        names = [name for name in _entering(self._at, box) if self._written[name] is None]
        if not names:
            return ""
        return f" The size of {with_and(names)} is not in the file and taken as {self.assumed} AWG."


def _entering(at: Premises, box: Box) -> list[str]:
    """Return the feeds and cables that enter a box."""
    feeds = [feed.name for feed in at.circuit.feeds if feed.box == box.name]
    return feeds + [cable.name for cable in at.circuit.cables if box.name in cable.between]


def _shares(at: Premises, box: Box, sizes: _Sizes, variant: str) -> Iterator[_Share]:
    entering = _entering(at, box)
    if not entering:
        return
    insulated, grounds = Counter[int](), Counter[int]()
    for name in entering:
        for colour in _conductors(at, name):
            (grounds if is_ground_colour(colour) else insulated)[sizes.of(name)] += 1
    for awg, count in sorted(insulated.items(), reverse=True):
        yield _Share(f"{count} conductor{'s' * (count > 1)} of {awg} AWG", count, awg)
    thickest = min((*insulated, *grounds))  # the smaller the number, the thicker
    for device in at.circuit.devices:
        if device.box == box.name and (device.form.is_switch or device.kind == "receptacle"):
            landed = [sizes.of(name) for name in _landed(at, device)]
            yield _Share(f"yoke of {device.name}", 2, min(landed, default=thickest))
    if grounds:
        number = grounds.total()
        times = 1.0
        if variant == "quarter-beyond-four":
            times += max(0, number - _GROUNDS_IN_ONE) / 4
        yield _Share(f"{number} ground{'s' * (number > 1)}", times, min(grounds))
    yield _Share("clamps inside the box", 1, thickest)


def _conductors(at: Premises, name: str) -> tuple[str, ...]:
    """Return the colours of a cable; a feed has one conductor for each of its terminals."""
    for cable in at.circuit.cables:
        if cable.name == name:
            return cable.conductors
    return ("line", "neutral", "bare")


def _landed(at: Premises, device: Device) -> Iterator[str]:
    """Yield the cables and feeds whose conductors, ground aside, are joined to a device."""
    owners = {cable.name for cable in at.circuit.cables} | {f.name for f in at.circuit.feeds}
    for terminal in device.form.terminals:
        if terminal != "ground":
            for end in at.joined_with(at.circuit.terminal(device, terminal)):
                if end.owner in owners:
                    yield end.owner


def free_conductor(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield a note that no file says how long free conductors are in boxes."""
    boxes = tuple(box.name for box in at.circuit.boxes)
    yield Finding("note", boxes, "The length of what is left free in a box is not in a file.")
