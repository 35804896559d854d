"""The fault catalogue: stores what `verify` proves, looks it up, draws it and serves it.

The names of `__all__` are the front door for programs and notebooks; each is loaded when it is
first used.
"""

from typing import TYPE_CHECKING, Final

from verify.base.firstuse import loader

if TYPE_CHECKING:  # for type checkers; at run time `__getattr__` loads the names
    from catalogue.desk.answer import Answer
    from catalogue.desk.asking import suspects
    from catalogue.drawing.draw import Picture, draw
    from catalogue.store.reading import Catalogue, open_catalogue

__all__ = ["Answer", "Catalogue", "Picture", "draw", "open_catalogue", "suspects"]

_PLACES: Final = {
    "Answer": "catalogue.desk.answer:Answer",
    "Catalogue": "catalogue.store.reading:Catalogue",
    "Picture": "catalogue.drawing.draw:Picture",
    "draw": "catalogue.drawing.draw:draw",
    "open_catalogue": "catalogue.store.reading:open_catalogue",
    "suspects": "catalogue.desk.asking:suspects",
}
if not TYPE_CHECKING:  # or type checkers would take every name for one that is there
    __getattr__ = loader(__name__, _PLACES)


def __dir__() -> list[str]:
    return __all__
