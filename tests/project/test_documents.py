"""The documents say what is so: their examples are run, and nothing that exists is left out."""

import re
import shlex
from importlib.util import find_spec
from pathlib import Path

import pytest
from click.testing import CliRunner

from catalogue.cli import COMMANDS, main
from catalogue.store.tables import TABLES
from verify.base.problems import CircuitError
from verify.behaviour.judgement import VERDICTS
from verify.circuit.file import loads
from verify.fault.registry import fault_kinds
from verify.hazard.definitions import HAZARDS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")

_EXAMPLE = re.compile(
    r"<!-- run: (head|grep) (\d+)(?: (.*))? -->\n```console\n\$ (.*)\n((?:.*\n)*?)```"
)
EXAMPLES = [match.groups() for match in _EXAMPLE.finditer(README)]


def shown(how: str, lines: str, pattern: str | None, output: str) -> str:
    """The part of a command's output that the README shows."""
    found = output.splitlines()
    start = 0
    if how == "grep":
        start = next(number for number, line in enumerate(found) if str(pattern) in line)
    return "".join(f"{line}\n" for line in found[start : start + int(lines)])


@pytest.mark.parametrize("example", EXAMPLES, ids=range(len(EXAMPLES)))
def test_examples_in_the_readme_are_real(
    example: tuple[str, str, str | None, str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the README shows is what its command prints."""
    how, lines, pattern, command, printed = example
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "80")
    program, *arguments = shlex.split(command)
    assert program == "miswire"
    output = CliRunner().invoke(main, arguments).stdout
    assert printed == shown(how, lines, pattern, output)


def test_the_readme_has_examples() -> None:
    """The pattern that finds the examples finds them all."""
    assert len(EXAMPLES) == README.count("```console") == 4


def test_the_readme_begins_with_the_job() -> None:
    """The first paragraph says what the program is for, and the cautions follow at once."""
    title, job, cautions = README.split("\n\n")[:3]
    assert title == "# Miswire"
    assert "catalogue" in job
    assert cautions.startswith("> **Before you open a box.**")


def test_the_readme_names_every_kind_hazard_and_verdict() -> None:
    """Whoever adds one finds out here what to write down."""
    names = [kind.name for kind in fault_kinds()] + [hazard.name for hazard in HAZARDS]
    missing = [name for name in (*names, *VERDICTS) if f"`{name}`" not in README]
    assert missing == []


def test_the_readme_names_the_commands_of_set_up() -> None:
    """There are exactly two."""
    (block,) = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    assert block.splitlines() == ["python3 scripts/start.py", "python3 scripts/test.py"]


def test_every_command_is_in_the_readme() -> None:
    """A command that nobody can read of is not there."""
    assert [name for name in COMMANDS if f"miswire {name}" not in README] == []


def test_the_circuit_file_in_the_readme_is_one() -> None:
    """The example of the format is read, but for parts that it leaves out."""
    (text,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    try:
        loads(text)
    except CircuitError as error:
        pytest.fail(str(error))


def test_developers_know_every_room() -> None:
    """The map of the house has a line for every folder, and for modules beside the folders."""
    listed = set(re.findall(r"`(?:verify/|catalogue/)?([\w.]+/?)`", DEVELOPERS))
    rooms = {
        f"{path.name}/" if path.is_dir() else path.name
        for package in ("verify", "catalogue")
        for path in (ROOT / package).iterdir()
        if path.name not in ("__init__.py", "__pycache__", "py.typed")
        if path.is_file()
        or any(f.is_file() and f.suffix not in (".pyc", ".nbi", ".nbc") for f in path.rglob("*"))
    }
    assert rooms - listed == set()


_PATH = re.compile(r"`((?:verify|catalogue|tests|data|scripts|\.ci)/[^`\s]*)")
_MODULE = re.compile(r"`((?:verify|catalogue)(?:\.[a-z_]+)+)")
_CONSTANT = re.compile(r"`([A-Z]+(?:_[A-Z]+)*)`")


def test_developers_are_sent_to_places_that_exist() -> None:
    """Every path, module and constant that the guide names is there."""
    paths, modules, constants = (
        set(pattern.findall(DEVELOPERS)) for pattern in (_PATH, _MODULE, _CONSTANT)
    )
    assert len(paths) > 40
    assert [path for path in sorted(paths) if not (ROOT / path).exists()] == []
    assert modules
    assert [name for name in sorted(modules) if find_spec(name) is None] == []
    code = "".join(
        path.read_text("utf-8")
        for package in ("verify", "catalogue")
        for path in (ROOT / package).rglob("*.py")
    )
    assert constants
    assert [
        name for name in sorted(constants) if not re.search(rf"^{name}\b.* = ", code, re.MULTILINE)
    ] == []


def test_the_commands_of_the_quick_loop_name_what_exists() -> None:
    """The first screen of the guide can be typed as it stands."""
    loop = DEVELOPERS.split("\n## ")[1]
    (block,) = re.findall(r"```sh\n(.*?)```", loop, re.DOTALL)
    assert DEVELOPERS.index(block) + len(block) < 800
    named = re.findall(r"(?:tests|scripts|\.ci)/\S+", block)
    assert len(named) == 5
    assert [path for path in named if not (ROOT / path).exists()] == []


def test_every_column_has_its_help() -> None:
    """Column help, pages and documents come from one sentence for each column."""
    lacking = [
        f"{table.name}.{column.name}"
        for table in TABLES
        for column in table.columns
        if not re.fullmatch(r"[A-Z0-9].{8,}", column.help)
    ]
    assert lacking == []
    assert all(table.help.endswith(".") for table in TABLES)
