"""The pages on two mistakes at once: how many hide each other, by layout, and each such pair."""

from typing import Final

from catalogue.drawing.pictures import wiring_picture
from catalogue.pages.contract import Facts, MissingError, Page, RefusalError, Row, Visit
from catalogue.pages.lookup import circuit_row, named_row
from catalogue.pages.paging import paged
from catalogue.pages.pictures import picture
from catalogue.pages.rendered import render_fault, site_place, with_words
from catalogue.pages.state_tables import forms_of
from catalogue.store.coverage import scheme_title
from verify.base.problems import CircuitError
from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.engine.paths import PathsEngine
from verify.fault.contract import Fault
from verify.fault.registry import find_fault
from verify.hazard.definitions import HAZARD_NAMES
from verify.study.pairs.compose import both_made
from verify.study.pairs.survey import MEANINGS, OUTCOMES
from verify.verdict.judging import judge

_TITLE: Final = "Two mistakes at once"
NOT_COMPUTED: Final = (
    "Not computed: no circuit in this catalogue has a size of which pairs of mistakes are judged. "
    "miswire build DB --locations 2,3 judges them."
)
_KINDS: Final = 12
_EXAMPLES: Final = (
    ("hides-both", "sound"),
    ("hides-both", "mimic"),
    ("makes-mimic", "mimic"),
    ("breaks", "trips"),
)
#: SQLite must begin with the pairs, which are few: a cross join keeps its order.
_PAIRS: Final = (
    "from pair cross join fault as one on one.id = pair.fault_id"
    " cross join outcome as one_outcome on one_outcome.id = one.outcome_id"
    " cross join fault as other on other.id = pair.other_id"
    " cross join outcome as other_outcome on other_outcome.id = other.outcome_id"
    " cross join circuit on circuit.id = one.circuit_id"
    " cross join fault_kind as kind on kind.id = one.kind_id"
    " cross join fault_kind as other_kind on other_kind.id = other.kind_id"
    " cross join verdict as one_verdict on one_verdict.id = one_outcome.verdict_id"
    " cross join verdict as other_verdict on other_verdict.id = other_outcome.verdict_id"
    " cross join verdict on verdict.id = pair.verdict_id"
)
_PAIR: Final = (
    "select circuit.label as circuit, circuit.file, kind.name as kind, one.site as site,"
    " one_verdict.name as alone, other_kind.name as other_kind, other.site as other_site,"
    " other_verdict.name as other_alone, pair.outcome, verdict.name as verdict, pair.hazard_set"
)


def pairs(visit: Visit) -> Page:
    """Show counts of pairs by outcome, layout and kind, and the pairs stored one by one."""
    if not visit.number("select count(*) from pair_set"):
        return Page(_TITLE, "pairs", {"nothing": NOT_COMPUTED})
    return Page(
        _TITLE,
        "pairs",
        {
            "nothing": None,
            "outcomes": [{"name": name, "meaning": MEANINGS[name]} for name in OUTCOMES],
            "sizes": sizes(visit),
            "layouts": _layout_counts(visit),
            "kinds": _kind_counts(visit),
            "states": _detection_by_state(visit),
            "examples": _example_pairs(visit),
            **_page_of_pairs(visit),
        },
    )


def sizes(visit: Visit) -> list[Facts]:
    """Return how many pairs there are and what they do, by number of locations and scheme."""
    rows = visit.rows(
        "select locations, scheme, count(*) as circuits, sum(existing) as existing,"
        " sum(judged) as judged, min(states_one) as one_least, max(states_one) as one_most,"
        " min(states_two) as two_least, max(states_two) as two_most"
        " from pair_set join circuit using (id) group by 1, 2 order by 1, 2"
    )
    counts = {
        (row["locations"], row["scheme"], row["outcome"]): row["pairs"]
        for row in visit.rows(
            "select locations, scheme, outcome, sum(pairs) as pairs from pair_count"
            " join circuit on circuit.id = circuit_id group by 1, 2, 3"
        )
    }
    return [
        {
            **dict(row),
            "scheme_title": scheme_title(row["scheme"]),
            "is_complete": row["existing"] == row["judged"],
            "counts": {
                name: counts.get((row["locations"], row["scheme"], name), 0) for name in OUTCOMES
            },
        }
        for row in rows
    ]


def _layout_counts(visit: Visit) -> list[Facts]:
    """Return the layouts with all pairs judged, those with the largest share hidden first."""
    columns = ", ".join(
        f"coalesce(sum(pairs * (outcome = '{name}')), 0) as \"{name}\"" for name in OUTCOMES
    )
    rows = visit.rows(
        f"select label, pair_set.faults, existing, {columns},"
        " (select count(*) from pair join fault on fault.id = fault_id join verdict on verdict.id"
        "  = pair.verdict_id where circuit_id = circuit.id and outcome = 'hides-both'"
        "  and verdict.name = 'sound') as made_good"
        " from pair_set join circuit using (id) join pair_count on circuit_id = circuit.id"
        " where existing = judged group by circuit.id"
        ' order by "hides-both" * 1.0 / existing desc, label'
    )
    return [{**dict(row), "share": row["hides-both"] / row["existing"]} for row in rows]


def _kind_counts(visit: Visit) -> list[Facts]:
    """Return the kinds of which most pairs hide each other, where all pairs were judged."""
    return visit.facts(
        "select one.name as one, one.title as one_title, other.name as other,"
        " other.title as other_title, sum(pairs * (outcome = 'hides-both')) as hidden,"
        " sum(pairs) as pairs from pair_count join pair_set on pair_set.id = circuit_id"
        " join fault_kind as one on one.id = kind_id"
        " join fault_kind as other on other.id = other_id where existing = judged"
        f" group by kind_id, other_id having hidden > 0 order by hidden desc limit {_KINDS:d}"
    )


def _detection_by_state(visit: Visit) -> list[Facts]:
    """Return what share of function-changing mistakes, one and two at once, a state shows."""
    return visit.facts(
        "select locations, min(1.0 * pair_state.faults / changing) as one_least,"
        " max(1.0 * pair_state.faults / changing) as one_most,"
        " min(1.0 * pairs / two) as two_least, max(1.0 * pairs / two) as two_most"
        " from pair_state join circuit on circuit.id = circuit_id"
        " join (select circuit_id, sum(pairs * (outcome in ('shows', 'breaks'))) as two"
        "  from pair_count group by 1) using (circuit_id)"
        " join (select circuit_id, count(*) as changing from fault"
        "  join outcome on outcome.id = outcome_id join verdict on verdict.id = verdict_id"
        "  where circuit_id in (select circuit_id from pair_state)"
        "  and verdict.name in ('misbehaves', 'trips')"
        "  and kind_id in (select kind_id from pair_count"
        "   union select other_id from pair_count)"
        "  group by 1) using (circuit_id)"
        " group by locations order by locations"
    )


def _example_pairs(visit: Visit) -> list[Facts]:
    """Return an instructive pair of each sort, of two kinds that people do if possible."""
    found = []
    for outcome, verdict in _EXAMPLES:
        row = visit.row(
            f"{_PAIR} {_PAIRS} where pair.outcome = ? and verdict.name = ?"
            " order by (kind.name = 'exchanged') + (other_kind.name = 'exchanged') desc,"
            " circuit.boxes, circuit.id, pair.fault_id, pair.other_id limit 1",
            outcome,
            verdict,
        )
        if row:
            found.append(_pair_facts(row))
    return found


def _pair_facts(row: Row) -> Facts:
    hazards = [name for i, name in enumerate(HAZARD_NAMES) if row["hazard_set"] >> i & 1]
    other = render_fault(row["circuit"], row["file"], row["other_kind"], row["other_site"])
    return {
        **with_words(row),
        "other_site": other.site,
        "other_description": other.description,
        "hazards": hazards,
        "meaning": MEANINGS[row["outcome"]],
    }


def _page_of_pairs(visit: Visit) -> Facts:
    """Return a page of the pairs that are stored one by one."""
    circuit, outcome = visit.query.get("circuit", ""), visit.query.get("outcome", "")
    if outcome and outcome not in OUTCOMES:
        raise RefusalError(f"outcome must be one of {', '.join(OUTCOMES)}; leave it out for all.")
    where = "(? = '' or circuit.label = ?) and (? = '' or pair.outcome = ?)"
    chosen = (circuit, circuit, outcome, outcome)
    total = visit.number(f"select count(*) {_PAIRS} where {where}", *chosen)
    paging = paged(visit.query, total)
    rows = visit.rows(
        f"{_PAIR} {_PAIRS} where {where} order by circuit.locations, circuit.id, pair.outcome,"
        f" pair.fault_id, pair.other_id limit {paging.size:d} offset {paging.skip:d}",
        *chosen,
    )
    told = visit.rows("select distinct outcome from pair order by outcome")
    circuits = visit.rows(
        "select distinct label from pair_set join circuit using (id)"
        " where existing = judged order by circuit.id"
    )
    return {
        "filters": {"circuit": circuit, "outcome": outcome},
        "choices": {
            "circuit": [row["label"] for row in circuits],
            "outcome": [row["outcome"] for row in told],
        },
        "total": total,
        **paging.facts(),
        "pairs": [_pair_facts(row) for row in rows],
    }


def pair(visit: Visit) -> Page:
    """Show one pair of mistakes, judged again by the independent engine for this page."""
    row, intended, one, other = _pair(visit)
    both = both_made(intended, one, other)
    circuits = (intended, one.apply(intended), other.apply(intended), both)
    judged = [judge(each, PathsEngine()) for each in circuits]
    states = range(1 << len(intended.switches))
    forms = [
        forms_of(intended, judgement.observation, states)
        for judgement in judged
        if judgement.observation
    ]
    return Page(
        f"Two mistakes in {row['circuit']}",
        "pair",
        {
            **_pair_facts(row),
            "rechecked": judged[-1].verdict,
            "hazards_found": list(judged[-1].hazards),
            "states": [
                {
                    "positions": forms[0][state]["positions"],
                    "doings": [
                        {"protection": form[state]["protection"], "lamps": form[state]["lamps"]}
                        for form in forms
                    ],
                }
                for state in states
            ],
            "circuit_file": dump(both),
        },
        drawn={"picture": picture(visit, both, {}, intended=intended)},
    )


def pair_picture(visit: Visit) -> Page:
    """Show a circuit's wiring beside the same with both mistakes of a pair."""
    row, intended, one, other = _pair(visit)
    svg = wiring_picture(both_made(intended, one, other), intended=intended)
    return Page(f"Two mistakes in {row['circuit']}", "refusal", {}, svg=svg)


def _pair(visit: Visit) -> tuple[Row, Circuit, Fault, Fault]:
    """Return the pair that an address names. Raises MissingError."""
    parts = visit.parts
    circuit = circuit_row(visit, parts["circuit"])
    kinds = [named_row(visit, "fault_kind", parts[name]) for name in ("kind", "other_kind")]
    sites = [
        site_place(circuit, kind["name"], parts[name])
        for kind, name in zip(kinds, ("site", "other_site"), strict=True)
    ]
    row = visit.row(
        f"{_PAIR} {_PAIRS} where circuit.id = ? and kind.id = ? and one.site = ?"
        " and other_kind.id = ? and other.site = ?",
        *(circuit["id"], kinds[0]["id"], sites[0], kinds[1]["id"], sites[1]),
    )
    if row is None:
        raise MissingError(
            "No such pair is told here: either its mistakes do together what one of them does "
            "alone, or the pair was not judged. Those that are told are in the list of pairs."
        )
    try:
        intended = loads(circuit["file"])
        one, other = (
            find_fault(intended, f"{kind['name']}/{parts[site]}")
            for kind, site in zip(kinds, ("site", "other_site"), strict=True)
        )
    except (CircuitError, KeyError) as error:
        raise MissingError("The circuit file does not have these mistakes any more.") from error
    return row, intended, one, other
