"""The circuit file: TOML in and out, with errors a person can act on.

`load` reports every mistake of a file together, each with its place and remedy.
`dump` writes stable text: the same circuit gives the same bytes, and ``parse(dump(c)) == c``.
"""

import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, cast

from verify.circuit import (
    DEFAULT_BREAKER_AMPS,
    DEFAULT_VOLTS,
    DEFAULT_WATTS,
    Box,
    Cable,
    Circuit,
    Device,
    Failure,
    Join,
)
from verify.devices import Position
from verify.problems import CircuitError, Problem
from verify.validation import problems_in

FORMAT: Final = 1
LARGEST_BYTES: Final = 1_000_000

_TOP_KEYS: Final = (
    "format",
    "name",
    "volts",
    "palette",
    "box",
    "device",
    "cable",
    "join",
    "failure",
)


def load(path: Path) -> Circuit:
    """The circuit in a file. Raises `CircuitError` with all mistakes, also if it cannot be read."""
    try:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise CircuitError([_too_large(size)])
        content = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise CircuitError([Problem("", f"cannot be read ({reason}); check the path")]) from error
    return parse(content)


def parse(content: bytes | str) -> Circuit:
    """The circuit written in `content`. Raises `CircuitError` with all mistakes."""
    if isinstance(content, str):
        content = content.encode("utf-8", "surrogatepass")
    if len(content) > LARGEST_BYTES:
        raise CircuitError([_too_large(len(content))])
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError as error:
        raise CircuitError(
            [
                Problem(
                    f"byte {error.start}",
                    "is not UTF-8 text; a circuit file is a TOML text file, save it as such",
                )
            ]
        ) from error
    if not text.strip():
        raise CircuitError(
            [Problem("", f"the file is empty; a circuit file begins with: format = {FORMAT}")]
        )
    try:
        document = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise CircuitError(
            [Problem("", f"is not TOML ({error}); mend the text there, or the file is cut short")]
        ) from error
    return _Reader(document).circuit()


def _too_large(size: int) -> Problem:
    return Problem(
        "",
        f"the file has {size:,} bytes; a circuit file has at most {LARGEST_BYTES:,}, "
        "so this is not one circuit: split it",
    )


@dataclass(frozen=True, slots=True)
class _Parts:
    """What was read, fit for `verify.validation`."""

    name: str
    boxes: tuple[Box, ...]
    devices: tuple[Device, ...]
    cables: tuple[Cable, ...]
    joins: tuple[Join, ...]
    failures: tuple[Failure, ...]
    volts: float
    palette: str


@dataclass(slots=True)
class _Table:
    """One table of the file; asking for a key that is missing or of another type is noted."""

    place: str
    values: Mapping[str, object]
    problems: list[Problem]
    asked: set[str] = field(default_factory=set)

    def note(self, message: str) -> None:
        self.problems.append(Problem(self.place, message))

    def take(self, key: str, wanted: str, fits: type | tuple[type, ...]) -> object | None:
        """The value of an optional key, or None if it is missing or wrong."""
        self.asked.add(key)
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, fits) or (isinstance(value, bool) and fits is not bool):
            self.note(f"{key}={_shown(value)} must be {wanted}")
            return None
        return cast(object, value)

    def text(self, key: str) -> str | None:
        return cast(str | None, self.take(key, "a text in quotes", str))

    def number(self, key: str) -> float | None:
        value = cast(float | None, self.take(key, "a number", (int, float)))
        if value is None:
            return None
        try:
            return float(value)
        except OverflowError:
            self.note(f"{key} is far too large; write a number of the usual size")
            return None

    def flag(self, key: str) -> bool:
        return bool(self.take(key, "true or false", bool))

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.take(key, "a list of texts", list)
        if value is None:
            return ()
        items = cast(list[object], value)
        if not all(isinstance(item, str) for item in items):
            self.note(f"{key}={_shown(items)} must be a list of texts")
            return ()
        return tuple(cast(list[str], items))

    def required(self, key: str, example: str) -> None:
        if key not in self.values:
            self.note(f"{key} is missing; write for example {key} = {example}")

    def finish(self) -> None:
        """Note every key that nobody asked for."""
        known = ", ".join(sorted(self.asked))
        for key in self.values:
            if key not in self.asked:
                self.note(f"key {_shown(key)} is not known; known keys are {known}")


class _Reader:
    """One document on its way to a circuit."""

    def __init__(self, document: Mapping[str, object]) -> None:
        self.problems: list[Problem] = []
        self.document = document

    def circuit(self) -> Circuit:
        top = _Table("top of the file", self.document, self.problems, set(_TOP_KEYS))
        version = self.document.get("format")
        if version is None:
            top.note(f"format is missing; write format = {FORMAT} on the first line")
        elif version != FORMAT or isinstance(version, bool):
            top.note(f"format={_shown(version)} is not known; this program reads format = {FORMAT}")
        name = top.text("name")
        volts = top.number("volts")
        palette = top.text("palette")
        top.finish()
        parts = _Parts(
            name="unnamed" if name is None else name,
            boxes=tuple(map(self._box, *self._named("box"))),
            devices=tuple(map(self._device, *self._named("device"))),
            cables=tuple(map(self._cable, *self._named("cable"))),
            joins=tuple(map(self._join, self._listed("join"))),
            failures=tuple(map(self._failure, self._listed("failure"))),
            volts=DEFAULT_VOLTS if volts is None else volts,
            palette="us" if palette is None else palette,
        )
        self._check(parts)
        return Circuit(
            parts.name,
            parts.boxes,
            parts.devices,
            parts.cables,
            parts.joins,
            parts.failures,
            parts.volts,
            parts.palette,
        )

    def _check(self, parts: _Parts) -> None:
        places = {problem.place for problem in self.problems}
        unreadable = {place.split("'")[1] for place in places if place.startswith(("dev", "cab"))}
        if any(place.startswith("device") for place in places):
            places.add("devices")
        self.problems += [
            problem for problem in problems_in(parts, unreadable) if problem.place not in places
        ]
        if self.problems:
            raise CircuitError(self.problems)

    def _named(self, key: str) -> tuple[list[str], list[_Table]]:
        """The tables under ``[key.NAME]``, as two lists of equal length."""
        value = self.document.get(key, {})
        if not isinstance(value, dict):
            self.problems.append(
                Problem(key, f"must be written as tables: [{key}.NAME], one for each {key}")
            )
            return [], []
        names, tables = [], []
        for name, content in value.items():
            place = f"{key} '{name}'"
            if isinstance(content, dict):
                names.append(name)
                tables.append(_Table(place, content, self.problems))
            else:
                self.problems.append(Problem(place, f"must be a table: [{key}.{name}]"))
        return names, tables

    def _listed(self, key: str) -> Iterator[_Table]:
        """The tables under ``[[key]]``."""
        value = self.document.get(key, [])
        if not isinstance(value, list):
            self.problems.append(
                Problem(key, f"must be written with double brackets: [[{key}]], once for each")
            )
            return
        for number, content in enumerate(value, 1):
            place = f"{key} {number}"
            if isinstance(content, dict):
                yield _Table(place, content, self.problems)
            else:
                self.problems.append(Problem(place, f"must be a table: [[{key}]]"))

    def _box(self, name: str, table: _Table) -> Box:
        material = table.text("material")
        table.finish()
        return Box(name, "plastic" if material is None else material)

    def _device(self, name: str, table: _Table) -> Device:
        table.required("kind", '"three-way"')
        table.required("box", '"landing"')
        device = Device(
            name,
            table.text("kind") or "",
            table.text("box") or "",
            table.number("watts"),
            table.number("breaker_amps"),
        )
        table.finish()
        return device

    def _cable(self, name: str, table: _Table) -> Cable:
        table.required("between", '["landing", "slipway"]')
        table.required("conductors", '["black", "white", "bare"]')
        between = table.texts("between")
        if "between" in table.values and len(between) != 2:  # noqa: PLR2004 - a cable has two ends
            table.note('between must name two boxes, such as between = ["landing", "slipway"]')
        cable = Cable(
            name,
            cast(tuple[str, str], (*between, "", "")[:2]),
            table.texts("conductors"),
            table.text("size"),
            table.number("length_m"),
        )
        table.finish()
        return cable

    def _join(self, table: _Table) -> Join:
        table.required("box", '"landing"')
        table.required("ends", '["feed.line", "slipway-run.black"]')
        join = Join(table.text("box") or "", table.texts("ends"), table.flag("fixed"))
        table.finish()
        return join

    def _failure(self, table: _Table) -> Failure:
        table.required("kind", '"conductor-open"')
        table.required("at", '["slipway-run.red"]')
        failure = Failure(
            table.text("kind") or "",
            table.texts("at"),
            cast(Position | None, table.text("position")),
        )
        table.finish()
        return failure


def _shown(value: object, longest: int = 60) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= longest else text[: longest - 1] + "…"


def dump(circuit: Circuit) -> str:
    """The circuit as the text of a circuit file, ending in a newline."""
    return "\n".join(_lines(circuit)) + "\n"


def _lines(circuit: Circuit) -> Iterator[str]:
    yield f"format = {FORMAT}"
    yield f"name = {_text(circuit.name)}"
    if circuit.volts != DEFAULT_VOLTS:
        yield f"volts = {_number(circuit.volts)}"
    if circuit.palette != "us":
        yield f"palette = {_text(circuit.palette)}"
    yield ""
    for box in circuit.boxes:
        yield f"[box.{_key(box.name)}]"
        if box.is_metal:
            yield f"material = {_text(box.material)}"
    for device in circuit.devices:
        yield f"\n[device.{_key(device.name)}]"
        yield f"kind = {_text(device.kind)}"
        yield f"box = {_text(device.box)}"
        if device.watts not in (None, DEFAULT_WATTS):
            yield f"watts = {_number(device.watts)}"
        if device.breaker_amps not in (None, DEFAULT_BREAKER_AMPS):
            yield f"breaker_amps = {_number(device.breaker_amps)}"
    for cable in circuit.cables:
        yield f"\n[cable.{_key(cable.name)}]"
        yield f"between = {_texts(cable.between)}"
        yield f"conductors = {_texts(cable.conductors)}"
        if cable.size is not None:
            yield f"size = {_text(cable.size)}"
        if cable.length_m is not None:
            yield f"length_m = {_number(cable.length_m)}"
    for join in circuit.joins:
        yield "\n[[join]]"
        yield f"box = {_text(join.box)}"
        yield f"ends = {_texts(join.ends)}"
        if join.fixed:
            yield "fixed = true"
    for failure in circuit.failures:
        yield "\n[[failure]]"
        yield f"kind = {_text(failure.kind)}"
        yield f"at = {_texts(failure.at)}"
        if failure.position is not None:
            yield f"position = {_text(failure.position)}"


def _text(value: str) -> str:
    # A JSON string is a TOML basic string, but for DEL, which names cannot contain.
    return json.dumps(value, ensure_ascii=False)


def _texts(values: Iterable[str]) -> str:
    return f"[{', '.join(map(_text, values))}]"


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _text(name)


def _number(value: float | None) -> str:
    # A circuit's numbers are finite: validation says so.
    return repr(value)
