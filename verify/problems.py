"""Mistakes a person can mend, and the exceptions that carry them.

`UserError` is for wrong input, `BugError` for a contradiction in our own work:
the first is shown as sentences with exit status 2, the second must never be seen.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake: where it is, and what is wrong together with the remedy."""

    place: str
    message: str

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message


class UserError(Exception):
    """Wrong input; `problems` holds every mistake found, in the order of the input."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))


class CircuitError(UserError):
    """A circuit that cannot exist or cannot be judged."""


class BugError(Exception):
    """Two parts of Miswire contradict each other: please report it with the circuit file."""
