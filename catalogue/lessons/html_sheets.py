"""Sheets are rendered from templates as a folder of HTML that needs nothing from elsewhere.

Every template of `catalogue/templates/lessons` can be replaced by one of the same name in a
teacher's folder; the others are ours.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

from jinja2 import ChoiceLoader, Environment, FileSystemLoader, StrictUndefined, TemplateError
from jinja2.exceptions import TemplateSyntaxError
from markupsafe import Markup

from catalogue.drawing.pictures import wiring_picture
from catalogue.drawing.typeface import all_faces
from catalogue.lessons.json_forms import LessonsForm, SheetForm
from catalogue.lessons.sheet import Sheet
from catalogue.lessons.usage import reworded_svg, rewording
from verify.base.problems import Problem, UserError, shown

_SIZE: Final = re.compile(r'viewBox="0 [\d.]+ ([\d.]+) ([\d.]+)" width="[\d.]+" height="[\d.]+"')
_PANEL: Final = re.compile(r'<g transform="translate\(([\d.]+) ([\d.]+)\)" class="panel">')
#: The heading of a panel begins so far above it.
_HEADING: Final = 14.0
#: A picture wider than this many pixels does not fit beside a text.
_NARROW: Final = 640.0
#: A wide picture that is so many times as high as wide is shown in two halves.
_TOO_HIGH: Final = 1.35


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture on a sheet; its `shape` is ``tall``, fit to stand beside a text, or ``wide``."""

    svg: Markup
    shape: str


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures of one case: as found without marks, and marked beside the intended wiring."""

    found_svg: str
    marked_svg: str

    @classmethod
    def of(cls, sheet: Sheet) -> "Pictures":
        """Draw the pictures, in the words of the sheet."""
        say = rewording(sheet.usage)
        found = wiring_picture(sheet.seen, intended=sheet.intended, marked=False, say=say)
        marked = wiring_picture(sheet.found, intended=sheet.intended, say=say)
        return cls(reworded_svg(found, sheet.usage), reworded_svg(marked, sheet.usage))

    @property
    def found(self) -> list[Shown]:
        """The pictures that a worksheet shows."""
        return [_sheet_picture(self.found_svg)]

    @property
    def marked(self) -> list[Shown]:
        """The pictures of an answer sheet; a high one is halved so that it stays legible."""
        width, height = _size(self.marked_svg)
        panels = [float(y) for x, y in _PANEL.findall(self.marked_svg) if float(x) == 0]
        if width <= _NARROW or height <= _TOO_HIGH * width or len(panels) < 2:
            return [_sheet_picture(self.marked_svg)]
        cut = panels[1] - _HEADING
        return [
            _sheet_picture(_cropped(self.marked_svg, width, 0, cut)),
            _sheet_picture(_cropped(self.marked_svg, width, cut, height - cut)),
        ]


def _size(svg: str) -> tuple[float, float]:
    found = _SIZE.search(svg)
    if found is None:
        raise ValueError("a picture without a size")
    return float(found[1]), float(found[2])


def _sheet_picture(svg: str) -> Shown:
    width, height = _size(svg)
    shape = "tall" if width <= _NARROW and height > width else "wide"
    return Shown(Markup(svg), shape)  # drawn and escaped by us


def _cropped(svg: str, width: float, top: float, height: float) -> str:
    """Return the part of a picture between two heights."""
    size = f'viewBox="0 {top:g} {width:g} {height:g}" width="{width:g}" height="{height:g}"'
    return _SIZE.sub(size, svg, count=1)


@dataclass(frozen=True)
class Renderer:
    """Renders pages from templates; those in `folder` replace ours."""

    environment: Environment

    @classmethod
    def of(cls, folder: Path | None = None) -> "Renderer":
        """Make a renderer. Raises UserError if there is no such folder or it replaces nothing."""
        ours = str(files("catalogue") / "templates" / "lessons")
        loaders = [FileSystemLoader(ours)]
        if folder is not None:
            names = sorted(path.name for path in Path(ours).iterdir())
            place = f"--templates={shown(str(folder))}"
            if not folder.is_dir():
                raise UserError([Problem(place, "there is no such folder; check the path")])
            if not any((folder / name).is_file() for name in names):
                raise UserError(
                    [Problem(place, f"replaces nothing; name its files {', '.join(names)}")]
                )
            loaders.insert(0, FileSystemLoader(str(folder)))
        environment = Environment(
            loader=ChoiceLoader(loaders),
            autoescape=lambda name: name is None or not name.endswith(".css"),
            undefined=StrictUndefined,
            trim_blocks=True,
        )
        return cls(environment)

    def render(self, name: str, facts: Mapping[str, object]) -> str:
        """Render one page. Raises UserError for a template that cannot be used, with its line."""
        try:
            return self.environment.get_template(name).render(facts).strip() + "\n"
        except TemplateSyntaxError as error:
            place = f"{error.filename or name} line {error.lineno}"
            raise UserError([Problem(place, f"{error.message}; mend the template")]) from error
        except TemplateError as error:
            raise UserError([Problem(name, f"{error}; mend the template")]) from error


def html_files(
    form: LessonsForm,
    pictures: Sequence[Pictures],
    tags: Mapping[str, str],
    renderer: Renderer,
) -> dict[str, str]:
    """Render all pages of a set; return them by file name."""
    facts: dict[str, object] = {"set": form, "tags": tags}
    pages = {
        "index.html": renderer.render("index.html", facts),
        "style.css": renderer.render("style.css", {**facts, "faces": all_faces()}),
    }
    for part in ("sheet", "answer"):
        if part == "sheet" or form["with_answers"]:
            pages |= _pages(part, form, pictures, renderer)
    return pages


def _pages(
    part: str, form: LessonsForm, pictures: Sequence[Pictures], renderer: Renderer
) -> Iterator[tuple[str, str]]:
    cases = list(zip(form["cases"], pictures, strict=True))
    common: dict[str, object] = {"set": form, "part": f"_{part}.html"}
    nothing = {"before": "", "after": "", "other": None}
    title = {"sheet": "All worksheets", "answer": "All answer sheets"}[part]
    whole = {**common, **nothing, "title": title, "cases": cases}
    yield f"{part}s.html", renderer.render("page.html", whole)
    for place, (case, drawn) in enumerate(cases):
        around = {
            "before": page_name(part, cases[place - 1][0]) if place else "",
            "after": page_name(part, cases[place + 1][0]) if place + 1 < len(cases) else "",
            "other": _other(part, case) if form["with_answers"] else None,
        }
        own = {**common, **around, "title": f"{case['number']}. {case['title']}"}
        yield (
            page_name(part, case),
            renderer.render("page.html", {**own, "cases": [(case, drawn)]}),
        )


def page_name(part: str, case: SheetForm) -> str:
    """Return the file name of a case's worksheet or answer sheet."""
    return f"{part}-{case['number']:02}.html"


def _other(part: str, case: SheetForm) -> dict[str, str]:
    if part == "sheet":
        return {"href": page_name("answer", case), "title": "Answer sheet"}
    return {"href": page_name("sheet", case), "title": "Worksheet"}
