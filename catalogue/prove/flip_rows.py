"""These rows of the catalogue say which states show mistakes when switches are flipped."""

from collections.abc import Sequence
from dataclasses import dataclass
from sqlite3 import Connection
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.judgement import MIMIC
from verify.behaviour.signature import Codes
from verify.study.detection import Flips, changes_function, plan_flips
from verify.verdict.judging import Numbers

#: Says whether the person who flips knows which position of a switch is up.
KNOWN: Final = "known"
UNKNOWN: Final = "unknown"
#: With more switches the search takes seconds; `miswire flips` makes it for one circuit.
MOST_SWITCHES: Final = 4


@dataclass(frozen=True, slots=True)
class FlipsRow:
    """One test of a circuit by flipping; `positions` is `KNOWN` or `UNKNOWN`."""

    positions: str
    plan: Flips
    changing: int
    mimics: int
    harmless: int


def flips_rows(
    codes: Codes, intended: Codes, verdict: Numbers, faults: npt.NDArray[np.intp]
) -> list[FlipsRow]:
    """Plan the tests of a circuit of up to `MOST_SWITCHES` switches whose faults do `codes`.

    `codes` (outcomes, states), `intended` (states,), `verdict` (outcomes,), and how many `faults`
    (outcomes,) have each outcome.
    """
    unchanged = ~changes_function(codes, intended)
    mimics = int(faults[unchanged & (verdict == MIMIC)].sum())
    return [
        FlipsRow(
            positions,
            plan_flips(codes, intended, positions_known=positions == KNOWN),
            changing=int(faults[~unchanged].sum()),
            mimics=mimics,
            harmless=int(faults[unchanged].sum()) - mimics,
        )
        for positions in (KNOWN, UNKNOWN)
    ]


def write_flips(connection: Connection, circuit_id: int, rows: Sequence[FlipsRow]) -> None:
    """Store how to test a circuit."""
    connection.executemany(
        "insert into detection (circuit_id, positions, states, state_set, flips, walk, is_best,"
        " changing, mimics, harmless) values (?,?,?,?,?,?,?,?,?,?)",
        [
            (
                circuit_id,
                row.positions,
                len(row.plan.states),
                ",".join(map(str, row.plan.states)),
                row.plan.flips,
                ",".join(map(str, row.plan.walk)),
                row.plan.is_best,
                row.changing,
                row.mimics,
                row.harmless,
            )
            for row in rows
        ],
    )
