"""The cautions are there, complete, and short enough to be read."""

import re

import pytest

from verify.base.cautions import Caution, cautions, summary


def sentences(text: str) -> int:
    """How many sentences a text has; a point inside a number or a section ends none."""
    return len(re.findall(r"[.!?](?= |$)", text))


def test_the_most_urgent_comes_first() -> None:
    """De-energising and proving dead stand before everything else."""
    assert [caution.id for caution in cautions()] == [
        "prove-dead",
        "off-proves-nothing",
        "live-work",
        "phantom-reading",
        "local-rules",
        "model-only",
    ]


@pytest.mark.parametrize("caution", cautions(), ids=lambda caution: caution.id)
def test_a_caution_is_short_and_says_where_it_comes_from(caution: Caution) -> None:
    """One sentence for a narrow place, a few in full; a source says how it is known."""
    assert sentences(caution.short) == 1
    assert len(caution.short) <= 100
    assert 2 <= sentences(caution.text) <= 3
    assert (caution.source is None) == (caution.how_known is None)
    if caution.how_known:
        assert re.search(r"\b(read|memory|computed)\b", caution.how_known)
    for text in (caution.short, caution.text, caution.source or "", caution.how_known or ""):
        assert text == " ".join(text.split())


def test_the_summary_holds_the_substance_of_all() -> None:
    """A terminal's footer names what may not be left out, in at most three sentences."""
    assert 2 <= sentences(summary()) <= 3
    for word in (
        "breaker",
        "lock",
        "prove it dead",
        "before and after",
        "a switch that is off proves nothing",
        "phantom",
        "qualified persons",
        "model",
        "local code",
        "licensed electrician",
    ):
        assert word in summary()
