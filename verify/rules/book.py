"""The rules of `data/rules.toml`, by jurisdiction and edition."""

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from verify.base.problems import Problem, UserError, listing, shown
from verify.base.resources import data_path

MEMORY: Final = "memory"


@dataclass(frozen=True, slots=True)
class Jurisdiction:
    """Where a document is in force: `code` is what people call it, `editions` are those known.

    `palette` names the colours of its conductors, see `verify.circuit.colours`.
    """

    name: str
    code: str
    document: str
    palette: str
    editions: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Text:
    """What the editions of one document say, in our own words; see `data/rules.toml`.

    `sections` gives the section by the first edition that has it there.
    """

    jurisdiction: Jurisdiction
    sections: Mapping[int, str]
    says: str
    known: str
    until: int
    read_in: tuple[int, ...] = ()
    from_memory: str = ""
    variant: str = ""

    @property
    def editions(self) -> tuple[int, ...]:
        """The editions that say it."""
        first = min(self.sections)
        return tuple(year for year in self.jurisdiction.editions if first <= year <= self.until)

    def section(self, edition: int) -> str:
        """Return the section in which an edition says it."""
        return self.sections[max(year for year in self.sections if year <= edition)]

    def known_in(self, edition: int) -> str:
        """Return how an edition's text is known: ``read`` or ``memory``."""
        return MEMORY if self.read_in and edition not in self.read_in else self.known

    def how_known(self, edition: int) -> str:
        """Return how an edition's text is known, as a phrase."""
        if self.known_in(edition) == MEMORY:
            read = f"read in {listing(map(str, self.read_in))}, this edition " * bool(self.read_in)
            return f"{read}from memory, not checked against the document"
        return f"read; from memory: {self.from_memory}" if self.from_memory else "read"


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, under its own `id`, with its texts. `looks_for` says what raises it."""

    id: str
    title: str
    looks_for: str
    texts: tuple[Text, ...]

    def text(self, jurisdiction: str, edition: int) -> Text | None:
        """Return what an edition says, or None if it says nothing of the rule's subject."""
        return next(
            (
                text
                for text in self.texts
                if text.jurisdiction.name == jurisdiction and edition in text.editions
            ),
            None,
        )


@dataclass(frozen=True, slots=True)
class Rulebook:
    """One edition of one jurisdiction's document."""

    jurisdiction: Jurisdiction
    edition: int

    @property
    def title(self) -> str:
        """What people call it: ``NEC 2023``."""
        return f"{self.jurisdiction.code} {self.edition}"

    @property
    def rules(self) -> Iterator[tuple[Rule, Text]]:
        """Yield the rules that it has, with its text on each."""
        for rule in rules():
            text = rule.text(self.jurisdiction.name, self.edition)
            if text is not None:
                yield rule, text


@dataclass(frozen=True, slots=True)
class BookChoice:
    """The book that somebody asked for.

    None stands for the jurisdiction that goes with the circuit's palette, or the latest edition.
    """

    jurisdiction: Jurisdiction | None = None
    edition: int | None = None

    def book(self, palette: str) -> Rulebook:
        """Return the rulebook for a circuit of that palette.

        Raises UserError if the jurisdiction that goes with it has no such edition.
        """
        jurisdiction = self.jurisdiction or next(
            place for place in jurisdictions().values() if place.palette == palette
        )
        edition = self.edition or max(jurisdiction.editions)
        if edition not in jurisdiction.editions:
            raise UserError(
                [
                    _unknown_edition(
                        str(edition),
                        jurisdiction,
                        remedy=f"; that goes with palette '{palette}', so ask for another "
                        "--jurisdiction or leave --edition out",
                    )
                ]
            )
        return Rulebook(jurisdiction, edition)


def choose(jurisdiction: str | None, edition: str | None) -> BookChoice:
    """Read a choice of rulebook. Raises UserError with everything that is wrong with it."""
    problems = []
    place = jurisdictions().get(jurisdiction) if jurisdiction is not None else None
    if jurisdiction is not None and place is None:
        problems.append(
            Problem(
                f"--jurisdiction={shown(jurisdiction)}",
                f"is not known; write one of {listing(jurisdictions())}",
            )
        )
    year = None
    if edition is not None:
        places = [place] if place else list(jurisdictions().values())
        years = {str(known): known for place in places for known in place.editions}
        year = years.get(edition.strip())
        if year is None:
            problems.append(_unknown_edition(edition, *places))
    if problems:
        raise UserError(problems)
    return BookChoice(place, year)


def _unknown_edition(edition: str, *places: Jurisdiction, remedy: str = "") -> Problem:
    known = "; ".join(f"{place.name} {listing(map(str, place.editions))}" for place in places)
    return Problem(f"--edition={shown(edition)}", f"is not known; the editions are {known}{remedy}")


@cache
def jurisdictions() -> Mapping[str, Jurisdiction]:
    """Return all jurisdictions, by name."""
    found: dict[str, dict[str, Any]] = _document()["jurisdiction"]
    return {
        name: Jurisdiction(name, **{**entry, "editions": tuple(entry["editions"])})
        for name, entry in found.items()
    }


@cache
def rules() -> tuple[Rule, ...]:
    """Return all rules, in the order in which they are shown."""
    return tuple(
        Rule(
            entry["id"],
            entry["title"],
            entry["looks_for"],
            tuple(_read_text(**text) for text in entry["text"]),
        )
        for entry in _document()["rule"]
    )


def note() -> str:
    """Return the note for every observation: that it says nothing about compliance."""
    text: str = _document()["note"]
    return text


def _read_text(jurisdiction: str, **entry: Any) -> Text:
    place = jurisdictions()[jurisdiction]
    return Text(
        place,
        **{
            **entry,
            "sections": {int(year): section for year, section in entry["sections"].items()},
            "until": entry.get("until", max(place.editions)),
            "read_in": tuple(entry.get("read_in", ())),
        },
    )


@cache
def _document() -> dict[str, Any]:
    return tomllib.loads(data_path("rules.toml").read_text("utf-8"))
