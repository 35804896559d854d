"""The page of mistakes that pass every flip: by hazard, place, kind and name, and by layout."""

import re
from collections import Counter
from typing import Final

from catalogue.pages.contract import Facts, Page, Visit
from catalogue.pages.counts import IS_MIMIC
from catalogue.pages.coverage import nothing_found
from catalogue.pages.desksketch import sketch
from catalogue.pages.paging import paged, whole_number
from catalogue.pages.rendered import RENDER_COLUMNS, with_words
from catalogue.store.coverage import scheme_title
from verify.behaviour.judgement import VERDICTS
from verify.layout.enumeration import Layout

#: Sums over `profile`: all faults of layouts, and the mimics among them.
_COUNTED: Final = f"sum(faults) as faults, coalesce(sum(faults * ({IS_MIMIC})), 0) as mimics"
_FROM: Final = (
    "from profile where origin = 'layout' and (? is null or profile.locations = ?)"
    " and (? = '' or profile.scheme = ?)"
)
_TITLE: Final = "Which mistakes still pass every flip"
_NAMES: Final = 10
_EXAMPLES: Final = 3
#: A layout with a longer label gets no picture.
_MOST_DRAWN: Final = 8


def mimics(visit: Visit) -> Page:
    """Show counts and shares of mimics among the layouts' faults that pass the filters."""
    locations = whole_number(visit.query, "locations")
    scheme = visit.query.get("scheme", "")
    where = (locations, locations, scheme, scheme)
    total = visit.row(f"select {_COUNTED} {_FROM}", *where)
    filters: Facts = {"locations": locations, "scheme": scheme}
    if total is None or total["faults"] is None:
        nothing = nothing_found(visit, "", locations, scheme)
        filtered: Facts = {"filters": filters, "choices": _choices(visit), "nothing": nothing}
        return Page(_TITLE, "mimics", filtered)
    return Page(
        _TITLE,
        "mimics",
        {
            "filters": filters,
            "choices": _choices(visit),
            "nothing": None,
            "faults": total["faults"],
            "mimics": total["mimics"],
            "by_hazard": _by_hazard(visit, where, total["mimics"]),
            "by_kind": _by_kind(visit, where),
            "by_place": _by_place(visit, where),
            "by_name": _by_name(visit, where),
            "examples": _example_mimics(visit, where),
            **_by_layout(visit, where),
        },
    )


def _choices(visit: Visit) -> Facts:
    rows = visit.rows(
        "select distinct locations, scheme from profile where origin = 'layout' order by 1, 2"
    )
    return {
        "locations": sorted({row["locations"] for row in rows}),
        "scheme": [
            {"name": scheme, "title": scheme_title(scheme)}
            for scheme in dict.fromkeys(row["scheme"] for row in rows)
        ],
    }


def _by_hazard(visit: Visit, where: tuple[object, ...], mimics: int) -> list[Facts]:
    """Count by hazard; the share is that of the mimics, and a mimic can have several hazards."""
    rows = visit.rows(
        "select hazard.name, title, coalesce(sum(faults), 0) as mimics from hazard"
        f" left join (select hazard_set, faults {_FROM} and {IS_MIMIC})"
        " on hazard_set >> (hazard.id - 1) & 1 group by hazard.id order by mimics desc, hazard.id",
        *where,
    )
    return [{**dict(row), "share": _part(row["mimics"], mimics)} for row in rows]


def _by_kind(visit: Visit, where: tuple[object, ...]) -> list[Facts]:
    rows = visit.rows(
        "select kind.name, title, faults, mimics from fault_kind as kind"
        f" join (select kind_id, {_COUNTED} {_FROM} group by kind_id) on kind_id = kind.id"
        " order by mimics desc, kind.id",
        *where,
    )
    return [{**dict(row), "share": _part(row["mimics"], row["faults"])} for row in rows]


def _by_place(visit: Visit, where: tuple[object, ...]) -> list[Facts]:
    """Count by box, which is named after its switch, first to last as the current meets them."""
    found: Counter[str] = Counter()
    passed: Counter[str] = Counter()
    for row in visit.rows(
        "select locations, place, sum(faults) as faults, sum(mimics) as mimics from family join"
        f" (select family_id, profile.locations, {_COUNTED} {_FROM} group by 1, 2)"
        " on family_id = family.id group by 1, 2",
        *where,
    ):
        place = _place(row["place"], row["locations"])
        found[place] += row["faults"]
        passed[place] += row["mimics"]
    return [
        {"place": place, "faults": found[place], "mimics": n, "share": _part(n, found[place])}
        for place, n in passed.most_common()
    ]


def _place(place: str, locations: int) -> str:
    """Return where a fault is, in words that fit every size."""
    if place == "":
        return "the whole circuit"
    if "-run" in place:
        return "a cable"
    if place in ("lamp", "lamp-box"):
        return "the lamp" if place == "lamp" else "the lamp’s box"
    what, number = re.fullmatch(r"(box|switch)-(\d+)", place).groups()  # type: ignore[union-attr]
    which = {1: "the first", locations: "the last"}.get(int(number), "a middle")
    return f"{which} switch’s box" if what == "box" else f"{which} switch itself"


def _by_name(visit: Visit, where: tuple[object, ...]) -> list[Facts]:
    """Return the names that most mimics have."""
    rows = visit.rows(
        f"select family.name, sum(mimics) as mimics from (select family_id, {_COUNTED} {_FROM}"
        " group by 1) join family on family.id = family_id group by 1"
        f" having mimics > 0 order by 2 desc, 1 limit {_NAMES:d}",
        *where,
    )
    return [dict(row) for row in rows]


def _example_mimics(visit: Visit, where: tuple[object, ...]) -> list[Facts]:
    """Return a mimic for each of the commonest hazards, in the simplest circuit."""
    rows = visit.rows(
        f"with passing as (select hazard_set, faults, example_id {_FROM} and {IS_MIMIC}),"
        " leading as (select hazard.id, sum(faults) as mimics, min(example_id) as example"
        " from hazard join passing on hazard_set >> (hazard.id - 1) & 1 group by 1"
        f" order by mimics desc limit {_EXAMPLES:d})"
        f" select hazard.title, {RENDER_COLUMNS} from leading join hazard on hazard.id = leading.id"
        " join fault on fault.id = example join circuit on circuit.id = circuit_id"
        " join fault_kind as kind on kind.id = kind_id order by leading.mimics desc",
        *where,
    )
    return [with_words(row) for row in rows]


def _by_layout(visit: Visit, where: tuple[object, ...]) -> Facts:
    """Return a page of circuits, those with the largest share of mimics first."""
    chosen = "origin = 'layout' and (? is null or locations = ?) and (? = '' or scheme = ?)"
    total = visit.number(f"select count(*) from circuit where {chosen}", *where)
    paging = paged(visit.query, total)
    rows = visit.rows(
        "select label, faults, sound, mimics as mimic, misbehaving as misbehaves,"
        " tripping as trips, faults - sound - mimics - misbehaving - tripping as undecided"
        f" from circuit where {chosen} order by mimics * 1.0 / faults desc, id"
        f" limit {paging.size:d} offset {paging.skip:d}",
        *where,
    )
    return {
        "total": total,
        **paging.facts(),
        "layouts": [
            {
                "label": row["label"],
                "sketch": _sketch(row["label"]),
                "faults": row["faults"],
                "counts": {name: row[name] for name in VERDICTS},
                "share": _part(row["mimic"], row["faults"]),
            }
            for row in rows
        ],
    }


def _sketch(label: str) -> Facts | None:
    try:
        layout = Layout.parse(label.partition("-")[2])
    except ValueError:
        return None
    if layout.locations > _MOST_DRAWN:
        return None
    numbers = [str(number) for number in range(1, layout.locations + 1)]
    return sketch(layout, numbers, layout.in_words())


def _part(some: int, all_of_them: int) -> float:
    return round(some / all_of_them, 6) if all_of_them else 0.0
