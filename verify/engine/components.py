"""The connected components that conductors alone make, and the contacts between them.

For the engine on decision diagrams; no other engine uses it.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from verify.circuit.model import Circuit
from verify.fault.change import Change
from verify.fault.network import CLOSED_DOWN, CLOSED_UP, NOTHING, Flattener, Indices


class Components:
    """The connected components of a circuit by number, failed parts included.

    `lines`, `neutrals`, `grounds`: those of the feeds; `lines_a` and `lines_b` the lines by leg.
    `lamps`: contact and shell of each; `failed_lamps` says which do not work. `receptacles`: line
    and neutral of each. `metal`: ground terminals of devices other than feeds, and metal boxes.
    `ground_wires`: bare and green conductors; `stubs`: conductors of which an end is joined to
    nothing.
    """

    def __init__(self, circuit: Circuit) -> None:
        self._batch = batch = Flattener(circuit, integers=np.int32).batch([Change()])
        self._of_end = np.array(batch.nets(0))
        feeds = self._of(batch.feeds)
        self.lines, self.neutrals, self.grounds = zip(*feeds, strict=True)
        legs = list(zip(self.lines, batch.on_b, strict=True))
        self.lines_a = tuple(line for line, on_b in legs if not on_b)
        self.lines_b = tuple(line for line, on_b in legs if on_b)
        self.lamps = self._of(batch.lamps)
        self.failed_lamps = tuple(works == 0 for works in batch.works[0])
        self.receptacles = self._of(batch.receptacles)
        self.metal = self._of(batch.metal)
        ends = batch.conductors
        self.ground_wires = self._of(ends[batch.is_ground != 0].ravel())
        is_alone = np.bincount(batch.join_of[0])[batch.join_of[0]] == 1
        self.stubs = self._of(ends[is_alone[ends].any(axis=1)].ravel())

    def _of(self, ends: Indices | npt.NDArray[np.bool_]) -> tuple[Any, ...]:
        """Return the components of some ends, as tuples in place of arrays."""
        components = self._of_end[ends].tolist()
        return tuple(tuple(some) if isinstance(some, list) else some for some in components)

    def contacts(self) -> Iterator[tuple[int, bool, bool, int, int]]:
        """Yield each pair of terminals of each switch, whether a contact ever closes there or not.

        A row is the switch, whether they are connected when it is up, and when it is down, and the
        two components.
        """
        batch = self._batch
        pairs = self._of(batch.contacts)
        for switch, closed, (one, other) in zip(
            batch.contact_switch.tolist(), batch.closed[0].tolist(), pairs, strict=True
        ):
            yield switch, bool(closed & CLOSED_UP), bool(closed & CLOSED_DOWN), one, other

    def is_return(self, component: int) -> bool:
        """Return True if a component has a neutral or ground terminal of a feed."""
        return component in self.neutrals or component in self.grounds

    @property
    def has_floating_metal(self) -> bool:
        """True if some metal is not wired to ground."""
        return any(component not in self.grounds for component in self.metal)

    @property
    def both_poles(self) -> bool:
        """True if a switch has a terminal wired to line and another to neutral or ground."""
        for ends in self._batch.switch_ends:
            at = self._of(ends[ends != NOTHING])
            if set(at) & set(self.lines) and any(map(self.is_return, at)):
                return True
        return False

    @property
    def kept(self) -> frozenset[int]:
        """The components that verdicts speak of."""
        return frozenset(
            (
                *(*self.lines, *self.neutrals, *self.grounds, *self.metal),
                *(*self.ground_wires, *self.stubs),
                *(component for pair in (*self.lamps, *self.receptacles) for component in pair),
            )
        )
