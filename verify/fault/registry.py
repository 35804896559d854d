"""Every kind of single fault, and every single fault of a circuit."""

from collections.abc import Iterable
from functools import cache

from verify.base.deadline import keep_deadline
from verify.circuit.model import Circuit
from verify.fault.change import Wiring
from verify.fault.contract import Fault, FaultKind
from verify.fault.failed_parts import PART_KINDS
from verify.fault.landing_errors import LANDING_KINDS
from verify.fault.mixed_supplies import SUPPLY_KINDS
from verify.fault.wrong_switches import WRONG_KINDS


@cache  # asked for again and again
def fault_kinds() -> tuple[FaultKind, ...]:
    """Every kind, in the order in which lists show them."""
    return (*LANDING_KINDS, *PART_KINDS, *WRONG_KINDS, *SUPPLY_KINDS)


def fault_kind(name: str) -> FaultKind:
    """The kind of that name; raises KeyError."""
    return {kind.name: kind for kind in fault_kinds()}[name]


def all_faults(circuit: Circuit, kinds: Iterable[FaultKind] | None = None) -> list[Fault]:
    """Every single fault of a circuit, kind by kind, each in the order of its sites."""
    wiring = Wiring(circuit)
    found = []
    for kind in fault_kinds() if kinds is None else kinds:
        for fault in kind.faults(wiring):
            keep_deadline()
            found.append(fault)
    return found


def find_fault(circuit: Circuit, label: str) -> Fault:
    """The fault of `circuit` with that label; raises KeyError if there is none.

    The label may name any site: it leads to the fault under which its result is listed.
    """
    name, _, text = label.partition("/")
    for site, fault in fault_kind(name).sites(Wiring(circuit)):
        if ",".join(site) == text:
            return fault
    raise KeyError(label)
