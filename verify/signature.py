"""Signatures: what the lamps and the protection do in every state, up to renaming positions.

Exchanging up and down of any set of switches turns a word over the 2^n states into another;
the smallest of these 2^n words is canonical.
For one lamp that is dark or lit the canonical words number 2, 3, 7, 46, 4336 for n = 0…4
(OEIS A000231, read).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.behaviour import Findings

DARK: Final = 0
DIM: Final = 1
LIT: Final = 2
OVER: Final = 3
TRIP: Final = 4
OUTCOMES: Final = ("dark", "dim", "lit", "over", "trips")
SYMBOLS: Final = "-dLOT"
_BASE: Final = len(SYMBOLS)
_LONGEST_REMEMBERED: Final = 64

Codes = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Signature:
    """A canonical word. `codes[s]` packs the outcomes of all lamps in state s, see `outcomes`."""

    switches: int
    lamps: int
    codes: tuple[int, ...]

    def outcomes(self, state: int) -> tuple[int, ...]:
        """The outcome of each lamp in a state, as an index into `OUTCOMES`."""
        return unpacked(self.codes[state], self.lamps)

    @property
    def any_location(self) -> bool:
        """True if nothing trips and every move of any switch changes every lamp."""
        return all(
            set(outcomes) == {DARK, LIT} and _Function(outcomes, ()).is_parity()
            for outcomes in zip(*map(self.outcomes, range(len(self.codes))), strict=True)
        )

    @cached_property
    def word(self) -> str:
        """One symbol a lamp and state: ``-`` dark, ``d`` dim, ``L`` lit, ``O`` over, ``T`` trip.

        States follow each other by number; with several lamps they are parted by dots, and a state
        that trips has a single ``T``.
        """
        texts = []
        for state in range(len(self.codes)):
            outcomes = self.outcomes(state)
            texts.append("T" if outcomes[0] == TRIP else "".join(SYMBOLS[o] for o in outcomes))
        return ("" if self.lamps == 1 else ".").join(texts)

    @classmethod
    def parse(cls, word: str, lamps: int = 1) -> "Signature":
        """The signature of `lamps` lamps with that `word`; raises ValueError if there is none."""
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
    """The outcomes of all lamps in one state as one number; any lamp's trip is everybody's."""
    code = 0
    for outcome in outcomes:
        code = code * _BASE + outcome
    return code


def unpacked(code: int, lamps: int) -> tuple[int, ...]:
    """The inverse of `packed`."""
    return tuple(code // _BASE**place % _BASE for place in reversed(range(lamps)))


def state_codes(found: Findings) -> Codes:
    """The packed outcomes of every row in every state: shape (faults, 2^switches)."""
    states = 1 << found.switches
    lamps = found.lit.shape[1]
    codes = np.zeros((len(found), states), np.int64)
    for lamp in range(lamps):
        codes = codes * _BASE + LIT * _bits(found.lit[:, lamp], states)
    trip = packed([TRIP] * lamps)
    return np.where(_bits(found.trips, states), trip, codes)


def _bits(words: npt.NDArray[np.uint64], states: int) -> npt.NDArray[np.bool_]:
    """Rows of 64-bit words as rows of booleans."""
    octets = np.ascontiguousarray(words.astype("<u8")).view(np.uint8)
    return np.unpackbits(octets, axis=-1, bitorder="little")[:, :states].astype(np.bool_)


def canonical(codes: Codes, lamps: int) -> Signature:
    """The signature of one row of `state_codes`; its length is a power of two."""
    if len(codes) > _LONGEST_REMEMBERED:
        return _canonical(codes, lamps)
    return _remembered(codes.tobytes(), lamps)


@lru_cache(maxsize=1 << 16)
def _remembered(codes: bytes, lamps: int) -> Signature:
    """Circuits do few different things: most signatures are asked for again and again."""
    return _canonical(np.frombuffer(codes, np.int64), lamps)


def _canonical(codes: Codes, lamps: int) -> Signature:
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
    """Masks that give every word that exchanging positions can give, each word once.

    The masks that leave the word as it is form a subspace over GF(2): those whose
    autocorrelation, summed over the outcomes, is full. One mask of each of its cosets is enough.
    """
    states = len(codes)
    total = np.zeros(states, np.int64)
    for value in np.unique(codes):
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
    """The unnormalised transform; O(n 2^n)."""
    step = 1
    while step < len(values):
        pairs = values.reshape(-1, 2, step)
        values = np.stack((pairs[:, 0] + pairs[:, 1], pairs[:, 0] - pairs[:, 1]), 1).reshape(-1)
        step *= 2
    return values


def signature_name(signature: Signature) -> str:
    """The signature in plain words; switches are called by number, first to last."""
    lamps = [_lamp_name(signature, lamp) for lamp in range(signature.lamps)]
    if signature.lamps == 1:
        return lamps[0]
    if len(set(lamps)) == 1 and _all_alike(signature):
        return f"all lamps alike: {lamps[0]}"
    return "; ".join(f"lamp {number}: {name}" for number, name in enumerate(lamps, 1))


def _all_alike(signature: Signature) -> bool:
    return all(len(set(signature.outcomes(s))) == 1 for s in range(len(signature.codes)))


def _lamp_name(signature: Signature, lamp: int) -> str:
    outcomes = tuple(signature.outcomes(state)[lamp] for state in range(len(signature.codes)))
    function = _Function(outcomes, tuple(range(1, signature.switches + 1)))
    if signature.switches and set(outcomes) == {DARK, LIT} and function.is_parity():
        return "works from every switch"
    return function.name()


@dataclass(frozen=True)
class _Function:
    """What one lamp does as a function of the switches numbered `switches`."""

    outcomes: tuple[int, ...]
    switches: tuple[int, ...]

    def name(self) -> str:
        kinds = set(self.outcomes)
        if kinds == {TRIP}:
            return "trips in every combination"
        if TRIP in kinds:
            return f"{self._trip_name()}; otherwise {self._name_besides_trips()}"
        idle = [switch for switch in self.switches if not self._matters(switch)]
        name = self._essential().light_name()
        if not idle or len(kinds) == 1:
            return name
        return f"{name}; {_listed(idle)} {_verb(idle, 'does', 'do')} nothing"

    def light_name(self) -> str:
        """The name where no state trips and every switch matters or none does."""
        every = len(self.outcomes)
        lit = self.outcomes.count(LIT)
        if lit == 0:
            return "never lights"
        if lit == every:
            return "always lit"
        if self.is_parity():
            return self._parity_name()
        if lit == 1:
            return f"lit in one combination of {_listed(self.switches)} only"
        if lit == every - 1:
            return f"dark in one combination of {_listed(self.switches)} only"
        if every > 1 << _MOST_SPELLED:
            return f"lit in {lit} of {every} combinations"
        return min(self._by_cases(), key=lambda text: (len(text), text))

    def _by_cases(self) -> Iterator[str]:
        for switch in self.switches:
            one, other = (self._fixed(switch, value).name() for value in (0, 1))
            if one == other:
                yield (f"with {_listed([switch])} either way {one}, in other combinations each way")
            else:
                yield f"with {_listed([switch])} one way {one}, the other way {other}"

    def _parity_name(self) -> str:
        count = len(self.switches)
        if count == 1:
            return f"{_listed(self.switches)} works"
        return f"{_listed(self.switches)} {'both' if count == 2 else 'all'} work"

    def _trip_name(self) -> str:
        trips = _Function(
            tuple(LIT if outcome == TRIP else DARK for outcome in self.outcomes), self.switches
        )
        essential = trips._essential()
        count = trips.outcomes.count(LIT)
        if len(essential.switches) == 1:
            return f"trips with {_listed(essential.switches)} one way"
        if count == 1:
            return "trips in one combination"
        if essential.outcomes.count(LIT) == 1:
            return f"trips in one combination of {_listed(essential.switches)}"
        return f"trips in {count} of {len(self.outcomes)} combinations"

    def _name_besides_trips(self) -> str:
        rest = [outcome for outcome in self.outcomes if outcome != TRIP]
        lit = rest.count(LIT)
        if lit == 0:
            return "never lights"
        if lit == len(rest):
            return "always lit"
        return f"lit in {lit} of {len(rest)}"

    def _bit(self, switch: int) -> int:
        return 1 << self.switches.index(switch)

    def _matters(self, switch: int) -> bool:
        bit = self._bit(switch)
        return any(
            self.outcomes[state] != self.outcomes[state ^ bit]
            for state in range(len(self.outcomes))
        )

    def _fixed(self, switch: int, value: int) -> "_Function":
        """The function of the other switches with this one in one position."""
        bit = self._bit(switch)
        return _Function(
            tuple(o for state, o in enumerate(self.outcomes) if bool(state & bit) == bool(value)),
            tuple(other for other in self.switches if other != switch),
        )

    def _essential(self) -> "_Function":
        """The same function of only those switches that matter."""
        function = self
        for switch in self.switches:
            if not self._matters(switch):
                function = function._fixed(switch, 0)
        return function

    def is_parity(self) -> bool:
        """True if every move of any switch changes the outcome."""
        first = self.outcomes[0]
        return all(
            (outcome == first) == (state.bit_count() % 2 == 0)
            for state, outcome in enumerate(self.outcomes)
        )


_MOST_SPELLED: Final = 4


def _listed(switches: Sequence[int]) -> str:
    numbers = [str(switch) for switch in switches]
    if len(numbers) == 1:
        return f"switch {numbers[0]}"
    return f"switches {', '.join(numbers[:-1])} and {numbers[-1]}"


def _verb(things: Sequence[int], one: str, many: str) -> str:
    return one if len(things) == 1 else many
