"""Supplies mixed up: sites as the definitions say, each once, and what becomes of them."""

import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given, settings

from verify.base.resources import data_path
from verify.circuit.file import dump, load, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import End, Failure
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.change import NumberedCircuit
from verify.fault.families import Roles, family, place
from verify.fault.mixed_supplies import SUPPLY_KINDS
from verify.fault.registry import all_faults, fault_kind, find_fault
from verify.layout.sampler import sample
from verify.strategies import supplied_circuits
from verify.verdict.judging import judge

SHIPPED = {
    name: load(data_path("circuits") / f"{name}.toml")
    for name in ("net-loft-two-legs", "chart-room-two-feeds", "winch-room-two-way-iec")
}
LOFT, CHART_ROOM, WINCH_ROOM = SHIPPED.values()
DRAWN = {
    drawn.label: drawn.circuit
    for drawn in (sample(1, index, most=3) for index in range(60))
    if "second feed" in drawn.circuit.name
}

Joins = frozenset[frozenset[End]]


class Definitions:
    """Every result of each kind, straight from its definition, in a circuit of sound parts."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.joins: Joins = frozenset(map(frozenset, circuit.grouped_ends))
        self.join = {end: group for group in self.joins for end in group}
        self.nets = self.pieces(self.joins)

    def pieces(self, joins: Joins) -> dict[End, frozenset[End]]:
        """What conductors connect to each end."""
        graph: nx.Graph[End] = nx.Graph()
        graph.add_nodes_from(self.circuit.ends)
        for group in joins:
            graph.add_edges_from(itertools.pairwise(group))
        for cable in self.circuit.cables:
            for colour in cable.conductors:
                here, there = (End(box, f"{cable.name}.{colour}") for box in cable.between)
                graph.add_edge(here, there)
        return {
            end: piece for piece in map(frozenset, nx.connected_components(graph)) for end in piece
        }

    def of_feeds(self, *parts: str) -> set[End]:
        """Such terminals of any feed."""
        return {self.circuit.terminal(feed, part) for feed in self.circuit.feeds for part in parts}

    def with_moved(self, *moves: tuple[End, frozenset[End]]) -> Joins:
        """The joins with ends moved into others, or into none."""
        goes = dict(moves)
        kept = {group: set(group) - goes.keys() for group in self.joins}
        alone = []
        for end, target in moves:
            if target:
                kept[target].add(end)
            else:
                alone.append(frozenset({end}))
        return frozenset([*(frozenset(group) for group in kept.values() if group), *alone])

    def moved(self, end: End, onto: set[End]) -> Iterator[Joins]:
        """An end in each other join of its box that conductors connect to one of `onto`."""
        for target in self.joins - {self.join[end]}:
            if any(other.box == end.box and self.nets[other] & onto for other in target):
                yield self.with_moved((end, target))

    def beyond(self, end: End) -> frozenset[End]:
        """What hangs on an end that is taken out of its join."""
        apart = (self.joins - {self.join[end]}) | {self.join[end] - {end}, frozenset({end})}
        return self.pieces(apart)[end]

    def borrowed_neutral(self) -> Iterator[Joins]:
        """A return is on a neutral that is not its own."""
        neutrals = self.of_feeds("neutral")
        for end in self.circuit.ends:
            own = self.nets[end] & neutrals
            if own and not self.beyond(end) & neutrals:
                yield from self.moved(end, neutrals - own)

    def feeds_crossed(self) -> Iterator[Joins]:
        """The lines of two feeds of one box are exchanged."""
        for one, other in itertools.combinations(sorted(self.of_feeds("line")), 2):
            if one.box == other.box and self.join[one] != self.join[other]:
                yield self.with_moved((one, self.join[other]), (other, self.join[one]))

    def neutral_lost(self) -> Iterator[Joins]:
        """Feeds of both legs that have one neutral have none any more."""
        neutrals = {self.nets[end] & self.of_feeds("neutral") for end in self.of_feeds("neutral")}
        for sharing in neutrals:
            if {self.circuit.device(end.owner).leg for end in sharing} == {"A", "B"}:
                yield self.with_moved(*((end, frozenset()) for end in sharing))

    def downstream_on_leg(self) -> Iterator[Joins]:
        """What feeds receptacles and nothing else comes from a traveler or switch leg."""
        feeds = self.of_feeds("line", "neutral", "ground")
        onto = {
            end
            for switch in self.circuit.switches
            for name in switch.form.switched_terminals
            for end in [self.circuit.terminal(switch, name)]
            if not self.nets[end] & feeds
        }
        plugs = {
            self.circuit.terminal(device, "line")
            for device in self.circuit.devices
            if device.kind == "receptacle"
        }
        cables = {cable.name for cable in self.circuit.cables}
        for end in self.circuit.ends:
            hanging = {other for other in self.beyond(end) if other.owner not in cables}
            if self.nets[end] & self.of_feeds("line") and hanging and hanging <= plugs:
                yield from self.moved(end, onto)


DEFINED = {
    "borrowed-neutral": Definitions.borrowed_neutral,
    "feeds-crossed": Definitions.feeds_crossed,
    "neutral-lost": Definitions.neutral_lost,
    "downstream-on-leg": Definitions.downstream_on_leg,
}


def assert_sites_are_complete(circuit: Circuit) -> None:
    """Hold the kinds to their definitions: all results, each once."""
    definitions = Definitions(circuit)
    for kind, defined in DEFINED.items():
        expected = set(defined(definitions))
        found = [
            frozenset(map(frozenset, fault.apply(circuit).grouped_ends))
            for fault in fault_kind(kind).faults(NumberedCircuit(circuit))
        ]
        assert set(found) == expected, kind
        assert len(found) == len(expected), kind


def test_every_kind_is_defined_here() -> None:
    """No kind of this sort is left without its definition."""
    assert [kind.name for kind in SUPPLY_KINDS] == list(DEFINED)


@pytest.mark.parametrize("circuit", [*SHIPPED.values(), *DRAWN.values()], ids=[*SHIPPED, *DRAWN])
def test_sites_are_complete(circuit: Circuit) -> None:
    """Each way to mix up supplies is a fault, and no result is listed twice."""
    assert_sites_are_complete(circuit)


@settings(max_examples=25)
@given(supplied_circuits())
def test_sites_are_complete_wherever_outlets_are(circuit: Circuit) -> None:
    """The same wherever outlets are and whatever feeds them."""
    assert_sites_are_complete(circuit)


@pytest.mark.parametrize(
    ("circuit", "sites"),
    [
        # At the hatch: two lines, one neutral on two legs, one outlet run on three conductors.
        (LOFT, {"feeds-crossed": 1, "neutral-lost": 1, "downstream-on-leg": 3}),
        # At the chart table: two returns, each on the other's neutral; one switch leg beside line.
        (CHART_ROOM, {"borrowed-neutral": 2, "downstream-on-leg": 1}),
        # Two travelers at the quay door; at the yard door the switch leg besides.
        (WINCH_ROOM, {"downstream-on-leg": 5}),
    ],
    ids=SHIPPED,
)
def test_sites_counted_by_hand(circuit: Circuit, sites: dict[str, int]) -> None:
    """What a person finds who looks at the picture."""
    assert Counter(fault.kind for fault in all_faults(circuit, SUPPLY_KINDS)) == sites


def test_one_feed_without_outlets_has_no_such_fault() -> None:
    """The lights of the complete catalogue have one feed and nothing plugged in."""
    for index in range(20):
        drawn = sample(7, index, most=3).circuit
        if "receptacle" not in drawn.name:
            assert all_faults(drawn, SUPPLY_KINDS) == []


def test_an_end_towards_its_own_feed_borrows_nothing() -> None:
    """At the chart table the white from the door is the lamp's own neutral: to land it with the
    other would tie the two neutrals, which is `moved`, and leave the lamp without."""
    labels = {fault.label for fault in all_faults(CHART_ROOM, SUPPLY_KINDS)}
    assert "borrowed-neutral/chart-table,table-run.white,window-feed.neutral" not in labels
    tied = find_fault(CHART_ROOM, "moved/chart-table,table-run.white,window-feed.neutral")
    assert judge(tied.apply(CHART_ROOM), WordsEngine()).verdict == "misbehaves"


def test_failed_conductors_do_not_connect() -> None:
    """A neutral on the far side of a broken conductor is not shared, so it cannot be lost at once.

    The feed of the window, on the other leg here, returns on the neutral that comes from the door.
    """
    devices = tuple(
        replace(device, leg="B") if device.name == "window-feed" else device
        for device in CHART_ROOM.devices
    )
    box, joined = "chart-table", {"lamp.shell", "window-feed.neutral"}
    one, other = (join for join in CHART_ROOM.joins if join.box == box and joined & {*join.ends})
    shared = replace(one, ends=(*one.ends, *other.ends))
    joins = tuple(join for join in CHART_ROOM.joins if join not in {one, other})
    circuit = replace(CHART_ROOM, devices=devices, joins=(*joins, shared))
    lost = [fault.site for fault in fault_kind("neutral-lost").faults(NumberedCircuit(circuit))]
    assert lost == [("light-feed", "window-feed")]
    broken = replace(circuit, failures=(Failure("conductor-open", ("table-run.white",)),))
    assert list(fault_kind("neutral-lost").faults(NumberedCircuit(broken))) == []


@settings(max_examples=15)
@given(supplied_circuits())
def test_engines_agree_and_files_keep_them(circuit: Circuit) -> None:
    """Each is the same by both engines, survives the file, and has a family and a place."""
    faults = all_faults(circuit, SUPPLY_KINDS)
    found = WordsEngine().observe_faults(circuit, faults)
    roles = Roles(circuit)
    places = {box.name for box in circuit.boxes} | {device.name for device in circuit.devices}
    for row, fault in enumerate(faults[:40]):
        faulted = fault.apply(circuit)
        assert loads(dump(faulted)) == faulted
        assert found.observation(row) == PathsEngine().observe(faulted)
        assert family(roles, fault)
        assert place(fault) in places


def test_an_outlet_on_a_switched_conductor_is_switched() -> None:
    """Wherever it is landed, there are positions in which the outlet is dead."""
    for circuit in SHIPPED.values():
        for fault in fault_kind("downstream-on-leg").faults(NumberedCircuit(circuit)):
            found = judge(fault.apply(circuit), WordsEngine())
            assert "receptacle-switched" in found.hazards


def test_families_say_what_was_mistaken() -> None:
    """A phrase for each kind, by the roles of what was mixed up."""
    said = {
        fault.kind: family(Roles(circuit), fault)
        for circuit in (LOFT, CHART_ROOM)
        for fault in reversed(all_faults(circuit, SUPPLY_KINDS))
    }
    assert said == {
        "borrowed-neutral": "shell of lamp on the neutral of another feed in chart-table",
        "feeds-crossed": "lines of bench-feed and light-feed crossed in hatch",
        "neutral-lost": "shared neutral of bench-feed and light-feed lost",
        "downstream-on-leg": "outlet fed from switch leg by line conductor in chart-table",
    }
