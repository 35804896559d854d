"""What a finished catalogue says of itself: its scope, its profile, and the digest of it all."""

import hashlib
from collections.abc import Iterator
from typing import Final

from sqlite_utils import Database


def digest_of(db: Database) -> str:
    """A hash over all content in the order of labels: the same on every machine."""
    total = hashlib.sha256()
    for row in _content(db):
        total.update(row.encode())
        total.update(b"\n")
    return total.hexdigest()


def _content(db: Database) -> Iterator[str]:
    """Every row as a JSON array."""
    execute = db.conn.execute
    yield from (str(row) for (row,) in execute(_SCOPE_CONTENT))
    yield from (str(row) for (row,) in execute(_SUMMARY_CONTENT))
    for circuit_id, circuit in execute(_CIRCUITS).fetchall():
        yield str(circuit)
        for query in (_FAULTS, _EVIDENCE, _FLIPS, _PAIR_SETS, _PAIR_COUNTS, _PAIR_STATES, _PAIRS):
            yield from (str(row) for (row,) in execute(query, [circuit_id]))


SCOPE: Final = """
insert into scope (locations, scheme, kind_id, coverage, circuits, faults)
select circuit.locations, circuit.scheme, kind.id,
       case origin when 'layout' then 'complete' else 'sampled' end,
       count(distinct circuit.id), count(fault.id)
from circuit
cross join fault_kind as kind
left join fault on fault.circuit_id = circuit.id and fault.kind_id = kind.id
group by circuit.locations, circuit.scheme, kind.id, origin
order by circuit.locations, circuit.scheme, kind.id, origin
"""
PROFILE: Final = """
insert into profile (locations, scheme, signature_id, kind_id, family_id, hazard_set, faults,
                     circuits, example_id)
select locations, scheme, seen.signature_id, kind_id, family_id, hazard_set, count(*),
       count(distinct circuit_id), min(seen.id)
from (
    select fault.*, coalesce(sum(1 << (hazard_id - 1)), 0) as hazard_set
    from fault left join evidence on fault_id = fault.id
    where circuit_id in (select id from circuit where origin = 'layout')
    group by fault.id
) as seen
join circuit on circuit.id = circuit_id
group by locations, scheme, seen.signature_id, kind_id, family_id, hazard_set
order by locations, scheme, seen.signature_id, kind_id, family_id, hazard_set
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
       circuit.lamps, boxes, verdict.name, word, signature.name, faults, file, engine)
from circuit join verdict on verdict.id = verdict_id join signature on signature.id = signature_id
order by label
"""
_FAULTS: Final = """
select json_array(
    kind.name, family.name, place, site, fault.description, verdict.name, word, hazards, state,
    switch, lamp, by_volts)
from fault join fault_kind as kind on kind.id = kind_id join verdict on verdict.id = verdict_id
join family on family.id = family_id join signature on signature.id = signature_id
where circuit_id = ? order by kind.name, site
"""
_EVIDENCE: Final = """
select json_array(kind.name, site, hazard.name, evidence.state)
from fault join fault_kind as kind on kind.id = kind_id join evidence on fault_id = fault.id
join hazard on hazard.id = hazard_id
where circuit_id = ? order by kind.name, site, hazard.name
"""
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
