"""The circuits shipped in `data/circuits`: they are what their comments say.

What each does is stated here by hand and checked with both engines.
"""

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

from verify.base.resources import data_path
from verify.behaviour.findings import states_in
from verify.circuit.colours import PALETTES
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import End, is_ground_colour
from verify.engine.contract import Engine
from verify.engine.nodal import NodalEngine
from verify.engine.volts import VoltsEngine
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.judging import judge

FILES = {path.stem: path for path in sorted(data_path("circuits").glob("*.toml"))}
SOUND = [name for name in FILES if not name.startswith("faulty-")]

# States in which the lamp is lit: bit i is switch i down. Alternating parity, as it must be.
EVEN_OF_2, ODD_OF_2 = {0, 3}, {1, 2}
EVEN_OF_3 = {0, 3, 5, 6}
EVEN_OF_4 = {0, 3, 5, 6, 9, 10, 12, 15}
ALL_OF_2 = {0, 1, 2, 3}
ALL_OF_3 = set(range(8))

# Verdict, states lit, states that trip, and each hazard with its states.
EXPECTED: dict[str, tuple[str, set[int], set[int], dict[str, set[int]]]] = {
    "slipway-feed-at-first-switch": ("sound", EVEN_OF_2, set(), {}),
    "stair-feed-at-lamp": ("sound", EVEN_OF_2, set(), {}),
    "workshop-feed-and-lamp-at-ends": ("sound", EVEN_OF_2, set(), {}),
    "loft-stair-three-switches": ("sound", EVEN_OF_3, set(), {}),
    "boat-hall-metal-boxes": ("sound", EVEN_OF_3, set(), {}),
    "quay-walk-four-switches": ("sound", EVEN_OF_4, set(), {}),
    "sail-store-tied-commons": ("sound", ODD_OF_2, set(), {}),
    "winch-room-two-way-iec": ("sound", EVEN_OF_2, set(), {}),
    "net-loft-two-legs": ("sound", EVEN_OF_2, set(), {}),
    "chart-room-two-feeds": ("sound", EVEN_OF_2, set(), {}),
    "faulty-line-and-neutral-on-travelers": (
        "mimic",
        ODD_OF_2,
        set(),
        {
            "lamp-live-dark": {0},
            "lamp-reversed": {1},
            "neutral-switched": ODD_OF_2,
            "both-poles-on-switch": ALL_OF_2,
        },
    ),
    "faulty-switches-in-the-neutral": (
        "mimic",
        EVEN_OF_2,
        set(),
        {"lamp-live-dark": ODD_OF_2, "neutral-switched": EVEN_OF_2, "backfed": ODD_OF_2},
    ),
    "faulty-return-in-another-cable": (
        "mimic",
        EVEN_OF_2,
        set(),
        {"cable-unbalanced": EVEN_OF_2},
    ),
    "faulty-ground-left-off": ("mimic", EVEN_OF_3, set(), {"metal-floating": ALL_OF_3}),
    "faulty-ground-used-as-neutral": (
        "mimic",
        EVEN_OF_2,
        set(),
        {"ground-carries-load": EVEN_OF_2},
    ),
    "faulty-lampholder-reversed": ("mimic", EVEN_OF_2, set(), {"lamp-reversed": EVEN_OF_2}),
    "faulty-common-on-traveler": ("misbehaves", {0}, set(), {}),
    "faulty-welded-contact": ("misbehaves", {0, 1, 3, 5, 6, 7}, set(), {}),
    "faulty-open-traveler": ("misbehaves", {0, 3, 12, 15}, set(), {}),
    "faulty-traveler-shorted-to-neutral": (
        "trips",
        {0},
        {1, 3},
        {"both-poles-on-switch": {0, 2}},
    ),
}


def test_every_shipped_circuit_is_described_here() -> None:
    """No circuit is shipped without a statement of what it does."""
    assert EXPECTED.keys() == FILES.keys()


@pytest.mark.parametrize("engine", [NodalEngine(), VoltsEngine()], ids=lambda engine: engine.name)
@pytest.mark.parametrize("name", EXPECTED)
def test_it_does_what_its_comment_says(name: str, engine: Engine) -> None:
    """The verdict, the lit states and the hazards are those stated by hand.

    That the usual hookups are sound is common practice, no source.
    """
    verdict, lit, trips, hazards = EXPECTED[name]
    judgement = judge(load(FILES[name]), engine)
    seen = judgement.observation
    assert judgement.verdict == verdict
    assert seen is not None
    assert set(states_in(seen.trips)) == trips
    assert [set(states_in(states)) for states in seen.lit] == [lit]
    found = zip(HAZARD_NAMES, map(states_in, seen.hazards), strict=True)
    assert {hazard: states for hazard, held in found if (states := set(held))} == hazards


def test_the_collection_shows_the_usual_and_the_instructive() -> None:
    """Two, three and four locations, both sound schemes, both palettes, metal, every verdict."""
    circuits = {name: load(path) for name, path in FILES.items()}
    assert {len(circuits[name].switches) for name in SOUND} == {2, 3, 4}
    assert {circuit.palette for circuit in circuits.values()} == PALETTES.keys()
    assert any(box.is_metal for name in SOUND for box in circuits[name].boxes)
    assert {verdict for verdict, *_ in EXPECTED.values()} == {
        "sound",
        "mimic",
        "misbehaves",
        "trips",
    }
    places = {
        name: (circuits[name].feed.box, circuits[name].lamps[0].box)
        for name in SOUND
        if len(circuits[name].switches) == 2
    }
    assert places["slipway-feed-at-first-switch"] == ("slipway", "slipway-lamp")
    assert places["stair-feed-at-lamp"] == ("landing", "landing")
    assert places["workshop-feed-and-lamp-at-ends"] == ("slipway", "workshop-lamp")


@pytest.mark.parametrize("name", FILES)
def test_it_begins_with_words_for_a_person(name: str) -> None:
    """Each file says in comments what it is, where that comes from, what to see, and to beware."""
    text = FILES[name].read_text("utf-8")
    header = text[: text.index("\nformat = 1")].splitlines()
    assert all(line.startswith("#") for line in header)
    words = " ".join(line.lstrip("# ") for line in header)
    assert words.startswith("Faulty") == name.startswith("faulty-")
    for needed in ("no source", "What to look at: ", "data/cautions.toml"):
        assert needed in words
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize("name", FILES)
def test_cables_have_sizes_and_lengths(name: str) -> None:
    """Sizes and lengths are there, and the size suits the breaker.

    US NEC 240.4(D) (from memory, not checked against the document): 14 AWG 15 A, 12 AWG 20 A.
    """
    circuit = load(FILES[name])
    amps = {"14 AWG": 15.0, "12 AWG": 20.0, "1.5 mm²": 10.0}
    for cable in circuit.cables:
        assert cable.length_m
        assert amps[str(cable.size)] == circuit.feed.breaker_amps


@pytest.mark.parametrize("name", FILES)
def test_its_boxes_and_cables_make_one_tree(name: str) -> None:
    """Every box is reached from the feed's by exactly one way, as in any usual installation.

    Only the return in a cable of its own is about two cables that run side by side.
    """
    circuit = load(FILES[name])
    tree: nx.Graph[str] = nx.Graph()
    tree.add_nodes_from(box.name for box in circuit.boxes)
    tree.add_edges_from(cable.between for cable in circuit.cables)
    assert nx.is_tree(tree)
    side_by_side = name == "faulty-return-in-another-cable"
    assert tree.number_of_edges() == len(circuit.cables) - side_by_side


def wired(circuit: Circuit) -> "nx.Graph[End]":
    """What is connected by conductors alone; `cable` and `colour` on the edges of conductors."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(circuit.ends)
    for first, *others in circuit.grouped_ends:
        graph.add_edges_from((first, other) for other in others)
    for cable in circuit.cables:
        for colour in cable.conductors:
            here, there = (End(box, f"{cable.name}.{colour}") for box in cable.between)
            graph.add_edge(here, there, cable=cable.name, colour=colour)
    return graph


def connected(circuit: Circuit, state: int) -> "nx.Graph[End]":
    """The same with the contacts that are closed in a state."""
    graph = wired(circuit)
    for number, switch in enumerate(circuit.switches):
        for contact in switch.form.contacts:
            if contact.down if state >> number & 1 else contact.up:
                graph.add_edge(
                    circuit.terminal(switch, contact.a), circuit.terminal(switch, contact.b)
                )
    return graph


def steps_of_current(circuit: Circuit, state: int) -> Iterator[tuple[str, str, str, str]]:
    """Each conductor that the lamp's current runs through: cable, colour, from box, to box."""
    graph = connected(circuit, state)
    assert nx.is_forest(graph), "the current has more than one way"
    (lamp,), feed = circuit.lamps, circuit.feed
    for start, stop in (
        (circuit.terminal(feed, "line"), circuit.terminal(lamp, "contact")),
        (circuit.terminal(lamp, "shell"), circuit.terminal(feed, "neutral")),
    ):
        for a, b in nx.utils.pairwise(nx.shortest_path(graph, start, stop)):
            edge = graph.edges[a, b]
            if "cable" in edge:
                yield edge["cable"], edge["colour"], a.box, b.box


@pytest.mark.parametrize("name", SOUND)
def test_currents_of_every_cable_balance(name: str) -> None:
    """In every lit state what runs out in a cable comes back in it.

    US NEC 300.3(B) (read): all conductors of a circuit together.
    """
    circuit = load(FILES[name])
    for state in EXPECTED[name][1]:
        sums: Counter[str] = Counter()
        for cable, _, here, there in steps_of_current(circuit, state):
            sums[cable] += 1 if here < there else -1
        assert set(sums.values()) <= {0}, f"state {state}"


@pytest.mark.parametrize("name", SOUND)
def test_the_neutral_colour_is_the_neutral_or_supply(name: str) -> None:
    """The neutral has its colour; where no neutral is in a cable that colour is supply.

    US NEC 200.7(C) (read): in switch loops it is the supply to the switch, not the return from it.
    """
    circuit = load(FILES[name])
    neutral_colour = PALETTES[circuit.palette].neutral
    graph = wired(circuit)
    neutral = {
        end
        for feed in circuit.feeds
        for end in nx.node_connected_component(graph, circuit.terminal(feed, "neutral"))
    }
    tree = nx.Graph(cable.between for cable in circuit.cables)
    distance = nx.single_source_shortest_path_length(tree, circuit.feed.box)
    away: dict[str, set[bool]] = {}
    for state in EXPECTED[name][1]:
        for name_of_cable, colour, here, there in steps_of_current(circuit, state):
            if colour == neutral_colour:
                away.setdefault(name_of_cable, set()).add(distance[there] > distance[here])
    for cable in circuit.cables:
        box = cable.between[0]
        neutrals = [c for c in cable.conductors if End(box, f"{cable.name}.{c}") in neutral]
        assert neutrals in ([neutral_colour], [])
        if not neutrals and neutral_colour in cable.conductors:
            assert away[cable.name] == {True}


@pytest.mark.parametrize("name", SOUND)
def test_grounds_reach_everything(name: str) -> None:
    """All ground terminals, ground conductors and metal boxes, and nothing else, are on ground."""
    circuit = load(FILES[name])
    reached = nx.node_connected_component(wired(circuit), circuit.terminal(circuit.feed, "ground"))
    assert reached == {
        end
        for end in circuit.ends
        if end.part == "ground" or end.owner == "box" or is_ground_colour(end.part)
    }


@pytest.mark.parametrize("name", SOUND)
def test_no_position_makes_a_switch_box_dead(name: str) -> None:
    """In every state one of each traveler pair is live: the caution `off-proves-nothing`."""
    circuit = load(FILES[name])
    line = circuit.terminal(circuit.feed, "line")
    for state in range(2 ** len(circuit.switches)):
        live = nx.node_connected_component(connected(circuit, state), line)
        for switch in circuit.switches:
            if switch.kind == "three-way":
                sides = [("traveler-1", "traveler-2")]
            else:
                sides = [("a1", "a2"), ("b1", "b2")]
            for side in sides:
                assert any(circuit.terminal(switch, terminal) in live for terminal in side)


def test_receptacle_stays_live_whatever_the_switches_do() -> None:
    """In the winch room the socket-outlet has line, neutral and ground by conductors alone."""
    circuit = load(FILES["winch-room-two-way-iec"])
    graph, socket = wired(circuit), circuit.device("yard-door-socket")
    for terminal in ("line", "neutral", "ground"):
        feed = circuit.terminal(circuit.feed, terminal)
        assert nx.has_path(graph, feed, circuit.terminal(socket, terminal))


@pytest.mark.parametrize(
    ("name", "free"),
    [
        ("slipway-feed-at-first-switch", {"slipway": 10, "workshop": 6, "slipway-lamp": 4}),
        ("stair-feed-at-lamp", {"landing": 10, "slipway": 6, "workshop": 6}),
        ("workshop-feed-and-lamp-at-ends", {"slipway": 8, "workshop": 8, "workshop-lamp": 4}),
    ],
)
def test_free_ends_of_the_usual_hookups(name: str, free: dict[str, int]) -> None:
    """The grounds are fixed; all else that a person lands is free, and the ways can be counted.

    `tests/test_landings.py` counts them.
    """
    circuit = load(FILES[name])
    fixed = {End(join.box, end) for join in circuit.joins if join.fixed for end in join.ends}
    loose = Counter(end.box for end in circuit.ends if end not in fixed)
    assert loose == free
    assert not any("ground" in end.name for end in circuit.ends if end not in fixed)


def test_names_tell_circuits_apart() -> None:
    """File names are words with hyphens, and no two circuits have the same title."""
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)+", name) for name in FILES)
    titles = [load(path).name for path in FILES.values()]
    assert len(set(titles)) == len(titles)


def test_no_other_file_is_shipped_among_them() -> None:
    """The folder holds circuits only, so that ``data/circuits/*`` can be judged as a whole."""
    folder: Path = data_path("circuits")
    assert {path.suffix for path in folder.iterdir()} == {".toml"}
