"""`data/circuit.schema.json` says of a file what the reader says, as far as a schema can."""

import json
import sys
import tomllib
from typing import Any

import pytest
from hypothesis import example, given
from jsonschema import Draft202012Validator
from test_circuitfile import BASE, DOCUMENTS, ONE_MISTAKE, SHIPPED, changed, circuits, mistakes
from test_circuitfile import written as as_toml

from verify.base.resources import data_path
from verify.circuit.colours import PALETTES
from verify.circuit.devices import ALIASES, KINDS
from verify.circuit.failures import FAILURE_KINDS
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.circuit.validation import MATERIALS

SCHEMA: dict[str, Any] = json.loads(data_path("circuit.schema.json").read_text("utf-8"))
VALIDATOR = Draft202012Validator(SCHEMA)

# Mistakes that only the reader finds: names that refer to each other, what may be there once only,
# and numbers and characters that JSON does not have.
BEYOND_A_SCHEMA = {
    "another box",
    "cable called like a device",
    "cable that does not come here",
    "conductor of no cable",
    "conductor that is not there",
    "conductors of two cables",
    "contact between two switches",
    "contact that no switch has",
    "device in another box",
    "end in two joins",
    "endless volts",
    "loose where nothing is joined",
    "open and welded",
    "open switch",
    "plastic box",
    "stuck lamp",
    "stuck up and down",
    "unknown box of a cable",
    "unknown box of a device",
    "unknown box of a join",
    "unknown conductor",
    "unknown owner",
    "unknown terminal",
    "volts beyond all numbers",
    "volts that are no number",
}


def test_the_schema_is_one() -> None:
    """It is a valid schema of the draft that it names."""
    assert SCHEMA["$schema"] == Draft202012Validator.META_SCHEMA["$id"]
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_circuits_fit_the_schema(path: Any) -> None:
    """Every shipped circuit is an instance of the schema."""
    VALIDATOR.validate(tomllib.loads(path.read_text("utf-8")))


@pytest.mark.parametrize(
    ("old", "new"), [pair[:2] for pair in ONE_MISTAKE.values()], ids=ONE_MISTAKE
)
def test_schema_and_reader_agree_on_mistakes(
    old: str, new: str, request: pytest.FixtureRequest
) -> None:
    """What the reader refuses the schema refuses too, but for what no schema can say."""
    name = request.node.callspec.id
    document = tomllib.loads(changed((old, new)))
    assert VALIDATOR.is_valid(document) == (name in BEYOND_A_SCHEMA)


def test_every_exception_is_one_of_the_mistakes() -> None:
    """The list of what a schema cannot say has no entry that nothing checks."""
    assert ONE_MISTAKE.keys() >= BEYOND_A_SCHEMA


@given(circuits())
def test_every_circuit_fits_the_schema(circuit: Circuit) -> None:
    """The schema refuses nothing that the program itself writes."""
    VALIDATOR.validate(tomllib.loads(dump(circuit)))


def fits(document: dict[str, object]) -> bool:
    """Whether a document is an instance of the schema.

    The validator writes what it refuses into its message, numbers of thousands of digits too.
    """
    limit = sys.get_int_max_str_digits()
    sys.set_int_max_str_digits(0)
    try:
        return VALIDATOR.is_valid(document)
    finally:
        sys.set_int_max_str_digits(limit)


@given(DOCUMENTS)
@example({"format": 1, "name": "Quay", "volts": [1 << 14285]})
def test_what_the_schema_refuses_the_reader_refuses(document: dict[str, object]) -> None:
    """No document is a circuit for the reader and wrong for the schema."""
    if not fits(document):
        assert mistakes(as_toml(document))


def described(schema: Any, path: str = "") -> Any:
    """Each property of the schema with the path to it."""
    if isinstance(schema, dict):
        for key, item in schema.items():
            if key == "properties" and "title" in schema:
                yield from ((f"{path}/{name}", what) for name, what in item.items())
            yield from described(item, f"{path}/{key}")


def test_every_key_of_the_format_is_described() -> None:
    """A person who reads the schema finds a title for every key and a sentence for most."""
    keys = dict(described(SCHEMA))
    assert len(keys) == 9 + 1 + 8 + 4 + 3 + 4
    for path, what in keys.items():
        assert what["title"], path
        assert what.get("description", "").endswith(".") or "enum" in what, path


def test_the_schema_lists_what_the_program_knows() -> None:
    """Kinds, colours, materials and failures are the program's own, each and in order."""
    definitions = SCHEMA["$defs"]
    properties = {name: part.get("properties", {}) for name, part in definitions.items()}
    assert properties["box"]["material"]["enum"] == list(MATERIALS)
    assert properties["device"]["kind"]["enum"] == [*KINDS, *ALIASES]
    for kind in KINDS.values():
        assert ", ".join(kind.terminals) in properties["device"]["kind"]["description"]
    assert properties["failure"]["kind"]["enum"] == list(FAILURE_KINDS)
    assert SCHEMA["properties"]["palette"]["enum"] == list(PALETTES)
    us, iec = PALETTES["us"], PALETTES["iec"]
    assert definitions["usColour"]["enum"] == [*us.line, us.neutral, *us.ground]
    assert definitions["iecColour"]["anyOf"][0]["enum"] == [*iec.line, iec.neutral, *iec.ground]
    switches = {kind for kind in (*KINDS, *ALIASES) if KINDS[ALIASES.get(kind, kind)].is_switch}
    assert set(properties["isSwitch"]["kind"]["enum"]) == switches


@pytest.mark.parametrize(
    "name", ["box\n", "a b", "-a", "_a", "a.b", "", "a/b", "a" * 61, "box", "a\x7f", "[a]", "a`"]
)
def test_names_that_neither_takes(name: str) -> None:
    """The schema's pattern and the reader's refuse the same names in ASCII."""
    document = tomllib.loads(BASE)
    document["device"][name] = {"kind": "lamp", "box": "slipway"}
    assert not VALIDATOR.is_valid(document)
    assert mistakes(as_toml(document))


@pytest.mark.parametrize("name", ["a", "A-1_", "9", "a" * 60, "Écluse", "bôme-2", "ボート"])
def test_names_that_both_take(name: str) -> None:
    """The schema's pattern and the reader's take the same names, in any script."""
    document = tomllib.loads(BASE)
    document["device"][name] = {"kind": "lamp", "box": "slipway"}
    assert VALIDATOR.is_valid(document)
    assert not mistakes(as_toml(document))


def test_iec_colours() -> None:
    """The colours allowed follow the palette, and numbered cores go to 99."""
    for colour, fits in {
        "black-1": True,
        "black-99": True,
        "black-100": False,
        "red": False,
    }.items():
        document = tomllib.loads(changed(("volts = 120", 'palette = "iec"')))
        document["cable"]["run"]["conductors"] = [colour]
        document["join"] = []
        assert VALIDATOR.is_valid(document) == fits
        assert (not mistakes(as_toml(document))) == fits
