"""All kinds of single faults, and all single faults of a circuit."""

from collections.abc import Iterable
from functools import cache
from typing import Protocol

from verify.base.deadline import keep_deadline
from verify.base.problems import Problem, UnknownNameError, listing, require, shown
from verify.circuit.model import Circuit, require_circuit
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault, FaultKind
from verify.fault.failed_parts import PART_KINDS
from verify.fault.landing_errors import LANDING_KINDS
from verify.fault.mixed_supplies import SUPPLY_KINDS
from verify.fault.wrong_switches import WRONG_KINDS


@cache  # callers ask for them often
def fault_kinds() -> tuple[FaultKind, ...]:
    """Return every kind, in the order in which lists show them."""
    return (*LANDING_KINDS, *PART_KINDS, *WRONG_KINDS, *SUPPLY_KINDS)


def fault_kind(name: str) -> FaultKind:
    """Return the kind of that name; raises KeyError."""
    return {kind.name: kind for kind in fault_kinds()}[name]


def all_faults(circuit: Circuit, kinds: Iterable[FaultKind] | None = None) -> list[Fault]:
    """Return every single fault of a circuit, kind by kind, each in the order of its sites."""
    wiring = NumberedCircuit(circuit)
    found = []
    for kind in fault_kinds() if kinds is None else kinds:
        for fault in kind.faults(wiring):
            keep_deadline()
            found.append(fault)
    return found


class Labelled(Protocol):
    """What has the label of a fault: a `Fault`, or a row of a list of faults."""

    @property
    def label(self) -> str:
        """Kind and site in one word."""
        ...


def find_fault(circuit: Circuit, label: str | Labelled) -> Fault:
    """The fault of `circuit` with a label such as ``left-off/landing,lamp.shell``: kind and site.

    The label may name any site: it leads to the fault under which its result is listed. A fault, or
    a row that `verify.faults` gives, stands for its label.
    Raises UnknownNameError, which is a UserError and a KeyError, if there is none, and UserError
    for what is no `Circuit` or no label.
    """
    require_circuit(circuit)
    label = label_of(label)
    name, slash, text = label.partition("/")
    kinds = {kind.name: kind for kind in fault_kinds()}
    if not slash or name not in kinds:
        raise _unknown(
            label,
            "write a fault as KIND/SITE, such as left-off/landing,lamp.shell; kinds are "
            f"{', '.join(kinds)}",
        )
    known = []
    for site, fault in kinds[name].sites(NumberedCircuit(circuit)):
        known.append(",".join(site))
        if known[-1] == text:
            return fault
    raise _unknown(
        label, f"the circuit has no such fault; the sites of {name} are {listing(known)}"
    )


def label_of(fault: str | Labelled) -> str:
    """The label of a fault, or the text itself; raises UserError for anything else."""
    label = getattr(fault, "label", fault)
    require(label, str, "fault", "give a label, a Fault, or a row that verify.faults(…) gives")
    return str(label)


def _unknown(label: str, remedy: str) -> UnknownNameError:
    return UnknownNameError([Problem(f"fault={shown(label)}", remedy)])
