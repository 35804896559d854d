"""What every page is given and what it gives back."""

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

Facts = dict[str, object]
Row = sqlite3.Row

#: No label is longer; what is, was not copied from a page.
LONGEST_PART: Final = 1000


@dataclass(frozen=True, slots=True)
class Visit:
    """One request: the catalogue, the decoded parts of the path, and the query by name."""

    catalogue: sqlite3.Connection
    parts: Mapping[str, str]
    query: Mapping[str, str]

    def rows(self, sql: str, *parameters: object) -> list[Row]:
        """All rows that a query gives."""
        return self.catalogue.execute(sql, parameters).fetchall()

    def facts(self, sql: str, *parameters: object) -> list[Facts]:
        """All rows that a query gives, fit for JSON."""
        return [dict(row) for row in self.rows(sql, *parameters)]

    def row(self, sql: str, *parameters: object) -> Row | None:
        """The first row that a query gives."""
        found: Row | None = self.catalogue.execute(sql, parameters).fetchone()
        return found

    def number(self, sql: str, *parameters: object) -> int:
        """The one number that a query gives."""
        return int(self.catalogue.execute(sql, parameters).fetchone()[0])


@dataclass(frozen=True, slots=True)
class Page:
    """A page's title, the template that draws it, and its facts, fit for JSON.

    `drawn` holds what only the page itself shows, such as pictures. With `svg` the page is that
    picture alone.
    """

    title: str
    template: str
    facts: Facts = field(default_factory=dict)
    status: int = 200
    drawn: Facts = field(default_factory=dict)
    svg: str = ""


Reader = Callable[[Visit], Page]


class RefusalError(Exception):
    """A request that cannot be answered: what is wrong and what to do, in sentences."""

    status = 400
    title = "That address does not work"


class MissingError(RefusalError):
    """Something that this catalogue does not have."""

    status = 404
    title = "Not in this catalogue"


class NotAllowedError(RefusalError):
    """A method other than reading."""

    status = 405
    title = "These pages can only be read"


class TooLongError(RefusalError):
    """An address that nobody got from a page: it is refused before it is read."""

    status = 414
    title = "That address is too long"


class NotOursError(RefusalError):
    """A request for a name under which nothing is served here."""

    status = 421
    title = "Nothing is served under that name"


class ForbiddenError(RefusalError):
    """Something that whoever serves the catalogue has turned off."""

    status = 403
    title = "That is turned off here"


class BusyError(RefusalError):
    """An answer for which there is no time or no place now."""

    status = 503
    title = "Not now"
