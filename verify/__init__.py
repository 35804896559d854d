"""Circuits, faults, proofs and signatures for lights controlled from several places.

The names of `__all__` are the front door for programs and notebooks; each is loaded when it is
first used. Nothing in this package knows a database; `catalogue` stores and serves what is proved
here, and draws it.
"""

from typing import TYPE_CHECKING, Final

from verify.base.firstuse import loader

if TYPE_CHECKING:  # for type checkers; at run time `__getattr__` loads the names
    from verify.base.problems import BugError, CircuitError, UserError
    from verify.circuit.file import dump, load
    from verify.circuit.file import loads as loads
    from verify.circuit.model import Circuit
    from verify.fault.registry import find_fault
    from verify.layout.enumeration import Layout, layouts, wire
    from verify.layout.sampler import random_circuit
    from verify.verdict.examination import Examination
    from verify.verdict.rechecking import examine
    from verify.verdict.single_faults import FaultList, faults

__all__ = [
    "BugError",
    "Circuit",
    "CircuitError",
    "Examination",
    "FaultList",
    "Layout",
    "UserError",
    "dump",
    "examine",
    "faults",
    "find_fault",
    "layouts",
    "load",
    "loads",
    "random_circuit",
    "wire",
]

_PLACES: Final = {
    "BugError": "verify.base.problems:BugError",
    "Circuit": "verify.circuit.model:Circuit",
    "CircuitError": "verify.base.problems:CircuitError",
    "Examination": "verify.verdict.examination:Examination",
    "FaultList": "verify.verdict.single_faults:FaultList",
    "Layout": "verify.layout.enumeration:Layout",
    "UserError": "verify.base.problems:UserError",
    "dump": "verify.circuit.file:dump",
    "examine": "verify.verdict.rechecking:examine",
    "faults": "verify.verdict.single_faults:faults",
    "find_fault": "verify.fault.registry:find_fault",
    "layouts": "verify.layout.enumeration:layouts",
    "load": "verify.circuit.file:load",
    "loads": "verify.circuit.file:loads",
    "random_circuit": "verify.layout.sampler:random_circuit",
    "wire": "verify.layout.enumeration:wire",
}
if not TYPE_CHECKING:  # or type checkers would take every name for one that is there
    __getattr__ = loader(__name__, _PLACES)


def __dir__() -> list[str]:
    """List the names of the front door."""
    return __all__
