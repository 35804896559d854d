"""Mistakes that a person can mend, and the exceptions that carry them.

`UserError` is for wrong input and shown as sentences, with exit status 2. `BugError` is for a
contradiction in our own work, which nobody must ever see.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from operator import index
from types import UnionType
from typing import Final, Self, SupportsIndex

_MOST_LISTED: Final = 12


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: where it is, and what is wrong together with the remedy.

    `about` is the key it concerns, if it concerns one; by it, nothing is said twice.
    """

    place: str
    message: str
    about: str = field(default="", compare=False)

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class UserError(Exception):
    """Wrong input; `problems` holds every mistake found, in the order of the input."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))

    def __reduce__(self) -> tuple[type[Self], tuple[tuple[Problem, ...]]]:
        """How it travels between processes: `Exception` would hand the text to `__init__`."""
        return type(self), (self.problems,)

    def within(self, place: str) -> Self:
        """The same with every problem placed in `place`, such as the name of a file."""
        return type(self)(
            [
                replace(problem, place=f"{place}: {problem.place}" if problem.place else place)
                for problem in self.problems
            ]
        )


class CircuitError(UserError):
    """A circuit that cannot exist or cannot be judged."""


class UnknownNameError(UserError, KeyError):
    """A name that nothing has; it is a `KeyError` too, for callers that look names up."""

    __str__ = Exception.__str__  # `KeyError.__str__` would put the text in quotation marks


class UnfitValueError(UserError, ValueError):
    """A value out of range or of another form; a `ValueError` too, as Python has it."""


class BugError(Exception):
    """Two parts of Miswire contradict each other: please report it with the circuit file."""


def require(value: object, fits: type | UnionType, name: str, remedy: str) -> None:
    """Raise UserError with the remedy unless `value`, an argument called `name`, is what fits."""
    if not isinstance(value, fits):
        raise UserError([misfit(value, name, remedy)])


def misfit(value: object, name: str, remedy: str) -> Problem:
    """That an argument is of a type that does not fit: its value in one line, and the remedy."""
    kind = type(value).__name__
    article = "an" if kind[0] in "AEIOUaeiou" else "a"
    written = shown(" ".join(repr(value).split()))
    return Problem("", f"{name}={written} is {article} {kind}; {remedy}")


def whole_number_problems(least: int, **values: object) -> list[Problem]:
    """What of the arguments is no whole number of at least `least`; truth values are none."""
    problems = []
    for name, value in values.items():
        if type(value) is bool or not isinstance(value, SupportsIndex):
            problems.append(misfit(value, name, f"give a whole number, {least} or more"))
        elif index(value) < least:
            problems.append(Problem("", f"{name}={value} must be {least} or more"))
    return problems


def shown(text: str, longest: int = 60) -> str:
    """Return somebody's text fit for a message: at most `longest` printable characters, then ``…``.

    Control characters and marks that turn the direction of writing are written as escapes.
    """
    if len(text) > longest:
        text = text[: longest - 1] + "…"
    return text if text.isprintable() else repr(text)[1:-1]


def listing(words: Iterable[str]) -> str:
    """Return names for a message: at most twelve and then ``…``, or ``none`` if there are none."""
    found = [shown(word) for word in islice(words, _MOST_LISTED + 1)]
    if len(found) > _MOST_LISTED:
        found[-1] = "…"
    return ", ".join(found) or "none"
