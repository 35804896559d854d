"""Pictures stay legible: nothing lies on a text or a device, no cable crosses another."""

import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from itertools import combinations, pairwise
from pathlib import Path
from typing import NamedTuple

import pytest
from boathouse import stair
from hypothesis import given, settings
from hypothesis import strategies as st
from picturereader import SVG
from test_drawing import CIRCUITS, odd_circuit

from catalogue.drawing.channel import FORBIDDEN, Pin, PinNet, crossings_if_above, route
from catalogue.drawing.dimensions import GRID, MARGIN, PAGE_WIDTH, SMALL, TERMINAL_AT
from catalogue.drawing.floor_plan import plan
from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.placement import Point, ribbon
from catalogue.drawing.scene import Caption, Scene
from catalogue.drawing.state_view import view_of
from catalogue.drawing.text import fitted, sleeve_text, sleeve_width, text_width, wrapped
from catalogue.drawing.wiring import wiring_scene
from verify.circuit.colours import PALETTES
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.fault.registry import find_fault
from verify.layout.sampler import sample
from verify.strategies import circuits, rewirings

_HALF_LINE = 3.0


class Room(NamedTuple):
    """An upright rectangle."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Room") -> bool:
        """True if the two share more than an edge."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def grown(self, by: float) -> "Room":
        """Larger on every side; smaller if `by` is negative."""
        return Room(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def holds(self, other: "Room") -> bool:
        """True if the other is wholly inside."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


def scene_of(circuit: Circuit, state: int | None = None) -> Scene:
    """The wiring picture as numbers."""
    return wiring_scene(circuit, plan([circuit]), view_of(circuit, state))


def room_of(words: Caption) -> Room:
    """Where a line of text is."""
    width = text_width(words.text, words.size, bold=words.bold)
    left = words.at.x - {"start": 0, "middle": width / 2, "end": width}[words.anchor]
    top = words.at.y - 0.75 * words.size
    return Room(left, top, left + width, words.at.y + 0.2 * words.size)


def pieces(points: Sequence[Point], half: float) -> Iterator[Room]:
    """The straight pieces of a line with its breadth; slanting ones as a box around them."""
    for a, b in pairwise(points):
        yield Room(min(a.x, b.x), min(a.y, b.y), max(a.x, b.x), max(a.y, b.y)).grown(half)


def texts(scene: Scene) -> list[Caption]:
    """Every line of text but the sleeves'."""
    return [
        words
        for group in (
            *(frame.label for frame in scene.frames),
            *(sheath.label for sheath in scene.sheaths),
            *(symbol.words for symbol in scene.symbols),
        )
        for words in group
    ]


def rooms_of_boxes(scene: Scene) -> dict[str, Room]:
    """Where the frame of each box is."""
    return {
        frame.name: Room(
            frame.corner.x,
            frame.corner.y,
            frame.corner.x + frame.width,
            frame.corner.y + frame.height,
        )
        for frame in scene.frames
    }


def check_legible(scene: Scene) -> None:
    """Nothing that is to be read or touched lies on something else."""
    frames = rooms_of_boxes(scene)
    bodies = [
        Room(s.corner.x, s.corner.y, s.corner.x + s.width, s.corner.y + s.height).grown(-3)
        for s in scene.symbols
    ]
    sleeves = [
        Room(s.at.x, s.at.y, s.at.x, s.at.y)
        .grown(9)
        ._replace(left=s.at.x - sleeve_width(s.text) / 2, right=s.at.x + sleeve_width(s.text) / 2)
        for s in scene.sleeves
    ]
    words = [room_of(text) for text in texts(scene)]
    page = Room(0, 0, scene.width, scene.height)
    for rooms in (list(frames.values()), bodies, words, sleeves):
        assert all(page.holds(room) for room in rooms)
        assert not any(a.overlaps(b) for a, b in combinations(rooms, 2))
    assert not any(a.overlaps(b) for a in sleeves for b in (*words, *bodies))
    for body in bodies:
        assert sum(frame.holds(body) for frame in frames.values()) == 1
    in_boxes = [(join, wire) for join in scene.joins for wire in join.wires]
    for join, wire in in_boxes:
        for piece in pieces(wire.points, _HALF_LINE):
            assert frames[join.ends[0].box].holds(piece)
            assert not any(piece.overlaps(text) for text in words), wire.name
            # A line enters a device as far as its terminal.
            assert not any(piece.overlaps(body.grown(-TERMINAL_AT)) for body in bodies), wire.name
    for join, wire in in_boxes:
        own = set(join.ends)
        for sleeve, room in zip(scene.sleeves, sleeves, strict=True):
            if sleeve.end not in own:
                for piece in pieces(wire.points, 2.0):
                    assert not piece.overlaps(room), f"{wire.name} under {sleeve.end.name}"
    for symbol in scene.symbols:
        for text in map(room_of, symbol.words):
            for stroke in symbol.strokes:
                if stroke.points[0].x == stroke.points[1].x or len(stroke.points) > 2:
                    for piece in pieces(stroke.points, 0.5):
                        assert not piece.overlaps(text.grown(-1)), symbol.name


def check_cables(scene: Scene, circuit: Circuit) -> None:
    """Cables of a tree of boxes cross neither each other nor a box that they do not enter."""
    frames = rooms_of_boxes(scene)
    between = {cable.name: cable.between for cable in circuit.cables}
    runs = {sheath.name: list(pieces(sheath.points, sheath.width / 2)) for sheath in scene.sheaths}
    for (one, a), (other, b) in combinations(runs.items(), 2):
        assert not any(x.overlaps(y) for x in a for y in b), f"{one} crosses {other}"
    for cable, rooms in runs.items():
        for box, frame in frames.items():
            if box not in between[cable]:
                assert not any(room.overlaps(frame) for room in rooms), f"{cable} through {box}"
    labels = [room_of(words) for sheath in scene.sheaths for words in sheath.label]
    for rooms in runs.values():
        assert not any(room.overlaps(label) for room in rooms for label in labels)


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: path.stem)
def test_shipped_circuits_are_legible(path: Path) -> None:
    """The circuits that are shipped, in a state and without."""
    circuit = load(path)
    for state in (None, 1):
        scene = scene_of(circuit, state)
        check_legible(scene)
        check_cables(scene, circuit)


@given(circuits(most_locations=6))
@settings(max_examples=40)
def test_circuits_up_to_six_locations_are_legible(circuit: Circuit) -> None:
    """No text on a text, no line through a text, a device or a sleeve, no cable on a cable."""
    scene = scene_of(circuit)
    check_legible(scene)
    check_cables(scene, circuit)


@given(st.data())
@settings(max_examples=20)
def test_any_wiring_is_legible(data: st.DataObject) -> None:
    """However the ends are joined."""
    circuit = data.draw(rewirings(data.draw(circuits(most_locations=3))))
    check_legible(scene_of(circuit))


def test_boxes_in_a_loop_are_legible() -> None:
    """Cables that go round may cross each other, but lie on no text and no device."""
    check_legible(scene_of(odd_circuit(), 3))


def test_most_pictures_fit_a_page() -> None:
    """Up to six locations nearly all are so narrow that their smallest letters are legible.

    The others have one box with many cables and devices, and are no wider than that box.
    """
    smallest_shown = 12
    page = 1200
    assert smallest_shown * PAGE_WIDTH / page == SMALL
    plans = [plan([sample(3, index).circuit]) for index in range(60)]
    wide = [found for found in plans if found.placement.width > PAGE_WIDTH]
    assert len(wide) <= 2
    for found in wide:
        assert found.placement.width == max(found.widths.values()) + 2 * MARGIN


@pytest.mark.parametrize("draw", [wiring_picture, schematic_picture])
def test_no_letter_is_smaller_than_the_smallest(draw: Callable[[Circuit], str]) -> None:
    """Every text in a picture has at least the size that is legible at the width of a page."""
    for circuit in (stair(), odd_circuit()):
        written = ET.fromstring(draw(circuit)).iter(f"{SVG}text")
        sizes = [float(text.attrib["font-size"]) for text in written]
        assert min(sizes) >= SMALL


def test_a_mistake_changes_no_place() -> None:
    """Intended and found have boxes, devices and cables in the same places."""
    circuit = stair()
    found = stair(
        {
            "slipway-run.red workshop-run.red": "slipway-run.red workshop-run.white",
            "slipway-run.white workshop-run.white": "slipway-run.white workshop-run.red",
        }
    )
    shared = plan([circuit, found])
    one, other = (wiring_scene(c, shared, view_of(c, None)) for c in (circuit, found))
    assert [f.corner for f in one.frames] == [f.corner for f in other.frames]
    assert [s.corner for s in one.symbols] == [s.corner for s in other.symbols]
    assert [s.points for s in one.sheaths] == [s.points for s in other.sheaths]
    assert one.joins != other.joins


def test_a_device_of_a_wrong_kind_moves_nothing_else() -> None:
    """A larger switch than intended has its room in both pictures, so that cables stay straight."""
    circuit = load(next(path for path in CIRCUITS if path.stem == "slipway-feed-at-first-switch"))
    found = find_fault(circuit, "wrong-device/slipway-switch,four-way,traveler-1").apply(circuit)
    shared = plan([circuit, found])
    one, other = (wiring_scene(c, shared, view_of(c, None)) for c in (circuit, found))
    assert [s.corner for s in one.symbols] == [s.corner for s in other.symbols]
    assert [s.conductors for s in one.sheaths] == [s.conductors for s in other.sheaths]


@given(
    st.lists(st.tuples(st.integers(0, 11), st.integers(0, 5)), unique_by=lambda pin: pin[0]),
    st.lists(st.tuples(st.integers(0, 11), st.integers(0, 5)), unique_by=lambda pin: pin[0]),
)
def test_channels_between_offset_edges_can_always_be_routed(
    above: list[tuple[int, int]], below: list[tuple[int, int]]
) -> None:
    """If no pin stands above another there is a track for every net, and none is shared."""
    pins: dict[int, list[Pin]] = {}
    for place, net in above:
        pins.setdefault(net, []).append(Pin(2 * GRID * place, True))
    for place, net in below:
        pins.setdefault(net, []).append(Pin(2 * GRID * place + GRID, False))
    nets = [PinNet(found) for found in pins.values()]
    routing = route(nets)
    assert routing is not None
    tracked = list(zip(nets, routing.tracks, strict=True))
    for (one, a), (other, b) in combinations(tracked, 2):
        if a is not None and a == b:
            assert one.right + GRID < other.left or other.right + GRID < one.left
    for routed, track in tracked:
        assert (track is None) == (routed.size == 1)


def test_nets_that_would_lie_on_each_other_are_stacked_the_other_way() -> None:
    """Where one net's pin stands above another's, its track is the higher one."""
    upper = PinNet([Pin(0, True), Pin(60, False)])
    lower = PinNet([Pin(0, False), Pin(90, True)])
    assert crossings_if_above(lower, upper) == FORBIDDEN
    assert crossings_if_above(upper, lower) == 1
    routing = route([lower, upper])
    assert routing is not None
    assert routing.tracks == (1, 0)


def test_pins_that_stand_in_each_others_way_are_said_to() -> None:
    """Two nets that each must be above the other have no tracks."""
    one = PinNet([Pin(0, True), Pin(60, False)])
    other = PinNet([Pin(60, True), Pin(0, False)])
    assert route([one, other]) is None


def test_a_ribbon_keeps_its_side_round_corners() -> None:
    """A conductor beside the middle of a cable stays as far from it, on the same side."""
    middle = [Point(0, 0), Point(0, 50), Point(80, 50), Point(80, 100)]
    assert ribbon(middle, 9) == ((9, 0), (9, 41), (89, 41), (89, 100))
    assert ribbon(middle, 0) == tuple(middle)


def test_sleeves_fit_between_conductors() -> None:
    """The sleeves of one row, two conductors apart, do not touch, whatever the colours."""
    for palette in PALETTES.values():
        colours = [*palette.line, palette.neutral, *palette.ground]
        colours += [f"{palette.numbered}-99"] if palette.numbered else []
        assert max(sleeve_width(sleeve_text(colour)) for colour in colours) < 4 * GRID


def test_long_texts_are_cut_to_their_room() -> None:
    """What is written never takes more room than there is, and the whole is kept."""
    for text in ("n" * 60, "船" * 60, "W" * 60):
        short, full = fitted(text, 100, SMALL)
        assert text_width(short, SMALL) <= 100
        assert short.endswith("…")
        assert full == text
    assert fitted("slipway", 100, SMALL) == ("slipway", None)
    assert all(text_width(line, SMALL) <= 100 for line in wrapped("so many words " * 9, 100, SMALL))
