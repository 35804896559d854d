"""Long lists are paged; numbers and search words are read from a query."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from catalogue.pages.contract import Facts, RefusalError

PAGE_SIZE: Final = 50
#: A list has at most so many pages: rows further on take longer to find.
MOST_PAGES: Final = 1000
LONGEST_SEARCH: Final = 200


@dataclass(frozen=True, slots=True)
class Paging:
    """Page `number` of `pages`, the first being 1."""

    number: int
    total: int
    size: int = PAGE_SIZE

    @property
    def pages(self) -> int:
        """The number of pages; an empty list has one, a long one `MOST_PAGES`."""
        return min(MOST_PAGES, max(1, -(-self.total // self.size)))

    @property
    def skip(self) -> int:
        """The number of entries before this page."""
        return (self.number - 1) * self.size

    def facts(self) -> Facts:
        """Return the facts that a list shows about its pages."""
        return {
            "page": self.number,
            "pages": self.pages,
            "first": min(self.skip + 1, self.total),
            "last": min(self.skip + self.size, self.total),
            "most_listed": self.pages * self.size if self.pages * self.size < self.total else None,
        }


def paged(query: Mapping[str, str], total: int) -> Paging:
    """Return the page that a query asks for. Raises RefusalError beyond the last."""
    asked = whole_number(query, "page")
    paging = Paging(1 if asked is None else asked, total)
    if not 1 <= paging.number <= paging.pages:
        raise RefusalError(
            f"page={paging.number} is not there; this list has pages 1 to {paging.pages}."
        )
    return paging


def whole_number(query: Mapping[str, str], name: str) -> int | None:
    """Return a number in a query, None if it is empty. Raises RefusalError if it is no number."""
    text = query.get(name, "").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit()) or len(text) > 9:
        raise RefusalError(f"{name} must be a whole number, such as {name}=2.")
    return int(text)


def search_words(text: str) -> str:
    """Return a search for rows with all words of `text`, whatever characters are in it."""
    return " ".join(f'"{word.replace(chr(34), chr(34) * 2)}"' for word in text.split())
