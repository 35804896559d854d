"""Priors say how often each kind of fault occurs, as far as anybody knows.

No published figures were found: every fault counts alike unless somebody sets weights in a file.
"""

import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from verify.base.problems import Problem, UserError, shown
from verify.fault.registry import fault_kinds

UNIFORM_SENTENCE = (
    "Every single fault counts alike: no published figures say how often each occurs in homes."
)


def load_priors(path: Path) -> Mapping[str, float]:
    """Read weights by fault kind from a file with a table ``[kind]``, such as ``left-off = 3``.

    Kinds that are not named weigh 1. Raises UserError with every mistake in the file.
    """
    try:
        document = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise UserError(
            [Problem(shown(str(path)), f"cannot be read as weights ({shown(str(error), 200)})")]
        ) from error
    table = document.get("kind")
    if not isinstance(table, dict):
        raise UserError(
            [Problem(shown(str(path)), "has no table [kind]; write [kind], then left-off = 3")]
        )
    known = [kind.name for kind in fault_kinds()]
    problems = []
    for kind, weight in table.items():
        place = f"{shown(str(path))}: [kind] {shown(kind)}={shown(str(weight))}"
        if kind not in known:
            problems.append(Problem(place, f"is no fault kind; they are {', '.join(known)}"))
        elif (
            isinstance(weight, bool)
            or not isinstance(weight, int | float)
            or not (math.isfinite(weight) and weight > 0)
        ):
            problems.append(Problem(place, "must be a number above 0"))
    if problems:
        raise UserError(problems)
    return {kind: float(weight) for kind, weight in table.items()}
