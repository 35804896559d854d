"""A state adds to a picture what is at line voltage, which lamps are lit, and a path."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import pairwise

from verify.base.problems import Problem, UserError, listing, shown
from verify.circuit.devices import POSITIONS, Position
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.engine.paths import StateGraph, WireGraph
from verify.verdict.evidence import Evidence


@dataclass(frozen=True, slots=True)
class StateView:
    """One state as a picture shows it; without a state nothing is live and no position is known."""

    positions: Mapping[str, Position]
    live: Set[End]
    lit: Set[str]
    trips: bool

    @property
    def words(self) -> str:
        """The positions in words, and whether protection trips."""
        where = ", ".join(f"{name} {position}" for name, position in self.positions.items())
        return f"{where}: trips" if self.trips else where


NO_STATE = StateView({}, frozenset(), frozenset(), False)


def view_of(circuit: Circuit, state: int | None) -> StateView:
    """Return what one state of a circuit shows.

    Where protection trips, what line reaches is shown as live, because it is until the breaker
    opens.
    """
    if state is None:
        return NO_STATE
    wiring = WireGraph(circuit)
    at = StateGraph(wiring, state)
    names = [switch.name for switch in circuit.switches]
    return StateView(
        dict(zip(names, wiring.positions(state), strict=True)),
        frozenset(end for end in circuit.ends if at.is_live(end)),
        frozenset(lamp.name for lamp in wiring.lamps if at.lit_sides(lamp)),
        at.trips,
    )


def state_number(circuit: Circuit, positions: Mapping[str, Position]) -> int:
    """Return the number of a state; switches that are not named are up."""
    return sum(
        1 << number
        for number, switch in enumerate(circuit.switches)
        if positions.get(switch.name) == "down"
    )


def parse_state(circuit: Circuit, text: str) -> int:
    """Read a state written as ``slipway-switch=up,workshop-switch=down``.

    Raises UserError with all mistakes; every switch must be given.
    """
    switches = [switch.name for switch in circuit.switches]
    problems: list[Problem] = []
    positions: dict[str, Position] = {}
    for part in filter(None, map(str.strip, text.split(","))):
        name, equals, value = map(str.strip, part.partition("="))
        position = next((p for p in POSITIONS if p == value), None)
        place = f"state {shown(part)}"
        if not equals:
            problems.append(Problem(place, "write each switch as NAME=up or NAME=down"))
        elif name not in switches:
            problems.append(
                Problem(place, f"there is no such switch; switches are {listing(switches)}")
            )
        elif position is None:
            problems.append(Problem(place, "a switch is up or down; write one of the two"))
        elif positions.setdefault(name, position) != position:
            problems.append(Problem(place, "contradicts an earlier position; keep one of the two"))
        else:
            continue
    missing = [name for name in switches if name not in positions]
    if missing and not problems:
        problems.append(
            Problem("state", f"says nothing of {listing(missing)}; give every switch a position")
        )
    if problems:
        raise UserError(problems)
    return state_number(circuit, positions)


def steps_of(evidence: Evidence | None, state: int | None) -> Sequence[tuple[End, End]]:
    """Return the pairs of ends between which the paths of a piece of evidence lead, in order.

    Steps in another state than the one shown, after a switch was moved, are left out.
    """
    if evidence is None:
        return ()
    return [step for walk in evidence.walks if walk.state == state for step in pairwise(walk.ends)]
