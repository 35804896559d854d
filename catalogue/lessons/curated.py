"""The curated faults of `data/curated.toml` say which faults are taught, to whom, and why.

An entry names a fault by its stable label: that of the circuit, the kind and the site. Reading goes
on after a mistake; every mistake is reported with its line and remedy.
"""

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from verify.base.problems import Problem, UserError, listing, shown
from verify.base.resources import data_path
from verify.behaviour.judgement import VERDICTS
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.registry import fault_kind, fault_kinds, find_fault
from verify.layout.enumeration import Layout
from verify.layout.schemes import SOUND_SCHEMES

#: Levels, from the first week to a case that keeps people busy for an evening.
LEVELS: Final = ("first-year", "second-year", "seasoned", "hard")

#: A function that finds the circuit of a label, None if there is none.
Resolve = Callable[[str], Circuit | None]

#: Nobody would read a table of more combinations.
MOST_SWITCHES: Final = 5

_TEXTS: Final = ("label", "title", "verdict", "level", "story", "reason", "note")
_KEYS: Final = (*_TEXTS, "tags", "places")
_TOP: Final = ("tags", "case")
_QUOTES: Final = '"""'


@dataclass(frozen=True, slots=True)
class Case:
    """One curated fault. `circuit` and `fault` are the two parts of its `label`.

    `circuit` and `fault` are the two parts of its `label`. `places` are the names that the story
    has for the boxes of a layout: those of the switches, then the lamp's. `line` is where the entry
    begins in its file.
    """

    label: str
    title: str
    verdict: str
    level: str
    tags: tuple[str, ...]
    story: str
    reason: str
    note: str
    places: tuple[str, ...] = ()
    line: int = 0

    @property
    def circuit(self) -> str:
        """The label of the circuit in which the mistake is made."""
        return self.label.partition("/")[0]

    @property
    def fault(self) -> str:
        """The kind and site of the mistake."""
        return self.label.partition("/")[2]


@dataclass(frozen=True, slots=True)
class Curated:
    """The entries that can be taught, the meanings of tags, and every mistake in the file."""

    cases: tuple[Case, ...]
    tags: Mapping[str, str]
    problems: tuple[Problem, ...] = ()

    def check(self) -> None:
        """Raise UserError with every mistake, if there is any."""
        if self.problems:
            raise UserError(self.problems)


@cache
def shipped() -> Curated:
    """Read the entries that come with Miswire; mistakes in them are kept to be reported."""
    return read_curated(data_path("curated.toml"))


@cache
def shipped_circuit(label: str) -> Circuit | None:
    """Return the circuit of that label, a layout or one of `data/circuits`; else None."""
    scheme, _, code = label.partition("-")
    if scheme in SOUND_SCHEMES:
        try:
            return Layout.parse(code).circuit(scheme)
        except ValueError:
            return None
    known = {path.stem: path for path in data_path("circuits").glob("*.toml")}
    return load(known[label]) if label in known else None


def read_curated(path: Path, resolve: Resolve = shipped_circuit) -> Curated:
    """Read a file of curated faults. Raises UserError only if nothing can be read."""
    name = shown(str(path))
    try:
        text = path.read_text("utf-8")
        document = tomllib.loads(text)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise UserError([Problem(name, f"cannot be read ({reason}); check the path")]) from error
    except ValueError as error:
        raise UserError([Problem(name, f"is no TOML ({error}); mend that place first")]) from error
    return _Reader(path.name, document, _starts(text), resolve).read()


def locate(case: Case, resolve: Resolve = shipped_circuit) -> tuple[Circuit, Fault]:
    """Return the circuit as intended and the mistake. Raises KeyError if either does not exist."""
    circuit = resolve(case.circuit)
    if circuit is None:
        raise KeyError(case.circuit)
    return circuit, find_fault(circuit, case.fault)


def _starts(text: str) -> list[int]:
    """Return the lines on which entries begin, counted from 1; long strings are skipped."""
    starts = []
    inside = False
    for number, line in enumerate(text.splitlines(), 1):
        if not inside and line.strip() == "[[case]]":
            starts.append(number)
        if line.count(_QUOTES) % 2:
            inside = not inside
    return starts


class _Reader:
    """Reads one file and collects its mistakes."""

    def __init__(
        self, file: str, document: dict[str, Any], starts: Sequence[int], resolve: Resolve
    ) -> None:
        self._file = file
        self._document = document
        self._starts = starts
        self._resolve = resolve
        self._problems: list[Problem] = []
        self._seen: dict[str, int] = {}
        self._tags: dict[str, str] = {}

    def read(self) -> Curated:
        """Return all entries that can be taught, and every mistake."""
        self._read_top()
        cases = [case for case in self._cases() if case is not None]
        return Curated(tuple(cases), self._tags, tuple(self._problems))

    def _read_top(self) -> None:
        for key in self._document.keys() - set(_TOP):
            self._refuse(self._file, f"'{shown(key)}' is not known; there are [tags] and [[case]]")
        tags = self._document.get("tags", {})
        if not isinstance(tags, dict) or not all(isinstance(t, str) for t in tags.values()):
            self._refuse(f"{self._file} [tags]", 'write each tag as NAME = "what it means"')
            return
        self._tags = tags

    def _cases(self) -> Iterator[Case | None]:
        entries = self._document.get("case", [])
        if not isinstance(entries, list) or not entries:
            self._refuse(self._file, "has no entries; write each under a line [[case]]")
            return
        # Where lines cannot be found, as in `case = [{…}]`, entries are counted instead.
        are_known = len(self._starts) == len(entries)
        for number, entry in enumerate(entries):
            line = self._starts[number] if are_known else 0
            place = f"line {line}" if line else f"case {number + 1}"
            yield self._case(f"{self._file} {place}", entry, line)

    def _case(self, place: str, entry: object, line: int) -> Case | None:
        before = len(self._problems)
        if not isinstance(entry, dict):
            self._refuse(place, "is no table; begin it with a line [[case]]")
            return None
        for key in entry.keys() - set(_KEYS):
            self._refuse(place, f"'{shown(key)}' is not known; the keys are {', '.join(_KEYS)}")
        texts = {key: self._text(place, entry, key) for key in _TEXTS}
        tags = self._words(place, entry, "tags")
        places = self._words(place, entry, "places")
        self._check_word(place, "verdict", texts["verdict"], VERDICTS)
        self._check_word(place, "level", texts["level"], LEVELS)
        for tag in tags:
            self._check_word(place, "tag", tag, self._tags, "; or explain it under [tags]")
        if "tags" in entry and not tags:
            self._refuse(place, "tags=[] names none; give at least one of those under [tags]")
        if texts["label"]:
            self._check_label(place, texts["label"], places)
        if len(self._problems) > before:
            return None
        return Case(**texts, tags=tags, places=places, line=line)

    def _text(self, place: str, entry: Mapping[str, Any], key: str) -> str:
        value = entry.get(key)
        if isinstance(value, str) and value.strip():
            return " ".join(value.split())
        if value is None:
            self._refuse(place, f"{key} is missing; every entry needs it")
        else:
            self._refuse(place, f"{key}={shown(repr(value))} must be a text that says something")
        return ""

    def _words(self, place: str, entry: Mapping[str, Any], key: str) -> tuple[str, ...]:
        value = entry.get(key)
        if value is None and key == "places":
            return ()
        if isinstance(value, list) and all(isinstance(word, str) for word in value):
            return tuple(value)
        what = "is missing" if value is None else f"={shown(repr(value))} is wrong"
        self._refuse(place, f'{key} {what}; write words in brackets, such as {key} = ["one"]')
        return ()

    def _check_word(
        self,
        place: str,
        key: str,
        word: str,
        known: Sequence[str] | Mapping[str, str],
        or_: str = "",
    ) -> None:
        if word and word not in known:
            self._refuse(
                place, f"{key}='{shown(word)}' is not known; it is one of {listing(known)}{or_}"
            )

    def _check_label(self, place: str, label: str, places: tuple[str, ...]) -> None:
        first = self._seen.setdefault(label, self._number(place))
        if first != self._number(place):
            self._refuse(
                place,
                f"label='{shown(label, 100)}' is that of the entry on line {first} too; "
                "keep one of the two",
            )
            return
        name, _, fault = label.partition("/")
        what = f"label='{shown(label, 100)}'"
        circuit = self._resolve(name)
        if circuit is None:
            self._refuse(
                place,
                f"{what}: there is no circuit '{shown(name)}'; write a layout such as "
                "chain-1.f.1 or the name of a file in data/circuits",
            )
            return
        if len(circuit.switches) > MOST_SWITCHES:
            self._refuse(
                place,
                f"{what}: the circuit has {len(circuit.switches)} switches; a sheet has room for "
                f"the table of {MOST_SWITCHES}, so take a smaller circuit",
            )
            return
        self._check_places(place, name, circuit, places)
        kind, _, site = fault.partition("/")
        kinds = [kind.name for kind in fault_kinds()]
        if kind not in kinds:
            self._refuse(
                place, f"{what}: there is no kind '{shown(kind)}'; kinds are {', '.join(kinds)}"
            )
            return
        sites = {
            ",".join(found): fault
            for found, fault in fault_kind(kind).sites(NumberedCircuit(circuit))
        }
        if site not in sites:
            self._refuse(
                place,
                f"{what}: the circuit has no such fault; sites of {kind} are "
                f"{listing(sites)}; `miswire faults --json` lists them all",
            )
        elif sites[site].site_text != site:
            self._refuse(
                place, f"{what}: the same mistake is listed as '{sites[site].label}'; write that"
            )

    @staticmethod
    def _number(place: str) -> int:
        return int(place.rpartition(" ")[2])

    def _check_places(
        self, place: str, name: str, circuit: Circuit, places: tuple[str, ...]
    ) -> None:
        wanted = len(circuit.boxes) if name.partition("-")[0] in SOUND_SCHEMES else 0
        if len(places) != wanted or len(set(places)) != wanted:
            what = (
                f"must be {wanted} different names: those of the switches' boxes, then the lamp's"
                if wanted
                else "goes with layouts only; the circuit has names of its own, leave it out"
            )
            self._refuse(place, f"places={list(places)} {what}")

    def _refuse(self, place: str, message: str) -> None:
        self._problems.append(Problem(place, message))
