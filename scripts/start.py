"""This goes from a fresh checkout to a running catalogue: `python3 scripts/start.py`.

Makes the environment in `.venv`, builds the complete catalogue of two and three locations,
audits a sample of it with independent engines, judges the claims that its pages show, says what
came of it, and serves it until Control-C.
Every step can be interrupted and repeated: installing and building go on where they stopped.
"""

from __future__ import annotations

import argparse
import json
import os
import shlex
import shutil
import socket
import textwrap
import time
from collections import Counter
from pathlib import Path
from typing import Any

import environment

#: The port at which `miswire serve` serves.
_HOST = "127.0.0.1"
_USUAL_PORT = 8001
_CIRCUITS = environment.ROOT / "data" / "circuits"
_NO_BREAK = "\N{NO-BREAK SPACE}"
_WIDEST = 100
_NARROWEST = 40


def main() -> int:
    """Run the steps in order; return the status of the first that fails, 2 for a bad machine."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "database",
        nargs="?",
        type=Path,
        default=environment.ROOT / "catalogue.db",
        help="the file to build (%(default)s)",
    )
    parser.add_argument("--no-serve", action="store_true", help="stop when built and audited")
    parser.add_argument(
        "--port",
        type=int,
        default=_USUAL_PORT,
        help="where on 127.0.0.1 to serve (%(default)s); 0 takes any that is free",
    )
    parser.add_argument(environment.NEWEST, action="store_true", help=environment.NEWEST_HELP)
    arguments = parser.parse_args()
    port = None if arguments.no_serve else _free_port(arguments.port)
    started = time.monotonic()
    environment.ensure(newest=arguments.newest)
    database = arguments.database.resolve()
    answers = []
    for what, *command in (
        ("Building the catalogue of two and three locations", "build", "--locations", "2,3"),
        ("Proving a part of it again by independent engines", "audit"),
        ("Judging what people say about such lights", "claims", "--into"),
    ):
        environment.say(what)
        status, printed = environment.ask("miswire", *command, str(database), "--json")
        if status:
            if printed:  # status 1 is an audit that disagrees; other failures have said why
                environment.say(_disagreements(json.loads(printed)["disagreements"]))
            return status
        answers.append(json.loads(printed))
    seconds = time.monotonic() - started
    built, audited, register = answers
    print(screen(built, audited, register, database, seconds, port), flush=True)
    if port is None:
        return 0
    return environment.run("miswire", "serve", str(database), "--port", str(port))


def _free_port(port: int) -> int:
    """Return the port if it is free, or any free one for 0, before minutes of work are spent."""
    with socket.socket() as listener:
        if os.name == "posix":
            # Without this a server that was just stopped keeps its port for a while.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((_HOST, port))
            listener.listen()
        except (OSError, OverflowError) as error:
            environment.refuse(
                f"--port={port}: cannot be had ({error}); "
                "name another one up to 65535, or 0 for any that is free."
            )
        number: int = listener.getsockname()[1]
        return number


def _disagreements(rows: list[dict[str, str]]) -> str:
    """Return what an audit found that is not as it is stored, and what to do."""
    told = [f"{row['label']}: stored {row['stored']}; found {row['found']}" for row in rows]
    told.append(
        f"disagreements={len(rows)}: the independent engines find something else than what is "
        "stored; trust nothing in this file, delete it and run this script again, and report it."
    )
    return "\n".join(told)


def screen(
    built: dict[str, Any],
    audited: dict[str, Any],
    register: dict[str, Any],
    database: Path,
    seconds: float,
    port: int | None,
) -> str:
    """Return the last screen: what was built and proved again, where to look, what to try.

    `built`, `audited` and `register` are what the commands print as JSON; `port` is where the
    catalogue is about to be served, or None if it is not.
    """
    import tomllib  # Pythons that are too old, and must be told so, do not have this

    cautions = tomllib.loads((environment.ROOT / "data" / "cautions.toml").read_text("utf-8"))
    verdicts = {verdict: number for verdict, number in built["faults"].items() if number}
    statuses = Counter(claim["status"].replace("-", " ") for claim in register["claims"])
    facts = {
        "Built": f"{_counted(built['circuits'], 'circuit')} with "
        f"{_counted(sum(verdicts.values()), 'single fault')}: {_listed(verdicts)}",
        "Proved again": f"{_counted(audited['audited'], 'fault')} and "
        f"{_counted(audited['audited_pairs'], 'pair')} of faults, by engines that share no "
        "code with the first: no disagreement",
        "Decided": f"{len(register['claims'])} sayings about such lights: {_listed(statuses)}",
        "Took": f"{seconds // 60:.0f} min {seconds % 60:.0f} s",
    }
    miswire = _place(environment.PROGRAMS / "miswire")
    address = f"http://{_HOST}:{_USUAL_PORT if port is None else port}/"
    serve = _shell(miswire, "serve", _place(database))
    first = {
        "Say what a light does: who fits, and what to check next, the least risky first.": (
            f"{address}-/miswire/desk"
        ),
        "Judge a wiring that works from every switch and is dangerous all the same.": _shell(
            miswire, "check", _place(_CIRCUITS / "faulty-line-and-neutral-on-travelers.toml")
        ),
        "See every single mistake in one circuit, and what becomes of each.": _shell(
            miswire, "faults", _place(_CIRCUITS / "stair-feed-at-lamp.toml")
        ),
    }
    lines = ["", "Miswire is ready.", ""]
    lines += (_wrapped(text, f"{name:<14}", " " * 14) for name, text in facts.items())
    if port is None:
        lines += ["", "Where to look, on this machine", f"  {serve}", f"  and then {address}"]
    else:
        lines += ["", "Where to look, on this machine", f"  {address}", f"  another day: {serve}"]
    second = "" if port is None else ", commands in a second terminal"
    lines += ["", f"Three things to try first{second}"]
    for number, (what, how) in enumerate(first.items(), 1):
        lines += [_wrapped(what, f"  {number}. ", " " * 5), f"     {how}"]
    return "\n".join([*lines, "", _wrapped(f"Cautions: {cautions['summary'].strip()}"), ""])


def _place(path: Path) -> str:
    """Return a path as short as it can be typed here."""
    here = Path.cwd()
    return str(path.relative_to(here) if here in path.parents else path)


def _shell(*words: str) -> str:
    return " ".join(map(shlex.quote, words))


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}" + "s" * (number != 1)


def _listed(numbers: dict[str, int]) -> str:
    """Return names with their numbers, which no line break parts."""
    named = (f"{name} {number:,}" for name, number in numbers.items())
    return ", ".join(text.replace(" ", _NO_BREAK) for text in named)


def _wrapped(text: str, first: str = "", indent: str = "") -> str:
    columns = max(_NARROWEST, min(_WIDEST, shutil.get_terminal_size().columns))
    filled = textwrap.fill(
        text,
        columns,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return filled.replace(_NO_BREAK, " ")


if __name__ == "__main__":
    raise SystemExit(main())
