"""Single faults: every mistake of every kind, in a stable order, each listed once.

A fault is named by its kind and its site, a tuple of names from the circuit; `Fault.label` is
public and stable, and adding a kind renumbers nothing.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar

from verify.base.problems import Problem, UserError, shown
from verify.base.resources import data_path
from verify.circuit.failures import failed_part
from verify.circuit.file import load
from verify.circuit.model import Circuit, require_circuit
from verify.fault.change import Change, NumberedCircuit, Replacement, changed
from verify.layout.enumeration import Layout

Site = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fault:
    """One mistake in one circuit. `change` speaks of that circuit's `NumberedCircuit`.

    `circuit` is that circuit, where the fault was found in one.
    """

    kind: str
    site: Site
    change: Change
    circuit: Circuit | None = field(default=None, repr=False, compare=False)

    def __repr__(self) -> str:
        return f"<Fault {self.label}>"

    @property
    def label(self) -> str:
        """Kind and site as one word, for labels and addresses."""
        return f"{self.kind}/{self.site_text}"

    @property
    def site_text(self) -> str:
        """The site as one word; names contain no comma."""
        return ",".join(self.site)

    def apply(self, circuit: Circuit) -> Circuit:
        """The circuit with the mistake in it; `circuit` must be the one it was found for.

        Raises UserError for another circuit, of which the change says nothing.
        """
        require_circuit(circuit)
        if self.circuit is not None and self.circuit is not circuit and self.circuit != circuit:
            message = (
                f"is a fault of another circuit, {shown(repr(self.circuit.name))}; take that, or "
                "the fault of this one: find_fault(circuit, label)"
            )
            raise UserError([Problem(f"fault={shown(self.label)}", message)])
        return changed(NumberedCircuit(circuit), self.change)


@dataclass(frozen=True, slots=True)
class Example:
    """A fault to show what a kind means, with its verdict.

    It is made in a layout wired by a scheme or, where `scheme` is None, in the circuit of the name
    `layout` in `data/circuits`. `by_connections` is the verdict of engines that know no volts, if
    it differs.
    """

    site: Site
    verdict: str
    why: str
    layout: str = "1.f.1"
    scheme: str | None = "chain"
    by_connections: str | None = None

    @property
    def label(self) -> str:
        """The label of its circuit in a catalogue."""
        return self.layout if self.scheme is None else f"{self.scheme}-{self.layout}"

    def circuit(self) -> Circuit:
        """Return the circuit in which the mistake is made."""
        if self.scheme is None:
            return load(data_path("circuits") / f"{self.layout}.toml")
        return Layout.parse(self.layout).circuit(self.scheme)


class FaultKind(ABC):
    """One kind of mistake. `version` goes up whenever its sites or results change.

    `examples`, with their verdicts, feed the tests and the page of the kind.
    """

    name: ClassVar[str]
    title: ClassVar[str]
    description: ClassVar[str]
    examples: ClassVar[tuple[Example, ...]]
    version: ClassVar[int] = 1

    @abstractmethod
    def changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield every site with the change there, in order; two changes may have one result."""

    @abstractmethod
    def in_words(self, site: Site) -> str:
        """Return what was done wrong, as a sentence."""

    def sites(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Fault]]:
        """Yield every site, with the first fault of its kind that has the same result."""
        listed: dict[object, Fault] = {}
        for site, change in self.open_changes(wiring):
            fault = Fault(self.name, site, change, wiring.circuit)
            key = _result(wiring, change)
            yield site, fault if key is None else listed.setdefault(key, fault)

    def open_changes(self, wiring: NumberedCircuit) -> Iterator[tuple[Site, Change]]:
        """Yield the changes, except failures of parts that have failed already."""
        failed = set(map(failed_part, wiring.circuit.failures))
        for site, change in self.changes(wiring):
            if change.failure is None or failed_part(change.failure) not in failed:
                yield site, change

    def faults(self, wiring: NumberedCircuit) -> Iterator[Fault]:
        """Yield the faults of this kind; of sites with one result the first is listed."""
        return (fault for site, fault in self.sites(wiring) if site == fault.site)


def _result(wiring: NumberedCircuit, change: Change) -> object | None:
    """Return a key that changes with the same result share; None if no other can have it."""
    if change.replacement is not None:
        return _replaced_joins(wiring, change.replacement)
    if not change.moves:
        return None
    joins = wiring.joins
    touched = {join for end, join in change.moves} | {
        wiring.join_of[end] for end, _ in change.moves
    }
    groups = {join: set(joins[join]) if join < len(joins) else set() for join in touched}
    for end, join in change.moves:
        groups[wiring.join_of[end]].discard(end)
        groups[join].add(end)
    # Unchanged joins do not count: two partitions are equal if their new joins are.
    return frozenset(tuple(sorted(ends)) for ends in groups.values() if ends) - wiring.join_set


def _replaced_joins(wiring: NumberedCircuit, replacement: Replacement) -> object | None:
    """Return the joins in which a replaced switch ends up, its new terminals by name."""
    switch = wiring.circuit.device(replacement.device)
    terminals = {
        wiring.number(switch.box, f"{switch.name}.{terminal}"): terminal
        for terminal in switch.form.switched_terminals
    }
    own = {wiring.join_of[end] for end in terminals}
    if len(own) == len(terminals) and all(len(wiring.joins[join]) > 1 for join in own):
        return None  # the other ends of each join tell on which terminal it landed
    joins = {
        frozenset(
            replacement.landed.get(terminals[end]) if end in terminals else end
            for end in wiring.joins[wiring.join_of[own]]
            if end not in terminals or terminals[end] in replacement.landed
        )
        for own in terminals
    }
    return replacement.device, replacement.kind, frozenset(join for join in joins if len(join) > 1)
