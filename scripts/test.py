"""All tests, in an environment made for them: `python3 scripts/test.py [PYTEST ARGUMENTS]`."""

from __future__ import annotations

import sys

import environment

if __name__ == "__main__":
    environment.ensure(environment.TEST_EXTRA)
    raise SystemExit(environment.run("python", "-m", "pytest", *sys.argv[1:]))
