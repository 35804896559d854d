"""Which two single faults can be made together, so that the order does not matter.

A mistake is identified by the ends that its site names and that it moves, or by the part that
failed. Two mistakes are a pair if each can still be identified in the circuit that has the other:

- neither moves an end that the other names or moves,
- what each needs of its joins is still so after the other: an end to leave off is still connected
  to something, two ends to exchange are not both alone, joins to bridge or split are still large
  enough,
- they are not failures of one part (`failed_part`),
- a replaced switch keeps its terminals and contacts out of the other.

Then making one and finding the other in the circuit that results gives the same circuit in either
order. All other combinations have no meaning of their own, or one that depends on the order, and
nothing is said about them.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.circuit.failures import failed_part
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.failed_parts import PART_KINDS, LooseJoin
from verify.fault.landing_errors import LANDING_KINDS
from verify.fault.wrong_switches import CablesMixed, WrongDevice

Flags = npt.NDArray[np.bool_]
Numbers = npt.NDArray[np.int32]

_LANDING: Final = tuple(kind.name for kind in LANDING_KINDS)
#: Kinds of which pairs are made. Left out are a loose connection, which connections do not show,
#: a wrong scheme, which leaves nothing to be mistaken twice, and supplies mixed up, whose sites
#: depend on what the whole circuit connects.
PAIRED_KINDS: Final = (
    *_LANDING,
    *(kind.name for kind in PART_KINDS if not isinstance(kind, LooseJoin)),
    WrongDevice.name,
    CablesMixed.name,
)
#: Every kind needs at most two things of its joins, each of one join or two.
_MOST_NEEDS: Final = 2
_MOST_JOINS: Final = 2
_NOTHING: Final = -1

#: A need: joins, and how many ends they must have together.
Need = tuple[tuple[int, ...], int]


def existing_pairs(wiring: NumberedCircuit, faults: Sequence[Fault]) -> Flags:
    """Return whether each two of `faults` are a pair: shape (faults, faults), symmetric.

    All are of `PAIRED_KINDS`, and of the circuit of `wiring`.
    """
    moved, named = _ends(wiring, faults)
    conflict = _meet(moved, named)
    conflict |= conflict.T
    conflict |= ~_needs_are_met(wiring, faults)
    for one, other in _parts(faults):
        same = (one[:, None] == other[None, :]) & (one[:, None] != _NOTHING)
        conflict |= same | same.T
    np.fill_diagonal(conflict, val=True)
    return ~conflict


def _meet(one: Flags, other: Flags) -> Flags:
    """Return whether a row of `one` and a row of `other` have something in common."""
    meet = np.zeros((len(one), len(other)), np.bool_)
    for here, there in zip(_as_words(one), _as_words(other), strict=True):
        meet |= (here[:, None] & there) != 0
    return meet


def _as_words(flags: Flags) -> npt.NDArray[np.uint64]:
    """Return rows of flags as 64-bit words, the first word of each row first."""
    spare = -flags.shape[1] % 64
    octets = np.packbits(np.pad(flags, ((0, 0), (0, spare))), axis=1)
    words: npt.NDArray[np.uint64] = np.ascontiguousarray(octets).view(np.uint64).T
    return words


def _ends(wiring: NumberedCircuit, faults: Sequence[Fault]) -> tuple[Flags, Flags]:
    """Return the ends that each fault moves, and those that it moves or names: (faults, ends)."""
    moved = np.zeros((len(faults), len(wiring.circuit.ends)), np.bool_)
    named = moved.copy()
    for row, fault in enumerate(faults):
        moved[row, [end for end, _ in fault.change.moves]] = True
        if fault.change.replacement is not None:
            moved[row, _terminals_named(wiring, fault.change.replacement.device)] = True
        if fault.kind in _LANDING:
            box, *names = fault.site
            named[row, [wiring.number(box, n) for text in names for n in text.split("+")]] = True
    return moved, named | moved


def _terminals_named(wiring: NumberedCircuit, name: str) -> list[int]:
    switch = wiring.circuit.device(name)
    return [
        wiring.number(switch.box, f"{name}.{terminal}")
        for terminal in switch.form.switched_terminals
    ]


def _needs_are_met(wiring: NumberedCircuit, faults: Sequence[Fault]) -> Flags:
    """Return whether the joins that each fault needs are large enough after each other fault."""
    nowhere = len(wiring.joins)  # a join without ends, for faults that need fewer joins
    sizes = np.zeros((len(faults), nowhere + 1), np.int16)
    sizes[:, :nowhere] = [len(ends) for ends in wiring.joins]
    joins = np.full((_MOST_NEEDS, _MOST_JOINS, len(faults)), nowhere, np.intp)
    least = np.zeros((_MOST_NEEDS, len(faults)), np.int16)
    for row, fault in enumerate(faults):
        for end, join in fault.change.moves:
            sizes[row, wiring.join_of[end]] -= 1
            if join < nowhere:
                sizes[row, join] += 1
        for place, (needed, size) in enumerate(_needs(wiring, fault)):
            joins[place, : len(needed), row] = needed
            least[place, row] = size
    met = np.ones((len(faults), len(faults)), np.bool_)
    for (one, other), enough in zip(joins, least, strict=True):
        met &= sizes[:, one] + sizes[:, other] >= enough
    return met & met.T


def _needs(wiring: NumberedCircuit, fault: Fault) -> Iterator[Need]:
    """Yield what a fault needs of its joins."""
    ends = [end for end, _ in fault.change.moves]
    of = wiring.join_of
    if fault.kind == "left-off":
        yield (of[ends[0]],), 2
    elif fault.kind == "exchanged":
        yield (of[ends[0]], of[ends[1]]), 3
    elif fault.kind == "bridged":
        yield (of[ends[0]],), 2
        yield (fault.change.moves[0][1],), 2
    elif fault.kind == "split":
        yield (of[ends[0]],), len(ends) + 2


def _parts(faults: Sequence[Fault]) -> Iterator[tuple[Numbers, Numbers]]:
    """Yield two numbers for each fault, several times: no pair exists where they are the same."""
    numbers: dict[tuple[str, ...], int] = {}

    def number(part: tuple[str, ...] | None) -> int:
        return _NOTHING if part is None else numbers.setdefault(part, len(numbers))

    failed, replaced, inside = [], [], []
    for fault in faults:
        change = fault.change
        failure, replacement = change.failure, change.replacement
        failed.append(number(None if failure is None else failed_part(failure)))
        replaced.append(number(None if replacement is None else ("new", replacement.device)))
        is_inside = failure is not None and failure.kind.startswith(("contact", "switch"))
        switch = failure.at[0].partition(".")[0] if failure is not None else ""
        inside.append(number(("new", switch) if is_inside else None))
    columns: Mapping[str, Numbers] = {
        "failed": np.array(failed, np.int32),
        "replaced": np.array(replaced, np.int32),
        "inside": np.array(inside, np.int32),
    }
    yield columns["failed"], columns["failed"]
    yield columns["replaced"], columns["replaced"]
    yield columns["replaced"], columns["inside"]
