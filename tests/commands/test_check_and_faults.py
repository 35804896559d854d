"""`miswire check` and `miswire faults`: what they print, for programs and for people."""

import json
from pathlib import Path

import pytest
from boathouse import NEUTRAL_ON_A_TRAVELER, SWITCH_NOT_GROUNDED, TRAVELER_LEFT_OFF, stair
from commandline import HAZARDOUS, SHIPPED, run, words, write
from jsonschema import validate

from verify.base.cautions import cautions, summary
from verify.behaviour.judgement import Judgement
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Device
from verify.engine.diagrams import DiagramsEngine
from verify.fault.registry import fault_kinds
from verify.layout.sampler import sample
from verify.verdict import rechecking

STATE = {
    "type": "object",
    "properties": {
        "positions": {"additionalProperties": {"enum": ["up", "down"]}},
        "protection": {"enum": ["holds", "trips"]},
        "lamps": {"additionalProperties": {"enum": ["lit", "dark"]}},
    },
    "required": ["positions", "protection", "lamps"],
}
NAMES = {"type": "array", "items": {"type": "string"}}
RULE_TEXTS = ("id", "section", "jurisdiction", "title", "says", "known", "because")
RULE = {
    "type": "object",
    "properties": {
        **{key: {"type": "string", "minLength": 1} for key in RULE_TEXTS},
        "edition": {"type": "integer"},
        "known": {"enum": ["read", "memory"]},
        "raised_by": NAMES,
    },
    "required": [*RULE_TEXTS, "edition", "raised_by"],
}
CHECK_PROPERTIES: dict[str, object] = {
    "format": {"const": 1},
    "name": {"type": "string"},
    "verdict": {"enum": ["sound", "mimic", "misbehaves", "trips", "undecided"]},
    "any_location": {"type": "boolean"},
    "states": {"type": "array", "items": STATE},
    "hazards": NAMES,
    "evidence": {"type": "object", "additionalProperties": {"type": "object"}},
    "rules": {"type": "array", "items": RULE},
    "cautions": NAMES,
}
#: The form that `check --json` promises to keep; keys may be added.
CHECK = {"type": "object", "properties": CHECK_PROPERTIES, "required": list(CHECK_PROPERTIES)}
PROVED = ["sound", "mimic", "misbehaves", "trips"]
COUNTS = {"properties": {verdict: {"type": "integer"} for verdict in PROVED}, "required": PROVED}
FAULT_KEYS = ["kind", "site", "verdict", "signature", "circuit"]
FAULT = {
    "properties": {"hazards": NAMES, **{key: {"type": "string"} for key in FAULT_KEYS}},
    "required": [*FAULT_KEYS, "hazards"],
}
FAULTS_PROPERTIES = {
    "format": {"const": 1},
    "name": {"type": "string"},
    "total": {"type": "integer"},
    "counts": {
        "additionalProperties": COUNTS,
        "required": [kind.name for kind in fault_kinds()],
    },
    "faults": {"type": "array", "items": FAULT},
}
#: The form that `faults --json` promises to keep.
FAULTS = {"type": "object", "properties": FAULTS_PROPERTIES, "required": list(FAULTS_PROPERTIES)}


@pytest.fixture
def sound(tmp_path: Path) -> str:
    """The sound stair as a file."""
    return write(tmp_path / "sound.toml", stair())


def test_check_json_of_a_sound_circuit(sound: str) -> None:
    """The fixed form, to the letter, for a circuit whose every answer is known."""
    result = run("check", sound, "--json")
    assert result.exit_code == 0
    form = json.loads(result.stdout)
    validate(form, CHECK)
    assert form["states"] == [
        {
            "positions": {"slipway-switch": first, "workshop-switch": second},
            "protection": "holds",
            "lamps": {"lamp": "lit" if first == second else "dark"},
        }
        for second in ("up", "down")
        for first in ("up", "down")
    ]
    assert (form["name"], form["verdict"], form["any_location"]) == (stair().name, "sound", True)
    assert form["hazards"] == []
    assert form["cautions"] == [caution.short for caution in cautions()]


def test_check_json_of_several_is_an_array_in_their_order(sound: str) -> None:
    """Several files make an array in the order given, one file an object."""
    result = run("check", HAZARDOUS, sound, HAZARDOUS, "--json")
    assert result.exit_code == 1
    forms = json.loads(result.stdout)
    for form in forms:
        validate(form, CHECK)
    assert [form["verdict"] for form in forms] == ["mimic", "sound", "mimic"]
    assert [form["file"] for form in forms] == [HAZARDOUS, sound, HAZARDOUS]


def test_every_shipped_circuit_conforms() -> None:
    """All circuits that ship give the fixed form, and their evidence names every claim."""
    result = run("check", *SHIPPED, "--json")
    forms = json.loads(result.stdout)
    assert len(forms) == len(SHIPPED) >= 8
    for form in forms:
        validate(form, CHECK)
        assert list(form["evidence"]) == [form["verdict"], *form["hazards"]]
        assert len(form["states"]) == 2 ** len(form["states"][0]["positions"])


@pytest.mark.parametrize(
    ("rewire", "status", "wanted"),
    [
        ({}, 0, "SOUND: Every switch changes every lamp"),
        (SWITCH_NOT_GROUNDED, 1, "MIMIC: Every switch changes every lamp"),
        (TRAVELER_LEFT_OFF, 1, "MISBEHAVES: In some combination"),
        (NEUTRAL_ON_A_TRAVELER, 1, "TRIPS: In some combination"),
    ],
)
def test_check_tells_a_person(
    tmp_path: Path, rewire: dict[str, str], status: int, wanted: str
) -> None:
    """The verdict stands there as a word with its meaning, and the cautions come last."""
    result = run("check", write(tmp_path / "stair.toml", stair(rewire)))
    assert result.exit_code == status
    assert wanted in words(result.stdout)
    assert words(result.stdout).endswith(words(summary()))
    assert not result.stderr


def test_check_shows_states_hazards_and_paths(tmp_path: Path) -> None:
    """What a person needs to follow a verdict: each state, each hazard's danger, and the path."""
    output = run("check", write(tmp_path / "stair.toml", stair(TRAVELER_LEFT_OFF))).stdout
    assert "slipway-switch  workshop-switch  lamp  protection\n" in output
    assert "down            up               dark  holds\n" in output
    assert "Why it misbehaves" in output
    assert "(live-stub)" in output
    assert "A free end in a box is at line voltage" in words(output)
    assert "- line leaves the feed in the landing box" in words(output)


def test_text_fits_the_terminal() -> None:
    """No line of all that is said about the shipped circuits is wider than 80 columns."""
    for command in ("check", "faults"):
        for path in SHIPPED:
            lines = run(command, path).stdout.splitlines()
            paths = [line for line in lines if line == path]
            assert paths
            assert max(len(line) for line in lines if line not in paths) <= 80


@pytest.mark.parametrize("locations", [7, 16])
def test_many_states_are_cut_short(tmp_path: Path, locations: int) -> None:
    """Sixteen states are shown, the rest is counted, and the table still fits the terminal."""
    circuit = sample(1, 0, fewest=locations, most=locations).circuit
    output = run("check", write(tmp_path / "many.toml", circuit)).stdout
    assert output.count("holds\n") == 16
    assert f"and {2**locations - 16:,} more of {2**locations:,} combinations" in words(output)
    for number, switch in enumerate(circuit.switches, 1):
        assert f"S{number} = {switch.name}" in output
    table = [line for line in output.splitlines() if line.endswith(("holds", "protection"))]
    assert max(map(len, table)) <= 80


class Impatient(DiagramsEngine):
    """An engine for many switches that gives up."""

    def prove(self, circuit: Circuit) -> Judgement:
        """Nothing, and why."""
        return Judgement("undecided", None, None, reason="the diagrams grew too large")


def test_undecided_is_not_sound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A circuit that no engine can prove is reported as undecided with the reason, status 1."""
    monkeypatch.setattr(rechecking, "DiagramsEngine", Impatient)
    switches = [Device(f"switch-{n}", "single-pole", "landing") for n in range(17)]
    devices = (Device("feed", "feed", "landing"), Device("lamp", "lamp", "landing"), *switches)
    path = write(tmp_path / "many.toml", Circuit("Many", (Box("landing"),), devices, (), ()))
    result = run("check", path)
    assert result.exit_code == 1
    assert "UNDECIDED: the diagrams grew too large." in words(result.stdout)
    form = json.loads(run("check", path, "--json").stdout)
    validate(form, CHECK)
    assert (form["verdict"], form["states"]) == ("undecided", [])
    result = run("faults", path)
    assert result.exit_code == 2
    assert f"{path}: 17 switches are more than the 16" in result.stderr


def test_faults_json(sound: str) -> None:
    """The fixed form; the counts are of all faults, and all are listed, each in its own text."""
    result = run("faults", sound, "--json")
    assert result.exit_code == 0
    form = json.loads(result.stdout)
    validate(form, FAULTS)
    assert form["total"] == len(form["faults"])
    counted = {
        kind: {
            verdict: sum(f["kind"] == kind and f["verdict"] == verdict for f in form["faults"])
            for verdict in PROVED
        }
        for kind in form["counts"]
    }
    assert form["counts"] == counted
    assert form["cautions"] == [caution.short for caution in cautions()]


def test_a_listed_circuit_checks_as_listed(tmp_path: Path, sound: str) -> None:
    """The circuit of a fault, saved and checked, has the verdict and hazards of the list."""
    faults = json.loads(run("faults", sound, "--json").stdout)["faults"]
    for fault in faults[::40]:
        path = tmp_path / "fault.toml"
        path.write_text(fault["circuit"], "utf-8")
        form = json.loads(run("check", str(path), "--json").stdout)
        assert form["verdict"] == fault["verdict"]
        assert form["hazards"] == fault["hazards"]
        assert form["signature"]["word"] == fault["signature"]


def test_filters_choose_what_is_listed_and_not_what_is_counted(sound: str) -> None:
    """`--kind` and `--verdict` shorten the list; the counts stay those of all faults."""
    everything = json.loads(run("faults", sound, "--json").stdout)
    chosen = ["--kind", "moved", "--kind", "split", "--verdict", "mimic", "--verdict", "trips"]
    form = json.loads(run("faults", sound, "--json", *chosen).stdout)
    assert (form["counts"], form["total"]) == (everything["counts"], everything["total"])
    assert form["faults"] == [
        fault
        for fault in everything["faults"]
        if fault["kind"] in ("moved", "split") and fault["verdict"] in ("mimic", "trips")
    ]
    assert form["faults"]


def test_faults_tells_a_person(sound: str) -> None:
    """Counts by kind and verdict, the mimics with their hazards explained, and the cautions."""
    output = run("faults", sound).stdout
    form = json.loads(run("faults", sound, "--json").stdout)
    for kind, counts in form["counts"].items():
        numbers = [*counts.values(), sum(counts.values())]
        assert any(line.split() == [kind, *map(str, numbers)] for line in output.splitlines())
    mimics = [fault for fault in form["faults"] if fault["verdict"] == "mimic"]
    assert f"{len(mimics)} faults listed: mimic." in output
    for fault in mimics:
        assert f"- {fault['description']} {', '.join(fault['hazards'])}" in words(output)
    assert "metal-floating: Metal not grounded." in output
    assert words(output).endswith(words(summary()))
    assert run("faults", sound).exit_code == 0


def test_faults_lists_other_verdicts_on_request(sound: str) -> None:
    """Any verdict or kind can be listed; a list with nothing in it says so."""
    output = run("faults", sound, "--kind", "lamp-shorted").stdout
    assert "1 fault listed: sound or mimic or misbehaves or trips." in output
    assert "- Lamp is shorted" in output
    assert "trips: no hazard" in output
    nothing = run("faults", sound, "--kind", "lamp-shorted", "--verdict", "sound").stdout
    assert "No fault to list that is sound." in nothing
    assert words(nothing).endswith(words(summary()))


def test_faults_of_a_faulty_circuit_say_so_first(sound: str) -> None:
    """Where the circuit itself is not sound, that comes before anything about its faults."""
    output = words(run("faults", HAZARDOUS).stdout)
    warning = output.index("this circuit is not sound but mimic (lamp-reversed)")
    assert warning < output.index("single faults")
    assert "not sound" not in words(run("faults", sound).stdout)
