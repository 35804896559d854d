"""An outline shows the layout of a circuit as a nested list of boxes, from the feed outwards."""

from collections.abc import Sequence

from catalogue.pages.contract import Facts
from verify.circuit.model import Circuit
from verify.circuit.parts import Cable


def outline(circuit: Circuit) -> list[Facts]:
    """Return the feed's box with all boxes it leads to nested in it, then unreached boxes.

    Every box and every cable is there once. Cables side by side stand together; one that closes a
    ring is among the `more_cables` of the box where it is met.
    """
    told = _Outline(circuit)
    return [told.facts(root) for root in told.roots]


class _Outline:
    """A breadth-first walk over the boxes."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.runs: dict[frozenset[str], list[Cable]] = {}
        for cable in circuit.cables:
            self.runs.setdefault(frozenset(cable.between), []).append(cable)
        self.beyond: dict[str, list[str]] = {}
        self.more: dict[str, list[Cable]] = {}
        self.roots: list[str] = []
        waiting = dict.fromkeys(self.runs)
        for root in (circuit.feed.box, *(box.name for box in circuit.boxes)):
            if root not in self.beyond:
                self.roots.append(root)
                self._walk(root, waiting)

    def _walk(self, root: str, waiting: dict[frozenset[str], None]) -> None:
        self.beyond[root] = []
        queue = [root]
        for box in queue:
            for run in [run for run in waiting if box in run]:
                del waiting[run]
                (other,) = run - {box}
                if other in self.beyond:
                    self.more.setdefault(box, []).extend(self.runs[run])
                else:
                    self.beyond[box].append(other)
                    self.beyond[other] = []
                    queue.append(other)

    def facts(self, name: str, cables: Sequence[Cable] = ()) -> Facts:
        """Return a box with the cables that lead to it, and everything beyond it."""
        box = next(box for box in self.circuit.boxes if box.name == name)
        return {
            "box": name,
            "material": box.material,
            "devices": [
                {"name": device.name, "kind": device.form.title}
                for device in self.circuit.devices
                if device.box == name
            ],
            "cables": [_cable(cable) for cable in cables],
            "more_cables": [_cable(cable) for cable in self.more.get(name, ())],
            "beyond": [
                self.facts(other, self.runs[frozenset((name, other))])
                for other in self.beyond[name]
            ],
        }


def _cable(cable: Cable) -> Facts:
    return {"name": cable.name, "conductors": list(cable.conductors)}
