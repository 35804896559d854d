"""The page of terms and the page of cautions."""

from dataclasses import asdict

from catalogue.pages.contract import Page, Visit
from catalogue.report.terms import anchor
from verify.base.cautions import cautions as all_cautions


def terms(visit: Visit) -> Page:
    """Show every word in both usages, as the catalogue holds them."""
    rows = visit.rows("select word, iec, meaning from term order by id")
    return Page(
        "Terms", "terms", {"terms": [{**dict(row), "anchor": anchor(row["word"])} for row in rows]}
    )


def cautions(visit: Visit) -> Page:
    """Show all cautions in full, with what they rest on."""
    return Page(
        "Cautions", "cautions", {"in_full": [asdict(caution) for caution in all_cautions()]}
    )
