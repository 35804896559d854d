"""The circuit file: TOML in and out, with errors a person can act on.

`load` and `loads` report every mistake of a file together, each with its place and remedy. `dump`
writes stable text: the same circuit gives the same bytes, and ``loads(dump(c)) == c``.
"""

import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Final, cast

from verify.base.problems import CircuitError, Problem, require, shown
from verify.circuit.devices import DEFAULT_LEG, Position
from verify.circuit.model import Circuit, require_circuit
from verify.circuit.parts import (
    DEFAULT_BREAKER_AMPS,
    DEFAULT_VOLTS,
    DEFAULT_WATTS,
    Box,
    Cable,
    Device,
    Failure,
    Join,
)
from verify.circuit.source import (
    Source,
    content_of,
    not_utf_8,
    require_source,
    source_name,
    unfit,
)
from verify.circuit.table import FileTable, written
from verify.circuit.validation import TOP, place_of, problems_in

FORMAT: Final = 1
LARGEST_BYTES: Final = 1_000_000
# tomllib takes time that grows with the square of a key's parts. No text of a circuit matches:
# its longest, a title of 200 characters, has no room for so many.
_LONG_KEY: Final = re.compile(
    r"""(?<![\w-]) (?: (?: [\w-]++ | "[^"\n]*+" | '[^'\n]*+' ) [ \t]*+ \. [ \t]*+ ){101}""",
    re.VERBOSE,
)

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


def load(source: Source) -> Circuit:
    """The circuit in a file: a path, as text or as `Path`, or a file that is open for reading.

    The format is described in `data/circuit.schema.json`. Lengths are in metres, powers in watts.
    Raises `CircuitError` with all mistakes, each with the name of the file, also if it cannot be
    read.
    """
    require_source(source)
    try:
        return read(source)
    except CircuitError as error:
        name = source_name(source)
        if not name:
            raise
        raise error.within(name) from error


def read(source: Source) -> Circuit:
    """As `load`, but its errors say nothing of the file: for who names it in another way."""
    return loads(content_of(source, LARGEST_BYTES + 1))


def loads(content: bytes | str) -> Circuit:
    """Return the circuit written in `content`, a text in the format of circuit files.

    Lengths are in metres, powers in watts. Raises `CircuitError` with all mistakes.
    """
    require(content, str | bytes, "content", "give the text of a circuit file; load takes a path")
    if isinstance(content, str) and re.fullmatch(r"\S.*\.toml", content):
        remedy = "give the text in the file; load takes its path"
        raise CircuitError([Problem("", f"content={shown(content)} is a path; {remedy}")])
    return _Reader(_parsed_toml(content)).circuit()


def _parsed_toml(content: bytes | str) -> dict[str, object]:
    """Return the TOML document in `content`; raises `CircuitError` if it is none."""
    if isinstance(content, str):
        content = content.encode("utf-8", "surrogatepass")
    if len(content) > LARGEST_BYTES:
        raise unfit(f"has more than {LARGEST_BYTES:,} bytes, so it is not one circuit; split it")
    try:
        # Some editors begin a text with a byte order mark.
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise not_utf_8(error) from error
    if not text.strip():
        raise unfit(f"is empty; a circuit file begins with: format = {FORMAT}")
    if _LONG_KEY.search(text):
        raise unfit("has a key of more than 100 parts; write tables such as [device.feed]")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise unfit(
            f"is not TOML ({shown(str(error), 200)}); "
            "mend the text there, or fetch it again if it is cut short"
        ) from error
    # tomllib goes as deep as the text does, and lets the error of `int` for long numbers through.
    except RecursionError as error:
        raise unfit(
            "has lists or tables within each other, deeper than any circuit; "
            "write one table for each part, such as [device.feed]"
        ) from error
    except ValueError as error:
        raise unfit(
            "has a number of more digits than any measure; write a number such as 120"
        ) from error


@dataclass(frozen=True, slots=True)
class _Parts:
    """The parts of a circuit as they were read, not checked yet by `verify.circuit.validation`."""

    name: str
    boxes: tuple[Box, ...]
    devices: tuple[Device, ...]
    cables: tuple[Cable, ...]
    joins: tuple[Join, ...]
    failures: tuple[Failure, ...]
    volts: float
    palette: str


class _Reader:
    """Reads one TOML document into a circuit and collects all mistakes on the way."""

    def __init__(self, document: Mapping[str, object]) -> None:
        self.document = document
        self.problems: list[Problem] = []
        self.unreadable: set[str] = set()  # devices and cables read in part

    def circuit(self) -> Circuit:
        """Return the circuit; raises `CircuitError` with all mistakes."""
        top = FileTable(TOP, self.document, self.problems, set(_TOP_KEYS))
        version = self.document.get("format")
        if version is None:
            top.note("format", f"format is missing; write format = {FORMAT} on the first line")
        elif version != FORMAT or isinstance(version, bool):
            top.note(
                "format",
                f"format={written(version)} is not known; this program reads format = {FORMAT}",
            )
        volts = top.number("volts")
        parts = _Parts(
            name=top.text("name", "unnamed"),
            boxes=tuple(self._box(*item) for item in self._named("box")),
            devices=tuple(self._device(*item) for item in self._named("device")),
            cables=tuple(self._cable(*item) for item in self._named("cable")),
            joins=tuple(map(self._join, self._listed("join"))),
            failures=tuple(map(self._failure, self._listed("failure"))),
            volts=DEFAULT_VOLTS if volts is None else volts,
            palette=top.text("palette", "us"),
        )
        top.finish()
        self._check(parts)
        return Circuit(**{part.name: getattr(parts, part.name) for part in fields(parts)})

    def _check(self, parts: _Parts) -> None:
        """Add the mistakes that validation finds, except about what could not be read."""
        noted = {(problem.place, problem.about) for problem in self.problems}
        lost = {place for place, about in noted if not about}
        if "box" in lost:
            parts = replace(parts, boxes=_boxes_named_in(parts))
        if lost & {"device", "cable"}:
            self.unreadable |= _owners_named_in(parts)
        rank = {place: number for number, place in enumerate(self._places())}
        # A box whose section is lost, so that only joins mention it, has no place.
        readable = rank.keys() - lost
        self.problems += [
            problem
            for problem in problems_in(parts, self.unreadable)
            if _table_of(problem) in readable and (problem.place, problem.about) not in noted
        ]
        if self.problems:
            self.problems.sort(key=lambda problem: rank[_table_of(problem)])
            raise CircuitError(self.problems)

    def _places(self) -> Iterator[str]:
        """Yield the place of everything that can have a problem, in the order of the format."""
        yield TOP
        for key in ("box", "device", "cable"):
            yield key
            section = self.document.get(key)
            if isinstance(section, dict):
                yield from (place_of(key, name) for name in section)
        for key in ("join", "failure"):
            yield key
            section = self.document.get(key)
            if isinstance(section, list):
                yield from (f"{key} {number}" for number, _ in enumerate(section, 1))

    def _named(self, key: str) -> Iterator[tuple[str, FileTable]]:
        """Yield the tables under ``[key.NAME]`` with their names."""
        section = self.document.get(key, {})
        if not isinstance(section, dict):
            self._lose(key, f"must be written as tables: [{key}.NAME], one for each {key}")
            return
        for name, content in section.items():
            yield name, self._table(place_of(key, name), content, f"[{key}.{_key(name)}]")

    def _listed(self, key: str) -> Iterator[FileTable]:
        """Yield the tables under ``[[key]]``."""
        section = self.document.get(key, [])
        if not isinstance(section, list):
            self._lose(key, f"must be written with double brackets: [[{key}]], once for each")
            return
        for number, content in enumerate(section, 1):
            yield self._table(f"{key} {number}", content, f"[[{key}]]")

    def _table(self, place: str, content: object, header: str) -> FileTable:
        if isinstance(content, dict):
            return FileTable(place, content, self.problems)
        self._lose(place, f"must be a table; write {shown(header)} and its keys below")
        return FileTable(place, {}, [])

    def _lose(self, place: str, message: str) -> None:
        """Note a problem with something that is left out of the circuit."""
        self.problems.append(Problem(place, message))

    def _box(self, name: str, table: FileTable) -> Box:
        box = Box(name, table.text("material", "plastic"))
        table.finish()
        return box

    def _device(self, name: str, table: FileTable) -> Device:
        table.required("kind", '"three-way"')
        table.required("box", '"landing"')
        device = Device(
            name,
            table.text("kind"),
            table.text("box"),
            table.number("watts"),
            table.number("breaker_amps"),
            table.optional_text("leg"),
            table.number("length_m"),
            table.optional_text("size"),
            table.numbers("loads"),
        )
        table.finish()
        if table.wrong & {"kind", "box"}:
            self.unreadable.add(name)
        return device

    def _cable(self, name: str, table: FileTable) -> Cable:
        table.required("between", '["landing", "slipway"]')
        table.required("conductors", '["black", "white", "bare"]')
        between = table.texts("between")
        if len(between) != 2:
            table.note(
                "between", 'between must name two boxes, such as between = ["landing", "slipway"]'
            )
        cable = Cable(
            name,
            cast(tuple[str, str], (*between, "", "")[:2]),
            table.texts("conductors"),
            table.optional_text("size"),
            table.number("length_m"),
        )
        table.finish()
        if table.wrong & {"between", "conductors"}:
            self.unreadable.add(name)
        return cable

    def _join(self, table: FileTable) -> Join:
        table.required("box", '"landing"')
        table.required("ends", '["feed.line", "slipway-run.black"]')
        join = Join(table.text("box"), table.texts("ends"), table.flag("fixed"))
        table.finish()
        return join

    def _failure(self, table: FileTable) -> Failure:
        table.required("kind", '"conductor-open"')
        table.required("at", '["slipway-run.red"]')
        failure = Failure(
            table.text("kind"),
            table.texts("at"),
            cast(Position | None, table.optional_text("position")),
            table.optional_text("box"),
        )
        table.finish()
        return failure


def _table_of(problem: Problem) -> str:
    """Return the place of the table that a problem is in: ``join 3`` for ``join 3, ends[1]``."""
    return re.sub(r"^(join \d+), ends\[\d+\]$", r"\1", problem.place)


def _boxes_named_in(parts: _Parts) -> tuple[Box, ...]:
    """Return a box for each name used; metal, so that an end ``box.NAME`` can be in each."""
    names = [device.box for device in parts.devices]
    names += [name for cable in parts.cables for name in cable.between]
    names += [join.box for join in parts.joins]
    return tuple(Box(name, "metal") for name in dict.fromkeys(names))


def _owners_named_in(parts: _Parts) -> set[str]:
    """Return the devices and cables that joins and failures name and no table describes."""
    ends = [name for join in parts.joins for name in join.ends]
    ends += [name for failure in parts.failures for name in failure.at]
    described = {device.name for device in parts.devices} | {c.name for c in parts.cables}
    return {name.partition(".")[0] for name in ends} - described


def dump(circuit: Circuit) -> str:
    """Return the circuit as the text of a circuit file, ending in a newline; store it as UTF-8.

    Equal circuits give equal texts, and reading the text gives the circuit again. Raises UserError
    for what is no `Circuit`.
    """
    require_circuit(circuit)
    return "\n".join(_lines(circuit)) + "\n"


def _lines(circuit: Circuit) -> Iterator[str]:
    """Yield the lines of the file."""
    yield f"format = {FORMAT}"
    yield f"name = {_quoted(circuit.name)}"
    if circuit.volts != DEFAULT_VOLTS:
        yield f"volts = {_number_text(circuit.volts)}"
    if circuit.palette != "us":
        yield f"palette = {_quoted(circuit.palette)}"
    yield ""
    for box in circuit.boxes:
        yield f"[box.{_key(box.name)}]"
        if box.is_metal:
            yield f"material = {_quoted(box.material)}"
    for device in circuit.devices:
        yield f"\n[device.{_key(device.name)}]"
        yield f"kind = {_quoted(device.kind)}"
        yield f"box = {_quoted(device.box)}"
        if device.watts is not None and device.watts != DEFAULT_WATTS:
            yield f"watts = {_number_text(device.watts)}"
        if device.breaker_amps is not None and device.breaker_amps != DEFAULT_BREAKER_AMPS:
            yield f"breaker_amps = {_number_text(device.breaker_amps)}"
        if device.leg is not None and device.leg != DEFAULT_LEG:
            yield f"leg = {_quoted(device.leg)}"
        yield from _wire_lines(device.size, device.length_m)
        if device.loads:
            yield f"loads = [{', '.join(map(_number_text, device.loads))}]"
    for cable in circuit.cables:
        yield f"\n[cable.{_key(cable.name)}]"
        yield f"between = {_quoted_list(cable.between)}"
        yield f"conductors = {_quoted_list(cable.conductors)}"
        yield from _wire_lines(cable.size, cable.length_m)
    for join in circuit.joins:
        yield "\n[[join]]"
        yield f"box = {_quoted(join.box)}"
        yield f"ends = {_quoted_list(join.ends)}"
        if join.fixed:
            yield "fixed = true"
    for failure in circuit.failures:
        yield "\n[[failure]]"
        yield f"kind = {_quoted(failure.kind)}"
        yield f"at = {_quoted_list(failure.at)}"
        if failure.position is not None:
            yield f"position = {_quoted(failure.position)}"
        if failure.box is not None:
            yield f"box = {_quoted(failure.box)}"


def _wire_lines(size: str | None, length_m: float | None) -> Iterator[str]:
    """Yield the lines with the size and length of the conductors of a cable or feed."""
    if size is not None:
        yield f"size = {_quoted(size)}"
    if length_m is not None:
        yield f"length_m = {_number_text(length_m)}"


@lru_cache(maxsize=4096)  # circuits have the same few names
def _quoted(value: str) -> str:
    # A JSON string is a TOML basic string, but for DEL, which names cannot contain.
    """Return a text as a TOML string."""
    return json.dumps(value, ensure_ascii=False)


def _quoted_list(values: Iterable[str]) -> str:
    return f"[{', '.join(map(_quoted, values))}]"


@lru_cache(maxsize=4096)
def _key(name: str) -> str:
    """Return a name as a TOML key, in quotation marks where it needs them."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _quoted(name)


def _number_text(value: float) -> str:
    # A circuit's numbers are finite, validation says so; 120 and 120.0 are written alike.
    """Return a number as TOML writes it."""
    return repr(float(value))
