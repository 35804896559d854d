"""The words of `data/terms.toml`, in North American and IEC/UK usage, with their anchors on pages.

They fill the catalogue's table `term`.
"""

import re
import tomllib
from dataclasses import dataclass
from functools import cache

from verify.base.resources import data_path


@dataclass(frozen=True, slots=True)
class Term:
    """A word with its meaning; `iec` is the IEC or UK word where that is a different one."""

    word: str
    meaning: str
    iec: str | None = None

    @property
    def anchor(self) -> str:
        """The fragment that leads to its definition on the page of terms."""
        return anchor(self.word)


@cache
def terms() -> tuple[Term, ...]:
    """Return all terms: those of the trade, then our own."""
    document = tomllib.loads(data_path("terms.toml").read_text("utf-8"))
    return tuple(Term(**entry) for entry in document["term"])


def anchor(word: str) -> str:
    """Return the fragment for a word, such as ``any-location-control`` for any-location control."""
    return re.sub(r"[^a-z0-9]+", "-", word.lower()).strip("-")
