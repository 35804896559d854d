"""Routes a scheme through boxes: nets are put into cables and get colours and joins.

Each net takes the smallest subtree of the boxes that touches its terminals; ground reaches every
box. On one run, strands that carry the same current there and back share a cable two by two, so
that every cable is balanced in every state (US NEC 300.3(B), read; UK BS 7671 521.5.1, read).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import networkx as nx

from verify.circuit.colours import PALETTES
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Join, box_end, conductor_name
from verify.circuit.validation import NAME_LENGTH
from verify.layout.schemes import FEED, LAMPS, SCHEMES, Landing, Net, Strand, switch_kinds

ROOT: Final = -1
_LARGEST_CABLE: Final = 4
_SMALLEST_CABLE: Final = 2


@dataclass(frozen=True)
class Arrangement:
    """Where everything is: a tree of boxes, the feed at its root, and the devices in them.

    `parents[i]` is the next box from box i on the way to the feed, `ROOT` for the feed's own box.
    `switch_boxes` are in the order in which the scheme meets the switches.
    """

    boxes: tuple[Box, ...]
    parents: tuple[int, ...]
    switch_boxes: tuple[int, ...]
    lamp_boxes: tuple[int, ...]
    switch_names: tuple[str, ...]
    lamp_names: tuple[str, ...]
    feed_name: str = "feed"
    neutral_everywhere: bool = False
    palette: str = "us"

    @cached_property
    def root(self) -> int:
        """The box where the feed arrives."""
        return self.parents.index(ROOT)

    @cached_property
    def below(self) -> tuple[frozenset[int], ...]:
        """For each box, the box itself and all boxes that lie beyond it from the feed."""
        reach: list[set[int]] = [set() for _ in self.boxes]
        for box in range(len(self.boxes)):
            above = box
            while above != ROOT:
                reach[above].add(box)
                above = self.parents[above]
        return tuple(map(frozenset, reach))


def route(
    scheme: str, arrangement: Arrangement, name: str, order: Sequence[str] | None = None
) -> Circuit:
    """Return the circuit that wires `arrangement` by `scheme`.

    `order` lists the device names as the file should have them; by default the feed comes first,
    then the lamps, then the switches as the scheme meets them.
    """
    return _Router(scheme, arrangement).circuit(name, order)


def runs(scheme: str, arrangement: Arrangement) -> "Iterator[CableRun]":
    """Yield the cables by which `scheme` wires `arrangement`."""
    return _Router(scheme, arrangement).runs(set())


@dataclass(frozen=True, slots=True)
class CableRun:
    """A cable to be laid: the nets it carries, and the net on each of its colours."""

    cable: Cable
    parent: int
    child: int
    carries: Mapping[str, str]  # maps the name of a net to its colour


class _Router:
    """Routes one scheme through one arrangement."""

    def __init__(self, scheme: str, arrangement: Arrangement) -> None:
        self.place = arrangement
        self.palette = PALETTES[arrangement.palette]
        self.plan = SCHEMES[scheme].plan(len(arrangement.switch_boxes))
        self.boxes_of = {net.name: self._boxes_of(net) for net in self.plan.nets}

    def circuit(self, name: str, order: Sequence[str] | None) -> Circuit:
        devices = tuple(self._devices())
        if order is not None:
            rank = {device: index for index, device in enumerate(order)}
            devices = tuple(sorted(devices, key=lambda device: rank[device.name]))
        runs = tuple(self.runs({device.name for device in devices}))
        return Circuit(
            name=name,
            boxes=self.place.boxes,
            devices=devices,
            cables=tuple(run.cable for run in runs),
            joins=tuple(self._joins(devices, runs)),
            palette=self.place.palette,
        )

    def _devices(self) -> Iterator[Device]:
        place = self.place
        yield Device(place.feed_name, "feed", place.boxes[place.root].name)
        for lamp, box in zip(place.lamp_names, place.lamp_boxes, strict=True):
            yield Device(lamp, "lamp", place.boxes[box].name)
        kinds = switch_kinds(len(place.switch_boxes))
        for switch, kind, box in zip(place.switch_names, kinds, place.switch_boxes, strict=True):
            yield Device(switch, kind, place.boxes[box].name)

    def _landed(self, landing: Landing) -> Iterator[tuple[int, str]]:
        """Yield the box and end name of a landing, one for each lamp if it is the lamps'."""
        place = self.place
        if landing.place == FEED:
            yield place.root, f"{place.feed_name}.{landing.terminal}"
        elif landing.place == LAMPS:
            for lamp, box in zip(place.lamp_names, place.lamp_boxes, strict=True):
                yield box, f"{lamp}.{landing.terminal}"
        else:
            switch = place.switch_names[landing.place]
            yield place.switch_boxes[landing.place], f"{switch}.{landing.terminal}"

    def _boxes_of(self, net: Net) -> frozenset[int]:
        """Return the boxes that have a terminal of a net."""
        boxes = {box for landing in net.landings for box, _ in self._landed(landing)}
        if net.name == "neutral" and self.place.neutral_everywhere:
            boxes.update(self.place.switch_boxes)
        return frozenset(boxes)

    def _crosses(self, strand: Strand, child: int) -> bool:
        """Return True if the strand needs the run from a box's parent to that box."""
        boxes = self.boxes_of[strand[0].name]
        below = self.place.below[child]
        return bool(boxes & below) and bool(boxes - below)

    def _groups(self, child: int) -> list[list[Net]]:
        """Return the nets on one run, a list for each cable."""
        met = [strand for strand in self.plan.sequence if self._crosses(strand, child)]
        shared = [strand for strand in self.plan.bundle if self._crosses(strand, child)]
        if len(met) % 2:
            # The current of a strand that is left over returns through the bundle.
            shared.insert(0, met.pop())
        groups = [[*met[i], *met[i + 1]] for i in range(0, len(met), 2)]
        together = [net for strand in shared for net in strand]
        if [net.name for net in together] == ["neutral"]:
            # Alone it carries no load, so it may ride in any cable with room.
            roomy = next((group for group in groups if len(group) < _LARGEST_CABLE), None)
            if roomy is not None:
                roomy.append(together[0])
                return groups
        if together or not groups:
            groups.append(together)
        return groups

    def runs(self, taken: set[str]) -> Iterator[CableRun]:
        """Yield the cables, with names that are not `taken`."""
        names = set(taken)
        for child, parent in enumerate(self.place.parents):
            if parent == ROOT:
                continue
            for number, group in enumerate(self._groups(child), 1):
                name = f"{self.place.boxes[child].name}-run" + (f"-{number}" if number > 1 else "")
                if len(name) > NAME_LENGTH or name in names:
                    name = next(short for i in range(1, 999) if (short := f"run-{i}") not in names)
                names.add(name)
                carries = self._colours(group)
                yield CableRun(
                    Cable(
                        name,
                        (self.place.boxes[parent].name, self.place.boxes[child].name),
                        self._conductors(carries),
                    ),
                    parent,
                    child,
                    carries,
                )

    def _colours(self, group: Sequence[Net]) -> dict[str, str]:
        """Return the colour of each net in one cable."""
        names = [net.name for net in group]
        carries: dict[str, str] = {}
        if "neutral" in names:
            carries["neutral"] = self.palette.neutral
        elif 0 < len(names) <= _LARGEST_CABLE:
            # Re-identified; it carries supply (US NEC 200.7(C), read): the line where there is
            # one, else the first strand, which leads away from the feed.
            carries["line" if "line" in names else names[0]] = self.palette.neutral
        others = (name for name in names if name not in carries)
        carries |= {name: self.palette.line_colour(i) for i, name in enumerate(others)}
        return carries

    def _conductors(self, carries: Mapping[str, str]) -> tuple[str, ...]:
        """Return all conductors of a cable as it is bought: line colours, neutral, ground."""
        neutral = self.palette.neutral
        used = sum(colour != neutral for colour in carries.values())
        is_raceway = len(carries) > _LARGEST_CABLE
        wanted = used if is_raceway else max(used, _SMALLEST_CABLE - 1)
        lines = tuple(self.palette.line_colour(index) for index in range(wanted))
        has_neutral = not is_raceway or neutral in carries.values()
        return (*lines, *((neutral,) if has_neutral else ()), self.palette.ground[0])

    def _joins(self, devices: Sequence[Device], runs: Sequence[CableRun]) -> Iterator[Join]:
        at: dict[tuple[int, str], list[str]] = {}
        for net in self.plan.nets:
            for landing in net.landings:
                for box, end in self._landed(landing):
                    at.setdefault((box, net.name), []).append(end)
        grounds: dict[str, list[str]] = {box.name: [] for box in self.place.boxes}
        for device in devices:
            grounds[device.box].append(f"{device.name}.ground")
        for run in runs:
            for net_name, colour in run.carries.items():
                name = conductor_name(run.cable.name, colour)
                for box in (run.parent, run.child):
                    at.setdefault((box, net_name), []).append(name)
            for box_name in run.cable.between:
                grounds[box_name].append(conductor_name(run.cable.name, self.palette.ground[0]))
        for box, placed in enumerate(self.place.boxes):
            for net in self.plan.nets:
                ends = at.get((box, net.name), [])
                if len(ends) > 1:
                    yield Join(placed.name, tuple(ends))
            if placed.is_metal:
                grounds[placed.name].append(box_end(placed.name))
            if len(grounds[placed.name]) > 1:
                yield Join(placed.name, tuple(grounds[placed.name]))


def arrangement_of(circuit: Circuit) -> Arrangement | None:
    """Return where everything is in `circuit`, or None if it is not fit for a scheme.

    It is fit if its cables make one tree of all boxes (side by side they count once), if it has one
    feed, two three-ways and otherwise four-ways, no receptacle and no failed part.
    """
    names = [box.name for box in circuit.boxes]
    index = {name: i for i, name in enumerate(names)}
    kinds = [device.kind for device in circuit.devices]
    if circuit.failures or (kinds.count("feed"), kinds.count("three-way")) != (1, 2):
        return None
    if {"single-pole", "receptacle"} & set(kinds):
        return None
    parents = _parents(
        len(names),
        index[circuit.feed.box],
        [(index[cable.between[0]], index[cable.between[1]]) for cable in circuit.cables],
    )
    if parents is None:
        return None
    first, last = (device for device in circuit.switches if device.kind == "three-way")
    between = (device for device in circuit.switches if device.kind == "four-way")
    switches = (first, *between, last)
    return Arrangement(
        boxes=circuit.boxes,
        parents=parents,
        switch_boxes=tuple(index[switch.box] for switch in switches),
        lamp_boxes=tuple(index[lamp.box] for lamp in circuit.lamps),
        switch_names=tuple(switch.name for switch in switches),
        lamp_names=tuple(lamp.name for lamp in circuit.lamps),
        feed_name=circuit.feed.name,
        palette=circuit.palette,
    )


def _parents(boxes: int, root: int, runs: Sequence[tuple[int, int]]) -> tuple[int, ...] | None:
    """Return the parent of each box in the tree that the runs make, or None if they make none."""
    near: list[set[int]] = [set() for _ in range(boxes)]
    for one, other in runs:
        near[one].add(other)
        near[other].add(one)
    if sum(map(len, near)) != 2 * (boxes - 1):
        return None
    above = {root: ROOT}
    met = [root]
    for box in met:
        further = near[box] - above.keys()
        above |= dict.fromkeys(further, box)
        met += further
    # One run fewer than boxes reaches all boxes only if no run closes a circle.
    return tuple(above[box] for box in range(boxes)) if len(met) == boxes else None


def rooted(tree: "nx.Graph[int]", root: int) -> tuple[int, ...]:
    """Return the parent of each box of a tree of boxes, `ROOT` for `root`."""
    above = dict(nx.bfs_predecessors(tree, root))
    return tuple(above.get(box, ROOT) for box in range(len(tree)))
