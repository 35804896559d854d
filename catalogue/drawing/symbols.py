"""The symbols of the devices, drawn from first principles in the generic forms of the trade.

A switch is its contacts and the blade that moves; a lamp a circle with a cross, as IEC 60617 has
it (from memory); ground three bars of falling length. Terminals stand in a strip along the edge
that faces the wiring. Coordinates are those of the picture, `corner` the upper left of the body.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import cos, pi, sin
from typing import Final

from catalogue.drawing.box_order import drawn_terminals
from catalogue.drawing.dimensions import FEED_HEIGHT, NORMAL, SMALL, STRIP, TERMINAL_PITCH
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Caption, Disc, Stroke
from catalogue.drawing.text import fitted
from verify.circuit.devices import Position
from verify.circuit.model import Circuit
from verify.circuit.parts import Device
from verify.engine.paths import closes

_LEAD: Final = STRIP
_LAMP_RADIUS: Final = 18


@dataclass(frozen=True)
class SymbolState:
    """The state of a device as its symbol shows it: failed parts, its position, its light."""

    position: Position | None = None
    stuck: Position | None = None
    failed_contacts: Mapping[frozenset[str], str] = field(default_factory=dict)
    failure: str | None = None
    is_lit: bool | None = None


def condition_of(circuit: Circuit, device: Device) -> SymbolState:
    """Return the failed parts of a device, without a position or light."""
    stuck, failure = None, None
    contacts: dict[frozenset[str], str] = {}
    for failed in circuit.failures:
        owners = {name.partition(".")[0] for name in failed.at}
        if owners != {device.name}:
            continue
        if failed.kind == "switch-stuck":
            stuck = failed.position
        elif failed.kind.startswith("contact"):
            contacts[frozenset(name.partition(".")[2] for name in failed.at)] = failed.kind
        elif failed.kind.startswith("lamp"):
            failure = failed.kind
    return SymbolState(stuck=stuck, failed_contacts=contacts, failure=failure)


@dataclass
class SymbolInside:
    """The lines, circles and words inside a symbol."""

    strokes: list[Stroke] = field(default_factory=list)
    discs: list[Disc] = field(default_factory=list)
    words: list[Caption] = field(default_factory=list)

    def line(self, *points: tuple[float, float], tone: str = "lead", at: str | None = None) -> None:
        """Add a line to the symbol."""
        self.strokes.append(Stroke(tuple(Point(*p) for p in points), tone, at))

    def disc(self, x: float, y: float, radius: float, tone: str = "outline") -> None:
        """Add a circle to the symbol."""
        self.discs.append(Disc(Point(x, y), radius, tone))

    def rays(self, x: float, y: float, radius: float) -> None:
        """Add the rays of a lit lamp, clear of the lines on its left and right."""
        for turn in (1, 2, 3, 5, 6, 7):
            dx, dy = cos(turn * pi / 4), sin(turn * pi / 4)
            near, far = radius + 4, radius + 11
            self.line((x + near * dx, y + near * dy), (x + far * dx, y + far * dy), tone="light")

    def say(self, x: float, y: float, text: str, anchor: str = "middle") -> None:
        """Add a word to the symbol."""
        self.words.append(Caption(Point(x, y), text, SMALL, anchor))

    def moved(self, dx: float, dy: float) -> "SymbolInside":
        """Return the same drawing shifted by `dx` and `dy`."""
        return SymbolInside(
            [
                Stroke(tuple(p.moved(dx, dy) for p in s.points), s.tone, s.terminal)
                for s in self.strokes
            ],
            [Disc(d.centre.moved(dx, dy), d.radius, d.tone) for d in self.discs],
            [
                Caption(w.at.moved(dx, dy), w.text, w.size, w.anchor, w.bold, w.tone, w.full)
                for w in self.words
            ],
        )


def terminal_x(device: Device) -> dict[str, float]:
    """Return how far each terminal is from the left side of the body."""
    return {
        name: TERMINAL_PITCH * (number + 0.5) for number, name in enumerate(drawn_terminals(device))
    }


def drawn(device: Device, condition: SymbolState) -> SymbolInside:
    """Draw the inside of a device with its terminals above; the origin is its upper left corner."""
    into = SymbolInside()
    x = terminal_x(device)
    _SYMBOLS[device.kind](into, x, device, condition)
    if "ground" in x and device.kind != "feed":
        _ground(into, x["ground"], _LEAD, 62, "ground")
    return into


def _ground(into: SymbolInside, x: float, top: float, y: float, terminal: str) -> None:
    into.line((x, top), (x, y), at=terminal)
    for number, half in enumerate((13, 8.5, 4)):
        into.line((x - half, y + 6 * number), (x + half, y + 6 * number), at=terminal)


def bond_symbol() -> SymbolInside:
    """Draw the screw that bonds a metal box; its terminal is 30 to the right."""
    into = SymbolInside()
    _ground(into, TERMINAL_PITCH / 2, _LEAD, 62, "")
    return into


_Segment = tuple[tuple[float, float], tuple[float, float]]


def _contacts(
    into: SymbolInside,
    device: Device,
    condition: SymbolState,
    segments: Mapping[frozenset[str], _Segment],
) -> None:
    """Add the blades where they are in a state; without a state add every place they can be."""
    position = condition.stuck or condition.position
    for contact in device.form.contacts:
        key = frozenset((contact.a, contact.b))
        (ax, ay), (bx, by) = segments[key]
        failure = condition.failed_contacts.get(key)
        if failure == "contact-welded":
            into.line((ax, ay), (bx, by), tone="welded")
            into.disc(bx, by, 5.5, "solid")
            into.disc(ax, ay, 5.5, "solid")
        elif failure == "contact-open":
            into.line((ax, ay), (bx, by), tone="ghost")
            mx, my = ax + (bx - ax) * 0.62, ay + (by - ay) * 0.62
            into.line((mx - 6, my - 6), (mx + 6, my + 6), tone="failed")
            into.line((mx - 6, my + 6), (mx + 6, my - 6), tone="failed")
        elif position is None:
            into.line((ax, ay), (bx, by), tone="ghost")
        elif closes(contact, position):
            into.line((ax, ay), (bx, by), tone="blade")
    note = _note(condition)
    if note:
        into.say(TERMINAL_PITCH * len(device.form.terminals) / 2, 112, note)


def _note(condition: SymbolState) -> str:
    notes = [f"stuck {condition.stuck}"] if condition.stuck else []
    kinds = set(condition.failed_contacts.values())
    notes += ["contact welded"] if "contact-welded" in kinds else []
    notes += ["contact open"] if "contact-open" in kinds else []
    return ", ".join(notes) or (f"handle {condition.position}" if condition.position else "")


def _single_pole(
    into: SymbolInside, x: Mapping[str, float], device: Device, cond: SymbolState
) -> None:
    a, b, y = x["s1"], x["s2"], 74
    into.line((a, _LEAD), (a, y), (a + 10, y), at="s1")
    into.line((b, _LEAD), (b, y), (b - 4, y), at="s2")
    into.disc(a + 10, y, 3.5, "solid")
    into.disc(b - 4, y, 3.5)
    _contacts(into, device, cond, {frozenset(("s1", "s2")): ((a + 10, y), (b - 7.5, y))})
    position = cond.stuck or cond.position
    if position != "up" and not cond.failed_contacts:
        into.line((a + 10, y), (b - 12, y - 20), tone="blade" if position else "ghost")


def _three_way(
    into: SymbolInside, x: Mapping[str, float], device: Device, cond: SymbolState
) -> None:
    common, up, down = x["common"], x["traveler-1"], x["traveler-2"]
    pivot = (common + 12, 71.0)
    into.line((common, _LEAD), (common, 71), pivot, at="common")
    into.line((up, _LEAD), (up, 54), at="traveler-1")
    into.line((down, _LEAD), (down, 88), (up, 88), at="traveler-2")
    into.disc(*pivot, 3.5, "solid")
    into.disc(up, 54, 3.5)
    into.disc(up, 88, 3.5)
    _contacts(
        into,
        device,
        cond,
        {
            frozenset(("common", "traveler-1")): (pivot, (up - 3, 55.5)),
            frozenset(("common", "traveler-2")): (pivot, (up - 3, 86.5)),
        },
    )
    into.say(up + 9, 62, "up", "start")
    into.say(up + 9, 81, "down", "start")


def _four_way(
    into: SymbolInside, x: Mapping[str, float], device: Device, cond: SymbolState
) -> None:
    a, b, upper, lower = x["a1"], x["b1"], 54, 88
    into.line((a, _LEAD), (a, upper), at="a1")
    into.line((x["a2"], _LEAD), (x["a2"], lower), (a, lower), at="a2")
    into.line((b, _LEAD), (b, upper), at="b1")
    into.line((x["b2"], _LEAD), (x["b2"], lower), (b, lower), at="b2")
    at = {"a1": (a, upper), "a2": (a, lower), "b1": (b, upper), "b2": (b, lower)}
    for place in at.values():
        into.disc(*place, 3.5, "solid")
    _contacts(
        into,
        device,
        cond,
        {frozenset((c.a, c.b)): (at[c.a], at[c.b]) for c in device.form.contacts},
    )


def _lamp(into: SymbolInside, x: Mapping[str, float], device: Device, cond: SymbolState) -> None:
    contact, shell, y = x["contact"], x["shell"], 69
    middle, r = (contact + shell) / 2, _LAMP_RADIUS
    into.line((contact, _LEAD), (contact, y), (middle - r, y), at="contact")
    into.line((shell, _LEAD), (shell, y), (middle + r, y), at="shell")
    into.disc(middle, y, r, "lit" if cond.is_lit else "outline")
    d = r * sin(pi / 4)
    if cond.failure == "lamp-open":
        for side in (-1, 1):
            into.line((middle - d, y + side * d), (middle - 5, y + side * 5))
            into.line((middle + d, y - side * d), (middle + 5, y - side * 5))
        into.say(middle, 112, "burnt out")
        return
    into.line((middle - d, y - d), (middle + d, y + d))
    into.line((middle - d, y + d), (middle + d, y - d))
    if cond.failure == "lamp-shorted":
        into.line((contact, y - 26), (shell, y - 26), tone="welded")
        into.disc(contact, y - 26, 5.5, "solid")
        into.disc(shell, y - 26, 5.5, "solid")
        into.say(middle, 112, "shorted")
        return
    if cond.is_lit:
        into.rays(middle, y, r)
    if cond.is_lit is not None:
        into.say(middle, 112, "lit" if cond.is_lit else "dark")


def _receptacle(
    into: SymbolInside, x: Mapping[str, float], device: Device, cond: SymbolState
) -> None:
    line, neutral, y = x["line"], x["neutral"], 84
    middle, r = (line + neutral) / 2, 17
    into.line((line, _LEAD), (line, y), (middle - r, y), at="line")
    into.line((neutral, _LEAD), (neutral, y), (middle + r, y), at="neutral")
    arc = [(middle - r * cos(turn * pi / 12), y - r * sin(turn * pi / 12)) for turn in range(13)]
    into.line(*arc)
    into.line((middle - r, y), (middle + r, y))
    into.line((middle, y - r), (middle, y - r - 9))


def feed_symbol(device: Device) -> SymbolInside:
    """Draw the feed, whose terminals are below: the breaker is in the line."""
    into = SymbolInside()
    x = terminal_x(device)
    bottom = FEED_HEIGHT - STRIP
    line, neutral, ground = x["line"], x["neutral"], x["ground"]
    into.line((line, 44), (line, 50), at="line")
    into.line((line, 73), (line + 10, 52), tone="blade")
    into.line((line, 73), (line, bottom), at="line")
    into.line((line - 4, 46), (line + 4, 54))
    into.line((line - 4, 54), (line + 4, 46))
    into.line((neutral, 44), (neutral, bottom), at="neutral")
    into.line((ground, 62), (ground, bottom), at="ground")
    for number, half in enumerate((13, 8.5, 4)):
        y = 62 - 6 * number
        into.line((ground - half, y), (ground + half, y), at="ground")
    return into


_Draw = Callable[[SymbolInside, Mapping[str, float], Device, SymbolState], None]
_SYMBOLS: Final[Mapping[str, _Draw]] = {
    "single-pole": _single_pole,
    "three-way": _three_way,
    "four-way": _four_way,
    "lamp": _lamp,
    "receptacle": _receptacle,
}


def captions(device: Device, circuit: Circuit) -> tuple[str, str]:
    """Return the two lines under a symbol: the device's name, and what it is."""
    facts = device.form.title
    if device.kind == "feed":
        leg = f" {device.leg}" if len(circuit.feeds) > 1 else ""
        facts = f"feed{leg}, {circuit.volts:g} V, {device.breaker_amps:g} A"
    elif device.watts is not None:
        facts = f"lamp, {device.watts:g} W"
    return device.name, facts


def caption_words(device: Device, width: float, circuit: Circuit, y: float) -> Iterator[Caption]:
    """Yield the captions, fitted to the body; `y` is the base line of the first."""
    lines: Sequence[tuple[str, bool, float]] = [
        (text, bold, size)
        for text, bold, size in zip(
            captions(device, circuit), (True, False), (NORMAL, SMALL), strict=True
        )
    ]
    for number, (text, bold, size) in enumerate(lines):
        short, full = fitted(text, width - 12, size, bold=bold)
        yield Caption(Point(width / 2, y + 16 * number), short, size, "middle", bold, "ink", full)
