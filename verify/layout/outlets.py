"""Receptacles added to a wired circuit; they stay energised, whatever the switches do.

They have cables of their own, which carry their line and their neutral side by side from the box
where the feed arrives; so no other cable's balance is touched. A second feed may supply them, with
a neutral of its own or, on the other leg, with the one that is there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from verify.circuit.colours import PALETTES
from verify.circuit.devices import DEFAULT_LEG
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device, Join, conductor_name, is_ground_colour
from verify.layout.routing import ROOT, Arrangement

SECOND_FEED: Final = "feed-2"


@dataclass(frozen=True, slots=True)
class SecondFeed:
    """A feed for the receptacles alone; only on the other leg may it share the neutral."""

    leg: str = DEFAULT_LEG
    shares_neutral: bool = False


@dataclass(frozen=True, slots=True)
class Outlet:
    """A receptacle in a box of an arrangement, with what is plugged in, in watts."""

    box: int
    loads: tuple[float, ...] = ()


def with_outlets(
    circuit: Circuit,
    arrangement: Arrangement,
    outlets: tuple[Outlet, ...],
    second: SecondFeed | None = None,
) -> Circuit:
    """Return `circuit`, wired in `arrangement`, with receptacles and perhaps a second feed."""
    return _Addition(circuit, arrangement, outlets, second).circuit()


class _Addition:
    """Adds receptacles, their cables and perhaps a second feed to a circuit."""

    def __init__(
        self,
        circuit: Circuit,
        place: Arrangement,
        outlets: tuple[Outlet, ...],
        second: SecondFeed | None,
    ) -> None:
        self.old = circuit
        self.place = place
        self.second = second
        self.receptacles = [
            (outlet.box, f"receptacle-{number}", outlet.loads)
            for number, outlet in enumerate(outlets, 1)
        ]
        self.joins = [[(join.box, end) for end in join.ends] for join in circuit.joins]
        palette = PALETTES[circuit.palette]
        self.colours = palette.line_colour(0), palette.neutral, palette.ground[0]

    def circuit(self) -> Circuit:
        """Return the old circuit with what is added."""
        names = [box.name for box in self.place.boxes]
        devices = [*self.old.devices]
        if self.second is not None:
            root = names[self.place.root]
            devices.append(Device(SECOND_FEED, "feed", root, leg=self.second.leg))
        devices += [
            Device(name, "receptacle", names[box], loads=loads)
            for box, name, loads in self.receptacles
        ]
        runs = {
            child: Cable(f"outlet-run-{number}", (names[parent], names[child]), self.colours)
            for number, (child, parent) in enumerate(self._crossed(), 1)
        }
        for box, name in enumerate(names):
            cables = [
                run for child, run in runs.items() if box in (child, self.place.parents[child])
            ]
            self._join_in(box, name, cables)
        joins = tuple(Join(group[0][0], tuple(end for _, end in group)) for group in self.joins)
        return replace(
            self.old,
            devices=tuple(devices),
            cables=(*self.old.cables, *runs.values()),
            joins=joins,
        )

    def _crossed(self) -> Iterator[tuple[int, int]]:
        """Yield the runs that lead from the feed's box to receptacles: a box and its parent."""
        for child, parent in enumerate(self.place.parents):
            if parent != ROOT and any(
                box in self.place.below[child] for box, *_ in self.receptacles
            ):
                yield child, parent

    def _join_in(self, box: int, name: str, cables: list[Cable]) -> None:
        """Join the new ends in a box: those of line, of neutral and of ground."""
        here = [receptacle for at, receptacle, _ in self.receptacles if at == box]
        for terminal, colour in zip(("line", "neutral", "ground"), self.colours, strict=True):
            ends = [f"{receptacle}.{terminal}" for receptacle in here]
            ends += [conductor_name(cable.name, colour) for cable in cables]
            if box == self.place.root:
                ends = [*self._from_feed(terminal), *ends]
            elif terminal == "ground" and ends:
                ends.insert(0, self._ground_in(name))
            self._join(name, ends)

    def _from_feed(self, terminal: str) -> list[str]:
        """Return the feeds' terminals in the join of the receptacles' line, neutral or ground."""
        own, second = f"{self.place.feed_name}.{terminal}", f"{SECOND_FEED}.{terminal}"
        if self.second is None:
            return [own]
        shares = terminal == "neutral" and self.second.shares_neutral
        return [own, second] if shares or terminal == "ground" else [second]

    def _ground_in(self, box: str) -> str:
        """Return an end that was on ground in a box before."""
        return next(
            end.name
            for end in self.old.ends
            if end.box == box and (end.part == "ground" or is_ground_colour(end.part))
        )

    def _join(self, box: str, names: list[str]) -> None:
        """Join ends of a box, and with them all that the first is joined to already."""
        if len(names) < 2:
            return
        first, *others = [(box, name) for name in names]
        group = next((group for group in self.joins if first in group), None)
        if group is None:
            self.joins.append([first, *others])
        else:
            group.extend(others)
