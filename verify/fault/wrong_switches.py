"""Wrong switches, mixed-up cables, and whole circuits wired by a wrong scheme."""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import Final

from verify.base.sentences import capital, with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import conductor_name
from verify.fault.change import Change, NumberedCircuit, Replacement
from verify.fault.contract import Example, FaultKind, Site
from verify.layout.routing import Arrangement, arrangement_of, route
from verify.layout.schemes import SCHEMES, WRONG_SCHEMES


class WrongDevice(FaultKind):
    """A switch of another kind in its place."""

    name = "wrong-device"
    title = "wrong device"
    description = (
        "A switch of the wrong kind was put in: a single-pole or a four-way where a three-way "
        "belongs, or a three-way where a four-way belongs."
    )
    examples = (
        Example(
            ("switch-2", "single-pole", "common+traveler-1"),
            "misbehaves",
            "A single-pole switch passes one traveler and leaves the other in the air.",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every three-way as single-pole or four-way, every four-way as three-way."""
        broken = {
            name.partition(".")[0]
            for failure in wiring.circuit.failures
            if failure.kind.startswith("contact")
            for name in failure.at
        }
        for switch in wiring.circuit.switches:
            # A failed contact belongs to the old switch and would go with it.
            if switch.name in broken or switch.kind not in _REPLACED_BY:
                continue
            terminals = switch.form.switched_terminals
            ends = {t: wiring.number(switch.box, f"{switch.name}.{t}") for t in terminals}
            for site, kind, landed in _REPLACED_BY[switch.kind](terminals):
                # A terminal that is no longer there is an end connected to nothing.
                gone = (end for terminal, end in ends.items() if terminal not in landed)
                moves = tuple((end, len(wiring.joins) + place) for place, end in enumerate(gone))
                new = Replacement(switch.name, kind, landed)
                yield (switch.name, *site), Change(moves, replacement=new)

    def in_words(self, site: Site) -> str:
        """Return what was put in, and how the old conductors landed on it."""
        switch, kind, *landing = site
        if kind == "single-pole":
            how = f"only the conductors of {with_and(landing[0].split('+'))} are landed"
        elif kind == "four-way":
            how = f"the conductor of {landing[0]} shares a side with the unused terminal"
        else:
            how = (
                f"the conductor of {landing[0]} is left off, that of {landing[1]} is on the common"
            )
        return f"{capital(switch)} was replaced by a {kind} switch; {how}."


_Landed = tuple[tuple[str, ...], str, Mapping[str, str]]


@cache
def _for_three_way(terminals: tuple[str, ...]) -> tuple[_Landed, ...]:
    """Return the devices that may replace a three-way, and where its conductors land."""
    found: list[_Landed] = []
    for pair in itertools.combinations(terminals, 2):
        landed = dict(zip(pair, ("s1", "s2"), strict=True))
        found.append((("single-pole", "+".join(pair)), "single-pole", landed))
    for beside in terminals:
        one, other = (terminal for terminal in terminals if terminal != beside)
        found.append((("four-way", beside), "four-way", {beside: "a1", one: "b1", other: "b2"}))
    return tuple(found)


@cache
def _for_four_way(terminals: tuple[str, ...]) -> tuple[_Landed, ...]:
    """Return the devices that may replace a four-way, and where its conductors land."""
    found: list[_Landed] = []
    for off in terminals:
        rest = [terminal for terminal in terminals if terminal != off]
        for common in rest:
            one, other = (terminal for terminal in rest if terminal != common)
            landed = {common: "common", one: "traveler-1", other: "traveler-2"}
            found.append((("three-way", off, common), "three-way", landed))
    return tuple(found)


_REPLACED_BY: Final = {"three-way": _for_three_way, "four-way": _for_four_way}


class CablesMixed(FaultKind):
    """Conductors of two cables side by side taken for each other."""

    name = "cables-mixed"
    title = "cables mixed up"
    description = (
        "Of two cables side by side, two conductors of the same colour are taken for each other "
        "at both ends. The connections are the same; currents may run one way in one cable and "
        "back in the other."
    )
    examples = (
        Example(
            ("box-1-run", "box-1-run-2", "white"),
            "mimic",
            "Every connection is as intended, so no flip of a switch can tell; what runs out "
            "in one cable comes back in the other.",
            by_connections="sound",
            layout="f.L.L.1",
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every pair of conductors of one colour in two cables between the same boxes."""
        for one, other in itertools.combinations(wiring.circuit.cables, 2):
            if set(one.between) != set(other.between):
                continue
            for colour in one.conductors:
                if colour in other.conductors:
                    moves = []
                    for box in one.between:
                        pair = [
                            wiring.number(box, conductor_name(cable.name, colour))
                            for cable in (one, other)
                        ]
                        here, there = (wiring.join_of[end] for end in pair)
                        moves += [(pair[0], there), (pair[1], here)]
                    yield (one.name, other.name, colour), Change(tuple(moves))

    def in_words(self, site: Site) -> str:
        """Return which conductors are exchanged, as a sentence."""
        return (
            f"The {site[2]} conductors of the cables {site[0]} and {site[1]} are taken for each "
            "other at both ends."
        )


def rewired(circuit: Circuit, arrangement: Arrangement, scheme: str) -> Circuit:
    """Return the devices of `circuit`, placed as `arrangement` says, wired by another scheme."""
    order = [device.name for device in circuit.devices]
    found = route(scheme, arrangement, circuit.name, order)
    if (found.devices, found.volts) == (circuit.devices, circuit.volts):
        return found
    return replace(found, devices=circuit.devices, volts=circuit.volts)


class WholeCircuit(FaultKind):
    """The whole circuit wired by a scheme that is known to be wrong."""

    name = "whole-circuit"
    title = "wrong scheme"
    description = (
        "The whole circuit was wired by a scheme that passes every flip and is wrong: the switches "
        "in the neutral, or line and neutral on the travelers."
    )
    examples = tuple(
        Example((scheme,), "mimic", SCHEMES[scheme].description) for scheme in WRONG_SCHEMES
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every wrong scheme, on the boxes and devices of this circuit."""
        circuit = wiring.circuit
        arrangement = arrangement_of(circuit)
        if arrangement is None:
            return
        for scheme in WRONG_SCHEMES:
            yield (scheme,), Change(rebuilt=rewired(circuit, arrangement, scheme))

    def in_words(self, site: Site) -> str:
        """Return which scheme was used, as a sentence."""
        return f"The whole circuit is wired as {SCHEMES[site[0]].title}."


WRONG_KINDS: Final[tuple[FaultKind, ...]] = (WrongDevice(), CablesMixed(), WholeCircuit())
