"""This runs all tests in their own environment: `python3 scripts/test.py [PYTEST ARGUMENTS]`.

They run on all processors; `-n 0` runs them one after the other in one process. With `--newest`
they run with the newest versions of everything, not with those of `constraints.txt`.
"""

from __future__ import annotations

import os
import sys

import environment

if __name__ == "__main__":
    arguments = [argument for argument in sys.argv[1:] if argument != environment.NEWEST]
    environment.ensure(environment.TEST_EXTRA, newest=environment.NEWEST in sys.argv)
    spread = [] if "-n" in arguments else ["-n", str(os.cpu_count() or 1)]
    raise SystemExit(environment.run("python", "-m", "pytest", *spread, *arguments))
