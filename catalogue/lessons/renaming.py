"""A circuit is renamed for a story: boxes and cables get the story's names, wires local colours.

Colours are converted by role, conductor by conductor: the neutral's colour becomes the neutral's,
ground becomes ground, and line conductors keep their order. Connections stay as they are.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from verify.circuit.colours import PALETTES
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, Failure, Join
from verify.fault.contract import Fault, Site
from verify.fault.registry import find_fault

#: Nominal volts, line to neutral, that go with a palette.
VOLTS: Final = {"us": 120.0, "iec": 230.0}
LAMP_BOX: Final = "lamp-box"


@dataclass(frozen=True)
class Renaming:
    """The new names and colours of one circuit.

    Each map leads from old names to new ones; `colours` has one map for each cable, by its old
    name.
    """

    circuit: Circuit
    palette: str
    names: Mapping[str, str] = field(default_factory=dict)
    title: str = ""

    @classmethod
    def of(cls, circuit: Circuit, palette: str, places: Sequence[str], title: str) -> "Renaming":
        """Rename a layout after `places`, its switches' and then the lamp's; or any circuit."""
        return cls(circuit, palette, dict(_place_names(circuit, places)) if places else {}, title)

    @property
    def note(self) -> str:
        """The conversion of colours, as a sentence; empty if nothing was converted."""
        if self.palette == self.circuit.palette:
            return ""
        done = [f"{old} to {new}" for old, new in sorted(self._changed_colours)]
        volts = VOLTS[self.palette]
        return (
            f"The circuit was drawn up in other colours. They were converted by role, conductor "
            f"by conductor ({', '.join(done)}), and {self.circuit.volts:g} V to {volts:g} V; "
            "sizes, lengths and what is connected are as they were."
        )

    @property
    def _changed_colours(self) -> set[tuple[str, str]]:
        return {
            pair
            for cable in self.circuit.cables
            for pair in self._colours(cable).items()
            if pair[0] != pair[1]
        }

    def _colours(self, cable: Cable) -> dict[str, str]:
        old, new = PALETTES[self.circuit.palette], PALETTES[self.palette]
        if old == new:
            return {colour: colour for colour in cable.conductors}
        found: dict[str, str] = {}
        lines = 0
        for colour in cable.conductors:
            if colour in old.ground:
                found[colour] = new.ground[0]
            elif colour == old.neutral:
                found[colour] = new.neutral
            else:
                found[colour] = new.line_colour(lines)
                lines += 1
        return found

    def name(self, name: str) -> str:
        """Return the new name of a box, device or cable."""
        return self.names.get(name, name)

    def end(self, name: str) -> str:
        """Return the new name of an end or a conductor."""
        owner, dot, part = name.partition(".")
        if not dot:
            return self.name(name)
        if owner == "box":
            return f"box.{self.name(part)}"
        cable = next((cable for cable in self.circuit.cables if cable.name == owner), None)
        return f"{self.name(owner)}.{self._colours(cable)[part] if cable else part}"

    def renamed(self) -> Circuit:
        """Return the circuit as the sheets show it."""
        old = self.circuit
        volts = old.volts if old.palette == self.palette else VOLTS[self.palette]
        return Circuit(
            name=self.title or old.name,
            boxes=tuple(replace(box, name=self.name(box.name)) for box in old.boxes),
            devices=tuple(self._device(device) for device in old.devices),
            cables=tuple(self._cable(cable) for cable in old.cables),
            joins=tuple(
                Join(self.name(join.box), tuple(map(self.end, join.ends)), join.fixed)
                for join in old.joins
            ),
            failures=tuple(map(self._failure, old.failures)),
            volts=volts,
            palette=self.palette,
        )

    def _device(self, device: Device) -> Device:
        return replace(device, name=self.name(device.name), box=self.name(device.box))

    def _cable(self, cable: Cable) -> Cable:
        here, there = cable.between
        return replace(
            cable,
            name=self.name(cable.name),
            between=(self.name(here), self.name(there)),
            conductors=tuple(self._colours(cable)[colour] for colour in cable.conductors),
        )

    def _failure(self, failure: Failure) -> Failure:
        return replace(
            failure,
            at=tuple(map(self.end, failure.at)),
            box=None if failure.box is None else self.name(failure.box),
        )

    def fault(self, renamed: Circuit, fault: Fault) -> Fault:
        """Return the same mistake in the renamed circuit."""
        site = tuple(self._site(fault))
        return find_fault(renamed, f"{fault.kind}/{','.join(site)}")

    def _site(self, fault: Fault) -> Iterator[str]:
        site: Site = fault.site
        if fault.kind == "cables-mixed":
            cable = next(cable for cable in self.circuit.cables if cable.name == site[0])
            yield from (*map(self.name, site[:2]), self._colours(cable)[site[2]])
        else:
            yield from ("+".join(map(self.end, part.split("+"))) for part in site)


def _place_names(circuit: Circuit, places: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield the new name of each box, switch and cable of a layout, from those of its places."""
    *of_switches, of_lamp = places
    boxes = {f"box-{number}": place for number, place in enumerate(of_switches, 1)}
    boxes[LAMP_BOX] = of_lamp
    yield from boxes.items()
    for number, place in enumerate(of_switches, 1):
        yield f"switch-{number}", f"{place}-switch"
    for cable in circuit.cables:
        box = max((box for box in boxes if cable.name.startswith(f"{box}-")), key=len)
        yield cable.name, cable.name.replace(box, boxes[box], 1)
