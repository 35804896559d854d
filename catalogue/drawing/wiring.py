"""A circuit and a floor plan become a scene: every line, dot and letter of a wiring picture."""

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace

from catalogue.drawing.box_order import drawn_terminals
from catalogue.drawing.cabling import Cabling, Place
from catalogue.drawing.describe import described
from catalogue.drawing.differences import Difference
from catalogue.drawing.dimensions import (
    ASIDE,
    BAND,
    BODY_HEIGHT,
    CAP,
    CHANNEL_EDGE,
    FEED_HEIGHT,
    LARGE,
    LONGEST_BOX_NAME,
    LOOSE,
    MARK,
    SLEEVES,
    SMALL,
    SPREAD_OUT,
    STRIP,
    TERMINAL_AT,
    TERMINAL_DROP,
    TERMINAL_PITCH,
    TRACK,
)
from catalogue.drawing.floor_plan import FloorPlan, routing_in
from catalogue.drawing.placement import Point, sheath_width
from catalogue.drawing.scene import (
    Band,
    BoxFrame,
    Cap,
    Caption,
    DrawnJoin,
    Loose,
    Mark,
    Scene,
    Sleeve,
    Symbol,
    Terminal,
    Trail,
    Wire,
)
from catalogue.drawing.state_view import StateView
from catalogue.drawing.symbols import (
    SymbolInside,
    bond_symbol,
    caption_words,
    condition_of,
    drawn,
    feed_symbol,
)
from catalogue.drawing.text import fitted, sleeve_text, sleeve_width
from verify.circuit.colours import PALETTES
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, conductor_name
from verify.engine.paths import WireGraph


def reidentified(circuit: Circuit) -> frozenset[End]:
    """Return the connected ends of neutral-coloured conductors that no wire leads to a neutral.

    They must be marked wherever they can be seen (US NEC 200.7(C), read).
    """
    wiring = WireGraph(circuit)
    neutrals = [circuit.terminal(feed, "neutral") for feed in circuit.feeds]
    neutral = PALETTES[circuit.palette].neutral
    return frozenset(
        end
        for cable in circuit.cables
        if neutral in cable.conductors
        for box in cable.between
        for end in [End(box, conductor_name(cable.name, neutral))]
        if not wiring.is_alone(end) and not any(wiring.are_wired(end, to) for to in neutrals)
    )


class _Builder:
    def __init__(
        self,
        circuit: Circuit,
        plan: FloorPlan,
        view: StateView,
        bands: Set[End],
    ) -> None:
        self.circuit = circuit
        self.plan = plan
        self.view = view
        self.banded = bands
        self.cables = {cable.name: cable for cable in circuit.cables}
        self.places: dict[End, Place] = {}
        self.tracks: dict[End, float] = {}
        self.joins: list[DrawnJoin] = []
        self.symbols: list[Symbol] = []
        self.sleeves: list[Sleeve] = []
        self.caps: list[Cap] = []
        self.cabling = Cabling(circuit, plan, view, self.places)

    # Boxes

    def frames(self) -> Iterator[BoxFrame]:
        for box in self.circuit.boxes:
            corner = self.plan.placement.boxes[box.name]
            zones = self.plan.zones[box.name]
            width = self.plan.widths[box.name]
            top = corner.y + zones.above
            bottom = top + zones.channel
            edges = self.plan.edges(self.circuit, box.name)
            self._place_pins(box.name, corner.x, top, bottom)
            self._joins_in(box.name, top)
            for edge, y in zip(edges, (top, bottom), strict=True):
                for item, start in zip(edge.items, edge.starts, strict=True):
                    if item.kind == "device":
                        device = self.circuit.device(item.name)
                        self.symbols.append(self._symbol(device, corner.x + start, y))
                    elif item.kind == "box":
                        self.symbols.append(self._bond(box.name, corner.x + start, y))
            name, full = fitted(box.name, LONGEST_BOX_NAME, LARGE, bold=True)
            right = Point(corner.x + width - 12, corner.y + 21)
            material = "metal box" if box.is_metal else "plastic box"
            yield BoxFrame(
                box.name,
                box.is_metal,
                corner,
                width,
                zones.above + zones.channel + zones.below,
                (
                    Caption(right, name, LARGE, "end", True, "ink", full),
                    Caption(right.moved(0, 15), material, SMALL, "end", tone="soft"),
                ),
            )

    def _place_pins(self, box: str, left: float, top: float, bottom: float) -> None:
        for above, edge in zip((True, False), self.plan.edges(self.circuit, box), strict=True):
            y, sign = (top, -1) if above else (bottom, 1)
            taken = [0.0 for _ in SLEEVES]  # where the last sleeve of each row ends
            row = 1
            for name, x in edge.pins():
                end = End(box, name)
                cable = self.cables.get(end.owner)
                out = SPREAD_OUT if cable else TERMINAL_DROP + TERMINAL_AT
                colour = end.part if cable else None
                self.places[end] = Place(Point(left + x, y + sign * out), above, colour)
                if cable is None:
                    continue
                text = sleeve_text(end.part)
                half = sleeve_width(text) / 2
                row = 1 - row if taken[1 - row] < x - half else row
                taken[row] = x + half
                self.sleeves.append(
                    Sleeve(end, Point(left + x, y + sign * (out - SLEEVES[row])), text)
                )

    def _joins_in(self, box: str, top: float) -> None:
        edges = self.plan.edges(self.circuit, box)
        groups, routing = routing_in(self.circuit, box, edges)
        for group, track in zip(groups, routing.tracks, strict=True):
            y = top + CHANNEL_EDGE + (track or 0) * TRACK
            for end in group:
                self.tracks[end] = y
            self.joins.append(self._join(group, y))

    def _join(self, group: tuple[End, ...], y: float) -> DrawnJoin:
        places = [self.places[end] for end in group]
        is_live = group[0] in self.view.live
        name = " + ".join(end.name for end in group)

        def wire(*points: Point, colour: str | None) -> Wire:
            return Wire(_without_repeats(points), colour, name, is_live)

        first = places[0]
        if len(group) == 1:
            if first.colour is None:
                return DrawnJoin(group, (), ())
            tip = first.at.moved(0, first.inwards * CAP)
            self.caps.append(Cap(group[0], tip, not first.above))
            return DrawnJoin(group, (wire(first.at, tip, colour=first.colour),), ())
        corners = [Point(place.at.x, y) for place in places]
        if len(group) == 2:
            second = places[1]
            if first.colour is None or second.colour is None:
                colour = first.colour or second.colour
                return DrawnJoin(group, (wire(first.at, *corners, second.at, colour=colour),), ())
            return DrawnJoin(
                group,
                (
                    wire(first.at, *corners, colour=first.colour),
                    wire(second.at, corners[1], colour=second.colour),
                ),
                (corners[1],),
            )
        colours = {place.colour for place in places if place.colour}
        common = colours.pop() if len(colours) == 1 else None
        along = sorted(set(corners))
        wires = [wire(along[0], along[-1], colour=common)] if len(along) > 1 else []
        wires += [
            wire(place.at, corner, colour=place.colour or common)
            for place, corner in zip(places, corners, strict=True)
        ]
        return DrawnJoin(group, tuple(wires), tuple(along))

    def way(self, one: End, other: End) -> tuple[Point, ...]:
        """Return the line from one end of a join to another."""
        a, b, y = self.places[one].at, self.places[other].at, self.tracks[one]
        return _without_repeats((a, Point(a.x, y), Point(b.x, y), b))

    # Devices

    def _symbol(self, device: Device, left: float, edge: float) -> Symbol:
        is_feed = device.kind == "feed"
        width = TERMINAL_PITCH * len(device.form.terminals)
        height = FEED_HEIGHT if is_feed else BODY_HEIGHT
        top = edge - TERMINAL_DROP - height if is_feed else edge + TERMINAL_DROP
        condition = condition_of(self.circuit, device)
        if self.view.positions:
            lit = device.name in self.view.lit if device.kind == "lamp" else None
            condition = replace(
                condition, position=self.view.positions.get(device.name), is_lit=lit
            )
        inside = feed_symbol(device) if is_feed else drawn(device, condition)
        inside.words += caption_words(
            device, width, self.circuit, 18 if is_feed else BODY_HEIGHT - 24
        )
        names = drawn_terminals(device)
        return self._body(
            device.name,
            [self.circuit.terminal(device, name) for name in names],
            names,
            inside,
            Point(left, top),
            (width, height),
            f"{device.name}: {device.form.title}",
        )

    def _bond(self, box: str, left: float, edge: float) -> Symbol:
        inside = bond_symbol()
        inside.say(TERMINAL_PITCH / 2, BODY_HEIGHT - 40, "bonding")
        inside.say(TERMINAL_PITCH / 2, BODY_HEIGHT - 25, "screw")
        return self._body(
            f"box {box}",
            [End(box, f"box.{box}")],
            ("metal",),
            inside,
            Point(left, edge + TERMINAL_DROP),
            (TERMINAL_PITCH, BODY_HEIGHT),
            f"The metal of box {box}",
        )

    def _body(
        self,
        name: str,
        ends: Sequence[End],
        names: Sequence[str],
        inside: SymbolInside,
        corner: Point,
        size: tuple[float, float],
        description: str,
    ) -> Symbol:
        is_feed = any(name == feed.name for feed in self.circuit.feeds)
        strip_name = size[1] - 18 if is_feed else 27
        for number, text in enumerate(names):
            inside.say(TERMINAL_PITCH * (number + 0.5), strip_name, text)
        moved = inside.moved(*corner)
        alone = {group[0] for group in self.circuit.grouped_ends if len(group) == 1}
        return Symbol(
            name,
            corner,
            *size,
            -STRIP if is_feed else STRIP,
            moved.strokes,
            moved.discs,
            moved.words,
            [Terminal(end, self.places[end].at, end not in alone) for end in ends],
            description,
            frozenset(end.part for end in ends if end in self.view.live),
        )

    # What is laid over the picture

    def bands(self) -> Iterator[Band]:
        for end in sorted(self.banded, key=self.circuit.end_index.__getitem__):
            place = self.places[end]
            yield Band(end, place.at.moved(0, place.inwards * BAND))

    def loose(self) -> Iterator[Loose]:
        for end in self._loose_ends():
            place = self.places[end]
            is_conductor = place.colour is not None
            off = place.inwards * (LOOSE if is_conductor else TERMINAL_DROP - 3)
            yield Loose(end, place.at.moved(0, off), is_conductor)

    def _loose_ends(self) -> Iterator[End]:
        for failure in self.circuit.failures:
            if failure.kind == "loose-join" and failure.box is not None:
                yield End(failure.box, failure.at[0])

    def trails(self, steps: Sequence[tuple[End, End]]) -> Iterator[Trail]:
        joined = {end: group for group in self.circuit.grouped_ends for end in group}
        inside: Mapping[End, Symbol] = {
            terminal.end: symbol for symbol in self.symbols for terminal in symbol.terminals
        }
        for here, there in steps:
            if here.box == there.box and there in joined[here]:
                yield Trail(self.way(here, there))
            elif here.name == there.name:
                points = self.cabling.conductors[here.name]
                yield Trail(points if points[0] == self.places[here].at else points[::-1])
            elif here in inside and inside[here] is inside.get(there):
                yield from self._through(inside[here], here, there)

    def _through(self, symbol: Symbol, here: End, there: End) -> Iterator[Trail]:
        for end, is_entered in ((here, True), (there, False)):
            for stroke in symbol.strokes:
                if stroke.terminal == end.part:
                    yield Trail(stroke.points if is_entered else stroke.points[::-1])

    def marks(self, differences: Sequence[Difference]) -> Iterator[Mark]:
        bodies = {symbol.name: symbol for symbol in self.symbols}
        loose = set(self._loose_ends())
        for number, difference in enumerate(differences, 1):
            if difference.end is not None:
                place = self.places[difference.end]
                off = MARK if place.colour else TERMINAL_DROP + 2
                aside = -ASIDE if difference.end in loose else 0
                yield Mark(number, place.at.moved(aside, place.inwards * off))
            elif difference.part in bodies:
                yield Mark(number, bodies[difference.part].corner.moved(0, BODY_HEIGHT - 14))
            elif difference.part is not None:
                run = self.cabling.runs[difference.part.partition(".")[0]]
                spot, way = self.cabling.spots(run, 1)[0]
                side = sheath_width(run.cable) / 2 + 13
                yield Mark(number, spot.moved(-way.y * side, -abs(way.x) * side))


def wiring_scene(
    circuit: Circuit,
    plan: FloorPlan,
    view: StateView,
    *,
    steps: Sequence[tuple[End, End]] = (),
    bands: Set[End] | None = None,
    differences: Sequence[Difference] = (),
    hide_failures: bool = False,
) -> Scene:
    """Make the scene of a circuit's wiring.

    `bands` are the ends that carry the marking of a re-identified conductor, by default those that
    should; `hide_failures` leaves out what nobody can see who opens the boxes.
    """
    banded = reidentified(circuit) if bands is None else bands
    shown = replace(circuit, failures=()) if hide_failures else circuit
    builder = _Builder(shown, plan, view, banded & frozenset(circuit.ends))
    frames = tuple(builder.frames())
    sheaths = tuple(builder.cabling.sheaths())
    return Scene(
        plan.placement.width,
        plan.placement.height,
        circuit.name,
        described(circuit, view, with_failures=not hide_failures),
        frames,
        sheaths,
        tuple(builder.joins),
        tuple(builder.symbols),
        tuple(builder.sleeves),
        tuple(builder.bands()),
        tuple(builder.caps),
        tuple(builder.loose()),
        tuple(builder.trails(steps)),
        tuple(builder.marks(differences)),
        has_state=bool(view.positions),
    )


def _without_repeats(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return the points that neither follow an equal one nor lie straight between others."""
    kept: list[Point] = []
    for point in points:
        if kept and kept[-1] == point:
            continue
        if len(kept) > 1 and _are_in_line(kept[-2], kept[-1], point):
            kept.pop()
        kept.append(point)
    return tuple(kept)


def _are_in_line(a: Point, b: Point, c: Point) -> bool:
    return a.x == b.x == c.x or a.y == b.y == c.y
