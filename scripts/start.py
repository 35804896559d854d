"""From a fresh checkout to a running catalogue: `python3 scripts/start.py`.

Makes the environment in `.venv`, builds the complete catalogue of two and three locations,
audits a sample of it with the independent engine, judges the claims that its pages show, and serves
it until Control-C.
Every step can be interrupted and repeated: what is done already is not done again.
"""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

import environment


def main() -> int:
    """Run the steps in order; the exit status of the first that fails, 2 for a bad machine."""
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
        "--port", type=int, default=8001, help="where on 127.0.0.1 to serve (%(default)s)"
    )
    arguments = parser.parse_args()
    environment.ensure()
    database = str(arguments.database.resolve())
    steps = [
        ["build", database, "--locations", "2,3"],
        ["audit", database],
        ["claims", "--into", database],
    ]
    if not arguments.no_serve:
        steps.append(["serve", database, "--port", str(arguments.port)])
    for step in steps:
        status = environment.run("miswire", *step)
        if status:
            return status
    if arguments.no_serve:
        serve = shlex.join([str(environment.PROGRAMS / "miswire"), "serve", database])
        environment.say(f"Ready. To serve it: {serve}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
