"""Rules on conductors of one circuit, which run together, and of two, which are kept apart."""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, permutations, product
from typing import Final

import networkx as nx

from verify.base.sentences import with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import conductor_name
from verify.rules.book import Text
from verify.rules.currents import Flow
from verify.rules.premises import Finding, Premises, some_positions

_SERVICE: Final = ""  # no box has this name


@dataclass(frozen=True, slots=True)
class _Balance:
    """Cables in which a current is known to be unbalanced, and cables in which it is not known.

    `why` ends the sentence about the latter.
    """

    unbalanced: Mapping[str, Flow]
    undecided: Collection[str]
    why: str = ""

    def findings(self, at: Premises, more: str = "") -> Iterator[Finding]:
        """Yield the findings on all these cables, with `more` about what is seen."""
        for name, flow in self.unbalanced.items():
            yield Finding(
                "seen",
                (name,),
                f"With {at.positions(flow.state)}, the current of {flow.load.name} passes through "
                f"{name} one way and does not come back in it.{more}",
            )
        if self.undecided:
            names = with_and(self.undecided)
            yield Finding("open", tuple(self.undecided), f"Whether {names} balance is {self.why}")


def conductors_together(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield cables in which a load's current does not come back."""
    yield from _balance(at, _in_rings(at.circuit)).findings(at)


def induced_heating(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield such cables where they enter a box of metal."""
    metal = {box.name for box in at.circuit.boxes if box.is_metal}
    entering = {cable.name for cable in at.circuit.cables if metal & set(cable.between)}
    more = " It enters a box of metal, which is heated if it is of iron."
    rings = (name for name in _in_rings(at.circuit) if name in entering)
    yield from _balance(at, rings).findings(at, more)


def _balance(at: Premises, of_cables: Iterable[str]) -> _Balance:
    cables = list(of_cables)
    if not cables:
        return _Balance({}, ())
    cable_of = {
        conductor_name(cable.name, colour): cable.name
        for cable in at.circuit.cables
        for colour in cable.conductors
    }
    unbalanced: dict[str, Flow] = {}
    why = "" if at.currents.is_complete else "not decided: it has too many states for that."
    for flow in at.currents.flows:
        if flow.steps is None:
            why = "not decided without currents: in some state a current has more than one way."
            continue
        net = Counter[str]()
        for step in flow.steps:
            net[cable_of[step.conductor]] += 1 if step.forward else -1
        for name in cables:
            if net[name]:
                unbalanced.setdefault(name, flow)
    return _Balance(unbalanced, [name for name in cables if why and name not in unbalanced], why)


def _in_rings(circuit: Circuit) -> Iterator[str]:
    """Yield the cables that are not the only connection between their two sides.

    What goes out in the only one comes back in it, whatever the currents are. Feeds lie on rings
    with each other: their neutrals are connected at the service.
    """
    runs = nx.Graph([(feed.box, _SERVICE) for feed in circuit.feeds])
    runs.add_edges_from(cable.between for cable in circuit.cables)
    only_ways = {frozenset(pair) for pair in nx.bridges(runs)}
    side_by_side = Counter(frozenset(cable.between) for cable in circuit.cables)
    for cable in circuit.cables:
        run = frozenset(cable.between)
        if run not in only_ways or side_by_side[run] > 1:
            yield cable.name


def separate_circuits(at: Premises, _: Text) -> Iterator[Finding]:
    """Yield loads between the line of one feed and the neutral of another, and joined neutrals."""
    feeds = at.circuit.feeds
    if len(feeds) == 1:
        yield Finding(
            "open",
            (),
            "The file has one feed, so whether a neutral is borrowed from another circuit is not "
            "decidable.",
        )
    neutral = {feed: at.supply("neutral", feed) for feed in feeds}
    for one, other in combinations(feeds, 2):
        states = neutral[one].at(at.circuit.terminal(other, "neutral")) & at.holds
        if states:
            yield Finding(
                "seen",
                (one.name, other.name),
                f"The neutrals of {one.name} and {other.name} are connected with "
                f"{some_positions(at, states)}.",
            )
    ways = [(load, *way) for load in at.loads for way in load.ways]
    for (load, come, leave), (one, other) in product(ways, permutations(feeds, 2)):
        line = at.supply("line", one).at(come)
        states = line & neutral[other].at(leave) & ~neutral[one].at(leave) & at.holds
        if states:
            yield Finding(
                "seen",
                (load.name, one.name, other.name),
                f"With {some_positions(at, states)}, {load.name} is on the line of {one.name} and "
                f"on the neutral of {other.name}.",
            )
