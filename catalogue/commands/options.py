"""Numbers and names on the command line are read so that every mistake is reported at once."""

import os
from collections.abc import Sequence

from verify.base.problems import Problem, UserError, shown


class Options:
    """Reads options and collects mistakes; `check` raises them all."""

    def __init__(self) -> None:
        self._problems: list[Problem] = []

    def refuse(self, option: str, why: str) -> None:
        """Note a mistake: what is wrong with an option, and the remedy."""
        self._problems.append(Problem(option, why))

    def number(self, option: str, text: str, lowest: int, highest: int) -> int:
        """Return a whole number within bounds, or `lowest` in place of a wrong one."""
        number = _whole(text)
        if number is None or not lowest <= number <= highest:
            self.refuse(
                f"{option}={shown(text)}", f"must be a whole number from {lowest} to {highest:,}"
            )
            return lowest
        return number

    def numbers(self, option: str, text: str, lowest: int, highest: int) -> tuple[int, ...]:
        """Return whole numbers within bounds, given with commas between, in ascending order."""
        found: set[int] = set()
        for part in text.split(","):
            number = _whole(part)
            if number is None or not lowest <= number <= highest:
                self.refuse(
                    f"{option}={shown(text)}",
                    f"'{shown(part.strip())}' must be a whole number from {lowest} to {highest}; "
                    f"write them with commas between, such as {option} 2,3",
                )
            else:
                found.add(number)
        return tuple(sorted(found))

    def names(self, option: str, text: str, known: Sequence[str]) -> tuple[str, ...]:
        """Return known names, given with commas between them, in the order of `known`."""
        given = [part.strip() for part in text.split(",")]
        for name in given:
            if name not in known:
                self.refuse(
                    f"{option}={shown(text)}",
                    f"'{shown(name)}' is not among {', '.join(known)}; "
                    "write some of them with commas between",
                )
        return tuple(name for name in known if name in given)

    def check(self) -> None:
        """Raise UserError with every mistake, if there was any."""
        if self._problems:
            raise UserError(self._problems)


def _whole(text: str) -> int | None:
    # `int` takes more than people mean, such as 1_000, and refuses very long numbers.
    digits = text.strip()
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 20 else None


def processors() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
