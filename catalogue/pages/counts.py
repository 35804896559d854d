"""How many faults of each kind have each verdict, wherever a page counts some."""

from typing import TypedDict

from catalogue.pages.visit import Visit


class KindCounts(TypedDict):
    """One kind: `counts` has a number for every verdict."""

    name: str
    title: str
    counts: dict[str, int]
    total: int


class Counts(TypedDict):
    """Every kind of the catalogue, and the sums over them."""

    kinds: list[KindCounts]
    verdicts: dict[str, int]
    total: int


_BY_KIND = (
    "select kind.name as kind, kind.title as kind_title, verdict.name as verdict, number"
    " from ({counted}) as counted"
    " join fault_kind as kind on kind.id = counted.kind_id"
    " join verdict on verdict.id = counted.verdict_id"
    " order by kind.id"
)


def counts_by_kind(visit: Visit, source: str, *parameters: object) -> Counts:
    """Counts of the faults in `source`, a FROM clause that calls table ``fault`` by its name."""
    rows = visit.rows(
        _BY_KIND.format(
            counted="select fault.kind_id, fault.verdict_id, count(*) as number"
            f" from {source} group by fault.kind_id, fault.verdict_id"
        ),
        *parameters,
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
