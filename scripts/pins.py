"""The pins in `constraints.txt` are the exact versions that the tests ran with; pip reads them.

Every line holds for one version of Python, by pip's own marker.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

PLACE = Path(__file__).resolve().with_name("constraints.txt")

_HEAD = """\
# The exact versions that the tests ran with, by version of Python, for pip's option -c.
# Written by `python3 scripts/renew_constraints.py`; do not edit.
"""
_FOR_TESTS = "  # for tests"
_LINE = re.compile(r'([a-z0-9-]+)==(\S+) ; python_version == "(\d+\.\d+)"(  # for tests)?')


class Pin(NamedTuple):
    """One distribution in one version, for one version of Python such as ``"3.11"``."""

    name: str
    python: str
    version: str
    for_tests: bool

    def line(self) -> str:
        """Return the pin as it stands in the file."""
        note = _FOR_TESTS if self.for_tests else ""
        return f'{self.name}=={self.version} ; python_version == "{self.python}"{note}'


def read(text: str) -> list[Pin]:
    """Return the pins in the text of a file. Raises ValueError for a line that is none."""
    pins = []
    for line in text.splitlines():
        if line and not line.startswith("#"):
            found = _LINE.fullmatch(line)
            if found is None:
                raise ValueError(f"{PLACE.name}: {line!r} is no pin; run renew_constraints.py")
            name, version, python, note = found.groups()
            pins.append(Pin(name, python, version, bool(note)))
    return pins


def renewed(text: str, python: str, pins: Iterable[Pin]) -> str:
    """Return a file's text with `pins` in place of those for `python`; the others stay."""
    kept = [pin for pin in read(text) if pin.python != python]
    return _HEAD + "".join(f"{pin.line()}\n" for pin in sorted([*kept, *pins]))


def plain(name: str) -> str:
    """Return the name of a distribution as indexes compare it: ``jinja2`` for Jinja2."""
    return re.sub(r"[-_.]+", "-", name).lower()
