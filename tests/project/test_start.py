"""`scripts/start.py` and the environment that the scripts share, without making one."""

import json
import os
import re
import socket
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from commandline import run
from hypothesis import given
from hypothesis import strategies as st
from packaging.requirements import Requirement

import environment
import pins
import renew_constraints
import start
from installing import Installation
from verify.base.cautions import summary

PINS = pins.read(pins.PLACE.read_text("utf-8"))
PROJECT = tomllib.loads((environment.ROOT / "pyproject.toml").read_text("utf-8"))["project"]
RUNNING = "{}.{}".format(*sys.version_info)

some_pins = st.lists(
    st.builds(
        pins.Pin,
        st.from_regex(r"[a-z][a-z0-9]*(-[a-z0-9]+)?", fullmatch=True),
        st.sampled_from(["3.11", "3.12", "3.20"]),
        st.from_regex(r"[0-9]{1,3}(\.[0-9]{1,3}){0,2}(\.post1)?", fullmatch=True),
        st.booleans(),
    ),
    max_size=8,
    unique_by=lambda pin: (pin.name, pin.python),
)


@given(some_pins, some_pins)
def test_renewing_touches_one_python(old: list[pins.Pin], found: list[pins.Pin]) -> None:
    """What was found for one Python replaces what was there for it, and nothing else."""
    before = pins.renewed("", "none", old)
    assert pins.read(before) == sorted(old)
    new = [pin._replace(python="3.12") for pin in {pin.name: pin for pin in found}.values()]
    after = pins.renewed(before, "3.12", new)
    assert pins.read(after) == sorted([*new, *(pin for pin in old if pin.python != "3.12")])
    assert pins.renewed(after, "3.12", new) == after


def test_the_constraints_are_as_they_are_written() -> None:
    """Nobody has edited the file by hand, and a line that is no pin is told."""
    text = pins.PLACE.read_text("utf-8")
    assert pins.renewed(text, "none", []) == text
    with pytest.raises(ValueError, match=r"'boat>=1' is no pin; run renew_constraints\.py"):
        pins.read("boat>=1\n")


@pytest.mark.parametrize("python", sorted({pin.python for pin in PINS}))
def test_the_constraints_fit_the_project(python: str) -> None:
    """For each Python every requirement has a version that it allows, and pip reads the lines."""
    versions = {pin.name: pin for pin in PINS if pin.python == python}
    needed = PROJECT["dependencies"]
    tested = PROJECT["optional-dependencies"]["test"]
    for text in (*needed, *tested):
        wanted = Requirement(text)
        pin = versions[pins.plain(wanted.name)]
        assert wanted.specifier.contains(pin.version), text
        assert text in tested or not pin.for_tests, text
        read = Requirement(pin.line().removesuffix("  # for tests"))
        assert read.marker
        assert read.marker.evaluate({"python_version": python})
        assert not read.marker.evaluate({"python_version": "3.10"})
    assert not {"miswire", "pip"} & versions.keys()


def test_other_versions_make_the_environment_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An environment is out of date when the constraints change, unless it has the newest."""
    before = [environment.contents(newest=newest) for newest in (False, True)]
    assert before[0] != before[1]
    changed = tmp_path / "constraints.txt"
    changed.write_text(pins.PLACE.read_text("utf-8") + "# other\n", "utf-8")
    monkeypatch.setattr(pins, "PLACE", changed)
    after = [environment.contents(newest=newest) for newest in (False, True)]
    assert after[0] != before[0]
    assert after[1] == before[1]


@pytest.fixture
def pip_fails(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """A pip that finds nothing; what it is asked."""
    asked: list[list[str]] = []
    say = "import sys; print('No matching distribution found for boat==1'); sys.exit(1)"

    def listening(command: list[str]) -> "subprocess.Popen[str]":
        asked.append(command)
        return subprocess.Popen([sys.executable, "-c", say], stdout=subprocess.PIPE, text=True)

    monkeypatch.setattr(environment, "_listening", listening)
    return asked


@pytest.mark.parametrize("newest", [False, True])
@pytest.mark.parametrize("python", [RUNNING, "3.98"])
def test_versions_are_the_tested_ones_where_known(
    pip_fails: list[list[str]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    python: str,
    newest: bool,
) -> None:
    """pip gets the constraints of a known Python; where one is gone, the remedy is said."""
    place = tmp_path / "constraints.txt"
    place.write_text(pins.renewed("", python, [pins.Pin("boat", python, "1", False)]), "utf-8")
    monkeypatch.setattr(pins, "PLACE", place)
    with pytest.raises(SystemExit) as refusal:
        environment._install(".", newest=newest)
    assert refusal.value.code == 2
    pinned = python == RUNNING and not newest
    (command,) = pip_fails
    assert (str(place) in command) == pinned
    assert ("--upgrade" in command) == newest
    told = " ".join(capsys.readouterr().err.split())
    assert "No matching distribution found for boat==1 pip=1: the installation failed" in told
    assert "run this script again" in told
    assert ("not to be had any more, run it with --newest" in told) == pinned
    assert ("the tests were not run with it" in told) == (python != RUNNING and not newest)


def test_what_is_installed_is_what_pip_lists() -> None:
    """The versions to note are those in the environment, by the names that indexes use."""
    assert pins.plain("Typing_Extensions.X") == "typing-extensions-x"
    listed = [{"name": "Jinja2", "version": "3"}, {"name": "pip", "version": "9"}]
    listed.append({"name": "miswire", "version": "0.1.0"})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(environment, "ask", lambda *_: (0, json.dumps(listed)))
        assert renew_constraints.installed() == {"jinja2": "3"}


def test_nothing_is_noted_when_a_test_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New versions are written only when the tests, slow ones too, have passed with them."""
    place = tmp_path / "constraints.txt"
    kept = pins.renewed("", "3.98", [pins.Pin("boat", "3.98", "1", False)])
    place.write_text(kept, "utf-8")
    monkeypatch.setattr(pins, "PLACE", place)
    monkeypatch.setattr(environment, "forget", lambda: None)
    monkeypatch.setattr(sys, "argv", ["renew_constraints.py"])
    extras: list[str] = []

    def ensure(extra: str = "", *, newest: bool) -> None:
        assert newest
        extras.append(extra)

    def ask(*command: str) -> tuple[int, str]:
        names = ["oar", "test-oar"] if extras[-1] else ["oar"]
        return 0, json.dumps([{"name": name, "version": "2"} for name in names])

    monkeypatch.setattr(environment, "ensure", ensure)
    monkeypatch.setattr(environment, "ask", ask)
    for status in (1, 0):
        monkeypatch.setattr(
            environment, "run", lambda *command, status=status: status if "--slow" in command else 9
        )
        assert place.read_text("utf-8") == kept
        assert renew_constraints.main() == status
    assert pins.read(place.read_text("utf-8")) == [
        pins.Pin("boat", "3.98", "1", False),
        pins.Pin("oar", RUNNING, "2", False),
        pins.Pin("test-oar", RUNNING, "2", True),
    ]


def test_an_installation_tells_the_time_left(tmp_path: Path) -> None:
    """Half of the work is collecting, half unpacking; what was unpacked before does not count."""

    def unpack(name: str, when: float | None = None) -> None:
        record = tmp_path / "lib" / "python3.98" / "site-packages" / f"{name}.dist-info" / "RECORD"
        record.parent.mkdir(parents=True)
        record.touch()
        if when is not None:
            os.utime(record, (when, when))

    unpack("before", 0)
    installation = Installation(tmp_path, 4)
    assert installation.told(1, 0) == "Collecting: 0 of 4 packages"
    for line in ("Collecting boat>=1", "  Downloading boat-1.whl (4 kB)", "Processing /x/oar.whl"):
        installation.hear(line.strip())
    assert installation.told(10, 0) == "Collecting: 2 of 4 packages, about 30 seconds left"
    installation.hear("Installing collected packages: boat, oar, rope, sail")
    assert installation.unpacked() == 0
    assert installation.told(20, 0) == "Unpacking: 0 of 4 packages, about 20 seconds left"
    unpack("boat")
    assert installation.unpacked() == 1
    assert installation.told(30, 2) == "Unpacking: 2 of 4 packages, about 10 seconds left"
    assert Installation(tmp_path, 0).told(5, 0) == "Collecting packages"


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What the commands that `start.py` runs print, with one circuit and two claims."""
    database = str(tmp_path_factory.mktemp("start") / "small.db")
    claims = ("reading-proves-live", "own-travelers-interchangeable")
    return {
        "build": run("build", database, "--random=1", "--seed=1", "--json").stdout,
        "audit": run("audit", database, "--sample=20", "--json").stdout,
        "claims": run("claims", "--json", *(f"--only={name}" for name in claims)).stdout,
    }


@pytest.fixture
def served(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, answers: dict[str, str]
) -> list[tuple[str, ...]]:
    """`start.py` where its commands have given these answers; the list gets what it serves."""
    commands: list[tuple[str, ...]] = []
    database = str(tmp_path / "boat house.db")
    asked = {
        "build": ("--locations", "2,3", database, "--json"),
        "audit": (database, "--json"),
        "claims": ("--into", database, "--json"),
    }

    def ask(program: str, command: str, *arguments: str) -> tuple[int, str]:
        assert program == "miswire"
        assert arguments == asked[command]
        return 0, answers[command]

    def serve(*command: str) -> int:
        commands.append(command)
        return 0

    monkeypatch.setattr(environment, "ensure", lambda *, newest: None)
    monkeypatch.setattr(environment, "ask", ask)
    monkeypatch.setattr(environment, "run", serve)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(environment.ROOT)
    monkeypatch.setattr(sys, "argv", ["start.py", database, "--port", "0"])
    return commands


def test_starting_ends_with_a_screen(
    served: list[tuple[str, ...]],
    answers: dict[str, str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It says what was built and proved again, where to look and what to try, with the cautions.

    The commands on it are real ones, and the server is asked for the address that it names.
    """
    assert start.main() == 0
    told, steps = capsys.readouterr()
    assert len(steps.splitlines()) == 3
    screen = " ".join(told.split())
    built, audited = json.loads(answers["build"]), json.loads(answers["audit"])
    assert built["circuits"] == 1
    assert f"1 circuit with {sum(built['faults'].values()):,} single faults" in screen
    assert f"mimic {built['faults']['mimic']:,}" in screen
    assert audited["audited"] > 0
    assert f"{audited['audited']:,} faults and 0 pairs of faults" in screen
    assert "no disagreement" in screen
    assert "2 sayings about such lights" in screen
    assert summary() in screen
    assert len(told.splitlines()) <= 36
    ((*command, port),) = served
    assert command == ["miswire", "serve", str(tmp_path / "boat house.db"), "--port"]
    assert f"http://127.0.0.1:{port}/-/miswire/desk" in told
    assert f"serve '{tmp_path}/boat house.db'" in told
    first = re.findall(r"^ {5}\S*miswire (.+)$", told, re.MULTILINE)
    assert [line.split()[0] for line in first] == ["check", "faults"]
    for line in first:
        assert (environment.ROOT / line.split()[1]).is_file()
    wide = [line for line in told.splitlines() if len(line) > 80 and "miswire" not in line]
    assert wide == []


def test_starting_without_serving_says_how_to(
    served: list[tuple[str, ...]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With --no-serve the same screen leads to the server, and none is started."""
    monkeypatch.setattr(sys, "argv", [*sys.argv[:2], "--no-serve"])
    assert start.main() == 0
    told = capsys.readouterr().out
    assert served == []
    assert "and then http://127.0.0.1:8001/" in told


def test_a_disagreement_ends_the_start(
    served: list[tuple[str, ...]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What an audit does not confirm is not served; the rows are named, and what to do."""
    honest = environment.ask

    def ask(program: str, command: str, *arguments: str) -> tuple[int, str]:
        if command != "audit":
            return honest(program, command, *arguments)
        row = {"label": "chain-1.f.1/split/box-1", "stored": "sound", "found": "mimic"}
        return 1, json.dumps({"disagreements": [row]})

    monkeypatch.setattr(environment, "ask", ask)
    assert start.main() == 1
    told, said = capsys.readouterr()
    assert told == ""
    assert served == []
    assert "chain-1.f.1/split/box-1: stored sound; found mimic" in said
    assert "disagreements=1" in said
    assert "trust nothing in this file" in said


@pytest.mark.parametrize("wrong", ["70000", "-1", "taken"])
def test_a_port_that_cannot_be_had_is_told_first(
    served: list[tuple[str, ...]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    wrong: str,
) -> None:
    """Nobody waits for minutes to learn that the port is taken."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1]) if wrong == "taken" else wrong
        monkeypatch.setattr(sys, "argv", [*sys.argv[:2], f"--port={port}"])
        with pytest.raises(SystemExit) as refusal:
            start.main()
    assert refusal.value.code == 2
    told, said = capsys.readouterr()
    assert told == ""
    assert said.startswith(f"--port={port}: cannot be had")
    assert "0 for any that is free" in said
