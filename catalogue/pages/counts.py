"""Faults are counted by kind and verdict, for all pages that show such counts."""

from typing import Final, TypedDict

from catalogue.pages.contract import Visit
from catalogue.pages.fault_choice import FaultChoice


class KindCounts(TypedDict):
    """The counts of one kind: `counts` has a number for every verdict."""

    name: str
    title: str
    counts: dict[str, int]
    total: int


class Counts(TypedDict):
    """The counts of every kind in the catalogue, and their sums."""

    kinds: list[KindCounts]
    verdicts: dict[str, int]
    total: int


_BY_KIND: Final = (
    "select kind.name as kind, verdict.name as verdict, number from ({counted}) as counted"
    " join fault_kind as kind on kind.id = counted.kind_id"
    " join verdict on verdict.id = counted.verdict_id order by kind.id"
)
#: This is true for rows of ``profile`` that count mimics.
IS_MIMIC: Final = "profile.verdict_id = (select id from verdict where name = 'mimic')"


def counts_by_kind(visit: Visit, choice: FaultChoice) -> Counts:
    """Count the faults that fit a choice."""
    counted = choice.counted()
    if choice.circuit is None:
        source, values = f"sum(faults) as number from profile where {counted.sql}", counted.values
    else:
        judged = choice.judged()
        source = (
            "count(*) as number from fault cross join outcome on outcome.id = outcome_id"
            f" where circuit_id = ? and {judged.sql}"
        )
        values = (choice.circuit, *judged.values)
    rows = visit.rows(
        _BY_KIND.format(counted=f"select kind_id, verdict_id, {source} group by 1, 2"), *values
    )
    verdicts = [str(row["name"]) for row in visit.rows("select name from verdict order by id")]
    found = {(row["kind"], row["verdict"]): int(row["number"]) for row in rows}
    kinds: list[KindCounts] = []
    for kind in visit.rows("select name, title from fault_kind order by id"):
        counts = {verdict: found.get((kind["name"], verdict), 0) for verdict in verdicts}
        kinds.append(
            KindCounts(
                name=kind["name"],
                title=kind["title"],
                counts=counts,
                total=sum(counts.values()),
            )
        )
    sums = {verdict: sum(kind["counts"][verdict] for kind in kinds) for verdict in verdicts}
    return Counts(kinds=kinds, verdicts=sums, total=sum(sums.values()))
