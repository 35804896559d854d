"""Pip's progress is shown on one line of a terminal with the time left, and not in a log file.

Pip says what it collects and then, for most of the time, nothing; so the unpacked distributions are
counted in the environment itself.
"""

from __future__ import annotations

import shutil
import sys
import threading
import time
from pathlib import Path
from types import TracebackType

#: Pip begins a line with one of these for each distribution that it has found.
_FOUND = ("Collecting ", "Processing ", "Requirement already satisfied: ")
_UNPACKS = "Installing collected packages: "
_SECONDS_BETWEEN = 1.0


class Installation:
    """Shows how far an installation is; pass it every line of pip's output.

    `expected` is how many distributions there will be, 0 if nobody knows. Use it as a context.
    """

    def __init__(self, venv: Path, expected: int) -> None:
        self._venv = venv
        self._expected = expected
        self._found = 0
        self._to_unpack = 0
        self._unpacks_since = 0.0
        self._started = time.monotonic()
        self._over = threading.Event()
        self._teller = threading.Thread(target=self._tell, daemon=True)

    def __enter__(self) -> Installation:
        if sys.stderr.isatty():
            self._teller.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        if self._teller.is_alive():
            self._teller.join()
            self._show("")

    def hear(self, line: str) -> None:
        """Take in one line of pip's output."""
        self._found += line.startswith(_FOUND)
        if line.startswith(_UNPACKS):
            # File systems stamp files by a coarser clock, which may lag behind.
            self._unpacks_since = time.time() - _SECONDS_BETWEEN
            self._to_unpack = line.count(",") + 1

    def unpacked(self) -> int:
        """Return how many distributions pip has completed since it began to unpack."""
        return sum(
            record.stat().st_mtime >= self._unpacks_since
            for libraries in ("lib/python*", "Lib")
            for record in self._venv.glob(f"{libraries}/site-packages/*.dist-info/RECORD")
        )

    def told(self, seconds: float, unpacked: int) -> str:
        """Return the line to show after so many seconds, with so many distributions unpacked."""
        if self._to_unpack:
            total, done = self._to_unpack, min(unpacked, self._to_unpack)
            what = f"Unpacking: {done} of {total} packages"
        else:
            total, done = self._expected, min(self._found, self._expected)
            what = f"Collecting: {done} of {total} packages" if total else "Collecting packages"
        # Collecting takes about as long as unpacking.
        share = (done / total if total else 0) / 2 + (0.5 if self._to_unpack else 0)
        if share < 0.05:
            return what
        return f"{what}, about {round(seconds * (1 / share - 1)):,} seconds left"

    def _tell(self) -> None:
        while not self._over.wait(_SECONDS_BETWEEN):
            unpacked = self.unpacked() if self._to_unpack else 0
            self._show(self.told(time.monotonic() - self._started, unpacked))

    @staticmethod
    def _show(line: str) -> None:
        width = shutil.get_terminal_size().columns - 1
        print(f"\r\x1b[K{line[:width]}", end="", file=sys.stderr, flush=True)
