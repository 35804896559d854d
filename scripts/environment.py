"""The environment in `.venv` that the scripts beside this file share.

`python3 scripts/environment.py` makes it with everything that the tests and checks need, in the
versions of `constraints.txt`; with `--newest` in the newest that fit.
The grammar is kept old, so that an old Python gets as far as saying that it is too old.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import signal
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import NoReturn

import pins
from installing import Installation

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PROGRAMS = VENV / ("Scripts" if os.name == "nt" else "bin")
OLDEST_PYTHON = (3, 11)
TEST_EXTRA = "[test]"
NEWEST = "--newest"
#: The help text for `NEWEST` in scripts that take it.
NEWEST_HELP = "install the newest versions that fit, not those that the tests ran with"

_STAMP = VENV / "miswire-stamp"
_LINES_SHOWN_ON_FAILURE = 15


def say(text: str) -> None:
    """Tell the person what is going on, on standard error."""
    print(text, file=sys.stderr, flush=True)


def refuse(text: str) -> NoReturn:
    """Say what is missing and how to mend it, and exit with status 2."""
    say(text)
    raise SystemExit(2)


def require_python(running: tuple[int, int], *, has_venv: bool) -> None:
    """Refuse a Python that cannot make the environment."""
    if running < OLDEST_PYTHON:
        refuse(
            "python={}.{}: Miswire needs Python {}.{} or newer; "
            "run this script with one, for example `python3.11 {}`.".format(
                *running, *OLDEST_PYTHON, " ".join(sys.argv)
            )
        )
    if not has_venv:
        refuse(
            f"python={sys.executable}: this Python cannot make environments, "
            "its modules venv and ensurepip are missing; "
            "on Debian and Ubuntu run `apt-get install python3-venv`, then this script again."
        )


def ensure(extra: str = "", *, newest: bool = False) -> None:
    """Bring `.venv` up to date with `pyproject.toml`; an interrupted run is simply repeated.

    `extra` is empty or `TEST_EXTRA`. Versions are those that the tests ran with where they are
    known for this Python, otherwise and with `newest` the newest that fit.
    Exits with status 2 if the environment cannot be made.
    """
    require_python(sys.version_info[:2], has_venv=all(map(find_spec, ("venv", "ensurepip"))))
    place = f"{ROOT} {sys.version!r}"
    content = contents(newest=newest)
    recorded = _STAMP.read_text("utf-8").split("\n") if _STAMP.is_file() else []
    # An environment that can run the tests is good for everything.
    if recorded in ([place, content, extra], [place, content, TEST_EXTRA]):
        return
    try:
        if recorded[:1] != [place]:
            _make()
        _STAMP.write_text(place, "utf-8")  # new or old, it is not up to date yet
        _install(f".{extra}", newest=newest)
        _STAMP.write_text("\n".join((place, content, extra)), "utf-8")
    except OSError as error:
        refuse(f"environment={VENV}: {error}; mend that, then run this script again.")
    except KeyboardInterrupt:
        say("\nInterrupted; run this script again to go on.")
        raise SystemExit(130) from None


def _listening(command: list[str]) -> subprocess.Popen[str]:
    """Start a program in the checkout whose output can be read as it comes."""
    return subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8"
    )


def forget() -> None:
    """Make the next `ensure` build the environment anew."""
    _STAMP.unlink(missing_ok=True)


def contents(*, newest: bool) -> str:
    """Return what the environment is made of; it is brought up to date when this changes."""
    made_of = (ROOT / "pyproject.toml").read_bytes()
    made_of += NEWEST.encode() if newest else pins.PLACE.read_bytes()
    return hashlib.sha256(made_of).hexdigest()


def _make() -> None:
    """Make an empty environment in place of whatever is there."""
    say(f"Making the environment {VENV}")
    made = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", str(VENV)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    if made.returncode:
        refuse(f"{made.stdout}environment={VENV}: Python could not make it, see above.")


def _install(requirement: str, *, newest: bool) -> None:
    python = "{}.{}".format(*sys.version_info)
    known = pins.read(pins.PLACE.read_text("utf-8"))
    pinned = any(pin.python == python for pin in known)
    if newest:
        options = ["--upgrade", "--upgrade-strategy", "eager"]
    elif pinned:
        options = ["--constraint", str(pins.PLACE)]
    else:
        options = []
        say(
            f"python={python}: the tests were not run with it, "
            "so the newest versions that fit are installed."
        )
    say("Installing Miswire and what it needs, a minute or two")
    command = [str(PROGRAMS / "python"), "-m", "pip", "install", "--no-input"]
    command += ["--disable-pip-version-check", "--progress-bar", "off", *options]
    expected = {pin.name for pin in known if TEST_EXTRA in requirement or not pin.for_tests}
    lines = []
    command += ["--editable", requirement]
    with Installation(VENV, len(expected)) as installation, _listening(command) as pip:
        for line in pip.stdout or ():
            lines.append(line)
            installation.hear(line.strip())
    if pip.returncode:
        shown = "".join(lines[-_LINES_SHOWN_ON_FAILURE:])
        gone = (
            ""
            if newest or not pinned
            else "; if a version that scripts/constraints.txt names is not to be had any more, "
            f"run it with {NEWEST}, which takes the newest versions that fit"
        )
        refuse(
            f"{shown}pip={pip.returncode}: the installation failed, see above; "
            f"if the package index was out of reach, run this script again{gone}."
        )


def run(*command: str) -> int:
    """Run a program of the environment in the checkout; return its exit status.

    Control-C reaches the program by itself, a request to terminate is passed on: either way the
    program gets the time to finish.
    """
    return _run(command, None)[0]


def ask(*command: str) -> tuple[int, str]:
    """Run a program like `run`; return its exit status and its standard output."""
    return _run(command, subprocess.PIPE)


def _run(command: tuple[str, ...], stdout: int | None) -> tuple[int, str]:
    with subprocess.Popen(
        [str(PROGRAMS / command[0]), *command[1:]], cwd=ROOT, stdout=stdout, encoding="utf-8"
    ) as process:
        signal.signal(signal.SIGINT, lambda *_: None)
        signal.signal(signal.SIGTERM, lambda *_: process.terminate())
        printed, _ = process.communicate()
    status = process.returncode
    return status if status >= 0 else 128 - status, printed or ""


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument(NEWEST, action="store_true", help=NEWEST_HELP)
    ensure(TEST_EXTRA, newest=arguments.parse_args().newest)
