"""Helpers for sentences: lists with "and", capital letters, numbers with their nouns."""

from collections.abc import Iterable


def with_and(items: Iterable[str]) -> str:
    """Return the items with commas between them and "and" before the last: "a, b and c".

    There must be at least one.
    """
    *most, last = items
    return f"{', '.join(most)} and {last}" if most else last


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return a number with its noun: "1,200 faults"; `many` is the plural if not with "s"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
