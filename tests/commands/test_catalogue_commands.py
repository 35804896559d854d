"""`miswire build`, `audit` and `serve`: what they say, and what they refuse."""

import json
import shutil
import signal
import socket
import sqlite3
import subprocess
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from commandline import PROGRAM, run, words

from catalogue.build.sweep import build


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
    monkeypatch.setattr("catalogue.build.audit.ALL_UP_TO", 1)


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
        connection.execute("update outcome set verdict_id = 1")
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
        # Both lines, since what is read ahead here would be lost to `communicate`.
        line, hint = server.stdout.readline(), server.stdout.readline()
        assert hint == "Control-C stops it.\n"
        yield line.split()[-1], server
        server.kill()


def test_serve_until_control_c(served: tuple[str, "subprocess.Popen[str]"], copy: Path) -> None:
    """Rows are served on this machine only, the file stays as it is, Control-C is a good end."""
    address, server = served
    content = copy.read_bytes()
    assert address.startswith("http://127.0.0.1:")
    with urllib.request.urlopen(f"{address}copy/fault.json?_size=1&_shape=array") as answer:
        assert json.load(answer)[0]["id"] == 1
    # A build or an audit may go on meanwhile, so the file is not handed out as if it were at rest;
    # that serving changes nothing is shown below.
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(f"{address}copy.db")
    server.send_signal(signal.SIGINT)
    said, complaints = server.communicate(timeout=30)
    assert server.returncode == 0
    assert said.splitlines() == ["Stopped."]
    assert complaints == ""
    assert copy.read_bytes() == content


def test_a_catalogue_of_an_older_version_is_named(copy: Path) -> None:
    """Its tables lack what pages ask for: it is to be built again, and stays as it is till then."""
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("drop table summary")
        connection.execute("delete from _sqlite_migrations where name = 'counts_in_place_of_rows'")
    content = copy.read_bytes()
    for command in (["serve", str(copy)], ["audit", str(copy)]):
        result = run(*command)
        assert result.exit_code == 2
        assert "was made by an older version; repeat the miswire build" in words(result.stderr)
    assert copy.read_bytes() == content


def test_serve_says_that_a_build_is_not_finished(copy: Path) -> None:
    """A catalogue whose build was interrupted is served with a warning: circuits are missing."""
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("update run set digest = null")
    with socket.create_server(("127.0.0.1", 0)) as other:
        result = run("serve", str(copy), "--port", str(other.getsockname()[1]))
    assert "its build is not finished" in result.stderr
