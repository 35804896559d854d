"""What a circuit does in each state, as rows that name switches and lamps."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from verify.behaviour.findings import Observation, position
from verify.circuit.devices import Position
from verify.circuit.model import Circuit

Protection = Literal["holds", "trips"]


@dataclass(frozen=True, slots=True)
class StateRow:
    """One state: the position of each switch, whether protection trips, what each lamp does.

    A lamp is ``dark``, ``dim``, ``lit`` or ``over`` (above its voltage).
    """

    positions: Mapping[str, Position]
    protection: Protection
    lamps: Mapping[str, str]

    def __repr__(self) -> str:
        lamps = ", ".join(f"{name} {does}" for name, does in self.lamps.items())
        return (
            f"<StateRow {positions_words(self.positions)}: {lamps}; protection {self.protection}>"
        )


def positions_of(circuit: Circuit, state: int) -> dict[str, Position]:
    """Return the position of each switch, by its name, in the state of that number."""
    return {switch.name: position(state, bit) for bit, switch in enumerate(circuit.switches)}


def positions_words(positions: Mapping[str, Position]) -> str:
    """Return positions as a person says them."""
    return ", ".join(f"{name} {where}" for name, where in positions.items())


def state_rows(circuit: Circuit, seen: Observation) -> Iterator[StateRow]:
    """Yield a row for each of the 2^switches states, in the order of their numbers."""
    lamps = [lamp.name for lamp in circuit.lamps]
    for state in range(1 << seen.switches):
        yield StateRow(
            positions_of(circuit, state),
            "trips" if seen.trips >> state & 1 else "holds",
            {name: seen.light(number, state) for number, name in enumerate(lamps)},
        )
