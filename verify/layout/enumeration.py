"""Layouts: every tree of boxes for n locations and one lamp, each with its label.

A layout of n locations is a labelled tree on n + 1 boxes, rooted where the feed arrives;
there are (n+1)^n of them (Cayley; OEIS A000169, from memory).
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import networkx as nx

from verify.base.problems import (
    Problem,
    UnfitValueError,
    UserError,
    listing,
    require,
    shown,
    whole_number_problems,
)
from verify.base.sentences import capital
from verify.circuit.model import Circuit
from verify.circuit.parts import Box
from verify.circuit.validation import TITLE_LENGTH
from verify.layout.routing import ROOT, Arrangement, rooted, route
from verify.layout.schemes import SCHEMES

LAMP_BOX: Final = 0
FEWEST_LOCATIONS: Final = 2
_CODE_REMEDY: Final = "write one as 1.f.1: for the lamp and each location the box it hangs on"


@dataclass(frozen=True, slots=True, order=True)
class Layout:
    """Where the boxes of a light are, and which cable leads from which to which.

    Box 0 is the lamp's, box i that of location i; `ROOT` stands for the feed's box. `parents[i]` is
    the next box from box i on the way to the feed.
    """

    parents: tuple[int, ...]

    def __repr__(self) -> str:
        return f"<Layout {self.code}: {self.in_words()}>"

    @property
    def locations(self) -> int:
        """How many places have a switch."""
        return len(self.parents) - 1

    @property
    def code(self) -> str:
        """The label: for the lamp, then for each location, its parent; ``f`` marks the feed's box.

        ``1.f.1`` reads: lamp beyond location 1, feed at location 1, location 2 beyond location 1.
        ``L`` is the lamp's box.
        """
        return ".".join(
            "f" if parent == ROOT else "L" if parent == LAMP_BOX else str(parent)
            for parent in self.parents
        )

    @classmethod
    def parse(cls, code: str) -> "Layout":
        """The layout with that code; raises UnfitValueError if there is none.

        That is a UserError and a ValueError.
        """
        require(code, str, "code", _CODE_REMEDY)
        words = code.split(".")
        boxes = {"f": ROOT, "L": LAMP_BOX} | {str(box): box for box in range(1, len(words))}
        nowhere = len(words)
        layout = cls(tuple(boxes.get(word, nowhere) for word in words))
        if layout.locations < FEWEST_LOCATIONS or not layout._is_tree():
            message = f"code={shown(code)!r} is not a layout; {_CODE_REMEDY}"
            raise UnfitValueError([Problem("", message)])
        return layout

    def _is_tree(self) -> bool:
        boxes = range(len(self.parents))
        if self.parents.count(ROOT) != 1 or not all(p in (ROOT, *boxes) for p in self.parents):
            return False
        tree = nx.Graph((box, p) for box, p in enumerate(self.parents) if p != ROOT)
        return len(tree) == len(self.parents) and nx.is_tree(tree)

    def arrangement(self) -> Arrangement:
        """Return boxes ``lamp-box`` and ``box-i``, devices ``feed``, ``lamp`` and ``switch-i``."""
        locations = range(1, self.locations + 1)
        return Arrangement(
            boxes=(Box("lamp-box"), *(Box(f"box-{i}") for i in locations)),
            parents=self.parents,
            switch_boxes=tuple(locations),
            lamp_boxes=(LAMP_BOX,),
            switch_names=tuple(f"switch-{i}" for i in locations),
            lamp_names=("lamp",),
        )

    def in_words(self) -> str:
        """Return where the feed arrives and which cable goes where, as a sentence."""

        def name(box: int) -> str:
            return "the lamp" if box == LAMP_BOX else f"switch {box}"

        hanging: dict[int, list[str]] = {}
        for box, parent in enumerate(self.parents):
            hanging.setdefault(parent, []).append(name(box))
        root = self.parents.index(ROOT)
        parts = [f"feed at {name(root)}"]
        queue = [root]
        for box in queue:
            if box in hanging:
                parts.append(f"from {name(box)} on to {' and '.join(hanging[box])}")
            queue += [i for i, parent in enumerate(self.parents) if parent == box]
        return "; ".join(parts)

    def circuit(self, scheme: str) -> Circuit:
        """Return the layout wired by a scheme."""
        title = SCHEMES[scheme].title
        name = f"{capital(title)}, {self.locations} locations: {self.in_words()}"
        if len(name) > TITLE_LENGTH:
            name = f"{name.partition(':')[0]}: layout {self.code}"
        if len(name) > TITLE_LENGTH:
            name = f"{name[: TITLE_LENGTH - 1]}…"
        return route(scheme, self.arrangement(), name)


def layouts(locations: int) -> Iterator[Layout]:
    """Yield all (n+1)^n layouts of n = `locations` ≥ 2, by root, then by Prüfer sequence.

    That count is A. Cayley's of rooted labelled trees (OEIS A000169, from memory). One is made when
    it is asked for: of seven locations there are two million. Raises
    UnfitValueError, which is a UserError and a ValueError, unless that is a whole number ≥ 2.
    """
    if problems := whole_number_problems(FEWEST_LOCATIONS, locations=locations):
        raise UnfitValueError(problems)
    return _layouts(locations + 1)


def _layouts(boxes: int) -> Iterator[Layout]:
    for root in range(boxes):
        for sequence in itertools.product(range(boxes), repeat=boxes - 2):
            yield Layout(rooted(nx.from_prufer_sequence(list(sequence)), root))


def wire(layout: Layout | str, scheme: str = "chain") -> Circuit:
    """Return a layout, or the one with that code, wired by a scheme.

    ``1.f.1`` is a code: for the lamp, then for each location, the next box on the way to the feed;
    ``f`` marks the feed's box, ``L`` is the lamp's. Schemes are ``chain`` (travelers from switch to
    switch) and ``tied`` (commons tied together), which are sound, and wrong ones that pass every
    flip.

    Raises UserError for a code or a scheme that does not exist.
    """
    problems = []
    if scheme not in SCHEMES:
        problems.append(
            Problem("", f"scheme={shown(scheme)} is not known; schemes are {listing(SCHEMES)}")
        )
    if isinstance(layout, str):
        try:
            layout = Layout.parse(layout)
        except UnfitValueError as error:
            problems += error.problems
    else:
        require(layout, Layout, "layout", "give a Layout, or its code such as 1.f.1")
    if problems or isinstance(layout, str):
        raise UserError(problems)
    return layout.circuit(scheme)
