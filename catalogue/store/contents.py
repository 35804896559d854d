"""A finished catalogue describes itself: its scope, its profile, and the digest of its content."""

import hashlib
import sqlite3
from collections import Counter
from collections.abc import Iterator
from typing import Final

import numpy as np
from sqlite_utils import Database

from catalogue.prove.cache import family_hash, faults_digest, hash64
from verify.fault.registry import fault_kinds


def digest_of(db: Database) -> str:
    """Return a hash over all content in the order of labels: the same on every machine.

    It contains the faults of a circuit by the hash that was made of them when they were stored;
    `changed_circuits` finds circuits whose faults no longer have that hash.
    """
    total = hashlib.sha256()
    for row in _content(db):
        total.update(row.encode())
        total.update(b"\n")
    return total.hexdigest()


def _content(db: Database) -> Iterator[str]:
    """Yield every row of the content as a JSON array."""
    execute = db.conn.execute
    yield from (str(row) for (row,) in execute(_SCOPE_CONTENT))
    yield from (str(row) for (row,) in execute(_SUMMARY_CONTENT))
    studied = {number for (number,) in execute(_STUDIED)}
    for circuit_id, circuit in execute(_CIRCUITS).fetchall():
        yield str(circuit)
        if circuit_id not in studied:
            continue
        for query in (_FLIPS, _PAIR_SETS, _PAIR_COUNTS, _PAIR_STATES, _PAIRS):
            yield from (str(row) for (row,) in execute(query, [circuit_id]))


def changed_circuits(db: Database) -> Iterator[str]:
    """Yield the labels of circuits whose faults are no longer those that were stored."""
    execute = db.conn.execute
    changed = {number for (number,) in execute(_NOT_AS_MARKED)}
    kinds = dict(execute("select id, name from fault_kind"))
    places = {name: place for place, name in enumerate(kind.name for kind in fault_kinds())}
    place = {number: places[name] for number, name in kinds.items()}
    family = {row[0]: family_hash(row[1:]) for row in execute("select id, name, place from family")}
    mark = {number: hash64(text) for number, text in execute(_OUTCOMES)}
    for number, label, digest in execute("select id, label, digest from circuit").fetchall():
        rows = np.array(execute(_FAULTS, [number]).fetchall(), np.int64).reshape(-1, 4).T.tolist()
        again = faults_digest(
            np.array([place[each] for each in rows[0]], np.int32),
            np.array(rows[1], np.int32),
            np.array([family[each] for each in rows[2]], np.uint64),
            np.array([mark[each] for each in rows[3]], np.uint64),
        )
        if not changed.isdisjoint(rows[3]) or again != digest:
            yield str(label)


SCOPE: Final = """
insert into scope (locations, scheme, kind_id, coverage, circuits, faults)
select covered.locations, covered.scheme, kind.id,
       case covered.origin when 'layout' then 'complete' else 'sampled' end, covered.circuits,
       (select coalesce(sum(faults), 0) from profile where kind_id = kind.id and
        (origin, locations, scheme) = (covered.origin, covered.locations, covered.scheme))
from (select origin, locations, scheme, count(*) as circuits from circuit group by 1, 2, 3)
     as covered cross join fault_kind as kind
order by covered.locations, covered.scheme, kind.id, covered.origin
"""
#: This counts the profile from the faults; a build adds each batch when it stores it.
PROFILE: Final = """
insert into profile (origin, locations, scheme, kind_id, family_id, verdict_id, signature_id,
                     hazard_set, faults, circuits, example_id)
select origin, locations, scheme, kind_id, family_id, fault.verdict_id, fault.signature_id,
       hazard_set, count(*), count(distinct circuit_id), min(fault.id)
from judged_fault as fault join circuit on circuit.id = circuit_id
group by 1, 2, 3, 4, 5, 6, 7, 8 order by min(fault.id)
"""
_OUTCOMES: Final = "select id, mark from outcome"
_FAULTS: Final = """
select kind_id, site, family_id, outcome_id from fault where circuit_id = ? order by id
"""
#: This finds outcomes whose columns or evidence differ from their mark.
_NOT_AS_MARKED: Final = """
select outcome.id from outcome
join verdict on verdict.id = verdict_id join signature on signature.id = signature_id
where mark <> json_array(verdict.name, word, lamps, state, switch, lamp, by_volts, (
    select json_group_array(json_array(name, state)) from (
        select hazard.name, evidence.state from evidence join hazard on hazard.id = hazard_id
        where outcome_id = outcome.id order by hazard_id
    )
))
"""
_SCOPE_CONTENT: Final = """
select json_array(locations, scheme, fault_kind.name, coverage, circuits, faults)
from scope join fault_kind on fault_kind.id = kind_id
order by locations, scheme, fault_kind.name, coverage
"""
_SUMMARY_CONTENT: Final = """
select json_array(summary.locations, summary.lamps, scheme, kind.name, family.name, verdict.name,
       word, hazard_set, summary.faults, circuits, example)
from summary join fault_kind as kind on kind.id = kind_id
join family on family.id = family_id join verdict on verdict.id = verdict_id
join signature on signature.id = signature_id
order by summary.locations, summary.lamps, scheme, kind.name, family.name, verdict.name, word,
         hazard_set
"""
_CIRCUITS: Final = """
select circuit.id, json_array(label, circuit.name, origin, scheme, circuit.locations,
       circuit.lamps, boxes, verdict.name, word, signature.name, faults, file, engine, sound,
       mimics, misbehaving, tripping, digest)
from circuit join verdict on verdict.id = verdict_id join signature on signature.id = signature_id
order by label
"""
#: This finds circuits that have more rows than their faults.
_STUDIED: Final = "select circuit_id from detection union select id from pair_set"
_FLIPS: Final = """
select json_array(positions, states, state_set, flips, walk, is_best, changing, mimics, harmless)
from detection where circuit_id = ? order by positions
"""
_PAIR_SETS: Final = """
select json_array(faults, existing, judged, states_one, states_two) from pair_set where id = ?
"""
_PAIR_COUNTS: Final = """
select json_array(one.name, other.name, outcome, pairs)
from pair_count join fault_kind as one on one.id = kind_id
join fault_kind as other on other.id = other_id
where circuit_id = ? order by one.name, other.name, outcome
"""
_PAIR_STATES: Final = """
select json_array(state, faults, pairs) from pair_state where circuit_id = ? order by state
"""
_PAIRS: Final = """
select json_array(one_kind.name, one.site, other_kind.name, other.site, outcome, verdict.name,
       hazard_set)
from fault as one join pair on fault_id = one.id join fault as other on other.id = other_id
join fault_kind as one_kind on one_kind.id = one.kind_id
join fault_kind as other_kind on other_kind.id = other.kind_id
join verdict on verdict.id = pair.verdict_id
where one.circuit_id = ? order by one_kind.name, one.site, other_kind.name, other.site
"""


def verdict_counts(connection: sqlite3.Connection) -> Counter[str]:
    """Return how many faults of each verdict a catalogue holds, as rows or as counts."""
    rows = connection.execute(
        "select verdict.name, sum(faults) from ("
        " select verdict_id, faults from profile union all select verdict_id, faults from summary"
        ") join verdict on verdict.id = verdict_id group by verdict_id"
    )
    return Counter({str(name): int(number) for name, number in rows})
