"""All tests, in an environment made for them: `python3 scripts/test.py [PYTEST ARGUMENTS]`.

They run on all processors; `-n 0` runs them one after the other in one process.
"""

from __future__ import annotations

import os
import sys

import environment

if __name__ == "__main__":
    environment.ensure(environment.TEST_EXTRA)
    spread = [] if "-n" in sys.argv else ["-n", str(os.cpu_count() or 1)]
    raise SystemExit(environment.run("python", "-m", "pytest", *spread, *sys.argv[1:]))
