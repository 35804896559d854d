"""The project's own texts: the changes from version to version, and the licences."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from verify.base.problems import BugError
from verify.base.resources import data_path

_TITLE: Final = "# "
_VERSION: Final = "## "
_CHANGE: Final = "- "


@dataclass(frozen=True, slots=True)
class Changes:
    """The content of `data/changes.md`: opening sentences, and the changes of each version.

    `versions` maps a heading such as ``0.1.0, not yet released`` to its changes, newest first.
    Between back-quotes is what is typed.
    """

    introduction: tuple[str, ...]
    versions: Mapping[str, tuple[str, ...]]


@cache
def changes() -> Changes:
    """Return the change log."""
    return read_changes(data_path("changes.md").read_text("utf-8"))


def read_changes(text: str) -> Changes:
    """Read a change log from Markdown: sentences, then a heading and a list for each version.

    Every line is one sentence or one change. Raises BugError for a line that is neither.
    """
    introduction: list[str] = []
    versions: dict[str, list[str]] = {}
    for line in text.splitlines():
        if line.startswith(_VERSION):
            versions[line.removeprefix(_VERSION)] = []
        elif line.startswith(_CHANGE) and versions:
            versions[[*versions][-1]].append(line.removeprefix(_CHANGE))
        elif line and not versions and line[0].isupper():
            introduction.append(line)
        elif line and not line.startswith(_TITLE):
            raise BugError(f"data/changes.md: {line!r} is no sentence, version or change")
    return Changes(
        tuple(introduction), {version: tuple(lines) for version, lines in versions.items()}
    )


@cache
def licences() -> Mapping[str, str]:
    """Return the full text of each licence that something here is under, by its SPDX identifier."""
    files = sorted(data_path("licences").glob("*.txt"))
    return {path.stem: path.read_text("utf-8") for path in files}
