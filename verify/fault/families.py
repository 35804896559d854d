"""Families: faults that a person would give one name, whatever the boxes and colours.

A family describes the mistaken parts by their roles in the intended circuit — line, a traveler
between two switches, the switch leg — so that one sentence fits many faults of many circuits.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from verify.circuit.model import Circuit
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.layout.schemes import SCHEMES

_TRAVELER_TERMINALS: Final = frozenset({"traveler-1", "traveler-2", "a1", "a2", "b1", "b2"})


@dataclass(frozen=True)
class Roles:
    """The role of each conductor and terminal in a circuit as intended."""

    circuit: Circuit
    known: NumberedCircuit | None = None

    @cached_property
    def _wiring(self) -> NumberedCircuit:
        return self.known or NumberedCircuit(self.circuit)

    @cached_property
    def of_end(self) -> Mapping[int, str]:
        """The role of each end, by its number."""
        net_of = self._wiring.nets
        terminals: dict[int, list[str]] = {net: [] for net in net_of}
        devices = {device.name for device in self.circuit.devices}
        for end, net in zip(self.circuit.ends, net_of, strict=True):
            if end.owner in devices:
                terminals[net].append(end.name)
        roles = {net: self._role(names) for net, names in terminals.items()}
        return {end: roles[net] for end, net in enumerate(net_of)}

    def _role(self, terminals: list[str]) -> str:
        """Return the role of the net that has these terminals, given in the order of ends."""
        for part in ("line", "neutral", "ground"):
            if any(f"{feed.name}.{part}" in terminals for feed in self.circuit.feeds):
                return part
        owners = {name.partition(".")[0]: name.partition(".")[2] for name in terminals}
        if any(lamp.name in owners for lamp in self.circuit.lamps):
            return "switch leg"
        switches = [switch.name for switch in self.circuit.switches if switch.name in owners]
        if not switches:
            return "spare conductor"
        what = "tie of commons" if all(owners[s] == "common" for s in switches) else "traveler"
        if len(switches) == 1:
            return f"open end at {switches[0]}"
        return f"{what} between {' and '.join(switches)}"

    def conductor(self, name: str) -> str:
        """Return the role of a conductor, written ``cable.colour``."""
        cable = next(c for c in self.circuit.cables if c.name == name.partition(".")[0])
        return self.of_end[self._wiring.number(cable.between[0], name)]

    def at(self, box: str, name: str) -> str:
        """Return the role of an end."""
        return self.of_end[self._wiring.number(box, name)]

    def thing(self, box: str, name: str) -> str:
        """Return an end as a person points at it: terminals by device, conductors by role."""
        owner, _, part = name.partition(".")
        if owner == "box":
            return f"the metal of {part}"
        for device in self.circuit.devices:
            if device.name == owner:
                return f"{'a traveler' if part in _TRAVELER_TERMINALS else part} of {owner}"
        return f"{self.at(box, name)} conductor".replace("conductor conductor", "conductor")


def family(roles: Roles, fault: Fault) -> str:
    """Return the family of a fault of the circuit that `roles` knows, as a phrase."""
    return _FAMILIES[fault.kind](roles, *fault.site)


def place(fault: Fault) -> str:
    """Return where a fault can be seen: a box, a cable, a device, or empty for everywhere."""
    if fault.kind in ("conductor-open", "conductors-shorted", "contact-open", "contact-welded"):
        return fault.site[0].partition(".")[0]
    return "" if fault.kind == "whole-circuit" else fault.site[0]


def _left_off(roles: Roles, box: str, end: str) -> str:
    return f"{roles.thing(box, end)} left off in {box}"


def _moved(roles: Roles, box: str, end: str, target: str) -> str:
    return f"{roles.thing(box, end)} landed on {roles.at(box, target)} in {box}"


def _exchanged(roles: Roles, box: str, one: str, other: str) -> str:
    things = sorted((roles.thing(box, one), roles.thing(box, other)))
    owners = {name.partition(".")[0] for name in (one, other)}
    if len(owners) == 1 and owners & {switch.name for switch in roles.circuit.switches}:
        parts = [thing.removesuffix(f" of {next(iter(owners))}") for thing in things]
        what = (
            "its travelers" if parts[0] == parts[1] else " and ".join(sorted(parts, reverse=True))
        )
        return f"{what} exchanged at {next(iter(owners))}"
    return f"{things[0]} and {things[1]} exchanged in {box}"


def _touching(roles: Roles, box: str, one: str, other: str) -> str:
    return f"{_both(roles.at(box, one), roles.at(box, other))} touching in {box}"


def _split(roles: Roles, box: str, first: str, _: str) -> str:
    return f"{roles.at(box, first)} splice in two parts in {box}"


def _open(roles: Roles, conductor: str) -> str:
    return f"open {roles.conductor(conductor)}"


def _shorted(roles: Roles, one: str, other: str) -> str:
    return f"{_both(roles.conductor(one), roles.conductor(other))} touching in a cable"


def _both(one: str, other: str) -> str:
    if one == other:
        return one.replace("traveler", "both travelers", 1)
    return " and ".join(sorted((one, other)))


def _contact(how: str) -> Callable[..., str]:
    def name(_: Roles, one: str, __: str) -> str:
        return f"a contact of {one.partition('.')[0]} that {how}"

    return name


def _stuck(_: Roles, switch: str, __: str) -> str:
    return f"{switch} stuck in one position"


def _lamp(what: str) -> Callable[..., str]:
    def name(_: Roles, lamp: str) -> str:
        return f"{lamp} {what}"

    return name


def _loose(roles: Roles, box: str, end: str) -> str:
    return f"loose {roles.at(box, end)} connection in {box}"


def _borrowed(roles: Roles, box: str, end: str, _: str) -> str:
    return f"{roles.thing(box, end)} on the neutral of another feed in {box}"


def _feeds_crossed(_: Roles, box: str, *lines: str) -> str:
    one, other = sorted(line.partition(".")[0] for line in lines)
    return f"lines of {one} and {other} crossed in {box}"


def _neutral_lost(_: Roles, *feeds: str) -> str:
    return f"shared neutral of {' and '.join(sorted(feeds))} lost"


def _on_leg(roles: Roles, box: str, end: str, target: str) -> str:
    return f"outlet fed from {roles.at(box, target)} by {roles.thing(box, end)} in {box}"


def _wrong_device(_: Roles, switch: str, kind: str, *__: str) -> str:
    return f"a {kind} switch in place of {switch}"


def _cables_mixed(_: Roles, one: str, other: str, __: str) -> str:
    return f"conductors of {one} and {other} taken for each other"


def _whole_circuit(_: Roles, scheme: str) -> str:
    return f"wired as {SCHEMES[scheme].title}"


_FAMILIES: Final[Mapping[str, Callable[..., str]]] = {
    "left-off": _left_off,
    "moved": _moved,
    "exchanged": _exchanged,
    "bridged": _touching,
    "split": _split,
    "conductor-open": _open,
    "conductors-shorted": _shorted,
    "contact-open": _contact("never closes"),
    "contact-welded": _contact("never opens"),
    "switch-stuck": _stuck,
    "lamp-open": _lamp("burnt out"),
    "lamp-shorted": _lamp("shorted"),
    "loose-join": _loose,
    "wrong-device": _wrong_device,
    "cables-mixed": _cables_mixed,
    "whole-circuit": _whole_circuit,
    "borrowed-neutral": _borrowed,
    "feeds-crossed": _feeds_crossed,
    "neutral-lost": _neutral_lost,
    "downstream-on-leg": _on_leg,
}
#: Kinds whose families depend on nothing but the names in a site.
NAMED_BY_SITE: Final = frozenset(
    {
        *("contact-open", "contact-welded", "switch-stuck", "lamp-open", "lamp-shorted"),
        *("wrong-device", "cables-mixed", "whole-circuit"),
    }
)
