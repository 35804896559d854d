"""The letters of pictures and pages are ours, as wide as they were measured, in every browser.

Needs Chromium, and for pictures without our letters the wide fonts of Debian's fonts-dejavu-core.
"""

import os
import re
import shutil
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import pytest
from boathouse import stair
from lettering import MISMEASURED, STATUSES
from picturereader import SVG
from playwright.sync_api import Browser, Page, Playwright, sync_playwright
from test_drawing import CIRCUITS

import catalogue
from catalogue.drawing.dimensions import SMALL
from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.text import fitted, text_width
from catalogue.drawing.typeface import FAMILY, advances, standalone, text_faces
from catalogue.lessons.curated import shipped
from catalogue.lessons.html_sheets import Pictures
from catalogue.lessons.renaming import VOLTS, Renaming
from catalogue.lessons.sheet import work_out
from catalogue.lessons.usage import USAGES
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.fault.change import NumberedCircuit
from verify.fault.contract import FaultKind
from verify.fault.registry import fault_kinds
from verify.layout.enumeration import layouts
from verify.layout.schemes import SOUND_SCHEMES

MARKS: Final = "↯▲▼○◍◐●⚠✓✗"
_AT_ONCE: Final = 40
_CHROMIUM: Final = shutil.which("chromium")
_WIDE: Final = {
    name: next(Path("/usr/share/fonts").rglob(name), None)
    for name in ("DejaVuSans.ttf", "DejaVuSansMono.ttf")
}

#: For each line of text in the pictures of a page where it is, then what is wrong with that: it
#: goes beyond its picture, or it meets another line, or nearly does so that two words look as one.
_COMPLAINTS: Final = """() => [...document.querySelectorAll("svg")].flatMap(svg => {
  const [left, top, width, height] = svg.getAttribute("viewBox").split(" ").map(Number);
  const place = svg.getScreenCTM().inverse();
  const lines = [...svg.querySelectorAll("text")].map(text => {
    const size = Number(text.getAttribute("font-size")), base = Number(text.getAttribute("y"));
    const box = text.getBBox(), turned = place.multiply(text.getScreenCTM());
    const corners = [box.x, box.x + box.width].flatMap(x =>
      [base - 0.75 * size, base + 0.2 * size].map(y => new DOMPoint(x, y).matrixTransform(turned)));
    const xs = corners.map(one => one.x), ys = corners.map(one => one.y);
    return {words: text.lastChild.data, x: Math.min(...xs), right: Math.max(...xs),
            y: Math.min(...ys), bottom: Math.max(...ys)};
  });
  const told = [];
  lines.forEach((one, place) => {
    if (one.right - one.x < 2 || one.x < left || one.right > left + width
        || one.y < top || one.bottom > top + height) told.push(`${one.words} is cut off`);
    for (const other of lines.slice(0, place))
      if (one.x < other.right + 2 && other.x < one.right + 2
          && one.y < other.bottom && other.y < one.bottom)
        told.push(`${one.words} on ${other.words}`);
  });
  return told;
})"""


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    """What drives the browsers."""
    with sync_playwright() as driver:
        yield driver


@contextmanager
def page_with(playwright: Playwright, folder: Path, font: str | None = None) -> Iterator[Page]:
    """A page of a Chromium on a machine that has one font only; without it, those that are here."""
    if _CHROMIUM is None:
        pytest.skip("there is no chromium; install it, on Debian: apt-get install chromium")
    environment: dict[str, str | float | bool] = {**os.environ}
    if font is not None:
        file = _WIDE[font]
        if file is None:
            pytest.skip(f"there is no {font}; on Debian: apt-get install fonts-dejavu-core")
        only = folder / "fonts"
        only.mkdir()
        shutil.copy(file, only)
        configured = folder / "fonts.conf"
        configured.write_text(
            f"<fontconfig><dir>{escape(str(only))}</dir><cachedir>{escape(str(folder / 'cache'))}"
            "</cachedir></fontconfig>",
            "utf-8",
        )
        environment["FONTCONFIG_FILE"] = str(configured)
    browser: Browser = playwright.chromium.launch(
        executable_path=_CHROMIUM, args=["--no-sandbox"], env=environment
    )
    try:
        yield browser.new_page()
    finally:
        browser.close()


@pytest.fixture
def page(playwright: Playwright, tmp_path: Path) -> Iterator[Page]:
    """A page of a Chromium with the fonts of this machine."""
    with page_with(playwright, tmp_path) as opened:
        yield opened


def show(page: Page, pictures: Sequence[str], faces: str) -> None:
    """Show pictures in one page, which brings the letters that `faces` holds."""
    style = f"<style>{faces}svg text {{ font-kerning: none; }}</style>"
    page.set_content(f"<!DOCTYPE html>{style}{''.join(pictures)}")
    page.evaluate(STATUSES)


def found(page: Page, script: str) -> Any:
    """What a script of the above finds in the page."""
    return page.evaluate(script)


# Without a browser.


def test_our_own_writing_has_letters() -> None:
    """Whatever templates and data say is written in letters that are shipped."""
    shown = [files(catalogue) / "static/desk.css", *data_path("circuits").glob("*.toml")]
    texts = [file.read_text("utf-8") for file in shown]
    for folder in (Path(str(files(catalogue))) / "templates", data_path("terms.toml").parent):
        suffixes = (".html", ".toml")
        texts += [p.read_text("utf-8") for p in folder.rglob("*") if p.suffix in suffixes]
    letters = set("".join(texts)) - {"\n"}
    assert len(letters) > 90
    for bold in (False, True):
        assert letters - set(advances(bold=bold)) <= set(MARKS)


def test_letters_come_with_their_licence() -> None:
    """Beside the fonts stands whose they are, and the licence in full is with the others."""
    text = (files(catalogue) / "static/fonts-license.txt").read_text("utf-8")
    in_full = data_path("licences/OFL-1.1.txt").read_text("utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in in_full
    assert "with Reserved Font Name" not in in_full
    assert len(re.findall(r"^Copyright 20\d\d The \w+ Project Authors", text, re.M)) == 2
    for name in ("sans-regular", "sans-bold", "marks"):
        assert f"{name}.woff2" in text
        assert (files(catalogue) / f"static/{name}.woff2").read_bytes()[:4] == b"wOF2"


def test_foreign_letters_have_room() -> None:
    """Letters that are not shipped count for as much as common fonts take; accents for nothing."""
    assert text_width("船", 10) == text_width("⛵", 10) == 11
    assert text_width("Щщ", 100) == pytest.approx(85 + 72)
    assert text_width("e\u0301", 10) == text_width("e", 10)
    assert text_width("a\u200bb", 10) == text_width("ab", 10)
    short, full = fitted("Щ" * 60, 100, SMALL)
    assert text_width(short, SMALL) <= 100
    assert full == "Щ" * 60


@pytest.mark.parametrize("draw", [wiring_picture, schematic_picture])
def test_a_picture_by_itself_carries_its_letters(draw: Any) -> None:
    """As a file it has both weights inside, no script, and is otherwise the picture of a page."""
    plain, alone = ET.fromstring(draw(stair())), ET.fromstring(standalone(draw(stair())))
    (style,) = alone.findall(f"{SVG}style")
    assert re.findall(r"url\(([^;)]+)", style.text or "") == ["data:font/woff2"] * 2
    assert not list(alone.iter(f"{SVG}script"))
    assert next(iter(alone)).tag == f"{SVG}title"  # which names the picture
    alone.remove(style)
    assert ET.tostring(alone) == ET.tostring(plain)
    assert len(standalone(draw(stair()))) - len(draw(stair())) < 34_000


# In a browser.


@pytest.mark.parametrize("bold", [False, True])
def test_every_letter_is_as_wide_as_it_says(page: Page, bold: bool) -> None:
    """The browser finds each letter of the fonts to go as far as the table says."""
    show(page, [wiring_picture(stair())], text_faces())
    widths = page.evaluate(
        """([letters, font]) => {
          const context = document.createElement("canvas").getContext("2d");
          context.font = font;
          return letters.map(letter => context.measureText(letter).width);
        }""",
        [list(advances(bold=bold)), f"{700 if bold else 400} 1000px '{FAMILY}', monospace"],
    )
    told = {letter: width * 1000 for letter, width in advances(bold=bold).items()}
    assert dict(zip(told, widths, strict=True)) == pytest.approx(told, abs=0.6)


def test_a_picture_by_itself_is_written_in_our_letters(page: Page, tmp_path: Path) -> None:
    """Opened from a disk, every line is as long without being stretched as it was measured."""
    out = tmp_path / "stair.svg"
    out.write_text(standalone(wiring_picture(stair(), state=0)), "utf-8")
    page.goto(out.as_uri())
    assert found(page, STATUSES) == [[FAMILY, "loaded"]] * 2
    assert found(page, MISMEASURED) == []
    out.write_text(wiring_picture(stair(), state=0), "utf-8")
    page.goto(out.as_uri())
    if _WIDE["DejaVuSans.ttf"]:
        assert found(page, MISMEASURED)  # the check can fail


def test_names_in_other_letters_stay_in_their_places(page: Page) -> None:
    """Names in letters that are not shipped neither run into others nor out of the picture."""
    pictures = []
    for name in ("щит-причала-ночью-и-днём", "船小屋の階段スイッチ", "מתג-במזח"):
        names = {
            old: f"{name}-{old}" for old in ("slipway", "slipway-switch", "slipway-run", "lamp")
        }
        circuit = Renaming(stair(), "us", names, f"⛵ {name} ﷺ {name}").renamed()
        pictures += [wiring_picture(circuit), schematic_picture(circuit, state=0)]
        assert all(name[:5] in picture for picture in pictures[-2:])
    show(page, pictures, text_faces())
    assert found(page, _COMPLAINTS) == []


# Every layout, and one fault of each kind in each palette.


def every_layout() -> Iterator[str]:
    """The pictures of all layouts of two, three and four locations by both sound schemes."""
    for locations in (2, 3, 4):
        for layout in layouts(locations):
            for scheme in SOUND_SCHEMES:
                yield wiring_picture(layout.circuit(scheme))


@cache
def mistakes() -> Sequence[str]:
    """A fault of each kind in each palette, drawn in every way, and those of all sheets."""
    return [*_mistakes(), *_sheets()]


def _mistakes() -> Iterator[str]:
    plain = [layout.circuit(scheme) for layout in layouts(3) for scheme in SOUND_SCHEMES]
    for palette in VOLTS:
        for kind in fault_kinds():
            circuit = next(c for c in [*map(load, CIRCUITS), *plain] if _has(c, kind))
            renamed = Renaming.of(circuit, palette, (), "").renamed()
            made = next(iter(kind.faults(NumberedCircuit(renamed)))).apply(renamed)
            yield wiring_picture(made, intended=renamed)
            yield wiring_picture(made, intended=renamed, marked=False, state=0)
            yield schematic_picture(made, state=1)


def _has(circuit: Circuit, kind: FaultKind) -> bool:
    return any(True for _ in kind.faults(NumberedCircuit(circuit)))


def _sheets() -> Iterator[str]:
    for case in shipped().cases:
        for usage in USAGES:
            drawn = Pictures.of(work_out(case, usage))
            yield from (drawn.found_svg, drawn.marked_svg)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("which", "font"),
    [
        (every_layout, "DejaVuSans.ttf"),
        (mistakes, "DejaVuSans.ttf"),
        (mistakes, "DejaVuSansMono.ttf"),
    ],
)
def test_no_text_is_cut_off_or_on_another(
    playwright: Playwright, tmp_path: Path, which: Callable[[], Iterable[str]], font: str
) -> None:
    """On a machine that has a wide font only, or one of a typewriter only, in our letters and,
    where a browser does not load them, in its own: every layout of up to four locations by both
    schemes, and a fault of each kind in each palette."""
    pictures = list(which())
    assert len(pictures) > (1_000 if which is every_layout else 200)
    with page_with(playwright, tmp_path, font) as page:
        for start in range(0, len(pictures), _AT_ONCE):
            show(page, pictures[start : start + _AT_ONCE], text_faces())
            assert found(page, _COMPLAINTS) == []
            page.evaluate("document.querySelector('style').remove()")
            assert found(page, _COMPLAINTS) == []
        show(page, pictures[:_AT_ONCE], text_faces())
        assert found(page, MISMEASURED) == []
        show(page, pictures[:_AT_ONCE], "")
        assert found(page, MISMEASURED)
        assert found(page, _COMPLAINTS)  # which can fail: this was without our measures
