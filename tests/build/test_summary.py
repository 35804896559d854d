"""Counts in place of rows: the same numbers as those of the rows, in one build or in parts."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from catalogue.build.merge import merge
from catalogue.build.sweep import build, build_plan
from catalogue.prove.build_plan import Shard, make_plan
from catalogue.store.rendering import register_text_functions
from verify.base.problems import UserError

DRAWN = 2
SEED = 1

#: What a summary says, in words, from its own rows and from the rows of single faults.
COUNTED = """
select summary.locations, summary.lamps, scheme, kind.name, family.name, verdict.name, word,
       hazard_set, summary.faults, circuits, example
from summary join fault_kind as kind on kind.id = kind_id join family on family.id = family_id
join verdict on verdict.id = verdict_id join signature on signature.id = signature_id
order by 1, 2, 3, 4, 5, 6, 7, 8
"""
FROM_ROWS = """
select locations, lamps, scheme, kind, family, verdict, word, hazard_set, count(*),
       count(distinct label), max(case place when 1 then id end)
from (
    select circuit.locations, circuit.lamps, scheme, kind.name as kind, family.name as family,
           verdict.name as verdict, word, hazard_set, label, fault.id,
           row_number() over (
               partition by circuit.locations, circuit.lamps, scheme, kind.name, family.name,
                            verdict.name, word, hazard_set
               order by label, fault.id
           ) as place
    from judged_fault as fault join circuit on circuit.id = circuit_id
    join fault_kind as kind on kind.id = kind_id join family on family.id = family_id
    join verdict on verdict.id = fault.verdict_id
    join signature on signature.id = fault.signature_id
)
group by 1, 2, 3, 4, 5, 6, 7, 8 order by 1, 2, 3, 4, 5, 6, 7, 8
"""
#: Only the examples are put in words, circuit by circuit: to do it for all takes long.
EXAMPLES = """
select fault.id, label || '/' || kind.name || '/' || fault_at(label, file, kind.name, site)
from fault join circuit on circuit.id = circuit_id join fault_kind as kind on kind.id = kind_id
where fault.id in ({}) order by fault.id
"""


def rows(path: Path, query: str) -> list[tuple[object, ...]]:
    """What a catalogue answers."""
    with closing(sqlite3.connect(path)) as connection:
        register_text_functions(connection)
        return connection.execute(query).fetchall()


def check(folder: Path, locations: int, drawn: int = 0) -> None:
    """A summary is the count of the rows that a full build of the same stores."""
    counted, full = folder / "counted.db", folder / "full.db"
    summary = build_plan(counted, make_plan([locations], drawn, SEED, summary=True))
    built = build(full, [locations], drawn, SEED)
    from_rows = rows(full, FROM_ROWS)
    firsts = ", ".join(str(row[-1]) for row in from_rows)
    examples = {row[0]: row[1] for row in rows(full, EXAMPLES.format(firsts))}
    assert rows(counted, COUNTED) == [(*row[:-1], examples[row[-1]]) for row in from_rows]
    assert summary.faults == built.faults
    assert rows(counted, "select count(*) from fault") == [(0,)]


def test_counts_are_those_of_the_rows(tmp_path: Path) -> None:
    """All layouts of two locations and some circuits drawn: every count and every example."""
    check(tmp_path, 2, DRAWN)


@pytest.mark.slow
@pytest.mark.parametrize("locations", [3, 4])
def test_counts_of_larger_layouts_are_those_of_the_rows(tmp_path: Path, locations: int) -> None:
    """The same for three and four locations."""
    check(tmp_path, locations)


def test_a_summary_resumes_and_merges(tmp_path: Path) -> None:
    """Built in two parts and merged, or in one: the same digest; what is there is not recounted."""
    whole = make_plan([2], DRAWN, SEED, summary=True)
    digest = build_plan(tmp_path / "whole.db", whole).digest
    parts = [tmp_path / "1.db", tmp_path / "2.db"]
    for number, part in enumerate(parts, 1):
        build_plan(part, make_plan([2], DRAWN, SEED, Shard(number, 2), summary=True))
    merged = merge(tmp_path / "merged.db", parts)
    assert (merged.missing, merged.digest) == (0, digest)
    assert merge(tmp_path / "merged.db", parts).circuits == 0
    again = build_plan(tmp_path / "merged.db", whole)
    assert (again.proved, again.digest) == (0, digest)
    with pytest.raises(UserError, match="counts cannot be told apart"):
        merge(parts[0], [tmp_path / "whole.db"])
