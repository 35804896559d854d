"""The typeface of pictures and pages: the widths of its letters, and its files in style sheets.

`scripts/fonts.py` makes the files; `catalogue/static/fonts-license.txt` says whose they are.
"""

import json
from base64 import b64encode
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Final

#: A name of our own, so that a font installed on a machine is never taken for it.
FAMILY: Final = "Miswire Sans"
#: The fallbacks have letters of the same widths, for programs that load no fonts.
FACE: Final = f"'{FAMILY}', Arial, Helvetica, 'Liberation Sans', Arimo, sans-serif"
MARKS: Final = "Miswire Marks"
_WEIGHTS: Final = {"regular": 400, "bold": 700}


@cache
def advances(*, bold: bool) -> Mapping[str, float]:
    """Return how wide each letter of the typeface is, as a share of its size."""
    table = json.loads((files("catalogue") / "static/advances.json").read_text("utf-8"))
    widths: dict[str, int] = table["bold" if bold else "regular"]
    return {letter: width / table["unitsPerEm"] for letter, width in widths.items()}


@cache
def text_faces() -> str:
    """Return the rules of a style sheet that hold the letters themselves, regular and bold."""
    return "".join(_face(FAMILY, f"sans-{name}.woff2", weight) for name, weight in _WEIGHTS.items())


@cache
def all_faces() -> str:
    """Return the same rules with the marks that running text uses beside the letters."""
    return text_faces() + _face(MARKS, "marks.woff2", 400)


def _face(family: str, name: str, weight: int) -> str:
    content = b64encode((files("catalogue") / "static" / name).read_bytes()).decode()
    return (
        f'@font-face{{font-family:"{family}";font-weight:{weight};'
        f'src:url(data:font/woff2;base64,{content}) format("woff2")}}\n'
    )


def standalone(svg: str) -> str:
    """Return a picture as a file of its own that contains the letters it is written in."""
    head, end, body = svg.partition("</desc>")
    return f"{head}{end}<style>\n{text_faces()}text{{font-kerning:none}}</style>{body}"
