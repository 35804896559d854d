"""Whole pictures are composed here: scenes with headings and a legend, as the text of an SVG."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from catalogue.drawing.describe import ladder_described
from catalogue.drawing.differences import Difference, differences
from catalogue.drawing.dimensions import LARGE, MARGIN, NORMAL, PAGE_WIDTH, SMALL
from catalogue.drawing.floor_plan import have_same_places, plan
from catalogue.drawing.ladder import diagram
from catalogue.drawing.legend import Entries, legend, schematic_entries, wiring_entries
from catalogue.drawing.painting import ladder_content, scene_content
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Caption, Scene
from catalogue.drawing.state_view import StateView, steps_of, view_of
from catalogue.drawing.svg import document, element, number, words
from catalogue.drawing.text import wrapped
from catalogue.drawing.wiring import reidentified, wiring_scene
from verify.base.cautions import summary
from verify.circuit.model import Circuit
from verify.verdict.evidence import Evidence

_LINE: Final = 19
_SMALL_LINE: Final = 17
_NARROWEST: Final = 520
_UNSEEN: Final = (
    "What has failed inside a cable or a device cannot be seen by opening the boxes and is not "
    "drawn."
)


@dataclass(frozen=True, slots=True)
class _Panel:
    """One of the pictures that stand in a whole picture, with what stands above it."""

    width: float
    height: float
    content: tuple[str, ...]
    heading: str = ""


Say = Callable[[str], str]


def _panel(scene: Scene, heading: str = "") -> _Panel:
    return _Panel(scene.width, scene.height, tuple(scene_content(scene)), heading)


def wiring_picture(
    circuit: Circuit,
    *,
    state: int | None = None,
    evidence: Evidence | None = None,
    intended: Circuit | None = None,
    marked: bool = True,
    say: Say = str,
) -> str:
    """Draw a circuit's wiring as SVG: boxes, cables, every conductor and where it is landed.

    `state` shows the switches in their positions, what is connected to line, and which lamps are
    lit; `evidence` of that state is shown as arrows along its paths. With `intended` the picture is
    of a mistake: both wirings beside each other, the differences numbered. With `marked` False it
    shows `circuit` alone as someone finds it who opens the boxes: everything stands where it does
    in `intended`, conductors are marked as they were intended, and failed parts are not shown.
    `say` rewords the words around the wiring before they are measured.

    With `intended` the picture is of a mistake: both wirings beside each other, the differences
    numbered. With `marked` False it shows `circuit` alone as someone finds it who opens the boxes:
    in the places of `intended`, the markings of conductors as they were intended, no failed part.

    `say` puts what stands around the wiring into other words, before it is measured.
    """
    view = view_of(circuit, state)
    steps = steps_of(evidence, state)
    if intended is None:
        scene = wiring_scene(circuit, plan([circuit]), view, steps=steps)
        return _page(
            [_panel(scene)],
            circuit.name,
            _state_notes(view),
            scene.description,
            wiring_entries([scene]),
            say,
        )
    alike = have_same_places(intended, circuit)
    bands = reidentified(intended) if alike else None
    shared = plan([intended, circuit]) if alike else plan([circuit])
    if not marked:
        found = wiring_scene(circuit, shared, view, bands=bands, hide_failures=True)
        notes = [*_state_notes(view), _UNSEEN]
        return _page(
            [_panel(found)],
            circuit.name,
            notes,
            f"{found.description} {_UNSEEN}",
            wiring_entries([found]),
            say,
        )
    places = differences(intended, circuit) if alike else []
    before = wiring_scene(
        intended,
        shared if alike else plan([intended]),
        _own_view(intended, circuit, state),
        differences=places,
    )
    after = wiring_scene(circuit, shared, view, steps=steps, bands=bands, differences=places)
    notes = _state_notes(view)
    if not alike:
        notes.append("The two are wired by different schemes, so no single place differs.")
    elif not places:
        notes.append("Both are joined alike: the mistake changes nothing that is connected.")
    telling = " ".join(
        (
            *_difference_sentences(places),
            f"As intended: {before.description}",
            f"As found: {after.description}",
        )
    )
    return _page(
        [_panel(before, "As intended"), _panel(after, "As found")],
        circuit.name,
        notes,
        telling,
        wiring_entries([before, after]),
        say,
    )


def schematic_picture(circuit: Circuit, *, state: int | None = None) -> str:
    """Draw what is connected to what as SVG, like the rungs of a ladder, without boxes and cables.

    Line is on the left, neutral on the right, in between what conductors alone connect; every
    contact and every load is a rung. It works for any circuit, however it is miswired.
    """
    view = view_of(circuit, state)
    ladder = diagram(circuit, view)
    notes = _state_notes(view) or [
        "Contacts are drawn open. Each is closed in the position written on its left."
    ]
    return _page(
        [_Panel(ladder.width, ladder.height, tuple(ladder_content(ladder)))],
        circuit.name,
        notes,
        ladder_described(circuit, view),
        schematic_entries(has_state=bool(view.positions)),
    )


def _own_view(intended: Circuit, found: Circuit, state: int | None) -> StateView:
    """Return the view of the intended circuit in the same state.

    The switches are the same in both circuits, though one may be of a wrong kind.
    """
    same = [d.name for d in intended.switches] == [d.name for d in found.switches]
    return view_of(intended, state if same else None)


def _difference_sentences(places: Sequence[Difference]) -> Iterator[str]:
    for count, place in enumerate(places, 1):
        if place.end is not None:
            where = f"{place.end.name.replace('.', ' ')} in box {place.end.box}"
        else:
            where = (place.part or "").replace(".", " ")
        yield f"Difference {count}: {where}."


def _state_notes(view: StateView) -> list[str]:
    if not view.positions:
        return []
    lit = f"; lit: {', '.join(sorted(view.lit))}" if view.lit else "; every lamp dark"
    return [view.words + ("" if view.trips else lit)]


def _page(
    panels: Sequence[_Panel],
    title: str,
    notes: Sequence[str],
    description: str,
    entries: Entries,
    say: Say = str,
) -> str:
    """Set panels beside each other if the page is wide enough, else one above the other."""
    widths = [panel.width for panel in panels]
    abreast = sum(widths) <= PAGE_WIDTH
    width = max(_NARROWEST, sum(widths) if abreast else max(widths))
    content: list[str] = []
    y = float(MARGIN)
    room = width - 2 * MARGIN
    lines = [(line, LARGE, True) for line in wrapped(say(title), room, LARGE, bold=True)]
    for note in notes:
        lines += [(line, NORMAL, False) for line in wrapped(say(note), room, NORMAL)]
    for text, size, bold in lines:
        y += _LINE
        content.append(words(Caption(Point(MARGIN, y - 6), text, size, bold=bold)))
    x, bottom = 0.0, y
    for panel in panels:
        top = y
        if panel.heading:
            at = Point(x + MARGIN, top + 26)
            content.append(words(Caption(at, panel.heading, LARGE, bold=True, tone="fault")))
            top += 14
        content.append(
            element(
                "g",
                "".join(f"\n{part}" for part in panel.content),
                transform=f"translate({number(x)} {number(top)})",
                class_="panel",
            )
        )
        bottom = top + panel.height
        if abreast:
            x += panel.width
        else:
            y = bottom
    bottom = max(bottom, y)
    said = {say(meaning): sign for meaning, sign in entries.items()}
    signs, bottom = legend(said, width, bottom - MARGIN / 2)
    content += signs
    # A picture may leave the page that it was on, and somebody may wire from it.
    cautions = say(f"Cautions: {summary()}")
    for line in wrapped(cautions, room, SMALL):
        bottom += _SMALL_LINE
        content.append(words(Caption(Point(MARGIN, bottom), line, SMALL, tone="soft")))
    return document(width, bottom + MARGIN, say(title), f"{say(description)} {cautions}", content)
