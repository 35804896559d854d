"""Parts of sentences that any text may need."""

from collections.abc import Iterable


def with_and(items: Iterable[str]) -> str:
    """One thing or more with commas between them and "and" before the last: "a, b and c"."""
    *most, last = items
    return f"{', '.join(most)} and {last}" if most else last


def capital(text: str) -> str:
    """A text with its first letter large."""
    return text[:1].upper() + text[1:]


def counted(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun, `many` where an "s" does not make the plural: "1,200 faults"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
