"""One table of a TOML document, read key by key; everything that is wrong is noted."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

from verify.base.problems import Problem, listing, shown


@dataclass(slots=True)
class FileTable:
    """One table, its `place` in the file, and the list that gets a `Problem` for each mistake.

    It is a mistake if a key holds another type than is asked for, and if a key was never asked for
    when `finish` is called. `wrong` are the keys noted so far, each once.
    """

    place: str
    values: Mapping[str, object]
    problems: list[Problem]
    asked: set[str] = field(default_factory=set)
    wrong: set[str] = field(default_factory=set)

    def note(self, key: str, message: str) -> None:
        """Note a mistake about a key, unless there is one already."""
        if key not in self.wrong:
            self.wrong.add(key)
            self.problems.append(Problem(self.place, message, about=key))

    def _take(self, key: str, wanted: str, fits: type | tuple[type, ...]) -> object | None:
        """Return the value of an optional key, or None if it is missing or wrong."""
        self.asked.add(key)
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, fits) or (isinstance(value, bool) and fits is not bool):
            self.note(key, f"{key}={written(value)} must be {wanted}")
            return None
        return value

    def text(self, key: str, default: str = "") -> str:
        """Return the text at a key: `default` if it is missing, empty if it is no text."""
        found = self.optional_text(key)
        return default if found is None else found

    def optional_text(self, key: str) -> str | None:
        """Return the text at a key: None if it is missing, empty if it is no text."""
        found = self._take(key, "a text in quotes", str)
        return "" if key in self.wrong else cast(str | None, found)

    def number(self, key: str) -> float | None:
        """Return the number at a key; None if it is missing or no number."""
        value = cast(float | None, self._take(key, "a number", (int, float)))
        if value is None:
            return None
        try:
            return float(value)
        except OverflowError:
            self.note(key, f"{key} is far too large; write a number of the usual size")
            return None

    def numbers(self, key: str) -> tuple[float, ...]:
        """Return the list of numbers at a key; empty if it is missing or something else."""
        values = cast(list[object], self._take(key, "a list of numbers", list) or [])
        if not all(isinstance(value, int | float) and value is not True for value in values):
            self.note(key, f"{key}={written(values)} must be a list of numbers")
            return ()
        try:
            return tuple(float(cast(float, value)) for value in values)
        except OverflowError:
            self.note(key, f"{key} has a number far too large; write numbers of the usual size")
            return ()

    def flag(self, key: str) -> bool:
        """Return the boolean at a key; False if it is missing or something else."""
        return bool(self._take(key, "true or false", bool))

    def texts(self, key: str) -> tuple[str, ...]:
        """Return the list of texts at a key; empty if it is missing or something else."""
        values = cast(list[object], self._take(key, "a list of texts in quotes", list) or [])
        if not all(isinstance(value, str) for value in values):
            self.note(key, f"{key}={written(values)} must be a list of texts in quotes")
            return ()
        return tuple(cast(list[str], values))

    def required(self, key: str, example: str) -> None:
        """Note a mistake if a key is missing."""
        if key not in self.values:
            self.note(key, f"{key} is missing; write for example {key} = {example}")

    def finish(self) -> None:
        """Note a mistake for every key that was never asked for."""
        for key in self.values:
            if key not in self.asked:
                known = listing(sorted(self.asked))
                self.note(key, f"key '{shown(key)}' is not known; known keys are {known}")


def written(value: object) -> str:
    """Return a value much as the file writes it, but short and on one line."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f'"{shown(value)}"'
        case dict():
            return "{…}"
        case list():
            few = ["[…]" if isinstance(item, list) else written(item) for item in value[:4]]
            return f"[{', '.join(few)}{', …' if len(value) > len(few) else ''}]"
        case int() if abs(value) >= 10**18:
            return "…"  # Python refuses to write numbers of thousands of digits.
        case _:
            return str(value)
