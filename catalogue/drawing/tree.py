"""A picture follows a tree of boxes: the feed's box is the root, and cables lead downwards.

Cables that do not fit in the tree are `extras`; parts that no cable reaches have roots of their
own.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from verify.circuit.model import Circuit
from verify.circuit.parts import Cable


@dataclass(frozen=True)
class BoxTree:
    """The tree: `down` has the cables from a box to each child, those with most boxes first."""

    roots: tuple[str, ...]
    down: Mapping[str, Mapping[str, tuple[Cable, ...]]]
    up: Mapping[str, tuple[Cable, ...]]
    extras: tuple[Cable, ...]

    def extras_at(self, box: str) -> tuple[Cable, ...]:
        """Return the cables beyond the tree that enter a box."""
        return tuple(cable for cable in self.extras if box in cable.between)


def box_tree(circuit: Circuit) -> BoxTree:
    """Return the tree of a circuit's boxes by the shortest way from the feed."""
    between: dict[tuple[str, str], list[Cable]] = {}
    neighbours: dict[str, dict[str, None]] = {box.name: {} for box in circuit.boxes}
    for cable in circuit.cables:
        here, there = cable.between
        between.setdefault((here, there), []).append(cable)
        between.setdefault((there, here), []).append(cable)
        neighbours[here][there] = neighbours[there][here] = None
    parents: dict[str, str | None] = {}
    roots = []
    for start in (circuit.feed.box, *(box.name for box in circuit.boxes)):
        if start in parents:
            continue
        roots.append(start)
        parents[start] = None
        queue = [start]
        for box in queue:
            new = [other for other in neighbours[box] if other not in parents]
            parents |= dict.fromkeys(new, box)
            queue += new
    children: dict[str, list[str]] = {box.name: [] for box in circuit.boxes}
    for box, parent in parents.items():
        if parent is not None:
            children[parent].append(box)
    size = dict.fromkeys(children, 1)
    for box in reversed(parents):
        parent = parents[box]
        if parent is not None:
            size[parent] += size[box]
    down = {
        box: {
            child: tuple(between[box, child])
            for child in sorted(below, key=lambda child: -size[child])
        }
        for box, below in children.items()
    }
    up = {
        box: tuple(between[parent, box]) if parent is not None else ()
        for box, parent in parents.items()
    }
    in_tree = {cable.name for cables in up.values() for cable in cables}
    extras = tuple(cable for cable in circuit.cables if cable.name not in in_tree)
    return BoxTree(tuple(roots), down, up, extras)
