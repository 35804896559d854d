"""The contract of pages: each is given a `Visit`, and returns a `Page` or raises a refusal."""

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

Facts = dict[str, object]
Row = sqlite3.Row

#: No label is longer than this, so a longer text was not copied from a page.
LONGEST_PART: Final = 1000


@dataclass(frozen=True, slots=True)
class Visit:
    """One request: the catalogue, the decoded parts of the path, and the query by name."""

    catalogue: sqlite3.Connection
    parts: Mapping[str, str]
    query: Mapping[str, str]

    def rows(self, sql: str, *parameters: object) -> list[Row]:
        """Return all rows of a query."""
        return self.catalogue.execute(sql, parameters).fetchall()

    def facts(self, sql: str, *parameters: object) -> list[Facts]:
        """Return all rows of a query as dictionaries, fit for JSON."""
        return [dict(row) for row in self.rows(sql, *parameters)]

    def row(self, sql: str, *parameters: object) -> Row | None:
        """Return the first row of a query."""
        found: Row | None = self.catalogue.execute(sql, parameters).fetchone()
        return found

    def number(self, sql: str, *parameters: object) -> int:
        """Return the single number that a query gives."""
        return int(self.catalogue.execute(sql, parameters).fetchone()[0])


@dataclass(frozen=True, slots=True)
class Page:
    """A page: its title, the template that shows it, and its facts, which are fit for JSON.

    `drawn` holds what only the HTML shows, such as pictures. With `svg` the page is that picture
    alone.
    """

    title: str
    template: str
    facts: Facts = field(default_factory=dict)
    status: int = 200
    drawn: Facts = field(default_factory=dict)
    svg: str = ""


Reader = Callable[[Visit], Page]


class RefusalError(Exception):
    """The request cannot be answered; the sentences say what is wrong and what to do."""

    status = 400
    title = "That address does not work"


class MissingError(RefusalError):
    """The catalogue does not have what is asked for."""

    status = 404
    title = "Not in this catalogue"


class NotAllowedError(RefusalError):
    """The method is another than reading."""

    status = 405
    title = "These pages can only be read"


class TooLongError(RefusalError):
    """The address is longer than any of ours, so it is refused before it is read."""

    status = 414
    title = "That address is too long"


class NotOursError(RefusalError):
    """The request is for a host name under which nothing is served here."""

    status = 421
    title = "Nothing is served under that name"


class ForbiddenError(RefusalError):
    """Whoever serves the catalogue has turned this off."""

    status = 403
    title = "That is turned off here"


class FailedError(RefusalError):
    """Something failed here, whatever was asked."""

    status = 500
    title = "That went wrong here"


class BusyError(RefusalError):
    """There is no time or no place for an answer now."""

    status = 503
    title = "Not now"
