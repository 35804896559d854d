"""Take the newest versions that fit, test with them, and note them if all is well.

`python3 scripts/renew_constraints.py [PYTEST ARGUMENTS]` makes `.venv` anew, runs every test, the
slow ones too, and writes `constraints.txt` for the Python that it runs on; the lines for other
Pythons stay as they are. Nothing is written if a test fails.
"""

from __future__ import annotations

import json
import os
import sys

import environment
import pins

#: The project itself, and the installers, of which every Python has its own.
_NOT_PINNED = ("miswire", "pip")


def main() -> int:
    """Renew the pins of this Python; return the exit status of the tests."""
    environment.forget()
    environment.ensure(newest=True)
    needed = set(installed())
    environment.ensure(environment.TEST_EXTRA, newest=True)
    versions = installed()
    workers = str(os.cpu_count() or 1)
    status = environment.run("python", "-m", "pytest", "-n", workers, "--slow", *sys.argv[1:])
    if status:
        environment.say("A test failed, so scripts/constraints.txt stays as it is.")
        return status
    python = "{}.{}".format(*sys.version_info)
    found = [
        pins.Pin(name, python, version, name not in needed) for name, version in versions.items()
    ]
    pins.PLACE.write_text(pins.renewed(pins.PLACE.read_text("utf-8"), python, found), "utf-8")
    environment.say(f"{len(found)} versions for Python {python} are in {pins.PLACE}")
    return 0


def installed() -> dict[str, str]:
    """Return the version of every distribution but those of `_NOT_PINNED`."""
    status, listed = environment.ask(
        "python", "-m", "pip", "list", "--disable-pip-version-check", "--format", "json"
    )
    if status:
        raise SystemExit(status)
    versions = {pins.plain(entry["name"]): entry["version"] for entry in json.loads(listed)}
    return {name: version for name, version in versions.items() if name not in _NOT_PINNED}


if __name__ == "__main__":
    raise SystemExit(main())
