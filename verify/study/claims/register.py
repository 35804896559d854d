"""All claims, and the function that decides them."""

from collections.abc import Iterable
from typing import Final

from verify.engine.volts import VoltsEngine
from verify.engine.words import WordsEngine
from verify.study.claims import counting, dangers, meters, symptoms, travelers
from verify.study.claims.cases import Observer
from verify.study.claims.contract import Claim, ClaimBench, JudgedClaim, Progress

CLAIMS: Final[tuple[Claim, ...]] = (
    *travelers.CLAIMS,
    *symptoms.CLAIMS,
    *dangers.CLAIMS,
    *meters.CLAIMS,
    *counting.CLAIMS,
)
CLAIM: Final = {claim.name: claim for claim in CLAIMS}


def usual_bench() -> ClaimBench:
    """Return a bench with *words*, and with *volts* for claims about volts and amperes."""
    words = WordsEngine()
    return ClaimBench(
        Observer(words, words.live_terminals), volts=Observer(VoltsEngine(), words.live_terminals)
    )


def decide(
    claims: Iterable[Claim] = CLAIMS,
    bench: ClaimBench | None = None,
    progress: Progress = lambda done, total: None,
) -> list[JudgedClaim]:
    """Return the answer to each claim, in order.

    `progress` is told how many are done and how many there are.
    """
    chosen = list(claims)
    bench = usual_bench() if bench is None else bench
    judged: list[JudgedClaim] = []
    progress(0, len(chosen))
    for claim in chosen:
        judged.append(JudgedClaim(claim, claim.question.answer(bench)))
        progress(len(judged), len(chosen))
    return judged
