"""Signatures: what lamps and protection do in every state, up to renaming positions.

To exchange up and down of any set of switches turns a word over the 2^n states into another; the
smallest of these 2^n words is canonical. For one lamp that is dark or lit the canonical words
number 2, 3, 7, 46, 4336 for n = 0…4 (OEIS A000231, read).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour.findings import Findings

DARK: Final = 0
DIM: Final = 1
LIT: Final = 2
OVER: Final = 3
TRIP: Final = 4
OUTCOMES: Final = ("dark", "dim", "lit", "over", "trips")
SYMBOLS: Final = "-dLOT"
_BASE: Final = len(SYMBOLS)
#: The outcomes of more lamps than this do not fit into one code of 64 bits.
MOST_LAMPS: Final = 27
_LONGEST_CACHED: Final = 64

Codes = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Signature:
    """A canonical word; `codes[s]` packs the outcomes of all lamps in state s, see `outcomes`."""

    switches: int
    lamps: int
    codes: tuple[int, ...]

    def outcomes(self, state: int) -> tuple[int, ...]:
        """Return the outcome of each lamp in a state, as an index into `OUTCOMES`."""
        return unpacked(self.codes[state], self.lamps)

    @property
    def any_location(self) -> bool:
        """True if nothing trips and every move of any switch changes every lamp."""
        return all(
            set(outcomes) == {DARK, LIT} and is_parity(outcomes)
            for outcomes in zip(*map(self.outcomes, range(len(self.codes))), strict=True)
        )

    @cached_property
    def word(self) -> str:
        """One symbol a lamp and state: ``-`` dark, ``d`` dim, ``L`` lit, ``O`` over, ``T`` trip.

        States follow each other by number. With several lamps dots separate the states, and a state
        that trips has a single ``T``.
        """
        texts = []
        for state in range(len(self.codes)):
            outcomes = self.outcomes(state)
            texts.append("T" if outcomes[0] == TRIP else "".join(SYMBOLS[o] for o in outcomes))
        return ("" if self.lamps == 1 else ".").join(texts)

    @classmethod
    def parse(cls, word: str, lamps: int = 1) -> "Signature":
        """Return the signature of `lamps` lamps with that `word`.

        Raises ValueError if no signature has it.
        """
        groups = list(word) if lamps == 1 else word.split(".")
        codes = []
        for group in groups:
            symbols = group * lamps if group == "T" else group
            codes.append(packed([SYMBOLS.index(symbol) for symbol in symbols]))
        signature = canonical(np.array(codes, np.int64), lamps)
        if signature.word != word:
            raise ValueError(f"word={word!r} is not canonical; that is {signature.word!r}")
        return signature


def packed(outcomes: Sequence[int]) -> int:
    """Return the outcomes of all lamps in one state as one code; if one trips, all do."""
    code = 0
    for outcome in outcomes:
        code = code * _BASE + outcome
    return code


@lru_cache(maxsize=4096)  # few codes differ, and every state of every signature asks
def unpacked(code: int, lamps: int) -> tuple[int, ...]:
    """Return the outcome of each lamp from a code, the inverse of `packed`."""
    return tuple(code // _BASE**place % _BASE for place in reversed(range(lamps)))


def trip_code(lamps: int) -> int:
    """Return the code of a state that trips."""
    return packed([TRIP] * lamps)


def state_codes(found: Findings) -> Codes:
    """Return the code of every state of every row: shape (faults, 2^switches)."""
    states = 1 << found.switches
    lamps = found.lit.shape[1]
    codes = np.zeros((len(found), states), np.int64)
    for lamp in range(lamps):
        codes *= _BASE
        for outcome, words in ((DIM, found.dim), (LIT, found.lit), (OVER, found.over)):
            codes += outcome * _bits(words[:, lamp], states)
    return np.where(_bits(found.trips, states), trip_code(lamps), codes)


def _bits(words: npt.NDArray[np.uint64], states: int) -> npt.NDArray[np.bool_]:
    """Return rows of 64-bit words as rows of booleans."""
    octets = np.ascontiguousarray(words.astype("<u8")).view(np.uint8)
    return np.unpackbits(octets, axis=-1, bitorder="little")[:, :states].astype(np.bool_)


def canonical(codes: Codes, lamps: int) -> Signature:
    """Return the signature of one row of `state_codes`; its length is a power of two."""
    if len(codes) > _LONGEST_CACHED:
        return _canonical(codes, lamps)
    return _cached(codes.tobytes(), lamps)


@lru_cache(maxsize=1 << 16)
def _cached(codes: bytes, lamps: int) -> Signature:
    """Compute a signature once: few differ, so most are asked for again and again."""
    return _canonical(np.frombuffer(codes, np.int64), lamps)


def _canonical(codes: Codes, lamps: int) -> Signature:
    """Compute the signature: the smallest word that exchanging positions can give."""
    states = np.arange(len(codes))
    masks = _representatives(codes)
    for state in states:
        if len(masks) == 1:
            break
        values = codes[masks ^ state]
        masks = masks[values == values.min()]
    word = codes[states ^ masks[0]]
    return Signature(len(codes).bit_length() - 1, lamps, tuple(map(int, word)))


def _representatives(codes: Codes) -> Codes:
    """Return masks that give every word that exchanging positions can give, each word once.

    The masks that leave the word as it is form a subspace over GF(2): those whose autocorrelation,
    summed over the outcomes, is full. One mask of each of its cosets is enough.
    """
    states = len(codes)
    total = np.zeros(states, np.int64)
    for value in set(codes.tolist()):
        spectrum = _walsh_hadamard((codes == value).astype(np.int64))
        total += _walsh_hadamard(spectrum * spectrum)
    invariant = np.flatnonzero(total == states * states)
    pivots = 0
    basis: list[int] = []
    for mask in map(int, invariant):
        rest = mask
        for vector in basis:
            rest = min(rest, rest ^ vector)
        if rest:
            basis.append(rest)
            basis.sort(reverse=True)
            pivots |= 1 << (rest.bit_length() - 1)
        if 1 << len(basis) == len(invariant):
            break
    masks = np.arange(states)
    chosen: Codes = masks[(masks & pivots) == 0]
    return chosen


def _walsh_hadamard(values: Codes) -> Codes:
    """Return the unnormalised Walsh–Hadamard transform, in O(n 2^n) steps."""
    step = 1
    while step < len(values):
        pairs = values.reshape(-1, 2, step)
        values = np.stack((pairs[:, 0] + pairs[:, 1], pairs[:, 0] - pairs[:, 1]), 1).reshape(-1)
        step *= 2
    return values


def is_parity(outcomes: Sequence[int]) -> bool:
    """Return True if every move of any switch changes a lamp that has two outcomes.

    `outcomes` has one outcome for each state.
    """
    return all(
        (outcome == outcomes[0]) == (state.bit_count() % 2 == 0)
        for state, outcome in enumerate(outcomes)
    )
