"""A choice of faults: how many faults fit it, and the first of them, among many millions.

Table ``profile`` counts faults by everything that can be chosen, and knows the first fault of each
sort. So numbers are sums over it, and no more rows of faults are read than are shown.
"""

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from sqlite3 import Cursor
from typing import Final, NamedTuple

from catalogue.pages.contract import Row, Visit
from catalogue.pages.paging import search_words

#: Conditions on the outcome may use ``outcome``; the cross join keeps the order of the two tables.
_FAULTS: Final = "fault cross join outcome on outcome.id = outcome_id"
#: If at least one fault in so many fits, going through all faults finds the first ones soonest.
_OFTEN: Final = 20
#: If no more faults have the outcomes that are asked for, all are read and put in order at once.
_FEW: Final = 20_000


class Condition(NamedTuple):
    """A part of a WHERE clause with the values of its question marks."""

    sql: str
    values: tuple[object, ...]


@dataclass(frozen=True, slots=True)
class FaultChoice:
    """A choice of faults: ids of their properties, and words of their names.

    Whatever is None or empty is left open. `hazard` is one of the hazards that hold; `family` is a
    whole name, `words` are some words of a name.
    """

    circuit: int | None = None
    kind: int | None = None
    verdict: int | None = None
    signature: int | None = None
    hazard: int | None = None
    family: str = ""
    words: str = ""
    locations: int | None = None
    scheme: str = ""

    def found(self) -> list[Condition]:
        """Return the conditions on the outcome, for ``outcome`` and ``profile`` alike."""
        conditions = []
        if self.verdict is not None:
            conditions.append(Condition("verdict_id = ?", (self.verdict,)))
        if self.signature is not None:
            conditions.append(Condition("signature_id = ?", (self.signature,)))
        if self.hazard is not None:
            conditions.append(Condition("hazard_set >> (? - 1) & 1", (self.hazard,)))
        return conditions

    def called(self) -> list[Condition]:
        """Return the conditions on kind and name, for ``fault`` and ``profile`` alike."""
        conditions = []
        if self.kind is not None:
            conditions.append(Condition("+kind_id = ?", (self.kind,)))
        if self.family:
            named = "+family_id in (select id from family where name = ?)"
            conditions.append(Condition(named, (self.family,)))
        if self.words:
            matching = "+family_id in (select rowid from family_fts where family_fts match ?)"
            conditions.append(Condition(matching, (search_words(self.words),)))
        return conditions

    def of_circuits(self) -> list[Condition]:
        """Return the conditions on circuits, for ``circuit`` and ``profile`` alike."""
        conditions = []
        if self.locations is not None:
            conditions.append(Condition("locations = ?", (self.locations,)))
        if self.scheme:
            conditions.append(Condition("scheme = ?", (self.scheme,)))
        return conditions

    def counted(self) -> Condition:
        """Return all conditions for ``profile``, which knows no single circuit."""
        return together([*self.found(), *self.called(), *self.of_circuits()])

    def judged(self) -> Condition:
        """Return all conditions for faults with their outcomes, except those on a circuit."""
        sizes = self.of_circuits()
        if sizes:
            size = together(sizes)
            of_size = f"exists (select 1 from circuit where id = circuit_id and {size.sql})"
            sizes = [Condition(of_size, size.values)]
        return together([*self.found(), *self.called(), *sizes])


def together(conditions: Sequence[Condition]) -> Condition:
    """Join conditions into one."""
    return Condition(
        " and ".join(condition.sql for condition in conditions) or "true",
        tuple(value for condition in conditions for value in condition.values),
    )


def total(visit: Visit, choice: FaultChoice) -> int:
    """Return how many faults fit a choice."""
    if choice.circuit is not None:
        judged = choice.judged()
        return visit.number(
            f"select count(*) from {_FAULTS} where circuit_id = ? and {judged.sql}",
            *(choice.circuit, *judged.values),
        )
    counted = choice.counted()
    return visit.number(
        f"select coalesce(sum(faults), 0) from profile where {counted.sql}", *counted.values
    )


def fault_ids(visit: Visit, choice: FaultChoice, limit: int, skip: int = 0) -> list[int]:
    """Return ids of faults that fit, in the catalogue's order, from the `skip`-th on."""
    if choice.circuit is not None:
        judged = choice.judged()
        rows = visit.rows(
            f"select fault.id from {_FAULTS} where circuit_id = ? and {judged.sql}"
            f" order by fault.id limit {limit:d} offset {skip:d}",
            *(choice.circuit, *judged.values),
        )
        return [row[0] for row in rows]
    chosen = total(visit, choice)
    if chosen * _OFTEN >= total(visit, FaultChoice()):
        return _among_all(visit, choice, limit, skip)
    looks = FaultChoice(verdict=choice.verdict, signature=choice.signature, hazard=choice.hazard)
    if total(visit, looks) <= _FEW:
        return _by_outcome(visit, choice)[skip : skip + limit]
    return list(islice(_by_family(visit, choice), skip, skip + limit))


def _among_all(visit: Visit, choice: FaultChoice, limit: int, skip: int) -> list[int]:
    """Find them by going through all faults, from the first that is known to fit."""
    counted, judged = choice.counted(), choice.judged()
    (first,) = visit.rows(
        f"select coalesce(min(example_id), 0) from profile where {counted.sql}", *counted.values
    )[0]
    rows = visit.rows(
        "select fault.id from fault not indexed cross join outcome on outcome.id = outcome_id"
        f" where fault.id >= ? and {judged.sql} order by fault.id"
        f" limit {limit:d} offset {skip:d}",
        *(first, *judged.values),
    )
    return [row[0] for row in rows]


def _by_outcome(visit: Visit, choice: FaultChoice) -> list[int]:
    """Find all of them by the few outcomes that they can have."""
    judged = choice.judged()
    rows = visit.rows(
        "select fault.id from outcome cross join fault on outcome_id = outcome.id"
        f" where {judged.sql}",
        *judged.values,
    )
    return sorted(row[0] for row in rows)


def _by_family(visit: Visit, choice: FaultChoice) -> Iterator[int]:
    """Yield all of them, merged from their families; each is read from when its first is due."""
    counted = choice.counted()
    judged = replace(choice, family="", words="").judged()
    begun: dict[int, Cursor] = {}
    left: dict[int, int] = {}
    due: list[tuple[int, int]] = []
    for family, first, faults in visit.rows(
        "select family_id, min(example_id), sum(faults) from profile"
        f" where {counted.sql} group by family_id",
        *counted.values,
    ):
        left[family] = faults
        heapq.heappush(due, (first, family))
    while due:
        number, family = heapq.heappop(due)
        yield number
        left[family] -= 1
        if not left[family]:
            begun.pop(family, None)
            continue
        if family not in begun:
            begun[family] = visit.catalogue.execute(
                f"select fault.id from {_FAULTS} where family_id = ? and fault.id > ?"
                f" and {judged.sql} order by fault.id",
                (family, number, *judged.values),
            )
        following: Row | None = begun[family].fetchone()
        if following is not None:
            heapq.heappush(due, (following[0], family))
