"""Mistakes in the words of the claims: which ends, which roles, which switch."""

from collections.abc import Iterator
from typing import Final

from verify.circuit.parts import Device
from verify.fault.failed_parts import PART_KINDS, LooseJoin
from verify.fault.landing_errors import LANDING_KINDS
from verify.layout.schemes import SCHEMES
from verify.study.claims.cases import StudyCase

LANDINGS: Final = tuple(kind.name for kind in LANDING_KINDS)
PARTS: Final = tuple(kind.name for kind in PART_KINDS if not isinstance(kind, LooseJoin))
OPENING: Final = ("left-off", "split", "conductor-open", "contact-open", "lamp-open")
TOUCHING: Final = ("bridged", "conductors-shorted")
#: Every kind but loose connections, which only volts tell from sound ones.
ALL_KINDS: Final = (*LANDINGS, *PARTS, "wrong-device", "cables-mixed", "whole-circuit")
TRAVELERS: Final = frozenset({"traveler-1", "traveler-2"})
PAIRS: Final = (
    ("traveler-1", "traveler-2"),
    ("a1", "a2"),
    ("b1", "b2"),
)


def exchanged_terminals(case: StudyCase) -> Iterator[tuple[Device, frozenset[str]]]:
    """Yield the pairs of terminals of one switch whose exchange is this mistake."""
    if case.kind != "exchanged":
        return
    switches = {switch.name: switch for switch in case.circuit.switches}
    for _, one, other in case.sites:
        owner, _, part = one.partition(".")
        other_owner, _, other_part = other.partition(".")
        if owner == other_owner and owner in switches:
            yield switches[owner], frozenset((part, other_part))


def travelers_exchanged(case: StudyCase) -> Device | None:
    """Return the three-way whose two travelers are exchanged by this mistake."""
    return next((switch for switch, parts in exchanged_terminals(case) if parts == TRAVELERS), None)


def common_exchanged(case: StudyCase) -> Device | None:
    """Return the three-way whose common this mistake exchanges with one of its travelers."""
    return next(
        (s for s, parts in exchanged_terminals(case) if "common" in parts and parts & TRAVELERS),
        None,
    )


def is_exchange_of(case: StudyCase, owner_parts: frozenset[str]) -> bool:
    """Return True if exchanging two ends of these names is this mistake."""
    return case.kind == "exchanged" and any(owner_parts == {*site[1:]} for site in case.sites)


def is_traveler(role: str) -> bool:
    """Return True for the role of a conductor between two switches' travelers."""
    return role.startswith("traveler between")


def touching(case: StudyCase) -> tuple[str, str] | None:
    """Return the roles of the two nets that touch by this mistake."""
    roles = case.study.roles
    if case.kind == "conductors-shorted":
        one, other = case.fault.site
        return roles.conductor(one), roles.conductor(other)
    if case.kind == "bridged":
        box, one, other = case.fault.site
        return roles.at(box, one), roles.at(box, other)
    return None


def brought_together(case: StudyCase) -> tuple[str, str] | None:
    """Return the roles of the nets that touch by this mistake, or of an end and its new join."""
    if case.kind == "moved":
        box, one, other = case.fault.site
        return case.study.roles.at(box, one), case.study.roles.at(box, other)
    return touching(case)


def scheme_title(case: StudyCase) -> str:
    """Return how the circuit is wired, in words."""
    return SCHEMES[case.study.scheme].title


def nets_touching(case: StudyCase) -> tuple[int, int] | None:
    """Return the nets that touch by this mistake, each as its smallest end."""
    if case.kind == "conductors-shorted":
        cables = {cable.name: cable.between[0] for cable in case.circuit.cables}
        places = [(cables[name.partition(".")[0]], name) for name in case.fault.site]
    elif case.kind == "bridged":
        box, *names = case.fault.site
        places = [(box, name) for name in names]
    else:
        return None
    one, other = (case.study.net(box, name) for box, name in places)
    return one, other


def opened(case: StudyCase) -> str:
    """Return the role of the part that is open by this mistake, or an empty text."""
    if case.kind == "conductor-open":
        return case.study.roles.conductor(case.fault.site[0])
    if case.kind == "left-off":
        return case.study.roles.at(*case.fault.site)
    return ""


def roles_involved(case: StudyCase) -> set[str]:
    """Return the roles of all that a site names; parts of devices are ``lamp`` or ``switch``."""
    roles, site = case.study.roles, case.fault.site
    if case.kind in ("left-off", "moved", "exchanged", "bridged"):
        box, *names = site
        return {roles.at(box, name) for name in names}
    if case.kind == "split":
        return {roles.at(site[0], site[1])}
    if case.kind in ("conductor-open", "conductors-shorted"):
        return {roles.conductor(name) for name in site}
    if case.kind.startswith("lamp"):
        return {"lamp"}
    return {"switch"}


def switches_concerned(case: StudyCase) -> set[str]:
    """Return the switches in the box of a mistake, and those that have failed."""
    names = {switch.name for switch in case.circuit.switches}
    if case.kind in LANDINGS:
        box = case.fault.site[0]
        return {switch.name for switch in case.circuit.switches if switch.box == box}
    return {name.partition(".")[0] for name in case.fault.site} & names


def pairs_of(switch: Device) -> Iterator[tuple[str, str]]:
    """Yield the pairs of traveler terminals of a switch, as ``device.terminal``."""
    terminals = switch.form.switched_terminals
    for one, other in PAIRS:
        if one in terminals:
            yield f"{switch.name}.{one}", f"{switch.name}.{other}"


def count(states: int) -> int:
    """Return how many states a set has."""
    return states.bit_count()
