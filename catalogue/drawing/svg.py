"""Scenes are written as SVG with presentation attributes only: no script, nothing from elsewhere.

A page brings the typeface for the pictures in it; `typeface.standalone` puts the typeface into one
picture. The same scene gives the same bytes.

The same scene gives the same bytes.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import hypot
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from catalogue.drawing import style
from catalogue.drawing.placement import Point
from catalogue.drawing.scene import Caption
from catalogue.drawing.text import text_width
from catalogue.drawing.typeface import FACE


def number(value: float) -> str:
    """Write a number to a tenth of a unit, as short as possible."""
    text = f"{value:.1f}"
    return text.removesuffix(".0") if text != "-0.0" else "0"


def element(tag: str, content: str | None = None, /, **attributes: object) -> str:
    """Write one element; ``_`` in an attribute's name stands for ``-``, None leaves it out."""
    written = "".join(
        f" {name.rstrip('_').replace('_', '-')}={quoteattr(_value(value))}"
        for name, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{written}/>" if content is None else f"<{tag}{written}>{content}</{tag}>"


def _value(value: object) -> str:
    return number(value) if isinstance(value, int | float) else str(value)


def titled(title: str, content: Iterable[str], **attributes: object) -> str:
    """Write a group with a title, which is shown where a pointer rests on it."""
    return element("g", element("title", escape(title)) + "".join(content), **attributes)


def path_data(points: Sequence[Point], rounding: float = 0) -> str:
    """Write a line through points; each bend is rounded, with itself as the control point."""
    start, *rest = points
    data = [f"M{number(start.x)} {number(start.y)}"]
    for place, point in enumerate(rest):
        following = rest[place + 1] if place + 1 < len(rest) else None
        before = points[place]
        if following is None or rounding == 0:
            data.append(f"L{number(point.x)} {number(point.y)}")
            continue
        enter = _towards(point, before, rounding)
        leave = _towards(point, following, rounding)
        data.append(f"L{number(enter.x)} {number(enter.y)}")
        data.append(f"Q{number(point.x)} {number(point.y)} {number(leave.x)} {number(leave.y)}")
    return "".join(data)


def _towards(point: Point, other: Point, distance: float) -> Point:
    length = hypot(other.x - point.x, other.y - point.y)
    share = min(distance, length / 2) / length
    return Point(point.x + (other.x - point.x) * share, point.y + (other.y - point.y) * share)


def text_element(
    text: str, size: float, where: Mapping[str, object], *, bold: bool, full: str | None = None
) -> str:
    """Write a line of text as wide as it was measured, in whatever font it is shown.

    `where` has further attributes; `full` is the text before it was shortened and becomes the
    title.
    """
    content = escape(text)
    if full is not None:
        content = element("title", escape(full)) + content
    return element(
        "text",
        content,
        **where,
        font_size=size,
        font_weight="bold" if bold else None,
        textLength=text_width(text, size, bold=bold),
        lengthAdjust="spacingAndGlyphs",
    )


def words(text: Caption) -> str:
    """Write a line of text; if it was shortened, the full text is its title."""
    where = {
        "x": text.at.x,
        "y": text.at.y,
        "text_anchor": None if text.anchor == "start" else text.anchor,
        "fill": style.TONES[text.tone],
    }
    return text_element(text.text, text.size, where, bold=text.bold, full=text.full)


#: Every picture begins with this.
BEGINNING: Final = '<svg xmlns="http://www.w3.org/2000/svg"'


def document(
    width: float, height: float, title: str, description: str, content: Iterable[str]
) -> str:
    """Write a whole picture, which ends in a newline."""
    body = "".join(
        (
            element("title", escape(title)),
            element("desc", escape(description)),
            element("rect", width=width, height=height, rx=10, fill=style.GROUND),
            *(f"\n{part}" for part in content),
        )
    )
    return (
        element(
            "svg",
            body + "\n",
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {number(width)} {number(height)}",
            width=width,
            height=height,
            role="img",
            font_family=FACE,
            # Letters are as wide as the font says, not rounded to the pixels of a screen.
            text_rendering="geometricPrecision",
        )
        + "\n"
    )
