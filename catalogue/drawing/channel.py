"""Channel routing inside a box: each net gets a horizontal track between the upper and lower pins.

Every pin goes straight to its net's track. Nets cross only at right angles and never share a piece
of line; a local search stacks them so that they cross little.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from catalogue.drawing.dimensions import GRID

FORBIDDEN: Final = 10_000
_PASSES: Final = 8


class Pin(NamedTuple):
    """A place where a net meets an edge of the channel, the upper edge if `above`."""

    x: int
    above: bool


class PinNet:
    """The pins of one join; a net with a single pin needs no track.

    `from_above` and `from_below` are the places of its pins on the two edges, `left` and `right`
    the outermost of both. Nets are made and compared very often, so all of this is computed once.
    """

    __slots__ = ("from_above", "from_below", "left", "right", "size")

    def __init__(self, pins: Sequence[Pin]) -> None:
        self.from_above = [x for x, above in pins if above]
        self.from_below = [x for x, above in pins if not above]
        places = self.from_above + self.from_below
        self.left = min(places)
        self.right = max(places)
        self.size = len(pins)

    @property
    def is_straight(self) -> bool:
        """True if it needs no bend."""
        return self.left == self.right


@dataclass(frozen=True, slots=True)
class Routing:
    """The track of each net, 0 the highest, None for a net of one pin; and the cost of it all."""

    tracks: tuple[int | None, ...]
    height: int
    crossings: int


def crossings_if_above(upper: PinNet, lower: PinNet) -> int:
    """Count the crossings of two nets, `upper` above; `FORBIDDEN` if they would overlap."""
    low_left, low_right = lower.left, lower.right
    up_left, up_right = upper.left, upper.right
    if up_right + GRID <= low_left or low_right + GRID <= up_left:
        return 0
    crossings = 0
    for x in upper.from_below:
        for other in lower.from_above:
            if -GRID < x - other < GRID:
                return FORBIDDEN
        if low_left < x < low_right:
            crossings += 1
    for x in lower.from_above:
        if up_left < x < up_right:
            crossings += 1
    return crossings


def fewest_crossings(nets: Sequence[PinNet]) -> int:
    """Return a lower bound, with each pair of nets stacked as suits these two best."""
    routed = [net for net in nets if net.size > 1]
    return sum(
        min(crossings_if_above(one, other), crossings_if_above(other, one))
        for number, one in enumerate(routed)
        for other in routed[number + 1 :]
    )


def route(nets: Sequence[PinNet]) -> Routing | None:
    """Return tracks for all nets, or None if pins of different nets stand in each other's way."""
    numbers = [number for number, net in enumerate(nets) if net.size > 1]
    cost = {
        (a, b): crossings_if_above(nets[a], nets[b]) for a in numbers for b in numbers if a != b
    }
    order = _stacked(numbers, cost)
    crossings = sum(cost[a, b] for place, a in enumerate(order) for b in order[place + 1 :])
    if crossings >= FORBIDDEN:
        return None
    tracks: list[int | None] = [None] * len(nets)
    height = 0
    for place, number in enumerate(order):
        net = nets[number]
        track = 0
        for above in order[:place]:
            other = nets[above]
            if net.left <= other.right + GRID and other.left <= net.right + GRID:
                track = max(track, (tracks[above] or 0) + 1)
        tracks[number] = track
        height = max(height, track + 1)
    return Routing(tuple(tracks), height, crossings)


def _stacked(numbers: Sequence[int], cost: dict[tuple[int, int], int]) -> list[int]:
    """Order nets from top to bottom: each is put where it costs least, until none moves."""
    order: list[int] = []
    for number in numbers:
        _insert(order, number, cost)
    for _ in range(_PASSES):
        before = list(order)
        for number in numbers:
            order.remove(number)
            _insert(order, number, cost)
        if order == before:
            break
    return order


def _insert(order: list[int], number: int, cost: dict[tuple[int, int], int]) -> None:
    here = sum(cost[number, other] for other in order)
    best, place = here, 0
    for index, other in enumerate(order, 1):
        here += cost[other, number] - cost[number, other]
        if here < best:
            best, place = here, index
    order.insert(place, number)
