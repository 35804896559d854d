"""Every rule that a circuit must keep, each with a sentence that says how to mend it.

Places are written as in the circuit file; numbers in them count from 1 for joins and failures
(``join 3``) and from 0 inside a list (``ends[1]``), as a reader of the file would count.
"""

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence, Set
from typing import Final, Protocol

from verify.base.problems import CircuitError, Problem, listing, shown
from verify.circuit.colours import PALETTES
from verify.circuit.devices import ALIASES, KINDS, LEGS, canonical_kind
from verify.circuit.failures import failure_problems, form_of, no_such_conductor
from verify.circuit.parts import Box, Cable, Device, Failure, Join

NAME_LENGTH: Final = 60
TITLE_LENGTH: Final = 200
MATERIALS: Final = ("plastic", "metal")
TOP: Final = "top of the file"
_OWNERS: Final = {
    "watts": "lamp",
    "breaker_amps": "feed",
    "leg": "feed",
    "length_m": "feed",
    "size": "feed",
    "loads": "receptacle",
}


class CircuitParts(Protocol):
    """What a circuit is made of, before it is known whether it is valid."""

    @property
    def name(self) -> str:
        """Its title."""

    @property
    def boxes(self) -> "tuple[Box, ...]":
        """All boxes."""

    @property
    def devices(self) -> "tuple[Device, ...]":
        """All devices; kinds may be aliases."""

    @property
    def cables(self) -> "tuple[Cable, ...]":
        """All cables."""

    @property
    def joins(self) -> "tuple[Join, ...]":
        """All joins, as listed."""

    @property
    def failures(self) -> "tuple[Failure, ...]":
        """All failures, as listed."""

    @property
    def volts(self) -> float:
        """The volts from line to neutral."""

    @property
    def palette(self) -> str:
        """The name of the palette."""


def place_of(what: str, name: str) -> str:
    """Return how a message says where a named box, device or cable is."""
    return f"{what} '{shown(name)}'"


def check_circuit(parts: CircuitParts) -> None:
    """Raise `CircuitError` with all mistakes of a circuit, or return."""
    problems = list(problems_in(parts))
    if problems:
        raise CircuitError(problems)


def problems_in(parts: CircuitParts, unreadable: Set[str] = frozenset()) -> Iterator[Problem]:
    """Yield every mistake of `parts`.

    `unreadable` names the devices and cables about which something is known to be missing: what is
    connected to them is not complained about a second time.
    """
    return _CircuitRules(parts, unreadable).problems()


class _CircuitRules:
    """The rules over one circuit, whose names may refer to nothing."""

    def __init__(self, circuit: CircuitParts, unreadable: Set[str]) -> None:
        self.circuit = circuit
        self.unreadable = unreadable
        self.boxes = {box.name: box for box in circuit.boxes}
        self.devices = {device.name: device for device in circuit.devices}
        self.cables = {cable.name: cable for cable in circuit.cables}
        self.forms = {device.name: form_of(device) for device in circuit.devices}

    def problems(self) -> Iterator[Problem]:
        yield from self._whole()
        yield from self._counts()
        yield from self._names()
        for box in self.circuit.boxes:
            if box.material not in MATERIALS:
                yield Problem(
                    place_of("box", box.name),
                    f"material='{shown(box.material)}' is not known; "
                    f"write one of {listing(MATERIALS)}",
                    about="material",
                )
        for device in self.circuit.devices:
            yield from self._device(device)
        for cable in self.circuit.cables:
            yield from self._cable(cable)
        yield from self._joins(self.circuit.joins)
        yield from failure_problems(
            self.circuit.failures,
            self.devices,
            self.cables,
            self.circuit.joins,
            self.boxes.keys(),
            self.unreadable,
        )

    def _whole(self) -> Iterator[Problem]:
        circuit = self.circuit
        name = circuit.name
        if not name.strip() or len(name) > TITLE_LENGTH or not name.isprintable():
            yield Problem(
                TOP,
                f"name='{shown(name)}' must be one line of 1 to {TITLE_LENGTH} printable "
                "characters; write a short title",
                about="name",
            )
        if not _is_positive(circuit.volts):
            yield Problem(
                TOP, f"volts={circuit.volts} must be a number above 0, such as 120", about="volts"
            )
        if circuit.palette not in PALETTES:
            yield Problem(
                TOP,
                f"palette='{shown(circuit.palette)}' is not known; "
                f"write one of {listing(PALETTES)}",
                about="palette",
            )

    def _counts(self) -> Iterator[Problem]:
        if None in self.forms.values():
            return  # What seems to be missing may be the device whose kind is wrong.
        if not self._named_like("feed"):
            yield Problem("device", "there is no feed; add a device of kind 'feed'")
        if not self._named_like("lamp"):
            yield Problem("device", "there is no lamp; add a device of kind 'lamp'")
        if not self._named_like("switch"):
            yield Problem(
                "device",
                "there is no switch; add a device of kind 'three-way', 'four-way' or 'single-pole'",
            )

    def _named_like(self, what: str) -> list[str]:
        """Return the names of the devices that are a `what`: a feed, a lamp or a switch."""
        return [
            name
            for name, form in self.forms.items()
            if form and (form.is_switch if what == "switch" else form.name == what)
        ]

    def _names(self) -> Iterator[Problem]:
        circuit = self.circuit
        for what, names in (
            ("box", [box.name for box in circuit.boxes]),
            ("device", [device.name for device in circuit.devices]),
            ("cable", [cable.name for cable in circuit.cables]),
        ):
            for name, times in Counter(names).items():
                place = place_of(what, name)
                if times > 1:
                    yield Problem(place, f"is there {times} times; rename all but one")
                if not re.fullmatch(r"[^\W_][\w-]*", name) or len(name) > NAME_LENGTH:
                    yield Problem(
                        place,
                        "a name is made of letters, digits, - and _, begins with a letter or "
                        f"digit, and has at most {NAME_LENGTH} characters; rename it",
                    )
                elif what != "box" and name == "box":
                    yield Problem(place, "the name 'box' is kept for metal boxes; rename it")
                elif what == "cable" and name in self.devices:
                    yield Problem(place, "a device has this name too; rename one of the two")

    def _device(self, device: "Device") -> Iterator[Problem]:
        place = place_of("device", device.name)
        kind = canonical_kind(device.kind)
        if kind not in KINDS:
            yield Problem(
                place,
                f"kind='{shown(device.kind)}' is not known; write one of "
                f"{listing((*KINDS, *ALIASES))}",
                about="kind",
            )
        if device.box not in self.boxes:
            yield self._unknown_box(place, device.box)
        for key, owner in _OWNERS.items():
            if getattr(device, key) not in (None, ()) and kind in KINDS and kind != owner:
                yield Problem(
                    place, f"{key} belongs to a {owner}; remove it from this {kind}", about=key
                )
        for key in ("watts", "breaker_amps", "length_m"):
            value = getattr(device, key)
            if value is not None and not _is_positive(value) and kind == _OWNERS[key]:
                yield Problem(place, f"{key}={value} must be a number above 0", about=key)
        if not all(map(_is_positive, device.loads)):
            yield Problem(
                place,
                f"loads={list(device.loads)} must be numbers above 0, in watts",
                about="loads",
            )
        if device.leg not in (None, *LEGS):
            yield Problem(
                place, f"leg='{shown(device.leg)}' must be {' or '.join(LEGS)}", about="leg"
            )
        if device.size is not None and not _is_size(device.size):
            yield _wrong_size(place, device.size)

    def _unknown_box(self, place: str, box: str) -> Problem:
        return Problem(
            place,
            f"box='{shown(box)}' is not among the boxes; they are {listing(self.boxes)}",
            about="box",
        )

    def _cable(self, cable: "Cable") -> Iterator[Problem]:
        place = place_of("cable", cable.name)
        for box in dict.fromkeys(cable.between):
            if box not in self.boxes:
                yield Problem(
                    place,
                    f"between names box '{shown(box)}', which is not among the boxes; "
                    f"they are {listing(self.boxes)}",
                    about="between",
                )
        if cable.between[0] == cable.between[1]:
            yield Problem(
                place,
                f"begins and ends in box '{shown(cable.between[0])}'; a cable joins two boxes, "
                "so name the other one",
                about="between",
            )
        yield from self._conductors(place, cable.conductors)
        if cable.length_m is not None and not _is_positive(cable.length_m):
            yield Problem(
                place, f"length_m={cable.length_m} must be a number above 0", about="length_m"
            )
        if cable.size is not None and not _is_size(cable.size):
            yield _wrong_size(place, cable.size)

    def _conductors(self, place: str, colours: Sequence[str]) -> Iterator[Problem]:
        if not colours:
            yield Problem(place, "has no conductors; list their colours", about="conductors")
        palette = PALETTES.get(self.circuit.palette)
        for colour, times in Counter(colours).items():
            if times > 1:
                yield Problem(
                    place,
                    f"has {times} conductors '{shown(colour)}'; the conductors of a cable have "
                    "different colours, so use two cables or another colour",
                    about="conductors",
                )
            if palette and not palette.knows(colour):
                yield Problem(
                    place,
                    f"colour '{shown(colour)}' is not in palette '{palette.name}'; "
                    f"it has {palette.listing()}",
                    about="conductors",
                )

    def _joins(self, joins: Sequence["Join"]) -> Iterator[Problem]:
        seen: dict[tuple[str, str], int] = {}
        for number, join in enumerate(joins, 1):
            place = f"join {number}"
            if not join.ends:
                yield Problem(
                    place, "has no ends; list what is connected here, or remove it", about="ends"
                )
            if join.box not in self.boxes:
                yield self._unknown_box(place, join.box)
                continue
            for index, name in enumerate(join.ends):
                complaint = self._end_complaint(join.box, name)
                if not complaint:
                    first = seen.setdefault((join.box, name), number)
                    if first != number:
                        complaint = (
                            f"'{shown(name)}' in box '{shown(join.box)}' is in join {first} "
                            "already; an end is in one join, so merge the two or remove it from one"
                        )
                if complaint:
                    yield Problem(f"{place}, ends[{index}]", complaint)
            if len(set(join.ends)) == len(join.ends):
                continue
            for name, times in Counter(join.ends).items():
                if times > 1:
                    yield Problem(
                        place,
                        f"'{shown(name)}' is listed {times} times; keep one of them",
                        about="ends",
                    )

    def _end_complaint(self, box: str, name: str) -> str:
        """Return what is wrong with an end, or an empty text."""
        owner, _, part = name.partition(".")
        if not owner or not part:
            return f"'{shown(name)}' is not an end; write device.terminal, cable.colour or box.NAME"
        if owner == "box":
            return self._box_end_complaint(box, part)
        if owner in self.unreadable:
            return ""
        if owner in self.devices:
            return self._terminal_complaint(box, self.devices[owner], part)
        if owner in self.cables:
            return self._conductor_end_complaint(box, self.cables[owner], part)
        return (
            f"there is no device or cable '{shown(owner)}'; devices are "
            f"{listing(self.devices)}; cables are {listing(self.cables)}"
        )

    def _box_end_complaint(self, box: str, named: str) -> str:
        if named != box:
            return (
                f"'box.{shown(named)}' does not stand in box '{shown(box)}'; "
                f"write 'box.{shown(box)}'"
            )
        if self.boxes[box].material == "plastic":
            return (
                f"box '{shown(box)}' is plastic and cannot be connected; remove it or give the "
                'box material = "metal"'
            )
        return ""

    def _terminal_complaint(self, box: str, device: "Device", part: str) -> str:
        form = self.forms[device.name]
        if form and part not in form.terminals:
            return (
                f"device '{shown(device.name)}' has no terminal '{shown(part)}'; "
                f"it has {listing(form.terminals)}"
            )
        if device.box != box and device.box in self.boxes:
            return (
                f"device '{shown(device.name)}' is in box '{shown(device.box)}', not in "
                f"'{shown(box)}'; a join is within one box, so move the end to a join there"
            )
        return ""

    def _conductor_end_complaint(self, box: str, cable: "Cable", part: str) -> str:
        if part not in cable.conductors:
            return no_such_conductor(cable, part)
        if box not in cable.between and all(end in self.boxes for end in cable.between):
            return (
                f"cable '{shown(cable.name)}' runs between '{shown(cable.between[0])}' and "
                f"'{shown(cable.between[1])}' and does not enter box '{shown(box)}'; "
                "move the end to a join in one of them"
            )
        return ""


def _is_positive(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _is_size(text: str) -> bool:
    return bool(text.strip()) and len(text) <= NAME_LENGTH and text.isprintable()


def _wrong_size(place: str, size: str) -> Problem:
    return Problem(
        place,
        f"size='{shown(size)}' must have 1 to {NAME_LENGTH} printable characters, such as '14 AWG'",
        about="size",
    )
