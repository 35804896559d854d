"""A picture tells the truth: what it shows, read back line by line, is the circuit.

The pictures are read by `picturereader`, which knows how people read them and not how they are
made.
"""

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from boathouse import stair
from hypothesis import given, settings
from hypothesis import strategies as st
from picturereader import SVG, Reading, conducting, joined, meet, overlaps, panels, shown_terminals

from catalogue.drawing.differences import differences
from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.state_view import parse_state
from catalogue.drawing.wiring import reidentified
from verify.base.problems import UserError
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, End, Failure, Join
from verify.engine.paths import StateGraph, WireGraph
from verify.fault.contract import Fault
from verify.fault.registry import all_faults, find_fault
from verify.layout.enumeration import layouts
from verify.layout.sampler import sample
from verify.layout.schemes import SOUND_SCHEMES
from verify.strategies import circuits, failures, rewirings, states
from verify.verdict.evidence import find_evidence

CIRCUITS = sorted((Path(__file__).parents[2] / "data" / "circuits").glob("*.toml"))
FOUR = ("black", "red", "white", "bare")
LONG = "n" * 60
HEBREW = "מרתף-הסירות"
JAPANESE = "船庫階段灯"


def two_location_faults(every: int = 1) -> list[tuple[Circuit, Fault]]:
    """Single faults of the sound circuits of two locations; of all, each `every`-th."""
    pairs = [
        (circuit, fault)
        for layout in layouts(2)
        for scheme in SOUND_SCHEMES
        for circuit in [layout.circuit(scheme)]
        for fault in all_faults(circuit)
    ]
    return pairs[::every]


def odd_circuit() -> Circuit:
    """Boxes in a loop and apart, several feeds, names of many kinds, every kind of failure."""
    eleven = ("black", "red", "blue", "yellow", "orange", "brown", "violet", "pink", "white")
    return Circuit(
        'Odd <one> & "two"',
        (Box(HEBREW), Box(LONG, "metal"), Box(JAPANESE), Box("island"), Box("isle")),
        (
            Device("feed", "feed", HEBREW),
            Device("feed-2", "feed", JAPANESE),
            Device("lamp", "lamp", LONG),
            Device("é" * 59, "three-way", JAPANESE),
            Device("s2", "single-pole", "island"),
            Device("socket", "receptacle", "isle"),
            Device("s3", "four-way", HEBREW),
        ),
        (
            Cable("a", (HEBREW, LONG), FOUR, "14 AWG", 3.0),
            Cable("b", (LONG, JAPANESE), FOUR),
            Cable("c", (JAPANESE, HEBREW), (*eleven, "bare", "green")),
            Cable("d", ("island", "isle"), ("black",)),
            Cable("e", (HEBREW, JAPANESE), FOUR),
            Cable("z" * 60, (LONG, "isle"), FOUR),
            Cable("loop", ("isle", HEBREW), FOUR),
            Cable("loop-2", (JAPANESE, "isle"), FOUR),
        ),
        (
            Join(HEBREW, ("feed.line", "a.black", "c.black")),
            Join(HEBREW, ("c.red", "c.blue", "c.white")),
            Join(HEBREW, ("c.yellow", "e.red")),
            Join(JAPANESE, ("c.yellow", "e.red")),
            Join(LONG, ("a.black", "b.white", f"box.{LONG}")),
            Join(JAPANESE, ("b.white", f"{'é' * 59}.common", "loop-2.bare")),
            Join("isle", ("loop.white", "loop-2.white", "d.black", "socket.line")),
        ),
        (
            Failure("conductor-open", ("c.violet",)),
            Failure("conductors-shorted", ("c.pink", "c.black")),
            Failure("conductor-open", ("loop.red",)),
            Failure("conductors-shorted", ("loop.red", "loop.bare")),
            Failure("switch-stuck", ("s3",), "down"),
            Failure("lamp-shorted", ("lamp",)),
            Failure("contact-welded", ("s2.s1", "s2.s2")),
            Failure("loose-join", ("feed.line",), box=HEBREW),
            Failure("loose-join", ("c.black",), box=HEBREW),
            Failure("loose-join", (f"box.{LONG}",), box=LONG),
        ),
    )


def check(reading: Reading, circuit: Circuit) -> None:
    """Hold one panel to the circuit that it shows."""
    assert sorted(end for end, _ in reading.named) == sorted(circuit.ends)
    assert reading.connected(in_boxes_only=True) == joined(circuit)
    assert reading.connected() == conducting(circuit)
    assert list(overlaps(reading)) == []
    alone = [group[0] for group in circuit.grouped_ends if len(group) == 1]
    cables = {cable.name for cable in circuit.cables}
    assert reading.caps == sum(end.owner in cables for end in alone)


def check_fault(circuit: Circuit, fault: Fault) -> None:
    """Hold both panels of a fault's picture to the two circuits."""
    found = fault.apply(circuit)
    before, after = panels(wiring_picture(found, intended=circuit))
    check(before, circuit)
    check(after, found)
    assert before.marks == after.marks
    if fault.kind != "whole-circuit":
        # Grounds mixed up in two cables side by side end in the joins in which they were.
        assert (before.marks > 0) == (found != circuit)


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_shipped_circuits_are_drawn_as_they_are(path: Path) -> None:
    """Every end is there once, every join is drawn, and nothing is drawn that is not joined."""
    circuit = load(path)
    (reading,) = panels(wiring_picture(circuit))
    check(reading, circuit)


def test_loops_parts_apart_and_many_failures_are_drawn_as_they_are() -> None:
    """A circuit whose boxes are no tree, with every kind of failure, is drawn right too."""
    for state in (None, 5):
        (reading,) = panels(wiring_picture(odd_circuit(), state=state))
        check(reading, odd_circuit())


def test_a_loose_connection_is_marked_by_a_word() -> None:
    """Each loose end has the word beside it and its name in the title, and the legend says so."""
    picture = wiring_picture(odd_circuit())
    assert picture.count('class="loose"') == picture.count(">loose</text>") == 3
    for name in ("feed line", "c black", f"box {LONG}"):
        assert f"<title>{name} is loose in its join</title>" in picture
    assert picture.count(">loose in its join</text>") == 1
    assert f"Failed: loose-join of feed line in the {HEBREW} box." in picture
    assert "loose" not in wiring_picture(replace(odd_circuit(), failures=()))


@given(circuits(most_locations=6))
@settings(max_examples=25)
def test_sound_circuits_are_drawn_as_they_are(circuit: Circuit) -> None:
    """Several lamps, junctions, metal boxes, cables side by side: the picture is the circuit."""
    (reading,) = panels(wiring_picture(circuit))
    check(reading, circuit)


@given(st.data())
@settings(max_examples=25)
def test_any_wiring_is_drawn_as_it_is(data: st.DataObject) -> None:
    """However the ends are joined, and whatever has failed, the picture is the circuit."""
    circuit = data.draw(rewirings(data.draw(circuits(most_locations=3))))
    circuit = replace(circuit, failures=data.draw(failures(circuit)))
    (reading,) = panels(wiring_picture(circuit))
    check(reading, circuit)


def test_some_faults_of_two_locations_are_drawn_as_they_are() -> None:
    """Intended and found stand beside each other, each as it is, with marks where they differ."""
    for circuit, fault in two_location_faults(every=61):
        check_fault(circuit, fault)


@pytest.mark.slow
def test_all_faults_of_two_locations_are_drawn_as_they_are() -> None:
    """The same for every single fault of every layout of two locations."""
    for circuit, fault in two_location_faults():
        check_fault(circuit, fault)


@pytest.mark.slow
def test_eight_locations_are_drawn_as_they_are() -> None:
    """Large circuits may be hard to read, but are right."""
    for index in range(12):
        circuit = sample(8, index, fewest=8, most=8).circuit
        (reading,) = panels(wiring_picture(circuit))
        check(reading, circuit)


@pytest.mark.parametrize("spoiled", ["dot", "wire", "sleeve"])
def test_a_picture_that_lies_is_found_out(spoiled: str) -> None:
    """Were a splice, a line or a written colour missing, the reading would differ."""
    (reading,) = panels(wiring_picture(stair()))
    if spoiled == "dot":
        # One that a line passes through; where lines only end, they meet without it.
        reading.dots.remove(
            next(
                dot
                for dot in reading.dots
                for line in reading.lines
                if line.passes(dot) and not any(meet(dot, tip) for tip in line.tips)
            )
        )
    elif spoiled == "wire":
        reading.lines.pop()
    else:
        (end, place), (other, other_place), *rest = reading.sleeves
        reading.sleeves[:] = [(end, other_place), (other, place), *rest]
    with pytest.raises(AssertionError):
        check(reading, stair())


@given(st.data())
@settings(max_examples=20)
def test_what_is_connected_to_line_is_drawn_so(data: st.DataObject) -> None:
    """In a state exactly the lines that line reaches carry its sign."""
    circuit = data.draw(rewirings(data.draw(circuits(most_locations=3))))
    circuit = replace(circuit, failures=data.draw(failures(circuit)))
    state = data.draw(states(circuit))
    (reading,) = panels(wiring_picture(circuit, state=state))
    at = StateGraph(WireGraph(circuit), state)
    for end, place in reading.named:
        own = [line for line in reading.lines if line.is_in_box and line.passes(place)]
        assert all(line.is_live == at.is_live(end) for line in own)
    for cable in circuit.cables:
        for colour in cable.conductors:
            name = f"{cable.name}.{colour}"
            pieces = [line for line in reading.lines if line.name == name and not line.is_in_box]
            live = {at.is_live(End(box, name)) for box in cable.between}
            assert {line.is_live for line in pieces} == live


def test_without_a_state_nothing_is_drawn_live() -> None:
    """A picture of no state claims nothing of what is at line voltage."""
    (reading,) = panels(wiring_picture(stair()))
    assert not any(line.is_live for line in reading.lines)


def test_white_that_is_no_neutral_is_banded_at_both_ends() -> None:
    """In the stair the whites carry line and a traveler: four ends need the marking."""
    circuit = stair()
    assert {end.name for end in reidentified(circuit)} == {
        "slipway-run.white",
        "workshop-run.white",
    }
    (reading,) = panels(wiring_picture(circuit))
    assert reading.bands == len(reidentified(circuit)) == 4


def test_the_marking_of_conductors_is_that_of_whoever_wired_them() -> None:
    """A mistake moves a conductor, not its tape: the found wiring has the intended bands."""
    circuit = stair()
    fault = find_fault(circuit, "moved/landing,feed.neutral,feed.line")
    before, after = panels(wiring_picture(fault.apply(circuit), intended=circuit))
    assert before.bands == after.bands == 4


def test_differences_are_as_few_as_the_mistake() -> None:
    """One end left off or moved is one difference, two exchanged are at most two."""
    circuit = stair()
    most = {"left-off": 1, "moved": 1, "exchanged": 2, "split": 2, "whole-circuit": 12}
    for fault in all_faults(circuit):
        places = differences(circuit, fault.apply(circuit))
        assert 0 < len(places) <= most.get(fault.kind, 4), fault.label


def test_equal_circuits_do_not_differ() -> None:
    """Nothing is marked where nothing is wrong."""
    assert differences(stair(), stair()) == []


def test_unmarked_shows_no_marks_and_nothing_that_cannot_be_seen() -> None:
    """Who opens the boxes sees no broken conductor, and no mark tells where it is."""
    circuit = stair()
    fault = find_fault(circuit, "conductor-open/slipway-run.red")
    svg = wiring_picture(fault.apply(circuit), intended=circuit, marked=False)
    (reading,) = panels(svg)
    check(reading, circuit)
    assert reading.marks == 0
    assert "cannot be seen" in svg
    assert "Failed:" not in svg


def test_unmarked_shows_what_can_be_seen() -> None:
    """A wrong landing is drawn as it is, without a mark."""
    circuit = stair()
    found = find_fault(circuit, "exchanged/slipway,slipway-switch.common,slipway-run.red").apply(
        circuit
    )
    (reading,) = panels(wiring_picture(found, intended=circuit, marked=False))
    check(reading, found)
    assert reading.marks == 0


def test_evidence_is_drawn_as_arrows_in_its_state_only() -> None:
    """The path of a trip is in the picture of its state, and in no other."""
    circuit = load(next(path for path in CIRCUITS if "shorted-to-neutral" in path.stem))
    evidence = find_evidence(circuit, "trips", 1)
    plain = wiring_picture(circuit, state=1)
    with_path = wiring_picture(circuit, state=1, evidence=evidence)
    assert "the path told of" in with_path
    assert len(with_path) > len(plain)
    assert "the path told of" not in wiring_picture(circuit, state=0, evidence=evidence)


@given(st.data())
@settings(max_examples=30)
def test_schematics_connect_what_conductors_connect(data: st.DataObject) -> None:
    """However a circuit is miswired, its schematic has the same nets."""
    circuit = data.draw(rewirings(data.draw(circuits(most_locations=4))))
    circuit = replace(circuit, failures=data.draw(failures(circuit)))
    check_schematic(circuit)


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_shipped_circuits_have_schematics(path: Path) -> None:
    """The same for the circuits that are shipped."""
    check_schematic(load(path))


def test_odd_circuits_have_schematics() -> None:
    """The same for several feeds and parts that nothing reaches."""
    check_schematic(odd_circuit())


def check_schematic(circuit: Circuit) -> None:
    """Hold a schematic to the circuit: every switched terminal, load and feed is in its net."""
    (reading,) = panels(schematic_picture(circuit))
    assert reading.connected() == shown_terminals(circuit, reading)
    assert list(overlaps(reading)) == []
    wanted = {
        circuit.terminal(device, name)
        for device in circuit.devices
        for name in device.form.switched_terminals
    }
    assert wanted <= {end for end, _ in reading.terminals}


@pytest.mark.parametrize("draw", [wiring_picture, schematic_picture])
def test_the_same_circuit_gives_the_same_bytes(draw: Callable[[Circuit], str]) -> None:
    """A picture can be compared, cached and kept under version control."""
    assert draw(stair()) == draw(stair())


def test_pictures_are_fit_for_a_strict_page() -> None:
    """Well-formed, named and described, nothing that a content security policy forbids."""
    circuit = odd_circuit()
    for svg in (wiring_picture(circuit, state=2), schematic_picture(circuit, state=2)):
        root = ET.fromstring(svg)
        assert root.get("role") == "img"
        title, description = root[0], root[1]
        assert (title.tag, title.text) == (f"{SVG}title", circuit.name)
        assert description.tag == f"{SVG}desc"
        assert description.text is not None
        tags = {item.tag.removeprefix(SVG) for item in root.iter()}
        assert tags <= {"svg", "title", "desc", "g", "rect", "path", "circle", "text"}
        names = {name for item in root.iter() for name in item.attrib}
        assert not [name for name in names if name in ("style", "id") or name.startswith("on")]
        assert not re.search(r"url\(|href|https?://(?!www\.w3\.org/2000/svg)", svg)


def test_descriptions_say_what_is_joined() -> None:
    """Who cannot see the picture is told boxes, cables, joins, and in a state what is live."""
    text = ET.fromstring(wiring_picture(stair(), state=0))[1].text or ""
    assert "The landing box holds feed (feed) and lamp (lamp)." in text
    assert "In the landing box feed line and slipway-run black are joined." in text
    assert "Cable slipway-run runs between the landing box and the slipway box" in text
    assert "State shown: slipway-switch up, workshop-switch up. Lamp is lit." in text


def test_long_names_are_shortened_and_kept_in_full() -> None:
    """A name that does not fit is cut, and there in full where a pointer rests on it."""
    svg = wiring_picture(odd_circuit())
    shown = [text for item in ET.fromstring(svg).iter(f"{SVG}text") for text in item.itertext()]
    assert LONG in shown  # in the title of the shortened text
    assert any(text.startswith("nnn") and text.endswith("…") for text in shown)
    assert HEBREW in shown


def test_states_are_read_as_they_are_written() -> None:
    """The first switch is the lowest bit, and down is 1."""
    assert parse_state(stair(), "slipway-switch=down, workshop-switch=up") == 1
    assert parse_state(stair(), "workshop-switch=down,slipway-switch=up") == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("slipway-switch=up", "says nothing of workshop-switch"),
        ("slipway-switch", "NAME=up or NAME=down"),
        ("loft=up", "no such switch; switches are slipway-switch, workshop-switch"),
        ("slipway-switch=on", "up or down"),
        ("slipway-switch=up,slipway-switch=down", "contradicts"),
    ],
)
def test_wrong_states_are_refused_with_the_remedy(text: str, said: str) -> None:
    """Whoever mistypes a state is told how to write it."""
    with pytest.raises(UserError, match=said):
        parse_state(stair(), text)
