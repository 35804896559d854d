"""This suggests which faults to teach: the fewest that show every behaviour, hazard and fault kind.

It is a set cover, solved exactly as an integer programme (`scipy.optimize.milp`): first the fewest
faults, then among the ways to do with so few the one whose faults come first in the catalogue.
Since a fault shows one behaviour, no set can be smaller than the number of behaviours. Sets that
small are too many to be enumerated, as `verify.study.detection` does with its few: more than
200,000 for two locations.
"""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from catalogue.lessons.curated import Case, Resolve
from catalogue.lessons.sheet import Sheet, work_out
from catalogue.store.rendering import fault_text, site_text
from verify.base.problems import BugError
from verify.hazard.definitions import HAZARD_NAMES

Progress = Callable[[int, int], None]
Numbers = npt.NDArray[np.float64]

_CANDIDATES: Final = """
select profile.locations, signature_id, kind.name, hazard_set, min(example_id)
from profile join fault_kind as kind on kind.id = kind_id
where profile.origin = 'layout' and profile.locations in ({marks})
group by 1, 2, 3, 4 order by 5
"""
_LABEL: Final = """
select circuit.label, circuit.file, kind.name, site, verdict.name
from fault join circuit on circuit.id = circuit_id join fault_kind as kind on kind.id = kind_id
join outcome on outcome.id = outcome_id join verdict on verdict.id = outcome.verdict_id
where fault.id = ?
"""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A fault by its id in a catalogue, with all that it shows: ``("hazard", name)`` and so on."""

    fault: int
    shows: frozenset[tuple[str, object]]


@dataclass(frozen=True, slots=True)
class Proposed:
    """One fault of the set, worked out."""

    label: str
    description: str
    verdict: str
    hazards: tuple[str, ...]
    cost: float
    checks: float
    suspects: int


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The set, the easiest fault first; and the counts of behaviours, hazards and kinds to show.

    `least` is the size below which no set can be, by the behaviours alone.
    """

    faults: tuple[Proposed, ...]
    shown: dict[str, int]
    least: int


def candidates(connection: sqlite3.Connection, sizes: Sequence[int]) -> list[Candidate]:
    """Return the faults of all layouts of some sizes that are worth choosing, in their order.

    Of faults that show the same the first is kept, and none is kept that shows less than another.
    """
    marks = ", ".join("?" * len(sizes))
    found: dict[frozenset[tuple[str, object]], int] = {}
    for row in connection.execute(_CANDIDATES.format(marks=marks), list(sizes)):
        locations, signature, kind, hazards, example = row
        shows = frozenset(
            {
                ("behaviour", (int(locations), int(signature))),
                ("kind", str(kind)),
                *(
                    ("hazard", name)
                    for number, name in enumerate(HAZARD_NAMES)
                    if int(hazards) >> number & 1
                ),
            }
        )
        found.setdefault(shows, int(example))
    return [
        Candidate(fault, shows)
        for shows, fault in found.items()
        if not any(shows < other for other in found)
    ]


def fewest(choices: Sequence[Candidate]) -> list[Candidate]:
    """Return a smallest set of candidates that shows all that any of them shows, in their order."""
    if not choices:
        return []
    from scipy.optimize import Bounds, LinearConstraint, milp  # loading it takes long

    wanted = sorted({thing for choice in choices for thing in choice.shows}, key=repr)
    row_of = {thing: row for row, thing in enumerate(wanted)}
    covers = np.zeros((len(wanted), len(choices)))
    for column, choice in enumerate(choices):
        covers[[row_of[thing] for thing in choice.shows], column] = 1
    each = LinearConstraint(covers, lb=1)
    ones = np.ones(len(choices))

    def solved(costs: Numbers, *constraints: LinearConstraint) -> Numbers:
        found = milp(
            costs,
            integrality=np.ones(len(choices), np.int64),
            bounds=Bounds(0, 1),
            constraints=list(constraints),
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:
            raise BugError(f"the set cover was not solved: {found.message}")
        return np.asarray(found.x)

    size = round(float(ones @ solved(ones, each)))
    so_few = LinearConstraint(ones[None, :], lb=size, ub=size)
    best = solved(np.arange(1.0, len(choices) + 1), each, so_few)
    return [choice for choice, taken in zip(choices, best, strict=True) if taken > 0.5]


def suggest(
    connection: sqlite3.Connection,
    sizes: Sequence[int],
    resolve: Resolve,
    progress: Progress = lambda done, total: None,
) -> Suggestion:
    """Return the fewest faults for some sizes, ordered by how hard they are to find.

    Hard is a fault that takes a costly plan, then many checks, then many suspects at first sight.
    """
    choices = candidates(connection, sizes)
    chosen = fewest(choices)
    proposed = []
    for done, choice in enumerate(chosen, 1):
        circuit, file, kind, site, verdict = connection.execute(_LABEL, [choice.fault]).fetchone()
        label = f"{circuit}/{kind}/{site_text(circuit, file, kind, site)}"
        description = fault_text(circuit, file, kind, site)
        proposed.append(_proposed(label, description, verdict, resolve=resolve))
        progress(done, len(chosen))
    shown = _counted(thing for choice in choices for thing in choice.shows)
    ordered = sorted(proposed, key=lambda p: (p.cost, p.checks, p.suspects, p.label))
    return Suggestion(tuple(ordered), shown, shown.get("behaviour", 0))


def _proposed(label: str, description: str, verdict: str, *, resolve: Resolve) -> Proposed:
    bare = Case(label, description, verdict, "", (), "", "", "")
    sheet: Sheet = work_out(bare, resolve=resolve)
    cost, checks, suspects = sheet.difficulty
    hazards = sheet.examination.judgement.hazards
    return Proposed(label, description, sheet.verdict, hazards, cost, checks, suspects)


def _counted(things: Iterable[tuple[str, object]]) -> dict[str, int]:
    """Return how many different things there are of each sort."""
    different = set(things)
    sorts = sorted({sort for sort, _ in different})
    return {sort: sum(s == sort for s, _ in different) for sort in sorts}
