"""The command `miswire`: its output, its exit statuses, and what it says to wrong input."""

import errno
import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import click
import pytest
from boathouse import NEUTRAL_ON_A_TRAVELER, SWITCH_NOT_GROUNDED, TRAVELER_LEFT_OFF, stair
from click.testing import CliRunner, Result
from jsonschema import validate

from catalogue.cli import COMMANDS, LazyGroup, main
from catalogue.sweep import build
from verify.cautions import cautions, summary
from verify.circuit import Box, Circuit, Device
from verify.circuitfile import dump
from verify.faults import fault_kinds
from verify.problems import BugError
from verify.resources import data_path
from verify.sampler import sample

PROGRAM = [sys.executable, "-c", "from catalogue.cli import main; main(prog_name='miswire')"]
SHIPPED = sorted(map(str, data_path("circuits").glob("*.toml")))
HAZARDOUS = str(data_path("circuits") / "faulty-lampholder-reversed.toml")

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
CHECK_PROPERTIES: dict[str, object] = {
    "format": {"const": 1},
    "name": {"type": "string"},
    "verdict": {"enum": ["sound", "mimic", "misbehaves", "trips", "undecided"]},
    "any_location": {"type": "boolean"},
    "states": {"type": "array", "items": STATE},
    "hazards": NAMES,
    "evidence": {"type": "object", "additionalProperties": {"type": "object"}},
    "rules": {"type": "array"},
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


def run(*arguments: str) -> Result:
    """Run a command in this process; an exception that escapes fails the test."""
    return CliRunner(catch_exceptions=False).invoke(
        main, arguments, prog_name="miswire", env={"COLUMNS": "80"}
    )


def words(text: str) -> str:
    """Text without its line breaks and indents."""
    return " ".join(text.split())


def write(path: Path, circuit: Circuit) -> str:
    """Write a circuit file; its path."""
    path.write_text(dump(circuit), "utf-8")
    return str(path)


@pytest.fixture
def sound(tmp_path: Path) -> str:
    """The sound stair as a file."""
    return write(tmp_path / "sound.toml", stair())


# Help and loading


@pytest.mark.parametrize("name", COMMANDS)
def test_commands_explain_themselves(name: str) -> None:
    """Every command has a help text of its own, and each of its options says what it does."""
    command = LazyGroup(commands={}).get_command(click.Context(main), name)
    assert command is not None
    assert command.get_short_help_str(limit=100) == COMMANDS[name][1]
    result = run(name, "--help")
    assert result.exit_code == 0
    assert words(command.help or "") in words(result.output)
    # Only these can find something wanting, which is nobody's mistake.
    if name in ("check", "audit"):
        assert "Exit status: 0 if" in result.output
    options = [part for part in command.params if isinstance(part, click.Option)]
    assert all(option.help for option in options)


def test_help_lists_every_command() -> None:
    """`miswire --help` lists every command with a line of help, and the exit statuses."""
    output = run("--help").output
    for name, (_, text) in COMMANDS.items():
        assert f"{name} " in output
        assert text in output
    assert "Exit status" in output


@pytest.mark.parametrize(
    ("arguments", "unwanted"),
    [
        (["--help"], "numpy networkx datasette sqlite_utils numba hypothesis"),
        (["--version"], "numpy networkx datasette sqlite_utils numba hypothesis"),
        (["check", SHIPPED[0]], "numba datasette sqlite_utils sqlite3 scipy hypothesis"),
        (["faults", SHIPPED[0]], "numba datasette sqlite_utils sqlite3 scipy hypothesis"),
    ],
    ids=lambda value: value if isinstance(value, str) else value[0],
)
def test_commands_load_only_what_they_need(arguments: list[str], unwanted: str) -> None:
    """A quick question does not wait for modules that have no part in its answer."""
    script = (
        "import sys\nfrom catalogue.cli import main\n"
        f"main({arguments!r}, prog_name='miswire', standalone_mode=False)\n"
        f"print('loaded:', *sorted(set(sys.modules) & set({unwanted.split()!r})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, encoding="utf-8", check=True
    )
    assert done.stdout.splitlines()[-1].strip() == "loaded:"


@pytest.mark.parametrize("arguments", [["solder"], ["check"], ["check", "--quietly", "x.toml"]])
def test_wrong_usage_is_status_2(arguments: list[str]) -> None:
    """An unknown command or option, or a missing argument, is bad input and says what is."""
    result = run(*arguments)
    assert result.exit_code == 2
    assert "Error: " in result.stderr
    assert not result.stdout


# check


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
    assert (form["hazards"], form["rules"]) == ([], [])
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


def test_undecided_is_not_sound(tmp_path: Path) -> None:
    """A circuit that no engine can prove is reported as undecided with the reason, status 1."""
    switches = [Device(f"switch-{n}", "single-pole", "landing") for n in range(17)]
    devices = (Device("feed", "feed", "landing"), Device("lamp", "lamp", "landing"), *switches)
    path = write(tmp_path / "many.toml", Circuit("Many", (Box("landing"),), devices, (), ()))
    result = run("check", path)
    assert result.exit_code == 1
    assert "UNDECIDED: 17 switches are more than the 16" in words(result.stdout)
    form = json.loads(run("check", path, "--json").stdout)
    validate(form, CHECK)
    assert (form["verdict"], form["states"]) == ("undecided", [])
    result = run("faults", path)
    assert result.exit_code == 2
    assert f"{path}: 17 switches are more than the 16" in result.stderr


# Wrong input


def _is_missing(path: Path) -> None:
    """Nothing there."""


def _is_a_folder(path: Path) -> None:
    path.mkdir()


def _is_empty(path: Path) -> None:
    path.touch()


def _is_binary(path: Path) -> None:
    path.write_bytes(bytes(range(256)) * 40)


def _is_cut_short(path: Path) -> None:
    text = dump(stair())
    path.write_text(text[: text.index("[[join]]") + 40], "utf-8")


def _is_huge(path: Path) -> None:
    path.write_text("# nothing but remarks\n" * 230_000, "utf-8")


def _contradicts_itself(path: Path) -> None:
    text = dump(stair()).replace("slipway-run.black", "slipway-run.blue")
    path.write_text(text.replace('kind = "feed"', 'kind = "lamp"'), "utf-8")


WRONG: dict[str, tuple[Callable[[Path], None], list[str]]] = {
    "missing": (_is_missing, ["cannot be read (No such file or directory)"]),
    "folder": (_is_a_folder, ["cannot be read (Is a directory)"]),
    "empty": (_is_empty, ["is empty"]),
    "binary": (_is_binary, ["is not UTF-8"]),
    "cut short": (_is_cut_short, ["is not TOML"]),
    "huge": (_is_huge, ["more than 1,000,000 bytes"]),
    "contradictory": (_contradicts_itself, ["there is no feed", "no conductor 'blue'"]),
}


@pytest.mark.parametrize("command", ["check", "faults"])
@pytest.mark.parametrize("wrong", WRONG)
def test_wrong_files(tmp_path: Path, command: str, wrong: str) -> None:
    """Every problem of a wrong file is a line that begins with the file's name; status 2."""
    spoil, complaints = WRONG[wrong]
    path = tmp_path / "stair.toml"
    spoil(path)
    for extra in ([], ["--json"]):
        result = run(command, str(path), *extra)
        assert result.exit_code == 2
        assert not result.stdout
        lines = result.stderr.splitlines()
        assert lines
        assert all(line.startswith(f"{path}: ") for line in lines)
        for complaint in complaints:
            assert any(complaint in line for line in lines), result.stderr


def test_one_wrong_file_does_not_silence_the_others(tmp_path: Path, sound: str) -> None:
    """The bad files are reported together and the good ones judged all the same; status 2."""
    wrong = [str(tmp_path / name) for name in ("first.toml", "second.toml")]
    result = run("check", wrong[0], sound, wrong[1], "--json")
    assert result.exit_code == 2
    assert [form["verdict"] for form in json.loads(result.stdout)] == ["sound"]
    assert [line.partition(":")[0] for line in result.stderr.splitlines()] == wrong
    result = run("check", wrong[0], sound, wrong[1])
    assert "1 circuit: 1 sound; 2 files not judged, see above" in result.stdout
    assert json.loads(run("check", *wrong, "--json").stdout) == []


@pytest.mark.parametrize("name", ["a\x1b[31mred\x07.toml", "two\nlines.toml", "\u202eevil.toml"])
def test_hostile_file_names_are_shown_as_escapes(tmp_path: Path, name: str) -> None:
    """A file's name cannot give orders to the terminal, whether the file is good or bad."""
    path = tmp_path / name
    missing = run("check", str(path))
    assert missing.stderr.count("\n") == 1
    write(path, stair())
    for text in (missing.stderr, run("check", str(path)).stdout, run("faults", str(path)).stdout):
        assert all(letter.isprintable() for letter in text.replace("\n", ""))


def in_japanese() -> str:
    """The stair, one of whose switches has a name of four letters that are two columns wide."""
    text = dump(stair()).replace("[device.slipway-switch]", '[device."slipway-switch"]')
    return text.replace("slipway-switch", "スイッチ")


def test_names_of_any_script_on_any_terminal(tmp_path: Path) -> None:
    """A terminal without the letters of a name, or a name that is not text, is no mistake."""
    text = in_japanese().replace("Boathouse", "Bootshütte")
    path = os.fsencode(tmp_path) + b"/sk\xffr.toml"
    Path(os.fsdecode(path)).write_text(text, "utf-8")
    for extra in ([], [b"--json"]):
        done = subprocess.run(
            [*PROGRAM, "check", path, *extra],
            capture_output=True,
            check=False,
            env={**os.environ, "PYTHONIOENCODING": "latin-1", "PYTHONUTF8": "0"},
        )
        assert (done.returncode, done.stderr) == (0, b"")
        assert rb"\u30b9" in done.stdout


def test_wide_letters_keep_columns_in_line(tmp_path: Path) -> None:
    """Letters of double width count twice, so that the columns below them stay straight."""
    path = tmp_path / "stair.toml"
    path.write_text(in_japanese(), "utf-8")
    output = run("check", str(path)).stdout
    assert "スイッチ  workshop-switch  lamp  protection\n--------  " in output
    assert "up        up               lit   holds\n" in output


# faults


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


# Errors of ours, signals, closed pipes, colour


@pytest.mark.parametrize(
    ("error", "wanted"),
    [(BugError("engines disagree"), "engines disagree"), (KeyError("x"), "KeyError: 'x'")],
)
def test_our_bugs_are_owned_up(
    sound: str, monkeypatch: pytest.MonkeyPatch, error: Exception, wanted: str
) -> None:
    """A contradiction in our own work has status 70, asks for a report, and shows no traceback."""

    def fail(circuit: Circuit) -> None:
        raise error

    monkeypatch.setattr("catalogue.commands.check.examine", fail)
    result = run("check", sound)
    assert result.exit_code == 70
    assert wanted in result.stderr
    assert "mistake in Miswire, not yours" in result.stderr
    assert "report it" in result.stderr
    assert "Traceback" not in result.output
    detailed = run("--traceback", "check", sound)
    assert detailed.exit_code == 70
    assert "Traceback (most recent call last)" in detailed.stderr
    if isinstance(error, BugError):
        assert sound in result.stderr


def test_interruption_is_status_130(sound: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Control-C ends a command with the status that shells know, and without a traceback."""

    def interrupt(circuit: Circuit) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("catalogue.commands.check.examine", interrupt)
    result = run("check", sound)
    assert result.exit_code == 130
    assert result.stderr.strip() == "Interrupted."


@pytest.mark.skipif(os.name != "posix", reason="pipes end differently elsewhere")
def test_a_reader_may_stop_reading(sound: str) -> None:
    """`miswire … | head` is quiet, and its status is that of a program ended by its pipe."""
    with subprocess.Popen(
        [*PROGRAM, "faults", "--json", sound], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout
        assert process.stderr
        process.stdout.read(10)
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is full")
def test_a_full_disk_is_said(sound: str) -> None:
    """Output that cannot be written is an error in a sentence, not a traceback."""
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*PROGRAM, "check", sound],
            stdout=full,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            check=False,
        )
    assert done.returncode == 2
    assert os.strerror(errno.ENOSPC) in done.stderr
    assert "Traceback" not in done.stderr


def test_no_color_is_honoured(sound: str) -> None:
    """Colour appears where it can be shown, and never when NO_COLOR is set."""
    runner = CliRunner()
    coloured = runner.invoke(main, ["check", sound], color=True, env={"NO_COLOR": None}).stdout
    plain = runner.invoke(main, ["check", sound], color=True, env={"NO_COLOR": "1"}).stdout
    assert "\x1b[" in coloured
    assert "\x1b[" not in plain
    assert click.unstyle(coloured) == plain


# build, audit, serve


@pytest.fixture(scope="module")
def catalogue_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small catalogue."""
    path = tmp_path_factory.mktemp("commands") / "boathouse.db"
    build(path, [2])
    return path


@pytest.fixture
def copy(catalogue_file: Path, tmp_path: Path) -> Path:
    """A copy of the small catalogue that a test may spoil."""
    return Path(shutil.copy(catalogue_file, tmp_path / "copy.db"))


def test_build_says_what_it_did(copy: Path) -> None:
    """The end of a build: circuits, faults by verdict, seconds and the digest, also as JSON."""
    form = json.loads(run("build", str(copy), "--locations", "2", "--json").stdout)
    assert (form["circuits"], form["proved"]) == (18, 0)
    result = run("build", str(copy), "--locations", "2", "--workers", "1")
    assert result.exit_code == 0
    said = dict(line.rsplit(maxsplit=1) for line in result.stdout.splitlines() if " " in line)
    said = {name.strip(): value for name, value in said.items()}
    assert said["digest"] == form["digest"]
    assert said["faults"] == f"{sum(form['faults'].values()):,}"
    assert said["mimic"] == f"{form['faults']['mimic']:,}"
    assert f"miswire serve {copy}" in result.stdout


def test_build_reports_every_wrong_option_at_once(tmp_path: Path) -> None:
    """Each wrong value is named with the rule, all together, and nothing is made."""
    path = tmp_path / "new.db"
    wrong = ["--locations", "2,x,99", "--random=-1", "--seed", "1.5", "--workers", "0"]
    result = run("build", str(path), *wrong)
    assert result.exit_code == 2
    for named in ("'x'", "'99'", "--random=-1", "--seed=1.5", "--workers=0"):
        assert any(named in line for line in result.stderr.splitlines()), named
    assert len(result.stderr.splitlines()) == 5
    assert not path.exists()


@pytest.mark.parametrize("locations", ["", "1", "7", "2,,3", "2;3", "1_0", "٣", "9" * 30])
def test_build_refuses_what_is_no_number_of_locations(tmp_path: Path, locations: str) -> None:
    """Only whole numbers from 2 to 6, in plain digits with commas between, are locations."""
    result = run("build", str(tmp_path / "new.db"), "--locations", locations)
    assert result.exit_code == 2
    assert "--locations" in result.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", [["audit"], ["serve"], ["build", "--locations", "2"]])
def test_files_that_are_no_catalogue(tmp_path: Path, command: list[str]) -> None:
    """A database of something else, or no database, is named, left alone, and is status 2."""
    for name, content in (("notes.db", b"not a database at all" * 100), ("sub", None)):
        path = tmp_path / name
        if content is None:
            path.mkdir()
        else:
            path.write_bytes(content)
        result = run(*command, str(path))
        assert result.exit_code == 2
        assert result.stderr.startswith(f"{path}: ")
        assert "Traceback" not in result.stderr
        if content is not None:
            assert path.read_bytes() == content


@pytest.mark.parametrize("command", ["audit", "serve"])
def test_missing_catalogue_is_not_made(tmp_path: Path, command: str) -> None:
    """A catalogue that is not there is bad input with a remedy, and still not there after."""
    path = tmp_path / "none.db"
    result = run(command, str(path))
    assert result.exit_code == 2
    assert "miswire build" in result.stderr
    assert not path.exists()


@pytest.fixture
def few_audited(monkeypatch: pytest.MonkeyPatch) -> None:
    """Audit by sample also what is otherwise audited whole, for speed."""
    monkeypatch.setattr("catalogue.audit.ALL_UP_TO", 1)


@pytest.mark.usefixtures("few_audited")
def test_audit_agrees(copy: Path) -> None:
    """Faults are proved again, and the result agrees."""
    result = run("audit", str(copy), "--sample", "30", "--json")
    assert result.exit_code == 0
    form = json.loads(result.stdout)
    assert (form["audited"], form["disagreements"]) == (30, [])
    assert (
        f"30 of {form['stored']:,} stored faults" in run("audit", str(copy), "--sample=30").stdout
    )


@pytest.mark.usefixtures("few_audited")
def test_audit_finds_what_was_changed(copy: Path) -> None:
    """Stored verdicts that are not true are named, with what is stored and what was found."""
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("update fault set verdict_id = 1")
    result = run("audit", str(copy), "--sample", "60")
    assert result.exit_code == 1
    shown = result.stdout.count("  stored  sound")
    assert shown == result.stdout.count("  found   ") == 20
    form = json.loads(run("audit", str(copy), "--sample", "60", "--json").stdout)
    assert f"and {len(form['disagreements']) - shown} more" in result.stdout


def test_audit_and_serve_check_their_options(copy: Path) -> None:
    """Numbers out of bounds are refused before anything is opened."""
    wrong = run("audit", str(copy), "--sample", "many", "--seed", "-1")
    assert wrong.exit_code == 2
    assert len(wrong.stderr.splitlines()) == 2
    for port in ("-1", "65536", "http"):
        result = run("serve", str(copy), f"--port={port}")
        assert result.exit_code == 2
        assert f"--port={port}: must be a whole number from 0 to 65,535" in result.stderr


def test_port_in_use_is_said(copy: Path) -> None:
    """Another program on the port is no traceback but a sentence with the remedy."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        result = run("serve", str(copy), "--port", str(port))
    assert result.exit_code == 2
    assert f"--port={port}: is in use by another program; name another one" in result.stderr


def test_paths_that_cannot_be_served_are_refused(copy: Path) -> None:
    """A name that would be read as part of an address is refused rather than misread."""
    path = copy.rename(copy.with_name("what?.db"))
    result = run("serve", str(path))
    assert result.exit_code == 2
    assert "with ? in it cannot be served; rename" in result.stderr


@pytest.fixture
def served(copy: Path) -> Iterator[tuple[str, "subprocess.Popen[str]"]]:
    """The address of a running server, and the server."""
    with subprocess.Popen(
        [*PROGRAM, "serve", str(copy), "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    ) as server:
        assert server.stdout
        line = server.stdout.readline()
        yield line.split()[-1], server
        server.kill()


def test_serve_until_control_c(served: tuple[str, "subprocess.Popen[str]"], copy: Path) -> None:
    """Rows are served on this machine only, the file stays as it is, Control-C is a good end."""
    address, server = served
    content = copy.read_bytes()
    assert address.startswith("http://127.0.0.1:")
    with urllib.request.urlopen(f"{address}copy/fault.json?_size=1&_shape=array") as answer:
        assert json.load(answer)[0]["id"] == 1
    with urllib.request.urlopen(f"{address}-/databases.json") as answer:
        databases = {found["name"]: found for found in json.load(answer)}
    assert not databases["copy"]["is_mutable"]
    server.send_signal(signal.SIGINT)
    said, complaints = server.communicate(timeout=30)
    assert server.returncode == 0
    assert said.splitlines() == ["Control-C stops it.", "Stopped."]
    assert complaints == ""
    assert copy.read_bytes() == content


def test_serve_says_that_a_build_is_not_finished(copy: Path) -> None:
    """A catalogue whose build was interrupted is served with a warning: circuits are missing."""
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("update run set digest = null")
    with socket.create_server(("127.0.0.1", 0)) as other:
        result = run("serve", str(copy), "--port", str(other.getsockname()[1]))
    assert "its build is not finished" in result.stderr
