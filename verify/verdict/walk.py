"""Paths through a circuit, found by the engine *paths* and told so that a finger can follow them.

A path is told box by box: what the current leaves or enters, at which terminal, on which
conductor. Names are those of the circuit, a conductor's is its cable's and its colour.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import networkx as nx

from verify.base.problems import BugError
from verify.base.sentences import with_and
from verify.circuit.parts import End
from verify.circuit.wording import box_words, conductor_words, owner_words
from verify.engine.paths import Node, StateGraph, WireGraph, closes

# Beyond this a list of places no longer helps a reader.
_LONGEST_LIST: Final = 8


@dataclass(frozen=True, slots=True)
class Walk:
    """A path in one state, and its words.

    Every two consecutive ends are connected directly: they are in one join, or they are the two of
    a conductor, of a closed contact or of a short.
    """

    state: int
    ends: tuple[End, ...]
    words: str


def place_words(wiring: WireGraph, end: End) -> str:
    """Return an end as it is called in the middle of a sentence."""
    if end.owner == "box":
        return f"the metal of {box_words(end.box)}"
    if end.name in wiring.conductors:
        return conductor_words(end.name)
    device = owner_words(wiring.circuit, end)
    if end.part == "ground":
        return f"the ground terminal of {device}"
    return f"{device} at {end.part}"


def _listed(items: Sequence[str]) -> str:
    """Return items with "and" before the last; what a long list leaves out is counted."""
    if len(items) > _LONGEST_LIST:
        items = [*items[: _LONGEST_LIST - 1], f"{len(items) - _LONGEST_LIST + 1} more places"]
    return with_and(items)


class Tracer:
    """Finds the paths of one circuit in one state, and puts them into words.

    With `by_wire` paths lead through conductors alone and pass no switch contact.
    """

    def __init__(self, at: StateGraph, *, by_wire: bool = False) -> None:
        self.at = at
        self.wiring = at.wiring
        self.circuit = at.wiring.circuit
        self.by_wire = by_wire
        self.graph = self.wiring.graph if by_wire else at.graph
        switches = zip(self.circuit.switches, self.wiring.positions(at.state), strict=True)
        self._positions = {
            switch.name: self.wiring.stuck.get(switch.name, position)
            for switch, position in switches
        }

    def walk(self, subject: str, starts: Sequence[End], goals: Sequence[End]) -> Walk:
        """Return the shortest path from any start to any goal, with `subject` as what takes it.

        Of two equally short ones it is the one from the earlier start to the earlier goal, through
        the earlier end in `Circuit.ends`. Raises BugError if there is none.
        """
        walks = [
            self._walk(subject, start, goal)
            for start in starts
            for within in [nx.node_connected_component(self.graph, start)]
            for goal in goals
            if goal in within
        ]
        if not walks:
            raise BugError(f"no path leads from any of {starts} to any of {goals}")
        return min(walks, key=lambda walk: len(walk.ends))

    def _walk(self, subject: str, start: End, goal: End) -> Walk:
        ends = tuple(self._path(start, goal))
        return Walk(self.at.state, ends, self._story(subject, ends))

    def _path(self, start: End, goal: End) -> Iterator[End]:
        distance = nx.single_source_shortest_path_length(self.graph, goal)
        if start not in distance:
            raise BugError(f"no path leads from {start} to {goal} in state {self.at.state}")
        node: Node = start
        yield start
        while node != goal:
            closer = distance[node] - 1
            node = min(
                (other for other in self.graph[node] if distance[other] == closer), key=self._order
            )
            if isinstance(node, End):
                yield node

    def _order(self, node: Node) -> int:
        if isinstance(node, End):
            return self.circuit.end_index[node]
        return len(self.circuit.ends) + node

    def _story(self, subject: str, ends: Sequence[End]) -> str:
        start = ends[0]
        is_feed = start.owner in {feed.name for feed in self.circuit.feeds}
        source = owner_words(self.circuit, start) if is_feed else self._place(start)
        clauses = [f"{subject} leaves {source} in {box_words(start.box)}"]
        box_told = start.box
        for index, (here, there) in enumerate(pairwise(ends), 1):
            after = ends[index + 1] if index + 1 < len(ends) else None
            if here.name == there.name:
                box_told = ""  # the other end of the conductor is in another box
                if after is None:
                    clauses.append(f"comes to {box_words(there.box)}")
            elif there in self.graph[here]:
                clauses.append(self._passage(here, there, after))
                if here.name in self.wiring.conductors:
                    box_told = ""  # somewhere along the cable
            elif there.name not in self.wiring.conductors:
                where = "" if there.box == box_told else f" in {box_words(there.box)}"
                verb = "reaches" if after is None else "enters"
                clauses.append(f"{verb} {self._place(there)}{where}")
                box_told = there.box
            elif here.name in self.wiring.conductors:
                spliced = conductor_words(there.name)
                clauses.append(f"is joined in {box_words(there.box)} to {spliced}")
            else:
                clauses[-1] += f" on {conductor_words(there.name)}"
        return with_and(clauses)

    def _place(self, end: End) -> str:
        return place_words(self.wiring, end)

    def _passage(self, here: End, there: End, after: End | None) -> str:
        """Return how a contact or a short leads from `here` to `there`."""
        if here.name in self.wiring.conductors:
            return (
                f"crosses to {conductor_words(there.name)} through the short in {here.owner} "
                "(broken insulation)"
            )
        how = self._contact_words(here, there) if here.owner in self._positions else "lamp shorted"
        goes_on_inside = after is not None and after in self.graph[there]
        return f"{'passes to' if goes_on_inside else 'leaves it at'} {there.part} ({how})"

    def _contact_words(self, here: End, there: End) -> str:
        name = here.owner
        position = self._positions[name]
        contact = next(
            contact
            for contact in self.circuit.device(name).form.contacts
            if {contact.a, contact.b} == {here.part, there.part}
        )
        if not closes(contact, position):
            return "contact welded"
        return f"stuck {position}" if name in self.wiring.stuck else position

    def reach(self, start: End) -> str:
        """Return where the paths from `start` end, as the rest of a sentence about it."""
        within = nx.node_connected_component(self.graph, start)
        ends = [end for end in self.circuit.ends if end in within and end != start]
        if not ends:
            return "leads to nothing: it is unconnected"
        # A break has two sides, and both may be reached.
        places = dict.fromkeys(words for end in ends for words in self._dead_ends(end))
        if places:
            return f"leads only to {_listed(list(places))}"
        # No place is the end of a path, so the paths meet again.
        return f"leads only in a circle through {_listed([*dict.fromkeys(map(self._place, ends))])}"

    def _dead_ends(self, end: End) -> Iterator[str]:
        place = self._place(end)
        if end.name not in self.wiring.conductors:
            if end.owner not in self._positions or end.part == "ground" or self.by_wire:
                yield place
            elif not self._leads_through(end):
                yield f"{place} ({self._why_open(end)})"
            elif self.wiring.is_alone(end):
                yield f"{place} (unconnected)"
            return
        if self.wiring.is_alone(end):
            yield f"the free end of {place} in {box_words(end.box)}"
        if self.wiring.has_failed("conductor-open", end.name):
            yield f"the break in {place}"

    def _leads_through(self, terminal: End) -> bool:
        return any(isinstance(other, End) for other in self.graph[terminal])

    def _why_open(self, terminal: End) -> str:
        switch = self.circuit.device(terminal.owner)
        position = self._positions[switch.name]
        for contact in switch.form.contacts:
            # A contact that should be closed here and does not conduct has failed.
            if terminal.part in (contact.a, contact.b) and closes(contact, position):
                return "contact failed open"
        return "open"
