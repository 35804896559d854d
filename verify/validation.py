"""Every rule that a circuit must keep, each with a sentence that says how to mend it.

Places are written as in the circuit file; numbers in them count from 1 for joins and failures
(``join 3``) and from 0 inside a list (``ends[1]``), as a reader of the file would count.
"""

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence, Set
from typing import TYPE_CHECKING, Final, Protocol

from verify.colours import PALETTES
from verify.devices import ALIASES, KINDS, POSITIONS, canonical_kind
from verify.problems import CircuitError, Problem

if TYPE_CHECKING:
    from verify.circuit import Box, Cable, Device, Failure, Join

NAME_LENGTH: Final = 60
TITLE_LENGTH: Final = 200
MATERIALS: Final = ("plastic", "metal")
CONTACT_FAILURES: Final = ("contact-open", "contact-welded")
LAMP_FAILURES: Final = ("lamp-open", "lamp-shorted")
FAILURE_KINDS: Final = (
    "conductor-open",
    "conductors-shorted",
    *CONTACT_FAILURES,
    "switch-stuck",
    *LAMP_FAILURES,
)


class CircuitParts(Protocol):
    """What a circuit is made of, before anyone knows whether it can exist."""

    @property
    def name(self) -> str: ...
    @property
    def boxes(self) -> "tuple[Box, ...]": ...
    @property
    def devices(self) -> "tuple[Device, ...]": ...
    @property
    def cables(self) -> "tuple[Cable, ...]": ...
    @property
    def joins(self) -> "tuple[Join, ...]": ...
    @property
    def failures(self) -> "tuple[Failure, ...]": ...
    @property
    def volts(self) -> float: ...
    @property
    def palette(self) -> str: ...


def check_circuit(parts: CircuitParts) -> None:
    """Raise `CircuitError` with all mistakes of a circuit, in file order, or return."""
    problems = list(problems_in(parts))
    if problems:
        raise CircuitError(problems)


def problems_in(parts: CircuitParts, unreadable: Set[str] = frozenset()) -> Iterator[Problem]:
    """Every mistake of `parts`.

    `unreadable` names the devices and cables about which something is known to be missing:
    what is connected to them is not complained about a second time.
    """
    return _Rules(parts, unreadable).problems()


def _listing(words: Iterable[str]) -> str:
    return ", ".join(words) or "none"


class _Rules:
    """The rules over one circuit whose names may dangle."""

    def __init__(self, circuit: CircuitParts, unreadable: Set[str]) -> None:
        self.circuit = circuit
        self.unreadable = unreadable
        self.boxes = {box.name: box for box in circuit.boxes}
        self.devices = {device.name: device for device in circuit.devices}
        self.cables = {cable.name: cable for cable in circuit.cables}

    def problems(self) -> Iterator[Problem]:
        yield from self._whole()
        yield from self._names()
        for box in self.circuit.boxes:
            if box.material not in MATERIALS:
                yield Problem(
                    f"box '{box.name}'",
                    f"material={box.material!r} is not known; write one of {_listing(MATERIALS)}",
                )
        for device in self.circuit.devices:
            yield from self._device(device)
        for cable in self.circuit.cables:
            yield from self._cable(cable)
        yield from self._joins(self.circuit.joins)
        yield from self._failures(self.circuit.failures)

    def _whole(self) -> Iterator[Problem]:
        circuit = self.circuit
        if len(circuit.name) > TITLE_LENGTH or not circuit.name.isprintable():
            yield Problem(
                "name",
                f"must be one line of at most {TITLE_LENGTH} printable characters; shorten it",
            )
        if not _is_positive(circuit.volts):
            yield Problem("volts", f"volts={circuit.volts} must be a number above 0")
        if circuit.palette not in PALETTES:
            yield Problem(
                "palette",
                f"palette={circuit.palette!r} is not known; write one of {_listing(PALETTES)}",
            )
        kinds = Counter(canonical_kind(device.kind) for device in circuit.devices)
        if kinds["feed"] != 1:
            yield Problem(
                "devices",
                f"a circuit has exactly one device of kind 'feed', this one has {kinds['feed']}",
            )
        if not kinds["lamp"]:
            yield Problem("devices", "there is no lamp; add a device of kind 'lamp'")
        if not any(kinds[name] for name, kind in KINDS.items() if kind.is_switch):
            yield Problem(
                "devices",
                "there is no switch; add a device of kind 'three-way', 'four-way' or 'single-pole'",
            )

    def _names(self) -> Iterator[Problem]:
        circuit = self.circuit
        for what, names in (
            ("box", [box.name for box in circuit.boxes]),
            ("device", [device.name for device in circuit.devices]),
            ("cable", [cable.name for cable in circuit.cables]),
        ):
            for name, times in Counter(names).items():
                if times > 1:
                    yield Problem(f"{what} '{name}'", "is there twice; rename one")
                if not re.fullmatch(r"[^\W_][\w-]*", name) or len(name) > NAME_LENGTH:
                    yield Problem(
                        f"{what} {_shortened(name)!r}",
                        "a name is made of letters, digits, - and _, begins with a letter or "
                        f"digit, and has at most {NAME_LENGTH} characters; rename it",
                    )
                elif what != "box" and name == "box":
                    yield Problem(
                        f"{what} 'box'", "the name 'box' is kept for metal boxes; rename it"
                    )
        for name in self.devices.keys() & self.cables.keys():
            yield Problem(
                f"cable '{name}'", f"a device is called '{name}' too; rename one of the two"
            )

    def _device(self, device: "Device") -> Iterator[Problem]:
        place = f"device '{device.name}'"
        kind = canonical_kind(device.kind)
        if kind not in KINDS:
            yield Problem(
                place,
                f"kind={_shortened(device.kind)!r} is not known; write one of "
                f"{_listing((*KINDS, *ALIASES))}",
            )
        yield from self._known_box(place, device.box)
        for key, value, owner in (
            ("watts", device.watts, "lamp"),
            ("breaker_amps", device.breaker_amps, "feed"),
        ):
            if value is None:
                continue
            if kind != owner:
                yield Problem(place, f"{key} belongs to a {owner}; remove it from this {kind}")
            elif not _is_positive(value):
                yield Problem(place, f"{key}={value} must be a number above 0")

    def _known_box(self, place: str, box: str) -> Iterator[Problem]:
        if box not in self.boxes:
            yield Problem(
                place,
                f"box={_shortened(box)!r} is not among the boxes; they are {_listing(self.boxes)}",
            )

    def _cable(self, cable: "Cable") -> Iterator[Problem]:
        place = f"cable '{cable.name}'"
        for box in cable.between:
            if box not in self.boxes:
                yield Problem(
                    place,
                    f"between names box {_shortened(box)!r}, which is not among the boxes; "
                    f"they are {_listing(self.boxes)}",
                )
        if cable.between[0] == cable.between[1]:
            yield Problem(
                place, f"begins and ends in box '{cable.between[0]}'; a cable joins two boxes"
            )
        if not cable.conductors:
            yield Problem(place, "has no conductors; list their colours")
        palette = PALETTES.get(self.circuit.palette)
        for colour, times in Counter(cable.conductors).items():
            if times > 1:
                yield Problem(
                    place,
                    f"has {times} conductors '{colour}'; the conductors of a cable have different "
                    "colours, so use two cables or another colour",
                )
            if palette and not palette.knows(colour):
                yield Problem(
                    place,
                    f"colour {_shortened(colour)!r} is not in palette '{palette.name}'; "
                    f"it has {palette.listing()}",
                )
        if cable.length_m is not None and not _is_positive(cable.length_m):
            yield Problem(place, f"length_m={cable.length_m} must be a number above 0")
        if cable.size is not None and not 0 < len(cable.size) <= NAME_LENGTH:
            yield Problem(place, f"size must have 1 to {NAME_LENGTH} characters, such as '14 AWG'")

    def _joins(self, joins: Sequence["Join"]) -> Iterator[Problem]:
        seen: dict[tuple[str, str], int] = {}
        for number, join in enumerate(joins, 1):
            place = f"join {number}"
            if join.box not in self.boxes:
                yield from self._known_box(place, join.box)
                continue
            if not join.ends:
                yield Problem(place, "has no ends; list what is connected here, or remove it")
            for index, name in enumerate(join.ends):
                spot = f"{place}, ends[{index}]"
                complaint = self._end_complaint(join.box, name)
                if complaint:
                    yield Problem(spot, complaint)
                    continue
                first = seen.setdefault((join.box, name), number)
                if first != number:
                    yield Problem(
                        spot,
                        f"'{name}' in box '{join.box}' is in join {first} already; an end is in "
                        "one join, so merge the two or remove it from one",
                    )
                elif join.ends.index(name) != index:
                    yield Problem(spot, f"'{name}' is listed twice in this join; remove one")

    def _end_complaint(self, box: str, name: str) -> str:
        """What is wrong with an end, or an empty text."""
        owner, dot, part = name.partition(".")
        if not dot or not owner or not part:
            return (
                f"{_shortened(name)!r} is not an end; write device.terminal, cable.colour or "
                "box.NAME"
            )
        if owner == "box":
            return self._box_end_complaint(box, part)
        if owner in self.unreadable:
            return ""
        if owner in self.devices:
            device = self.devices[owner]
            kind = KINDS.get(canonical_kind(device.kind))
            if kind and part not in kind.terminals:
                return (
                    f"device '{owner}' has no terminal {_shortened(part)!r}; "
                    f"it has {_listing(kind.terminals)}"
                )
            if device.box != box:
                return (
                    f"device '{owner}' is in box '{device.box}', not in '{box}'; "
                    "a join is within one box"
                )
            return ""
        if owner in self.cables:
            cable = self.cables[owner]
            if part not in cable.conductors:
                return (
                    f"cable '{owner}' has no conductor {_shortened(part)!r}; "
                    f"it has {_listing(cable.conductors)}"
                )
            if box not in cable.between:
                return (
                    f"cable '{owner}' runs between '{cable.between[0]}' and "
                    f"'{cable.between[1]}' and does not enter box '{box}'"
                )
            return ""
        return (
            f"there is no device or cable {_shortened(owner)!r}; devices are "
            f"{_listing(self.devices)}; cables are {_listing(self.cables)}"
        )

    def _box_end_complaint(self, box: str, named: str) -> str:
        if named != box:
            return f"'box.{_shortened(named)}' does not stand in box '{box}'; write 'box.{box}'"
        if not self.boxes[box].is_metal:
            return (
                f"box '{box}' is plastic and cannot be connected; remove it or give the box "
                'material = "metal"'
            )
        return ""

    def _failures(self, failures: Sequence["Failure"]) -> Iterator[Problem]:
        seen: dict[tuple[str, ...], tuple[str, str | None]] = {}
        for number, failure in enumerate(failures, 1):
            place = f"failure {number}"
            if failure.kind not in FAILURE_KINDS:
                yield Problem(
                    place,
                    f"kind={_shortened(failure.kind)!r} is not known; write one of "
                    f"{_listing(FAILURE_KINDS)}",
                )
                continue
            complaints = list(self._failure_complaints(failure))
            yield from (Problem(place, complaint) for complaint in complaints)
            if complaints or failure.kind.startswith("conductor"):
                continue
            part = (failure.kind.partition("-")[0], *sorted(failure.at))
            first = seen.setdefault(part, (failure.kind, failure.position))
            if first != (failure.kind, failure.position):
                yield Problem(
                    place,
                    f"contradicts an earlier failure of {' and '.join(failure.at)} "
                    f"({first[0]}{' ' + first[1] if first[1] else ''}); keep one of the two",
                )

    def _failure_complaints(self, failure: "Failure") -> Iterator[str]:
        kind, at = failure.kind, failure.at
        pairs = ("conductors-shorted", *CONTACT_FAILURES)
        wanted = 2 if kind in pairs else 1
        if len(at) != wanted or len(set(at)) != wanted:
            yield f"at must name {wanted} different part{'s' * (wanted - 1)} for {kind}; it is {list(at)}"
            return
        if kind == "switch-stuck":
            if failure.position not in POSITIONS:
                yield f"position={failure.position!r} must be 'up' or 'down' for switch-stuck"
        elif failure.position is not None:
            yield f"position belongs to switch-stuck; remove it from {kind}"
        if kind.startswith("conductor"):
            yield from self._conductor_complaints(at)
        elif kind in CONTACT_FAILURES:
            yield from self._contact_complaints(at)
        else:
            yield from self._failed_device_complaints(kind, at[0])

    def _conductor_complaints(self, at: Sequence[str]) -> Iterator[str]:
        cables = set()
        for name in at:
            owner, _, colour = name.partition(".")
            cable = self.cables.get(owner)
            if cable is None:
                yield (
                    f"{_shortened(name)!r} names no cable; write cable.colour, cables are "
                    f"{_listing(self.cables)}"
                )
            elif colour not in cable.conductors:
                yield (
                    f"cable '{owner}' has no conductor {_shortened(colour)!r}; "
                    f"it has {_listing(cable.conductors)}"
                )
            cables.add(owner)
        if len(cables) > 1:
            yield f"{' and '.join(at)} are in different cables; conductors short within one cable"

    def _contact_complaints(self, at: Sequence[str]) -> Iterator[str]:
        owners = {name.partition(".")[0] for name in at}
        device = self.devices.get(next(iter(owners))) if len(owners) == 1 else None
        kind = KINDS.get(canonical_kind(device.kind)) if device else None
        if device is None or kind is None or not kind.is_switch:
            yield (
                f"{' and '.join(map(_shortened, at))} are not two terminals of one switch; "
                "write them as switch.terminal"
            )
            return
        terminals = {name.partition(".")[2] for name in at}
        if terminals not in [{contact.a, contact.b} for contact in kind.contacts]:
            contacts = _listing(f"{contact.a}–{contact.b}" for contact in kind.contacts)
            yield f"{' and '.join(at)} are not a contact of a {kind.name}; its contacts are {contacts}"

    def _failed_device_complaints(self, kind: str, name: str) -> Iterator[str]:
        def fits(device: "Device") -> bool:
            form = KINDS.get(canonical_kind(device.kind))
            if form is None:
                return False
            return form.is_switch if kind == "switch-stuck" else form.name == "lamp"

        device = self.devices.get(name)
        if device is None or not fits(device):
            what = "switch" if kind == "switch-stuck" else "lamp"
            fitting = _listing(other.name for other in self.circuit.devices if fits(other))
            yield f"{_shortened(name)!r} is not a {what}; they are {fitting}"


def _is_positive(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _shortened(text: str) -> str:
    return text if len(text) <= NAME_LENGTH else text[: NAME_LENGTH - 1] + "…"
