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
    """What every engine offers."""

    @property
    def name(self) -> str:
        """How rows in the catalogue name it."""
        ...

    @property
    def version(self) -> int:
        """Raised whenever its answers may change; part of what invalidates a stored result."""
        ...

    @property
    def most_switches(self) -> int:
        """It refuses circuits with more switches: their verdict is ``undecided``."""
        ...

    def observe(self, circuit: Circuit) -> Observation:
        """What `circuit` does in every state. Raises ValueError beyond `most_switches`."""
        ...

    def observe_faults(self, circuit: Circuit, faults: Sequence[Fault]) -> Findings:
        """What `circuit` does with each of `faults` in turn, a row each, in their order."""
        ...
