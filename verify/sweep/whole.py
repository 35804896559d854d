"""What plain circuits do that are wired by a wrong scheme, without making the circuits.

In a plain layout every switch and the lamp have a box of their own. There a scheme connects the
same terminals whatever the tree of boxes; the tree decides only which nets share a cable. So one
circuit of each scheme and size is judged, and for the others only this is computed: whether the
currents that enter beyond a run of cables come back in the same cable.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from verify.layout.routing import Arrangement, CableRun, runs
from verify.layout.schemes import FEED, LAMPS, SCHEMES, SchemeNets

Words = npt.NDArray[np.uint64]


class Cut(NamedTuple):
    """The cables of one run: the states with unbalanced currents, and the number of conductors.

    `pairs` counts the pairs of conductors that share a cable.
    """

    unbalanced: int
    conductors: int
    pairs: int


@dataclass(frozen=True, slots=True)
class PlainLayout:
    """A plain arrangement by items: item k is switch k, the last item is the lamp.

    `root` is the item where the feed arrives, `below` has for each run its lower box, and the items
    in it and beyond as a set of bits.
    """

    items: int
    root: int
    below: tuple[tuple[int, int], ...]


def plain_layout(arrangement: Arrangement) -> PlainLayout | None:
    """Return the items of a plain arrangement, or None if it is not plain."""
    boxes = (*arrangement.switch_boxes, *arrangement.lamp_boxes)
    if len(arrangement.lamp_boxes) != 1 or sorted(boxes) != list(range(len(arrangement.boxes))):
        return None
    if any(box.is_metal for box in arrangement.boxes) or arrangement.neutral_everywhere:
        return None
    bit = {box: 1 << item for item, box in enumerate(boxes)}
    return PlainLayout(
        len(boxes),
        boxes.index(arrangement.root),
        tuple(
            (child, sum(bit[box] for box in arrangement.below[child]))
            for child in range(len(boxes))
            if child != arrangement.root
        ),
    )


class SchemeCurrents:
    """Where the lamp's current enters and leaves the nets of a scheme, and a cache of cuts."""

    def __init__(self, scheme: str, items: int, flow_of: dict[str, npt.NDArray[np.int8]]) -> None:
        """Take the currents of terminals, which `flow_of` names as a layout does.

        See `verify.layout.enumeration`.
        """
        self._scheme = scheme
        plan: SchemeNets = SCHEMES[scheme].plan(items - 1)
        self._flows = {
            net.name: [
                (_item(place, items), flow_of[f"{_device(place)}.{terminal}"])
                for place, terminal in net.landings
            ]
            for net in plan.nets
        }
        self._cuts: dict[tuple[int, int], Cut] = {}

    def cuts(self, arrangement: Arrangement, where: PlainLayout) -> list[Cut]:
        """Return the cuts of all runs of an arrangement."""
        if any((where.root, below) not in self._cuts for _, below in where.below):
            every = list(runs(self._scheme, arrangement))
            for child, below in where.below:
                cables = [run for run in every if run.child == child]
                self._cuts[where.root, below] = self._cut(cables, below)
        return [self._cuts[where.root, below] for _, below in where.below]

    def _cut(self, cables: list[CableRun], below: int) -> Cut:
        unbalanced = 0
        for run in cables:
            total = sum(
                flow
                for net in run.carries
                for item, flow in self._flows[net]
                if item >= 0 and below >> item & 1
            )
            states = np.flatnonzero(total)
            unbalanced |= sum(1 << state for state in states.tolist())
        counts = [len(run.cable.conductors) for run in cables]
        return Cut(unbalanced, sum(counts), sum(n * (n - 1) // 2 for n in counts))


def _item(place: int, items: int) -> int:
    return -1 if place == FEED else items - 1 if place == LAMPS else place


def _device(place: int) -> str:
    return "feed" if place == FEED else "lamp" if place == LAMPS else f"switch-{place + 1}"
