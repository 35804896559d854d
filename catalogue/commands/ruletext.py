"""Observations against published rules are put into lines for a terminal."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from catalogue.report.terminal import heading, paragraph
from verify.circuit.model import Circuit
from verify.rules.book import Rulebook, note
from verify.rules.premises import STANDINGS
from verify.rules.remarks import Remark, remarks


def rules_told(circuit: Circuit, book: Rulebook) -> Iterator[str]:
    """Yield what a rulebook's rules find in a circuit, line by line."""
    found = remarks(circuit, book)
    yield heading(f"Published rules: {book.title}")
    yield paragraph(note())
    for standing, title in STANDINGS.items():
        chosen = [remark for remark in found if remark.finding.standing == standing]
        if chosen:
            yield ""
            yield heading(title, "  ")
        for _, group in groupby(chosen, key=lambda remark: remark.rule.id):
            yield from _remark_lines(list(group))
    raised = {remark.rule.id for remark in found}
    others = [text.section(book.edition) for rule, text in book.rules if rule.id not in raised]
    if others:
        yield ""
        nothing = f"Looked for too, and nothing found that raises it: {'; '.join(others)}."
        yield paragraph(nothing, "  ")


def _remark_lines(group: Sequence[Remark]) -> Iterator[str]:
    """Yield the remarks of one rule."""
    first = group[0]
    yield paragraph(f"{first.section}: {first.rule.title}", "    ", "  - ")
    for remark in group:
        yield paragraph(remark.finding.because, "    ")
    yield paragraph(f"In our words: {first.text.says} ({first.how_known})", "    ")
