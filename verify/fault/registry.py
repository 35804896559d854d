"""All kinds of single faults, and all single faults of a circuit."""

from collections.abc import Iterable
from functools import cache

from verify.base.deadline import keep_deadline
from verify.base.problems import Problem, UnknownNameError, listing, shown
from verify.circuit.model import Circuit
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


def find_fault(circuit: Circuit, label: str) -> Fault:
    """Return the fault of `circuit` with a label such as ``left-off/landing,lamp.shell``.

    The label is kind and site. It may name any site: the result is the fault under which that site
    is listed. Raises UnknownNameError, which is a UserError and a KeyError, if there is none.
    """
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


def _unknown(label: str, remedy: str) -> UnknownNameError:
    return UnknownNameError([Problem(f"fault={shown(label)}", remedy)])
