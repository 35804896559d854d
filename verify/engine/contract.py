"""Engines that find out what a circuit does: one contract, several ways.

Every engine answers the same questions, and the same tests run on each.
So that one can check another, what they decide by is written separately for *words* and *volts*,
for *paths* and *nodal*, and for *bdd*. They share values, names and tables, a fault as data and the
form of the result; `tests/project/test_independence.py` lists every one and allows no more.
"""

from collections.abc import Sequence
from typing import Protocol

from verify.behaviour.findings import Findings, Observation
from verify.circuit.model import Circuit
from verify.fault.contract import Fault


class Engine(Protocol):
    """The questions that every engine answers."""

    @property
    def name(self) -> str:
        """The name of the engine in the catalogue."""
        ...

    @property
    def version(self) -> int:
        """A number raised whenever the engine's answers may change; old results are then stale."""
        ...

    @property
    def most_switches(self) -> int:
        """The most switches it takes; circuits with more are ``undecided``."""
        ...

    def observe(self, circuit: Circuit) -> Observation:
        """Return what `circuit` does in every state. Raises ValueError beyond `most_switches`."""
        ...

    def observe_faults(self, circuit: Circuit, faults: Sequence[Fault]) -> Findings:
        """Return what `circuit` does with each of `faults`, a row each, in their order."""
        ...
