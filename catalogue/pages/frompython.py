"""The page on using Miswire from programs and notebooks."""

import inspect
from typing import Final

import verify
from catalogue.desk.answer import Answer
from catalogue.desk.asking import suspects
from catalogue.drawing.draw import Picture, draw
from catalogue.pages.contract import Page, Visit
from catalogue.store.reading import Catalogue, open_catalogue
from verify.base.resources import data_path

# The front door of `catalogue` imports this room too, so it cannot be imported here.
_OF_CATALOGUE: Final = (Answer, Catalogue, Picture, draw, open_catalogue, suspects)


def from_python(visit: Visit) -> Page:
    """Show an example with its output, and each name of the front doors in a sentence."""
    of_verify = {f"verify.{name}": getattr(verify, name) for name in verify.__all__}
    of_catalogue = {f"catalogue.{item.__name__}": item for item in _OF_CATALOGUE}
    names = [
        {"name": name, "about": _first_words(item)}
        for name, item in {**of_verify, **of_catalogue}.items()
    ]
    example = data_path("from-python.txt").read_text("utf-8")
    return Page("From Python", "from_python", {"example": example, "names": names})


def _first_words(item: object) -> str:
    """Return the first paragraph of a docstring, without the marks of code."""
    return (inspect.getdoc(item) or "").partition("\n\n")[0].replace("`", "")
