"""The page on testing a new installation by flipping, and on what that cannot show."""

from itertools import pairwise
from typing import Final

from catalogue.desk.stops import phrase
from catalogue.pages.contract import Facts, Page, Row, Visit
from catalogue.pages.counts import IS_MIMIC
from catalogue.pages.state_tables import state_facts
from catalogue.prove.flip_rows import KNOWN, UNKNOWN
from catalogue.store.coverage import scheme_title
from verify.base.problems import CircuitError
from verify.circuit.file import loads
from verify.engine.words import WordsEngine

_TITLE: Final = "How to test a new installation by flipping, and what that cannot show"
NOT_COMPUTED: Final = (
    "Not computed: no circuit in this catalogue has so few switches that its tests were searched. "
    "miswire build DB --locations 2,3 searches them."
)


def flipping(visit: Visit) -> Page:
    """Show tests by number of locations, and what no flipping shows by hazard and kind."""
    found = tests(visit)
    return Page(
        _TITLE,
        "flipping",
        {
            "watch": phrase("watch"),
            "nothing": None if found else NOT_COMPUTED,
            "tests": found,
            "walks": [walk for size in _locations_in(found) for walk in _walks(visit, size)],
            "by_hazard": _by_hazard(visit),
            "by_kind": _by_kind(visit),
        },
    )


def tests(visit: Visit) -> list[Facts]:
    """Return what a test takes and shows, for each number of locations and scheme."""
    rows = visit.rows(
        "select locations, scheme, count(*) as circuits,"
        f" {_range(KNOWN, 'states')}, {_range(KNOWN, 'flips')}, {_range(UNKNOWN, 'states')},"
        f" {_range(UNKNOWN, 'flips')}, sum(known.changing) as changing,"
        " sum(known.mimics) as mimics, sum(known.harmless) as harmless"
        " from circuit join detection as known on known.circuit_id = circuit.id"
        " and known.positions = ? join detection as unknown on unknown.circuit_id = circuit.id"
        " and unknown.positions = ? where origin = 'layout' group by 1, 2 order by 1, 2",
        KNOWN,
        UNKNOWN,
    )
    return [
        {
            **dict(row),
            "scheme_title": scheme_title(row["scheme"]),
            "combinations": 1 << row["locations"],
        }
        for row in rows
    ]


def _range(table: str, column: str) -> str:
    return (
        f"min({table}.{column}) as {table}_{column}_least,"
        f" max({table}.{column}) as {table}_{column}_most"
    )


def _locations_in(found: list[Facts]) -> list[object]:
    return list(dict.fromkeys(size["locations"] for size in found))


def _walks(visit: Visit, locations: object) -> list[Facts]:
    """Return example tests, for people who know the positions and for those who do not."""
    found = []
    for positions in (KNOWN, UNKNOWN):
        row = visit.row(
            "select label, file, walk, state_set, states, flips, detection.is_best from detection"
            " join circuit on circuit.id = circuit_id where locations = ? and positions = ?"
            " and origin = 'layout' order by circuit.id limit 1",
            locations,
            positions,
        )
        facts = _walk(row) if row else None
        if facts:
            found.append({"locations": locations, "positions": positions, **facts})
    return found


def _walk(row: Row) -> Facts | None:
    """Return a walk step by step: the move, the positions after it, what the light does."""
    try:
        circuit = loads(row["file"])
    except CircuitError:
        return None
    walk = [int(state) for state in row["walk"].split(",") if state]
    counts = {int(state) for state in row["state_set"].split(",") if state}
    if not walk:
        return None
    switches = [switch.name for switch in circuit.switches]
    seen = WordsEngine().observe(circuit)
    states = {fact["state"]: fact for fact in state_facts(circuit, seen, sorted({*walk}))}
    moves = [switches[(here ^ there).bit_length() - 1] for here, there in pairwise(walk)]
    return {
        "circuit": row["label"],
        "states": row["states"],
        "flips": row["flips"],
        "switches": switches,
        "steps": [
            {**states[state], "moved": moved, "counts": state in counts}
            for state, moved in zip(walk, [None, *moves], strict=True)
        ],
    }


def _by_hazard(visit: Visit) -> list[Facts]:
    """Count by hazard the mimics of all layouts, which no flipping shows."""
    return visit.facts(
        "select name, title, danger, sum(faults) as faults from hazard"
        f" join (select hazard_set, faults from profile where origin = 'layout' and {IS_MIMIC})"
        " on hazard_set >> (hazard.id - 1) & 1 group by hazard.id order by faults desc"
    )


def _by_kind(visit: Visit) -> list[Facts]:
    """Count by kind the faults of all layouts that no flipping shows."""
    return visit.facts(
        "select kind.name, title, sum(faults) as faults,"
        " sum(faults * any_location) as unseen,"
        f" sum(faults * ({IS_MIMIC})) as mimics"
        " from fault_kind as kind join profile on kind_id = kind.id"
        " join signature on signature.id = signature_id where origin = 'layout'"
        " group by kind.id having unseen > 0 order by unseen desc, kind.id"
    )
