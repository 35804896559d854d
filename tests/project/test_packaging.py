"""What `pyproject.toml` promises is there, and the scripts and tests keep their own rules."""

import ast
import importlib.util
import re
import shutil
import subprocess
import tomllib
from collections.abc import Callable
from importlib.metadata import EntryPoint
from pathlib import Path
from types import ModuleType

import pytest
import yaml
from click.testing import CliRunner

import catalogue
import environment
from verify.base.resources import data_path

pytest_plugins = ["pytester"]

PROJECT = tomllib.loads((environment.ROOT / "pyproject.toml").read_text("utf-8"))["project"]
ENTRY_POINTS = [
    EntryPoint(name, value, group)
    for group, entries in {
        "console_scripts": PROJECT["scripts"],
        **PROJECT["entry-points"],
    }.items()
    for name, value in entries.items()
]


@pytest.mark.parametrize("entry_point", ENTRY_POINTS, ids=lambda entry: entry.group)
def test_entry_points_resolve(entry_point: EntryPoint) -> None:
    """Every command and plugin that the installed project announces can be loaded."""
    loaded = entry_point.load()
    assert callable(loaded) if entry_point.attr else isinstance(loaded, ModuleType)


def test_command_states_the_version() -> None:
    """`miswire --version` says the version of `pyproject.toml`, the only place that states it."""
    command = EntryPoint("miswire", PROJECT["scripts"]["miswire"], "console_scripts").load()
    result = CliRunner().invoke(command, ["--version"])
    assert result.exit_code == 0
    assert result.output.split()[-1] == PROJECT["version"]


def test_installed_version_is_the_checkouts() -> None:
    """Results are stamped with the version that produced them, not that of an old installation."""
    assert catalogue.version() == PROJECT["version"]


def test_data_is_found_in_a_checkout() -> None:
    """In a checkout the shipped data is the folder `data`."""
    assert data_path("circuits") == environment.ROOT / "data" / "circuits"


def test_absent_data_is_named() -> None:
    """A file that is not shipped is an error that names it, not a path to nowhere."""
    with pytest.raises(FileNotFoundError, match=r"data='boathouse\.bin'"):
        data_path("boathouse.bin")


def test_wheel_prefers_its_own_data(tmp_path: Path) -> None:
    """Installed, the data is the package's own, though another project owns a `data` beside it."""
    package = tmp_path / "verify"
    for folder in (package / "_data", tmp_path / "data"):
        folder.mkdir(parents=True)
        (folder / "plan.txt").touch()
    (package / "base").mkdir()
    copy = shutil.copy(environment.ROOT / "verify" / "base" / "resources.py", package / "base")
    spec = importlib.util.spec_from_file_location("installed_resources", copy)
    assert spec
    assert spec.loader
    installed = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(installed)
    assert installed.data_path("plan.txt") == package / "_data" / "plan.txt"


def test_every_licence_is_there_in_full() -> None:
    """The texts in `data/licences/` are those that the project's expression names, each of them."""
    named = set(re.split(r" AND | OR |[()]", PROJECT["license"])) - {""}
    texts = sorted((environment.ROOT / "data" / "licences").iterdir())
    assert {text.stem for text in texts} == named
    for pattern in PROJECT["license-files"]:
        assert sorted(environment.ROOT.glob(pattern)) == texts
    for text in texts:
        words = " ".join(text.read_text("utf-8").split())
        assert len(words) > 3000
        assert "Copyright" in words


def test_the_top_of_the_project_is_short() -> None:
    """Who opens the project sees its folders and two documents, and no file that lies about."""
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=environment.ROOT, capture_output=True, encoding="utf-8", check=True
    )
    top = {line.partition("/")[0] for line in tracked.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "verify",
        "catalogue",
        "tests",
        "data",
        "scripts",
    }


def test_commits_are_checked_as_in_ci() -> None:
    """What looks at a commit are the programs of `.ci/run`, of `.venv`, and nothing is fetched."""
    hooks = yaml.safe_load((environment.ROOT / ".pre-commit-config.yaml").read_text("utf-8"))
    (repository,) = hooks["repos"]
    assert repository["repo"] == "local"
    assert {hook["language"] for hook in repository["hooks"]} == {"system"}
    ci = (environment.ROOT / ".ci" / "run").read_text("utf-8")
    for hook in repository["hooks"]:
        program, *arguments = hook["entry"].split()
        assert program.startswith(".venv/bin/")
        assert re.search(rf"^{re.escape(' '.join([program, *arguments]))}\b", ci, re.MULTILINE)


def test_scripts_ask_for_the_declared_python() -> None:
    """The scripts refuse exactly the Pythons that the project does not support."""
    assert PROJECT["requires-python"] == ">={}.{}".format(*environment.OLDEST_PYTHON)
    environment.require_python(environment.OLDEST_PYTHON, has_venv=True)


@pytest.mark.parametrize(
    ("running", "has_venv", "remedy"),
    [((3, 10), True, "Python 3.11 or newer"), ((3, 11), False, "python3-venv")],
)
def test_unfit_python_is_refused(
    running: tuple[int, int], has_venv: bool, remedy: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A Python that cannot do it ends a script with status 2 and the remedy."""
    with pytest.raises(SystemExit) as refusal:
        environment.require_python(running, has_venv=has_venv)
    assert refusal.value.code == 2
    assert remedy in capsys.readouterr().err


@pytest.mark.parametrize(
    "name", ["environment.py", "installing.py", "pins.py", "start.py", "test.py"]
)
def test_scripts_parse_on_an_old_python(name: str) -> None:
    """An old Python understands the scripts well enough to say that it is too old."""
    source = (environment.ROOT / "scripts" / name).read_text("utf-8")
    ast.parse(source, name, feature_version=(3, 7))


SAMPLE = """
import pytest

def test_runs(): pass

@pytest.mark.slow
def test_takes_long(): pass

def test_gives_up(): pytest.skip("no tool")

@pytest.mark.skipif(True, reason="no tool")
def test_never_starts(): pass

@pytest.mark.may_skip("the tool is for another system")
def test_is_allowed_to(): pytest.skip("no tool")

@pytest.mark.xfail
def test_fails_as_expected(): assert False
"""


@pytest.fixture
def run_sample(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., pytest.RunResult]:
    """Run the text of a test module under this project's configuration and `conftest.py`."""

    def run(text: str, *arguments: str, ci: str) -> pytest.RunResult:
        monkeypatch.setenv("CI", ci)
        for name in ("pyproject.toml", "tests/conftest.py"):
            copy = pytester.path / name
            copy.parent.mkdir(exist_ok=True)
            shutil.copy(environment.ROOT / name, copy)
        (pytester.path / "tests" / "test_sample.py").write_text(text, "utf-8")
        return pytester.runpytest_subprocess(*arguments)

    return run


def test_skips_are_free_outside_ci(run_sample: Callable[..., pytest.RunResult]) -> None:
    """Elsewhere a missing tool is no failure, and the slow tier is left out."""
    result = run_sample(SAMPLE, ci="")
    result.assert_outcomes(passed=1, skipped=3, xfailed=1, deselected=1)
    assert result.ret == pytest.ExitCode.OK


def test_skips_fail_in_ci_unless_marked(run_sample: Callable[..., pytest.RunResult]) -> None:
    """In CI a skip is a failure unless marked `may_skip`; `--slow` leaves nothing out."""
    result = run_sample(SAMPLE, "--slow", ci="true")
    result.assert_outcomes(passed=2, skipped=1, xfailed=1, failed=1, errors=1)
    assert result.ret == pytest.ExitCode.TESTS_FAILED


def test_module_that_skips_itself_fails_in_ci(
    run_sample: Callable[..., pytest.RunResult],
) -> None:
    """In CI a whole module cannot slip away by skipping itself while it is collected."""
    result = run_sample('import pytest\npytest.importorskip("no_such_module")', ci="true")
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*A skip counts as a failure in CI*"])
    assert result.ret == pytest.ExitCode.INTERRUPTED
