"""Signatures in plain words.

A name is kept short: where it cannot say everything, it says in how many states the lamp is lit,
and the table of states says the rest. Switches are numbered, first to last.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from verify.base.sentences import with_and
from verify.behaviour.signature import DARK, LIT, TRIP, Signature, is_parity

#: Switches of which only the parity matters: moving any of them does the same.
Group = tuple[int, ...]

_MOST_GROUPS_BY_CASES: Final = 4
_ONE_WAY: Final = " one way "


def signature_name(signature: Signature) -> str:
    """Return the signature in plain words, such as ``works from every switch``."""
    lamps = [_lamp_name(signature, lamp) for lamp in range(signature.lamps)]
    if signature.lamps == 1:
        return lamps[0]
    if all(len(set(signature.outcomes(s))) == 1 for s in range(len(signature.codes))):
        return f"all lamps alike: {lamps[0]}"
    return "; ".join(f"lamp {number}: {name}" for number, name in enumerate(lamps, 1))


def _lamp_name(signature: Signature, lamp: int) -> str:
    """Return what one lamp does, in words."""
    outcomes = tuple(signature.outcomes(state)[lamp] for state in range(len(signature.codes)))
    if set(outcomes) == {DARK, LIT} and is_parity(outcomes):
        return "works from every switch"
    function = _Function(outcomes, tuple((s,) for s in range(1, signature.switches + 1)))
    if set(outcomes) == {TRIP}:
        return "trips in every combination"
    if TRIP in outcomes:
        return f"{_trip_name(function)}; otherwise {_besides_trips(outcomes)}"
    essential = function.essential()
    idle = [group[0] for group in function.groups if group not in essential.groups]
    name = _light_name(essential.merged())
    if not idle or not essential.groups:
        return name
    return f"{name}; {_listed(idle)} {'does' if len(idle) == 1 else 'do'} nothing"


@dataclass(frozen=True)
class _Function:
    """Outcomes as a function of groups of switches: bit i of an index is where group i stands."""

    outcomes: tuple[int, ...]
    groups: tuple[Group, ...]

    def fixed(self, place: int, value: int) -> "_Function":
        """Return the function of the other groups with the one at `place` in one position."""
        return _Function(
            tuple(o for index, o in enumerate(self.outcomes) if index >> place & 1 == value),
            (*self.groups[:place], *self.groups[place + 1 :]),
        )

    def unchanged_by(self, mask: int) -> bool:
        """Return True if moving all groups of `mask` together never changes the outcome."""
        return all(o == self.outcomes[index ^ mask] for index, o in enumerate(self.outcomes))

    def essential(self) -> "_Function":
        """Return the same function of only those groups that matter."""
        for place in range(len(self.groups)):
            if self.unchanged_by(1 << place):
                return self.fixed(place, 0).essential()
        return self

    def merged(self) -> "_Function":
        """Return the same function with groups merged if only their parity matters."""
        for place in range(len(self.groups)):
            for other in range(place + 1, len(self.groups)):
                if self.unchanged_by(1 << place | 1 << other):
                    rest = self.fixed(other, 0)
                    groups = list(rest.groups)
                    groups[place] = (*self.groups[place], *self.groups[other])
                    return _Function(rest.outcomes, tuple(groups)).merged()
        return self


def _light_name(function: _Function) -> str:
    """Return a name for a function whose outcomes are dark and lit and whose groups all matter."""
    if not function.groups:
        return "always lit" if function.outcomes[0] == LIT else "never lights"
    if len(function.groups) == 1:
        (group,) = function.groups
        return f"{_listed(group)} {_works(group)}"
    lit, every = function.outcomes.count(LIT), len(function.outcomes)
    by_cases = sorted(_by_cases(function), key=lambda text: (len(text), text))
    has_merged = any(len(group) > 1 for group in function.groups)
    if by_cases and has_merged and len(function.groups) == 2:
        return by_cases[0]
    if lit in (1, every - 1):
        return f"{'lit' if lit == 1 else 'dark'} in one combination of {_together(function)} only"
    return by_cases[0] if by_cases else f"lit in {lit} of {every} combinations"


def _by_cases(function: _Function) -> Iterator[str]:
    """Yield names of the form "with switch 1 one way …, the other way …".

    One switch is fixed, and neither of the two cases may need further cases.
    """
    if len(function.groups) > _MOST_GROUPS_BY_CASES:
        return
    for place, group in enumerate(function.groups):
        if len(group) == 1:
            one, other = (
                _light_name(function.fixed(place, value).essential().merged()) for value in (0, 1)
            )
            if one != other and _ONE_WAY not in one + other:
                yield f"with {_listed(group)}{_ONE_WAY}{one}, the other way {other}"


def _trip_name(function: _Function) -> str:
    """Return in which positions protection trips, in words."""
    trips = _Function(
        tuple(LIT if outcome == TRIP else DARK for outcome in function.outcomes), function.groups
    )
    needed = trips.essential().merged()
    if len(needed.groups) == 1:
        (group,) = needed.groups
        if len(group) == 1:
            return f"trips with {_listed(group)} one way"
        return f"trips at every second flip of {_listed(group)}"
    if needed.outcomes.count(LIT) == 1:
        return f"trips in one combination of {_together(needed)}"
    return f"trips in {trips.outcomes.count(LIT)} of {len(trips.outcomes)} combinations"


def _besides_trips(outcomes: Sequence[int]) -> str:
    """Return what the lamp does in the states that do not trip, in words."""
    rest = [outcome for outcome in outcomes if outcome != TRIP]
    lit = rest.count(LIT)
    if lit == 0:
        return "never lights"
    return "always lit" if lit == len(rest) else f"lit in {lit} of {len(rest)}"


def _together(function: _Function) -> str:
    """Return the switches of a function in words; a group of several is "taken as one"."""
    if all(len(group) == 1 for group in function.groups):
        return _listed([group[0] for group in function.groups])
    return " with ".join(
        _listed(group) + (" taken as one" if len(group) > 1 else "") for group in function.groups
    )


def _works(group: Group) -> str:
    """Return the verb for a group of switches: "works", "both work" or "all work"."""
    return {1: "works", 2: "both work"}.get(len(group), "all work")


def _listed(switches: Sequence[int]) -> str:
    """Return switches by their numbers: "switches 1, 2 and 3"."""
    return f"{'switch' if len(switches) == 1 else 'switches'} {with_and(map(str, switches))}"
