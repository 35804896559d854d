"""The environment in `.venv` that the scripts beside this file share.

`python3 scripts/environment.py` makes it with everything that the tests and checks need.
The grammar is kept old, so that an old Python gets as far as saying that it is too old.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PROGRAMS = VENV / ("Scripts" if os.name == "nt" else "bin")
OLDEST_PYTHON = (3, 11)
TEST_EXTRA = "[test]"

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


def ensure(extra: str = "") -> None:
    """Bring `.venv` up to date with `pyproject.toml`; an interrupted run is simply repeated.

    `extra` is empty or `TEST_EXTRA`. Exits with status 2 if the environment cannot be made.
    """
    require_python(sys.version_info[:2], has_venv=all(map(find_spec, ("venv", "ensurepip"))))
    place = f"{ROOT} {sys.version!r}"
    content = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    recorded = _STAMP.read_text("utf-8").split("\n") if _STAMP.is_file() else []
    # An environment that can run the tests can run everything.
    if recorded in ([place, content, extra], [place, content, TEST_EXTRA]):
        return
    try:
        if recorded[:1] != [place]:
            _make()
        _STAMP.write_text(place, "utf-8")  # a fresh one or not, it is not up to date yet
        _install(f".{extra}")
        _STAMP.write_text("\n".join((place, content, extra)), "utf-8")
    except OSError as error:
        refuse(f"environment={VENV}: {error}; mend that, then run this script again.")
    except KeyboardInterrupt:
        say("\nInterrupted; run this script again to go on.")
        raise SystemExit(130) from None


def _make() -> None:
    """An empty environment, in place of whatever is there."""
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


def _install(requirement: str) -> None:
    say("Installing Miswire and what it needs, a minute or two")
    command = [str(PROGRAMS / "python"), "-m", "pip", "install", "--no-input"]
    command += ["--disable-pip-version-check", "--progress-bar", "off", "--editable", requirement]
    lines = []
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8"
    ) as pip:
        for line in pip.stdout or ():
            lines.append(line)
            _show(line.strip())
    _show("")
    if pip.returncode:
        shown = "".join(lines[-_LINES_SHOWN_ON_FAILURE:])
        refuse(
            f"{shown}pip={pip.returncode}: the installation failed, see above; "
            "if the package index was out of reach, run this script again."
        )


def _show(line: str) -> None:
    """Keep one line of a terminal up to date; a log file is spared the details."""
    if sys.stderr.isatty():
        width = shutil.get_terminal_size().columns - 1
        print(f"\r\x1b[K{line[:width]}", end="", file=sys.stderr, flush=True)


def run(*command: str) -> int:
    """Run a program of the environment in the checkout; its exit status.

    Control-C reaches the program by itself, a request to terminate is passed on:
    either way the program is given the time to finish.
    """
    with subprocess.Popen([str(PROGRAMS / command[0]), *command[1:]], cwd=ROOT) as process:
        signal.signal(signal.SIGINT, lambda *_: None)
        signal.signal(signal.SIGTERM, lambda *_: process.terminate())
        status = process.wait()
    return status if status >= 0 else 128 - status


if __name__ == "__main__":
    ensure(TEST_EXTRA)
