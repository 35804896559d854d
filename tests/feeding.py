"""Circuits with a second feed, for tests of several rooms."""

from dataclasses import replace

from hypothesis import strategies as st

from verify.circuit.devices import LEGS
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Join
from verify.strategies import circuits


def with_feed(circuit: Circuit, box: str, leg: str, onto: dict[str, str]) -> Circuit:
    """`circuit` with a second feed in `box`, its terminals joined to ends there by name."""
    joins = {End(join.box, name): list(join.ends) for join in circuit.joins for name in join.ends}
    groups: dict[tuple[str, tuple[str, ...]], list[str]] = {
        (box, tuple(joins.get(End(box, end), [end]))): [] for end in onto.values()
    }
    for terminal, end in onto.items():
        groups[box, tuple(joins.get(End(box, end), [end]))].append(f"spare-feed.{terminal}")
    changed = {ends: [*ends, *added] for (_, ends), added in groups.items()}
    kept = [join for join in circuit.joins if join.box != box or join.ends not in changed]
    return replace(
        circuit,
        devices=(*circuit.devices, Device("spare-feed", "feed", box, leg=leg)),
        joins=(*kept, *(Join(box, tuple(ends)) for ends in changed.values())),
    )


@st.composite
def fed_twice(draw: st.DrawFn) -> Circuit:
    """A circuit with a second feed that is joined to whatever was near."""
    circuit = draw(circuits())
    box = draw(st.sampled_from(circuit.boxes)).name
    ends = [end.name for end in circuit.ends if end.box == box]
    terminals = draw(st.lists(st.sampled_from(["line", "neutral", "ground"]), unique=True))
    onto = {terminal: draw(st.sampled_from(ends)) for terminal in terminals} if ends else {}
    return with_feed(circuit, box, draw(st.sampled_from(LEGS)), onto)
