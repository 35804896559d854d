"""`Circuit`: boxes, devices, cables, joins and failed parts that go together, immutable.

A `Circuit` that exists is valid: its constructor runs every rule of `verify.circuit.validation`.
Two circuits with the same meaning are equal, however their joins were listed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from verify.base.problems import require
from verify.base.sentences import counted
from verify.base.telling import TextTable, cautions_group, heading, html
from verify.circuit.devices import DEFAULT_LEG, canonical_kind
from verify.circuit.parts import (
    DEFAULT_BREAKER_AMPS,
    DEFAULT_VOLTS,
    DEFAULT_WATTS,
    Box,
    Cable,
    Device,
    End,
    Failure,
    Join,
    box_end,
    conductor_name,
)
from verify.circuit.validation import check_circuit


@dataclass(frozen=True)
class Circuit:
    """Everything that is in the walls. The order of devices counts: it numbers the switches.

    Joins are kept in canonical order and without unconnected ends, failures sorted. Raises
    `CircuitError` with every mistake found.
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
        """The ends of each join; an unconnected end is a group of its own.

        Groups are in the order of their first ends in `ends`.
        """
        groups = [tuple(End(join.box, name) for name in join.ends) for join in self.joins]
        joined = {end: group for group in groups for end in group}
        alone_or_joined = (joined.get(end, (end,)) for end in self.ends)
        # A join's ends are in the order of `ends`, so each group is met first at its first end.
        return tuple(
            group for end, group in zip(self.ends, alone_or_joined, strict=True) if group[0] == end
        )

    def __repr__(self) -> str:
        """Return a line with its name and what it is made of; `dump` gives all of it."""
        parts = (
            (len(self.switches), "switch", "switches"),
            (len(self.lamps), "lamp", "lamps"),
            (len(self.feeds), "feed", "feeds"),
            (len(self.boxes), "box", "boxes"),
            (len(self.cables), "cable", "cables"),
            (len(self.failures), "failed part", "failed parts"),
        )
        told = ", ".join(counted(*part) for part in parts if part[0])
        return f"<Circuit {self.name!r}: {told}>"

    def _repr_html_(self) -> str:
        """Return boxes with their devices, cables, joins and failed parts as HTML tables."""
        devices = {
            box.name: ", ".join(device.name for device in self.devices if device.box == box.name)
            for box in self.boxes
        }
        boxes = [[box.name, box.material, devices[box.name]] for box in self.boxes]
        cables = [[c.name, " and ".join(c.between), ", ".join(c.conductors)] for c in self.cables]
        joins = [[join.box, ", ".join(join.ends)] for join in self.joins]
        failed = [[failure.kind, ", ".join(failure.at)] for failure in self.failures]
        tables = (
            TextTable(["box", "made of", "devices"], boxes),
            TextTable(["cable", "between", "conductors"], cables),
            TextTable(["in box", "joined together"], joins),
            TextTable(["failed", "at"], failed),
        )
        return html(
            [[heading(self.name)], *([table] for table in tables if table.rows), cautions_group()]
        )

    def device(self, name: str) -> Device:
        """Return the device of that name; raises KeyError."""
        for device in self.devices:
            if device.name == name:
                return device
        raise KeyError(name)

    def terminal(self, device: Device, terminal: str) -> End:
        """Return one terminal of a device as an end."""
        return End(device.box, f"{device.name}.{terminal}")


def require_circuit(circuit: object) -> None:
    """Raise UserError unless the argument `circuit` is one."""
    require(circuit, Circuit, "circuit", "give a Circuit, such as verify.load(…) returns")


def _with_defaults(device: Device) -> Device:
    """Return a device with the canonical name of its kind and that kind's default values."""
    kind = canonical_kind(device.kind)
    watts, amps, leg = device.watts, device.breaker_amps, device.leg
    if kind == "lamp" and watts is None:
        watts = DEFAULT_WATTS
    if kind == "feed":
        amps = DEFAULT_BREAKER_AMPS if amps is None else amps
        leg = DEFAULT_LEG if leg is None else leg
    return replace(device, kind=kind, watts=watts, breaker_amps=amps, leg=leg)
