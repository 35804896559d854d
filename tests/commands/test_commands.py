"""The command `miswire` as a whole: help, loading, wrong input, errors and exit statuses."""

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from boathouse import stair
from click.testing import CliRunner
from commandline import PROGRAM, SHIPPED, run, words, write

from catalogue.cli import COMMANDS, LazyGroup, main
from verify.base.problems import BugError
from verify.base.resources import data_path
from verify.circuit.file import dump
from verify.circuit.model import Circuit


@pytest.fixture
def sound(tmp_path: Path) -> str:
    """The sound stair as a file."""
    return write(tmp_path / "sound.toml", stair())


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


#: More states than these have are worth loading the compiler for.
TWO_LOCATIONS = str(data_path("circuits/stair-feed-at-lamp.toml"))


@pytest.mark.parametrize(
    ("arguments", "unwanted"),
    [
        (["--help"], "numpy networkx datasette sqlite_utils numba hypothesis"),
        (["--version"], "numpy networkx datasette sqlite_utils numba hypothesis"),
        (["check", SHIPPED[0]], "numba datasette sqlite_utils sqlite3 scipy hypothesis"),
        (["faults", TWO_LOCATIONS], "numba datasette sqlite_utils sqlite3 scipy hypothesis"),
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


@pytest.mark.may_skip("the tested behaviour is that of POSIX systems")
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


@pytest.mark.may_skip("not every system has a device that is full")
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
