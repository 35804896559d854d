"""The page of findings: this catalogue's numbers, each with the command that gives it again."""

import tomllib
from functools import cache
from typing import Final

from catalogue.pages.contract import Facts, Page, Visit
from catalogue.pages.counts import IS_MIMIC
from catalogue.pages.flipping import tests
from catalogue.pages.pairs import sizes
from catalogue.pages.provenance import audits, last_run
from catalogue.store.coverage import scheme_title
from verify.base.resources import data_path
from verify.layout.schemes import SOUND_SCHEMES

_TITLE: Final = "What we found"
_SHARES: Final = ("sound", "mimic", "misbehaves", "trips")


def findings(visit: Visit) -> Page:
    """Show every number that a researcher could cite, computed from what is stored."""
    run = last_run(visit)
    build = _build_command(visit)
    return Page(
        _TITLE,
        "findings",
        {
            "run": run,
            "build": build,
            "audits": audits(visit)[:1],
            "scope": _scope(visit),
            "verdicts": _verdicts(visit),
            "hazards": _hazards(visit),
            "signatures": _signatures(visit),
            "pairs": sizes(visit),
            "tests": tests(visit),
            "claims": _claims(visit),
            "census": _census(),
        },
    )


def _build_command(visit: Visit) -> str:
    """Return the command that builds the content of this file again."""
    row = visit.row("select locations, schemes, drawn, seed from run order by id desc limit 1")
    words = ["miswire build DB"]
    if row and row["locations"]:
        words.append(f"--locations {row['locations']}")
        if row["schemes"] != ",".join(SOUND_SCHEMES):
            words.append(f"--scheme {row['schemes']}")
    if row and row["drawn"]:
        words.append(f"--random {row['drawn']} --seed {row['seed']}")
    return " ".join(words)


def _scope(visit: Visit) -> list[Facts]:
    """Count circuits and faults by size, layouts apart from drawn circuits."""
    return [
        {**dict(row), "scheme_title": scheme_title(row["scheme"])}
        for row in visit.rows(
            "select locations, scheme, coverage, max(circuits) as circuits, sum(faults) as faults"
            " from scope group by coverage, locations, scheme order by coverage, locations, scheme"
        )
    ]


def _verdicts(visit: Visit) -> list[Facts]:
    """Count the faults of the layouts by verdict, with the average number of sites of each."""
    rows = visit.rows(
        "select locations, scheme, verdict.name as verdict, sum(faults) as faults"
        " from profile join verdict on verdict.id = verdict_id where origin = 'layout'"
        " group by 1, 2, 3 order by 1, 2"
    )
    found: dict[tuple[int, str], dict[str, int]] = {}
    for row in rows:
        counts = found.setdefault((row["locations"], row["scheme"]), dict.fromkeys(_SHARES, 0))
        counts[row["verdict"]] = row["faults"]
    return [
        {
            "locations": locations,
            "scheme": scheme,
            "scheme_title": scheme_title(scheme),
            "counts": counts,
            "faults": sum(counts.values()),
            "shares": {name: counts[name] / sum(counts.values()) for name in _SHARES},
        }
        for (locations, scheme), counts in found.items()
    ]


def _hazards(visit: Visit) -> list[Facts]:
    """Count the faults of the layouts, and the mimics among them, by hazard."""
    return visit.facts(
        "select hazard.name, title, coalesce(sum(faults), 0) as faults,"
        f" coalesce(sum(faults * ({IS_MIMIC})), 0) as mimics from hazard"
        " left join profile on hazard_set >> (hazard.id - 1) & 1 and origin = 'layout'"
        " group by hazard.id order by mimics desc, hazard.id"
    )


def _signatures(visit: Visit) -> list[Facts]:
    """Count by size the different things that a layout's light does after one mistake."""
    return visit.facts(
        "select profile.locations, count(distinct signature_id) as signatures,"
        " count(distinct case when trip_states = 0 then signature_id end) as without_trips,"
        " count(distinct family_id) as families from profile"
        " join signature on signature.id = signature_id where origin = 'layout'"
        " group by 1 order by 1"
    )


def _claims(visit: Visit) -> list[Facts]:
    """Count claims by status; the list is empty if none were judged into this file."""
    return visit.facts("select status, count(*) as claims from claim group by 1 order by 1")


@cache
def _census() -> list[Facts]:
    """Return what censuses have counted, with the command that counts it again."""
    counted = tomllib.loads(data_path("census.toml").read_text("utf-8"))["census"]
    return [{**row, "command": f"miswire census {row['locations']}"} for row in counted]
