"""Mixed supplies: a part is fed, or returns, by a conductor of another supply than its own.

Supplies are told apart by nets: a net is everything that conductors connect without any switch
contact, failed conductors counted as failed.
"""

import itertools
from collections.abc import Iterator
from functools import cached_property
from typing import Final

import networkx as nx

from verify.base.sentences import with_and
from verify.circuit.devices import LEGS
from verify.circuit.parts import Device
from verify.circuit.wording import box_words, spoken
from verify.fault.change import Change, NumberedCircuit
from verify.fault.contract import Example, FaultKind, Site
from verify.fault.network import Flattener

#: Circuits of the boathouse in which the examples are made.
_SHARED_NEUTRAL: Final = "net-loft-two-legs"
_OWN_NEUTRALS: Final = "chart-room-two-feeds"


class _Nets:
    """The nets of a circuit, and which of them have terminals of feeds or switches."""

    def __init__(self, wiring: NumberedCircuit) -> None:
        self.wiring = wiring
        self.circuit = wiring.circuit
        batch = Flattener(self.circuit, wiring).batch([Change()])
        self._wires: nx.Graph[int] = nx.empty_graph(len(self.circuit.ends))
        self._wires.add_edges_from(batch.wires(0))
        #: The net of each end.
        self.of_end = batch.nets(0)

    def of_feeds(self, *terminals: str) -> set[int]:
        """Return the nets that have such a terminal of any feed."""
        return {
            self.of_end[_terminal(self.wiring, feed, name)]
            for feed in self.circuit.feeds
            for name in terminals
        }

    @cached_property
    def switched(self) -> set[int]:
        """The nets of switches' terminals that no feed is connected to: travelers, switch legs."""
        switched = {
            self.of_end[_terminal(self.wiring, switch, name)]
            for switch in self.circuit.switches
            for name in switch.form.switched_terminals
        }
        return switched - self.of_feeds("line", "neutral", "ground")

    def beyond(self, end: int) -> set[int]:
        """Return what is still connected to an end once it is taken out of its join."""
        graph = self._wires.copy()
        for ends in self.wiring.joins:
            nx.add_path(graph, [other for other in ends if other != end])
        return set(nx.node_connected_component(graph, end))

    def landings(self, end: int, nets: set[int]) -> Iterator[tuple[Site, Change]]:
        """Yield the end moved to each other join of its box that belongs to one of `nets`."""
        box = self.circuit.ends[end].box
        for join in self.wiring.joins_in(box):
            if join != self.wiring.join_of[end] and self.of_end[self.wiring.joins[join][0]] in nets:
                site = (box, self.wiring.name(end), self.wiring.join_name(join))
                yield site, Change(((end, join),))

    def ends(self) -> Iterator[int]:
        """Yield every end in the order in which sites name them."""
        for ends in self.wiring.site_order.values():
            yield from ends


class BorrowedNeutral(FaultKind):
    """A return landed on the neutral of another feed."""

    name = "borrowed-neutral"
    title = "borrowed neutral"
    description = (
        "The return of a load is landed on the neutral of another feed in the same box. Everything "
        "works; with its own breaker off that neutral still carries the other circuit's current."
    )
    examples = (
        Example(
            ("chart-table", "lamp.shell", "window-feed.neutral"),
            "mimic",
            "The light works from everywhere; its current goes out in the cable from the door "
            "and does not come back in it.",
            by_connections="sound",
            layout=_OWN_NEUTRALS,
            scheme=None,
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every end that leads away from a feed's neutral, moved to a neutral of another net.

        An end that leads towards its own feed is left out: to move it would tie the two neutrals
        together.
        """
        if len(wiring.circuit.feeds) == 1:
            return
        nets = _Nets(wiring)
        neutrals = nets.of_feeds("neutral")
        terminals = {_terminal(wiring, feed, "neutral") for feed in wiring.circuit.feeds}
        for end in nets.ends():
            own = nets.of_end[end]
            if own in neutrals and not nets.beyond(end) & terminals:
                yield from nets.landings(end, neutrals - {own})

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return (
            f"In {box_words(site[0])}, {spoken(site[1])} is landed with {spoken(site[2])}, on the "
            "neutral of another feed."
        )


class FeedsCrossed(FaultKind):
    """Two feeds whose lines have changed places."""

    name = "feeds-crossed"
    title = "feeds crossed"
    description = (
        "Two feeds arrive in one box and their lines are taken for each other: each circuit hangs "
        "on the other's breaker, and on its own neutral still."
    )
    examples = (
        Example(
            ("hatch", "light-feed.line", "bench-feed.line"),
            "sound",
            "All works and no hazard is in the wiring; whoever switches off the light's "
            "breaker to work on the light finds it live.",
            layout=_SHARED_NEUTRAL,
            scheme=None,
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every two feeds of one box whose lines are in different joins, crossed."""
        for feed, other in itertools.combinations(wiring.circuit.feeds, 2):
            if feed.box == other.box:
                one, two = (_terminal(wiring, each, "line") for each in (feed, other))
                here, there = wiring.join_of[one], wiring.join_of[two]
                if here != there:
                    site = (feed.box, wiring.name(one), wiring.name(two))
                    yield site, Change(((one, there), (two, here)))

    def in_words(self, site: Site) -> str:
        """Return which feeds are crossed, as a sentence."""
        return (
            f"In {box_words(site[0])}, {spoken(site[1])} and {spoken(site[2])} are taken for each "
            "other."
        )


class NeutralLost(FaultKind):
    """The neutral that feeds on both legs share, open on the way from the service."""

    name = "neutral-lost"
    title = "lost neutral"
    description = (
        "The neutral that feeds on opposite legs share is open upstream: what hangs on one leg is "
        "in series with what hangs on the other, across twice the voltage, and the smaller load "
        "gets the larger part."
    )
    examples = (
        Example(
            ("light-feed", "bench-feed"),
            "misbehaves",
            "With the light switched on, lamp and appliance are in series across 240 V: the "
            "lamp of 60 W gets 71 V, the appliance of 25 W gets 169 V.",
            layout=_SHARED_NEUTRAL,
            scheme=None,
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every set of feeds on both legs whose neutrals are connected by conductors.

        The neutral is lost upstream of the place where they share it: what is connected downstream
        stays connected, and no feed's neutral belongs to it any more.
        """
        if len(wiring.circuit.feeds) == 1:
            return
        nets = _Nets(wiring)
        sharing: dict[int, list[Device]] = {}
        for feed in wiring.circuit.feeds:
            sharing.setdefault(nets.of_end[_terminal(wiring, feed, "neutral")], []).append(feed)
        for feeds in sharing.values():
            if {feed.leg for feed in feeds} == set(LEGS):
                alone = len(wiring.joins)
                moves = tuple(
                    (_terminal(wiring, feed, "neutral"), alone + number)
                    for number, feed in enumerate(feeds)
                )
                yield tuple(feed.name for feed in feeds), Change(moves)

    def in_words(self, site: Site) -> str:
        """Return which feeds share the lost neutral, as a sentence."""
        return f"The neutral that {with_and(site)} share is open upstream."


class DownstreamOnLeg(FaultKind):
    """An outlet fed from a conductor that is switched."""

    name = "downstream-on-leg"
    title = "outlet on a switched conductor"
    description = (
        "An outlet that must stay live is fed from the switch leg or a traveler: it is dead in "
        "some positions of the switches."
    )
    examples = (
        Example(
            ("hatch", "bench-run.black", "hatch-switch.common"),
            "mimic",
            "The light works from everywhere; the outlet at the bench goes out with it.",
            layout=_SHARED_NEUTRAL,
            scheme=None,
        ),
    )

    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every end on line that leads to outlets alone, on each switched net of its box."""
        outlets = [device for device in wiring.circuit.devices if device.kind == "receptacle"]
        if not outlets:
            return
        nets = _Nets(wiring)
        lines = nets.of_feeds("line")
        plugs = {_terminal(wiring, device, "line") for device in outlets}
        for end in nets.ends():
            if nets.of_end[end] in lines and self._leads_to(nets, end, plugs):
                yield from nets.landings(end, nets.switched)

    @staticmethod
    def _leads_to(nets: _Nets, end: int, plugs: set[int]) -> bool:
        """Return True if outlets, and no other terminals, lie beyond an end."""
        circuit = nets.circuit
        cables = {cable.name for cable in circuit.cables}
        beyond = {other for other in nets.beyond(end) if circuit.ends[other].owner not in cables}
        return bool(beyond) and beyond <= plugs

    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""
        return (
            f"In {box_words(site[0])}, {spoken(site[1])}, which feeds an outlet, is landed with "
            f"{spoken(site[2])}."
        )


def _terminal(wiring: NumberedCircuit, device: Device, name: str) -> int:
    """Return the number of a terminal."""
    return wiring.number(device.box, f"{device.name}.{name}")


SUPPLY_KINDS: Final[tuple[FaultKind, ...]] = (
    BorrowedNeutral(),
    FeedsCrossed(),
    NeutralLost(),
    DownstreamOnLeg(),
)
