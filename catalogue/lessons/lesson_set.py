"""A whole set of sheets is made in the formats asked for, as files by name."""

import os
import random
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from catalogue.drawing.typeface import standalone
from catalogue.lessons.curated import Case, Curated, Resolve
from catalogue.lessons.html_sheets import Pictures, Renderer, html_files
from catalogue.lessons.json_forms import LessonsForm, lessons_form, sheet_form, to_csv, to_json
from catalogue.lessons.prints import find_chromium, pdf_files, png
from catalogue.lessons.qti import qti_package
from catalogue.lessons.questions import shuffle
from catalogue.lessons.sheet import Stored, work_out
from catalogue.lessons.usage import Usage

FORMATS: Final = ("html", "csv", "json", "qti", "pdf", "png", "svg")
#: At most so many pictures are printed at a time: each takes a browser of its own.
_MOST_PRINTERS: Final = 4
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The choices of whoever wants a set made; without a `seed` the cases keep the file's order."""

    formats: tuple[str, ...] = ("html",)
    usage: Usage = "us"
    with_answers: bool = True
    seed: int | None = None
    paper: str = "a4"
    templates: Path | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """A set of files by name. `warnings` are sentences on entries that are no longer true."""

    files: dict[str, bytes]
    cases: int
    warnings: tuple[str, ...]


def make_lessons(
    curated: Curated,
    resolve: Resolve,
    stored: Stored,
    wanted: Wanted,
    progress: Progress = lambda done, total: None,
) -> Made:
    """Make everything that is wanted of the curated cases.

    `stored` says what verdict the catalogue holds of a case; the set warns of a case that has
    another one. Raises UserError where a format needs a program that is missing, or a template is
    wrong.
    """
    printers = {name: find_chromium(name) for name in ("pdf", "png") if name in wanted.formats}
    renderer = Renderer.of(wanted.templates)
    cases = _ordered(curated.cases, wanted.seed)
    steps = _Steps(progress, len(cases) * (1 + ("png" in printers) * 2) + ("pdf" in printers) * 2)
    sheets, pictures = [], []
    for number, case in enumerate(cases, 1):
        sheet = work_out(case, wanted.usage, resolve, wanted.seed or 0)
        form = sheet_form(sheet, number, with_answers=wanted.with_answers)
        form["changed"] = form["changed"] or _differs(stored(case), sheet.verdict)
        sheets.append(form)
        pictures.append(Pictures.of(sheet))
        steps.advance()
    whole = lessons_form(sheets, wanted.usage, with_answers=wanted.with_answers, seed=wanted.seed)
    texts = dict(_text_files(whole, pictures, curated, renderer, wanted))
    files = {name: text.encode() for name, text in texts.items()}
    if "qti" in wanted.formats:
        files["qti3.zip"] = qti_package(whole, [standalone(drawn.found_svg) for drawn in pictures])
    if "png" in printers:
        drawn = list(_picture_files(pictures, with_answers=wanted.with_answers))
        with ThreadPoolExecutor(min(_MOST_PRINTERS, os.cpu_count() or 1)) as pool:
            made = pool.map(lambda named: png(named[1], printers["png"]), drawn)
            for (name, _), content in zip(drawn, made, strict=True):
                files[f"{name}.png"] = content
                steps.advance()
    if "pdf" in printers:
        pages = html_files(whole, pictures, curated.tags, renderer)
        names = [name for name in ("sheets.html", "answers.html") if name in pages]
        for name, content in pdf_files(pages, names, wanted.paper, printers["pdf"]):
            files[name] = content
            steps.advance()
    warnings = tuple(f"{form['label']}: {form['changed']}" for form in sheets if form["changed"])
    return Made(files, len(cases), warnings)


class _Steps:
    """Counts the steps that are done, to report progress."""

    def __init__(self, progress: Progress, total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0
        progress(0, total)

    def advance(self) -> None:
        """Count one more step."""
        self._done += 1
        self._progress(self._done, self._total)


def _differs(held: str | None, verdict: str) -> str:
    """Return the warning that a catalogue holds another verdict than is found now."""
    if held in (None, verdict):
        return ""
    return (
        f"Do not use this sheet: the catalogue holds {held} for it, and it is now {verdict}. "
        "Build the catalogue again."
    )


def _ordered(cases: Sequence[Case], seed: int | None) -> list[Case]:
    ordered = list(cases)
    if seed is not None:
        shuffle(ordered, random.Random(seed))
    return ordered


def _text_files(
    form: LessonsForm,
    pictures: Sequence[Pictures],
    curated: Curated,
    renderer: Renderer,
    wanted: Wanted,
) -> Iterator[tuple[str, str]]:
    if "html" in wanted.formats:
        yield from html_files(form, pictures, curated.tags, renderer).items()
    if "csv" in wanted.formats:
        yield "questions.csv", to_csv(form)
    if "json" in wanted.formats:
        yield "lessons.json", to_json(form)
    if "svg" in wanted.formats:
        for name, svg in _picture_files(pictures, with_answers=wanted.with_answers):
            yield f"{name}.svg", svg


def _picture_files(
    pictures: Sequence[Pictures], *, with_answers: bool
) -> Iterator[tuple[str, str]]:
    for number, drawn in enumerate(pictures, 1):
        yield f"pictures/case-{number:02}-found", standalone(drawn.found_svg)
        if with_answers:
            yield f"pictures/case-{number:02}-marked", standalone(drawn.marked_svg)
