"""`Circuit` and its parts: boxes, devices, cables, joins and failed parts, all immutable.

A `Circuit` that exists is valid: its constructor runs every rule of `verify.validation`.
Two circuits with the same meaning are equal, however their joins were listed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, NamedTuple

from verify.colours import GROUND_COLOURS
from verify.devices import DEFAULT_LEG, KINDS, DeviceKind, Position, canonical_kind

DEFAULT_VOLTS: Final = 120.0
DEFAULT_WATTS: Final = 60.0
DEFAULT_BREAKER_AMPS: Final = 15.0


class End(NamedTuple):
    """A place where something can be connected: a terminal, a conductor's end, a metal box.

    `name` is ``device.terminal``, ``cable.colour`` or ``box.NAME``; with `box` it is unique.
    """

    box: str
    name: str

    @property
    def owner(self) -> str:
        """The device or cable it belongs to, or ``box``."""
        return self.name.partition(".")[0]

    @property
    def part(self) -> str:
        """The terminal, the conductor's colour, or the box's name."""
        return self.name.partition(".")[2]


@dataclass(frozen=True, slots=True)
class Box:
    """A box in the wall; a metal one is itself an end."""

    name: str
    material: str = "plastic"

    @property
    def is_metal(self) -> bool:
        """True if the box can be live."""
        return self.material == "metal"


@dataclass(frozen=True, slots=True)
class Device:
    """Something with terminals, in one box.

    `watts` is a lamp's; `loads` are a receptacle's, in watts, plugged in side by side.
    A feed has `breaker_amps`, and of its run from the service `leg` (``A`` or ``B``, opposite
    ends of a divided supply), `length_m` and `size`.
    """

    name: str
    kind: str
    box: str
    watts: float | None = None
    breaker_amps: float | None = None
    leg: str | None = None
    length_m: float | None = None
    size: str | None = None
    loads: tuple[float, ...] = ()

    @property
    def form(self) -> DeviceKind:
        """What a device of this kind is; raises KeyError for an unknown kind."""
        return KINDS[canonical_kind(self.kind)]


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable or raceway between two boxes; its conductors are told apart by colour."""

    name: str
    between: tuple[str, str]
    conductors: tuple[str, ...]
    size: str | None = None
    length_m: float | None = None


@dataclass(frozen=True, slots=True)
class Join:
    """Ends in one box that are connected together, by name (`End.name`)."""

    box: str
    ends: tuple[str, ...]
    fixed: bool = False


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed part; what `at` names depends on `kind`, see the circuit file.

    `position` is where a stuck switch stays, `box` where a loose connection is.
    """

    kind: str
    at: tuple[str, ...]
    position: Position | None = None
    box: str | None = None


def conductor_name(cable: str, colour: str) -> str:
    """How a conductor is written."""
    return f"{cable}.{colour}"


def box_end(name: str) -> str:
    """How a metal box is written as an end."""
    return f"box.{name}"


@dataclass(frozen=True)
class Circuit:
    """Everything that is in the walls. Order of devices counts: it numbers the switches.

    Joins are kept in canonical order and without unconnected ends, failures sorted.
    Raises `CircuitError` with every mistake found.
    """

    name: str
    boxes: tuple[Box, ...]
    devices: tuple[Device, ...]
    cables: tuple[Cable, ...]
    joins: tuple[Join, ...]
    failures: tuple[Failure, ...] = ()
    volts: float = DEFAULT_VOLTS
    palette: str = "us"

    def __post_init__(self) -> None:
        from verify.validation import check_circuit

        check_circuit(self)
        settle = object.__setattr__
        settle(self, "devices", tuple(map(_with_defaults, self.devices)))
        settle(self, "joins", self._canonical_joins())
        settle(self, "failures", self._canonical_failures())

    def _canonical_joins(self) -> tuple[Join, ...]:
        order: Mapping[tuple[str, str], int] = self.end_index  # type: ignore[assignment]

        def in_order(join: Join) -> Join:
            ends = tuple(sorted(join.ends, key=lambda name: order[join.box, name]))
            return join if ends == join.ends else Join(join.box, ends, join.fixed)

        joins = (in_order(join) for join in self.joins if len(join.ends) > 1 or join.fixed)
        return tuple(sorted(joins, key=lambda join: order[join.box, join.ends[0]]))

    def _canonical_failures(self) -> tuple[Failure, ...]:
        return tuple(
            sorted(
                {replace(failure, at=tuple(sorted(failure.at))) for failure in self.failures},
                key=lambda failure: (
                    failure.kind,
                    failure.at,
                    failure.position or "",
                    failure.box or "",
                ),
            )
        )

    @cached_property
    def ends(self) -> tuple[End, ...]:
        """Every end, box by box in file order: terminals, conductors, then the metal box."""
        inside: dict[str, list[str]] = {box.name: [] for box in self.boxes}
        for device in self.devices:
            inside[device.box] += (f"{device.name}.{name}" for name in device.form.terminals)
        for cable in self.cables:
            for box in cable.between:
                inside[box] += (conductor_name(cable.name, colour) for colour in cable.conductors)
        for metal in (box.name for box in self.boxes if box.is_metal):
            inside[metal].append(box_end(metal))
        return tuple(End(box, name) for box, names in inside.items() for name in names)

    @cached_property
    def end_index(self) -> Mapping[End, int]:
        """The place of each end in `ends`."""
        return {end: index for index, end in enumerate(self.ends)}

    @cached_property
    def switches(self) -> tuple[Device, ...]:
        """The switches in file order: switch i is bit i of a state's number."""
        return tuple(device for device in self.devices if device.form.is_switch)

    @cached_property
    def lamps(self) -> tuple[Device, ...]:
        """The lamps in file order."""
        return tuple(device for device in self.devices if device.form.name == "lamp")

    @cached_property
    def feeds(self) -> tuple[Device, ...]:
        """The feeds in file order."""
        return tuple(device for device in self.devices if device.form.name == "feed")

    @property
    def feed(self) -> Device:
        """The first feed."""
        return self.feeds[0]

    @cached_property
    def grouped_ends(self) -> tuple[tuple[End, ...], ...]:
        """Every join with unconnected ends as joins of their own, in the order of `ends`."""
        groups = [tuple(End(join.box, name) for name in join.ends) for join in self.joins]
        joined = {end: group for group in groups for end in group}
        alone_or_joined = (joined.get(end, (end,)) for end in self.ends)
        # A join's ends are in the order of `ends`, so each group is met first at its first end.
        return tuple(
            group for end, group in zip(self.ends, alone_or_joined, strict=True) if group[0] == end
        )

    def device(self, name: str) -> Device:
        """The device of that name; raises KeyError."""
        for device in self.devices:
            if device.name == name:
                return device
        raise KeyError(name)

    def terminal(self, device: Device, terminal: str) -> End:
        """One terminal of a device as an end."""
        return End(device.box, f"{device.name}.{terminal}")


def is_ground_colour(colour: str) -> bool:
    """True for bare, green and green-yellow."""
    return colour in GROUND_COLOURS


def _with_defaults(device: Device) -> Device:
    kind = canonical_kind(device.kind)
    watts, amps, leg = device.watts, device.breaker_amps, device.leg
    if kind == "lamp" and watts is None:
        watts = DEFAULT_WATTS
    if kind == "feed":
        amps = DEFAULT_BREAKER_AMPS if amps is None else amps
        leg = DEFAULT_LEG if leg is None else leg
    return replace(device, kind=kind, watts=watts, breaker_amps=amps, leg=leg)
