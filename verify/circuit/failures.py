"""The rules that failed parts must keep: each kind of failure, and what its `at` may name."""

from collections.abc import Iterator, Mapping, Sequence, Set
from typing import Final

from verify.base.problems import Problem, listing, shown
from verify.circuit.devices import KINDS, POSITIONS, DeviceKind, canonical_kind
from verify.circuit.parts import Cable, Device, Failure, Join

CONTACT_FAILURES: Final = ("contact-open", "contact-welded")
FAILURE_KINDS: Final = (
    "conductor-open",
    "conductors-shorted",
    *CONTACT_FAILURES,
    "switch-stuck",
    "lamp-open",
    "lamp-shorted",
    "loose-join",
)
_IN_PAIRS: Final = ("conductors-shorted", *CONTACT_FAILURES)


def failure_problems(
    failures: Sequence["Failure"],
    devices: Mapping[str, "Device"],
    cables: Mapping[str, "Cable"],
    joins: Sequence["Join"],
    boxes: Set[str],
    unreadable: Set[str],
) -> Iterator[Problem]:
    """Yield every mistake of `failures`.

    Devices and cables named in `unreadable` are known to be incomplete; nothing is said about them.
    """
    rules = _FailureRules(devices, cables, joins, boxes, unreadable)
    seen: dict[tuple[str, ...], Failure] = {}
    for number, failure in enumerate(failures, 1):
        problems = list(rules.problems(f"failure {number}", failure))
        yield from problems
        if problems:
            continue
        first = seen.setdefault(failed_part(failure), failure)
        if (first.kind, first.position) != (failure.kind, failure.position):
            what = f"{first.kind} {first.position}" if first.position else first.kind
            yield Problem(
                f"failure {number}",
                f"contradicts an earlier failure of {_both(failure.at)} ({what}); "
                "keep one of the two",
            )


def failed_part(failure: "Failure") -> tuple[str, ...]:
    """Return a key of the failed part: two failures of one part are equal or contradictory.

    A conductor can be open and shorted to several others, so there the kind is part of the key.
    """
    kind = failure.kind
    part = kind if kind.startswith("conductor") else kind.partition("-")[0]
    return (part, *sorted(failure.at), failure.box or "")


def form_of(device: "Device") -> DeviceKind | None:
    """Return the `DeviceKind` of a device, or None if its kind is unknown."""
    return KINDS.get(canonical_kind(device.kind))


def no_such_conductor(cable: "Cable", colour: str) -> str:
    """Return the complaint about a colour that a cable does not have."""
    return (
        f"cable '{shown(cable.name)}' has no conductor '{shown(colour)}'; "
        f"it has {listing(cable.conductors)}"
    )


def _both(names: Sequence[str]) -> str:
    return " and ".join(map(shown, names))


class _FailureRules:
    """The rules for one failure after the other, given the parts of the circuit."""

    def __init__(
        self,
        devices: Mapping[str, "Device"],
        cables: Mapping[str, "Cable"],
        joins: Sequence["Join"],
        boxes: Set[str],
        unreadable: Set[str],
    ) -> None:
        self.devices = devices
        self.cables = cables
        self.joins = joins
        self.boxes = boxes
        self.unreadable = unreadable
        forms = {name: form_of(device) for name, device in devices.items()}
        self.forms = {name: form for name, form in forms.items() if form}
        self.fitting = {
            "switch": {name: None for name, form in self.forms.items() if form.is_switch},
            "lamp": {name: None for name, form in self.forms.items() if form.name == "lamp"},
        }
        # Nothing is said about a part whose device or cable is itself not understood.
        self.unknown = unreadable | (forms.keys() - self.forms.keys())

    def problems(self, place: str, failure: "Failure") -> Iterator[Problem]:
        kind, at = failure.kind, failure.at
        if kind not in FAILURE_KINDS:
            yield Problem(
                place,
                f"kind='{shown(kind)}' is not known; write one of {listing(FAILURE_KINDS)}",
                about="kind",
            )
            return
        if kind == "switch-stuck" and failure.position not in POSITIONS:
            position = "" if failure.position is None else shown(failure.position)
            yield Problem(
                place,
                f"position='{position}' must be 'up' or 'down' for switch-stuck; "
                "write where it stays",
                about="position",
            )
        elif kind != "switch-stuck" and failure.position is not None:
            yield Problem(
                place, f"position belongs to switch-stuck; remove it from {kind}", about="position"
            )
        if kind != "loose-join" and failure.box is not None:
            yield Problem(place, f"box belongs to loose-join; remove it from {kind}", about="box")
        wanted = 2 if kind in _IN_PAIRS else 1
        if len(at) != wanted or len(set(at)) != wanted:
            parts = "two different parts" if wanted == 2 else "one part"
            yield Problem(
                place, f"at names {listing(at)}; it must name {parts} for {kind}", about="at"
            )
        elif kind == "loose-join":
            yield from self._loose_problems(place, failure)
        elif not self.unknown & {name.partition(".")[0] for name in at}:
            for complaint in self._complaints(kind, at):
                yield Problem(place, complaint, about="at")

    def _loose_problems(self, place: str, failure: "Failure") -> Iterator[Problem]:
        (name,), box = failure.at, failure.box
        if box is None or box not in self.boxes:
            yield Problem(
                place,
                f"box='{shown(box or '')}' must name the box of the loose connection; "
                f"boxes are {listing(self.boxes)}",
                about="box",
            )
            return
        owner = name.partition(".")[0]
        if owner in self.unknown or (owner != "box" and owner in self.unreadable):
            return
        joined = [
            end
            for join in self.joins
            if join.box == box and len(join.ends) > 1
            for end in join.ends
        ]
        if name not in joined:
            yield Problem(
                place,
                f"'{shown(name)}' is in no join of box '{shown(box)}', so nothing can be loose "
                f"there; write one of {listing(joined)}",
                about="at",
            )

    def _complaints(self, kind: str, at: Sequence[str]) -> Iterator[str]:
        if kind.startswith("conductor"):
            yield from self._conductor_complaints(at)
        elif kind in CONTACT_FAILURES:
            yield from self._contact_complaints(at)
        else:
            yield from self._device_complaints(kind, at[0])

    def _conductor_complaints(self, at: Sequence[str]) -> Iterator[str]:
        split = [name.partition(".") for name in at]
        for owner, dot, colour in split:
            cable = self.cables.get(owner)
            if cable is None:
                yield (
                    f"'{shown(owner + dot + colour)}' names no cable; write cable.colour, "
                    f"cables are {listing(self.cables)}"
                )
            elif colour not in cable.conductors:
                yield no_such_conductor(cable, colour)
        if len({owner for owner, _, _ in split}) > 1:
            yield (
                f"{_both(at)} are in different cables; "
                "conductors short within one cable, so name two of the same"
            )

    def _contact_complaints(self, at: Sequence[str]) -> Iterator[str]:
        owners = {name.partition(".")[0] for name in at}
        form = self.forms.get(owners.pop()) if len(owners) == 1 else None
        if form is None or not form.is_switch:
            yield (
                f"{_both(at)} are not two terminals of one switch; write them as switch.terminal"
            )
            return
        terminals = {name.partition(".")[2] for name in at}
        if terminals not in [{contact.a, contact.b} for contact in form.contacts]:
            contacts = listing(f"{contact.a}–{contact.b}" for contact in form.contacts)
            yield (f"{_both(at)} are not a contact of a {form.name}; its contacts are {contacts}")

    def _device_complaints(self, kind: str, name: str) -> Iterator[str]:
        what = "switch" if kind == "switch-stuck" else "lamp"
        fitting = self.fitting[what]
        if name not in fitting:
            yield f"'{shown(name)}' is not a {what}; write one of {listing(fitting)}"
