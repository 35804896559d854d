"""The cautions of `data/cautions.toml`, shown with everything that tells a person what to do."""

import tomllib
from dataclasses import dataclass
from functools import cache
from typing import cast

from verify.base.resources import data_path


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: `short` is a sentence for a narrow place, `text` says it in full.

    `source` names the publication that it rests on, if there is one. `how_known` says whether that
    was read, remembered or computed.
    """

    id: str
    short: str
    text: str
    source: str | None = None
    how_known: str | None = None


@cache
def cautions() -> tuple[Caution, ...]:
    """Return all cautions, the most urgent first."""
    entries = cast(list[dict[str, str]], _document()["caution"])
    return tuple(
        Caution(**{key: value.strip() for key, value in entry.items()}) for entry in entries
    )


def summary() -> str:
    """Return all cautions in one short paragraph, for the foot of a terminal's output."""
    return cast(str, _document()["summary"]).strip()


@cache
def _document() -> dict[str, object]:
    return tomllib.loads(data_path("cautions.toml").read_text("utf-8"))
