"""The words of one usage: North American, as Miswire speaks, or that of the IEC and the UK.

Only prose is reworded: the names of boxes, cables and switches stay as they are.
"""

import re
from collections.abc import Callable, Mapping
from functools import cache
from html import unescape
from typing import Final, Literal

from catalogue.drawing.text import text_width
from catalogue.report.terms import terms
from verify.base.sentences import capital

Usage = Literal["us", "iec"]
USAGES: Final[tuple[Usage, ...]] = ("us", "iec")
USAGE_TITLES: Final[Mapping[Usage, str]] = {
    "us": "North American terms and colours",
    "iec": "IEC and UK terms and colours",
}

#: Further forms of words: `data/terms.toml` lists one form of each.
_FORMS: Final = {
    "three-way": "two-way",
    "four-way": "intermediate",
    "single-pole": "one-way",
    "equipment grounding": "protective",
    "grounding": "protective",
    "ground wire": "protective conductor",
    "grounded": "earthed",
    "not grounded": "not earthed",
    "splice": "joint",
    "spliced": "joined",
    "traveler-1": "strapper-1",
    "traveler-2": "strapper-2",
}
_PATTERN_NUMBER: Final = re.compile(r" \(pattern \d\)$")
_BETWEEN_TAGS: Final = re.compile(r">([^<]+)<")
_LINE: Final = re.compile(
    r'font-size="(?P<size>[\d.]+)"(?P<bold> font-weight="bold")? textLength="(?P<length>[\d.]+)"'
    r"(?P<middle>[^>]*>(?:<title>[^<]*</title>)?)(?P<text>[^<]+)</text>"
)
#: Terminals stand close beside each other, so a name that is longer than ours is squeezed.
_LONG_TERMINAL: Final = re.compile(r"strapper-\d")
_TERMINAL_WIDTH: Final = 54


def rewording(usage: Usage) -> Callable[[str], str]:
    """Return the function that rewords our sentences in that usage."""
    return _reworded if usage == "iec" else str


def reworded_svg(svg: str, usage: Usage) -> str:
    """Return a picture with its words in that usage, its lines measured anew."""
    if usage == "us":
        return svg
    say = rewording(usage)
    measured = _LINE.sub(lambda match: _remeasured(match, say(match["text"])), svg)
    return _BETWEEN_TAGS.sub(lambda match: f">{say(match[1])}<", measured)


def _remeasured(line: re.Match[str], text: str) -> str:
    if text == line["text"]:
        return line[0]
    width = text_width(unescape(text), float(line["size"]), bold=bool(line["bold"]))
    if _LONG_TERMINAL.fullmatch(text):
        width = _TERMINAL_WIDTH
    start = line[0][: line.start("length") - line.start()]
    return f'{start}{width:.1f}"{line["middle"]}{text}</text>'


def glossary(usage: Usage) -> list[tuple[str, str]]:
    """Return words on the sheets with those of the circuit files and of the other usage."""
    pairs = [
        (term.word, _PATTERN_NUMBER.sub("", term.iec))
        for term in terms()
        if term.iec and "," not in term.word
    ]
    return [(iec, word) for word, iec in pairs] if usage == "iec" else pairs


def _reworded(text: str) -> str:
    return _pattern_of_words().sub(
        lambda match: _as_written(match[1], _replacements()[match[1].lower()]), text
    )


def _as_written(old: str, new: str) -> str:
    return capital(new) if old[:1].isupper() else new


@cache
def _replacements() -> Mapping[str, str]:
    """Return every form with the form that replaces it."""
    said = {word: iec for iec, word in glossary("iec")} | _FORMS
    return said | {f"{word}s": _several(new) for word, new in said.items() if word[-1] != "s"}


def _several(word: str) -> str:
    return f"{word[:-1]}ies" if word.endswith("ly") else f"{word}s"


@cache
def _pattern_of_words() -> re.Pattern[str]:
    # The longest comes first; a word within a name, such as ground-run, is not reworded, but a
    # terminal such as lamp.ground is.
    words = "|".join(map(re.escape, sorted(_replacements(), key=len, reverse=True)))
    return re.compile(rf"(?<![\w-])({words})(?![\w-])", re.IGNORECASE)
