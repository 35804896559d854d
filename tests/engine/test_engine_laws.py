"""Laws that every engine keeps, because they follow from what connections are."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import reduce
from operator import or_
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verify.base.problems import BugError
from verify.behaviour.findings import Observation, states_in
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Join
from verify.engine import words_kernel
from verify.engine.contract import Engine
from verify.engine.diagrams import DiagramsEngine
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.fault.change import Change, NumberedCircuit, changed
from verify.fault.contract import Site
from verify.fault.network import SPARE_JOINS, Flattener
from verify.fault.registry import fault_kind
from verify.hazard.definitions import ELECTRICAL, HAZARD_NAMES
from verify.layout.enumeration import Layout
from verify.layout.routing import ROOT
from verify.layout.schemes import SOUND_SCHEMES
from verify.strategies import (
    circuits,
    failing_circuits,
    furnished_circuits,
    miswired_circuits,
    schemes,
)

WORDS = WordsEngine()
ENGINES: dict[str, Engine] = {
    "words": WordsEngine(),
    "paths": PathsEngine(),
    "bdd": DiagramsEngine(),
}

wrong_circuits = miswired_circuits(
    st.one_of(circuits(schemes=schemes()), furnished_circuits(circuits(most_locations=3)))
)


@pytest.fixture(params=ENGINES, scope="module")
def engine(request: pytest.FixtureRequest) -> Engine:
    """Each engine in turn."""
    return ENGINES[request.param]


# --- what an observation cannot say


@given(wrong_circuits)
def test_observations_make_sense(engine: Engine, circuit: Circuit) -> None:
    """States exist; where protection trips nothing else holds; what a lit lamp shows needs one."""
    seen = engine.observe(circuit)
    every = (1 << (1 << len(circuit.switches))) - 1
    assert seen.switches == len(circuit.switches)
    assert len(seen.lit) == len(circuit.lamps)
    assert 0 <= seen.trips <= every
    assert all(0 <= states <= every ^ seen.trips for states in (*seen.lit, *seen.hazards))
    lit_somewhere = union(seen.lit)
    hazards = dict(zip(HAZARD_NAMES, seen.hazards, strict=True))
    for name in ("lamp-reversed", "neutral-switched", "ground-carries-load"):
        assert hazards[name] & ~lit_somewhere == 0, name


def test_no_faults_are_no_rows(engine: Engine) -> None:
    """An empty list of faults is answered with arrays of the right shape and no row."""
    found = engine.observe_faults(Layout.parse("1.f.1").circuit("chain"), [])
    assert len(found) == 0
    assert found.trips.shape == (0, 1)
    assert found.lit.shape == (0, 1, 1)
    assert found.hazards.shape == (0, len(HAZARD_NAMES), 1)


def union(sets: Iterable[int]) -> int:
    """The union of sets of states."""
    return reduce(or_, sets, 0)


# --- names and orders do not matter


class Relabelled(NamedTuple):
    """A circuit told differently; `switches[i]` and `lamps[i]` are the new numbers of old i."""

    circuit: Circuit
    switches: Sequence[int]
    lamps: Sequence[int]

    def expected(self, seen: Observation) -> Observation:
        """What it must do if the circuit it was made from does what was `seen`."""
        lit, dim, over = map(self._moved_lamps, (seen.lit, seen.dim, seen.over))
        return Observation(
            seen.switches,
            self._moved(seen.trips),
            lit,
            tuple(map(self._moved, seen.hazards)),
            dim,
            over,
            self._moved(seen.overruled),
        )

    def _moved_lamps(self, states: Sequence[int]) -> tuple[int, ...]:
        moved = [0] * len(states)
        for old, new in enumerate(self.lamps):
            moved[new] = self._moved(states[old])
        return tuple(moved)

    def _moved(self, states: int) -> int:
        return union(1 << self._moved_state(state) for state in states_in(states))

    def _moved_state(self, state: int) -> int:
        return union((state >> old & 1) << new for old, new in enumerate(self.switches))


@st.composite
def relabellings(draw: st.DrawFn, circuit: Circuit) -> Relabelled:
    """The circuit with other names for everything, and everything listed in another order."""

    def new_names(what: str, parts: Sequence[Box | Device | Cable]) -> dict[str, str]:
        numbers = draw(st.permutations(range(len(parts))))
        return {part.name: f"{what}-{i}" for part, i in zip(parts, numbers, strict=True)}

    box_names = new_names("b", circuit.boxes)
    device_names = new_names("d", circuit.devices)
    cable_names = new_names("c", circuit.cables)

    def named(end: str) -> str:
        owner, dot, part = end.partition(".")
        if owner == "box":
            return f"box.{box_names[part]}"
        return {**device_names, **cable_names}[owner] + dot + part

    relabelled = Circuit(
        "Told differently",
        tuple(Box(box_names[b.name], b.material) for b in draw(st.permutations(circuit.boxes))),
        tuple(
            replace(device, name=device_names[device.name], box=box_names[device.box])
            for device in draw(st.permutations(circuit.devices))
        ),
        tuple(
            Cable(
                cable_names[cable.name],
                (box_names[cable.between[0]], box_names[cable.between[1]]),
                tuple(draw(st.permutations(cable.conductors))),
            )
            for cable in draw(st.permutations(circuit.cables))
        ),
        tuple(
            Join(box_names[join.box], tuple(map(named, draw(st.permutations(join.ends)))))
            for join in draw(st.permutations(circuit.joins))
        ),
        tuple(
            replace(
                failure,
                at=tuple(map(named, failure.at)),
                box=failure.box and box_names[failure.box],
            )
            for failure in draw(st.permutations(circuit.failures))
        ),
        palette=circuit.palette,
    )
    return Relabelled(
        relabelled,
        *(
            [[part.name for part in new].index(device_names[part.name]) for part in old]
            for old, new in (
                (circuit.switches, relabelled.switches),
                (circuit.lamps, relabelled.lamps),
            )
        ),
    )


@settings(max_examples=60)
@given(failing_circuits(wrong_circuits), st.data())
def test_names_and_orders_do_not_matter(
    engine: Engine, circuit: Circuit, data: st.DataObject
) -> None:
    """Other names and other orders change nothing but the numbers of switches and lamps."""
    told = data.draw(relabellings(circuit))
    assert engine.observe(told.circuit) == told.expected(engine.observe(circuit))


# --- connecting more, connecting less, and undoing

CONNECTING = ("bridged", "conductors-shorted", "contact-welded")
PARTING = ("left-off", "split", "conductor-open", "contact-open")
GROWING = (
    "lamp-reversed",
    "both-poles-on-switch",
    "metal-live",
    "ground-wire-live",
    "ground-carries-load",
    "neutral-ground-tied",
)


@given(wrong_circuits, st.data())
def test_connecting_more_disconnects_nothing(
    engine: Engine, circuit: Circuit, data: st.DataObject
) -> None:
    """A new connection never ends a trip, a light, or a hazard that is one of being connected.

    Unless the state trips now; and it can ground metal but not unground it.
    """
    wiring = NumberedCircuit(circuit)
    options = [f for name in (*CONNECTING, *PARTING) for f in fault_kind(name).faults(wiring)]
    fault = data.draw(st.sampled_from(options))
    observations = engine.observe(circuit), engine.observe(fault.apply(circuit))
    less, more = observations if fault.kind in CONNECTING else reversed(observations)
    assert less.trips & ~more.trips == 0
    for before, after in zip(less.lit, more.lit, strict=True):
        assert before & ~(after | more.trips) == 0
    hazards = zip(HAZARD_NAMES, less.hazards, more.hazards, strict=True)
    for name, before, after in hazards:
        if name in GROWING:
            assert before & ~(after | more.trips) == 0, name
        elif name == "metal-floating":
            assert after & ~before == 0


def change_at(circuit: Circuit, kind: str, site: Site) -> Circuit:
    """The circuit after the mistake of that kind at that site, whether or not it is listed."""
    wiring = NumberedCircuit(circuit)
    return changed(wiring, dict(fault_kind(kind).changes(wiring))[site])


@given(miswired_circuits(circuits(most_locations=3), most_faults=2), st.data())
def test_exchanging_twice_is_nothing(circuit: Circuit, data: st.DataObject) -> None:
    """Two ends that change places twice are where they were."""
    sites = [fault.site for fault in fault_kind("exchanged").faults(NumberedCircuit(circuit))]
    site = data.draw(st.sampled_from(sites))
    once = change_at(circuit, "exchanged", site)
    assert once != circuit
    assert change_at(once, "exchanged", site) == circuit


@given(miswired_circuits(circuits(most_locations=3), most_faults=2), st.data())
def test_moving_there_and_back_is_nothing(circuit: Circuit, data: st.DataObject) -> None:
    """An end landed elsewhere and then landed where it was, or left off if it was alone."""
    wiring = NumberedCircuit(circuit)
    sites = [fault.site for fault in fault_kind("moved").faults(wiring)]
    box, name, target = data.draw(st.sampled_from(sites))
    end = wiring.number(box, name)
    mates = [mate for mate in wiring.joins[wiring.join_of[end]] if mate != end]
    there = change_at(circuit, "moved", (box, name, target))
    assert there != circuit
    if mates:
        new = NumberedCircuit(there)
        back = change_at(there, "moved", (box, name, new.join_name(new.join_of[mates[0]])))
    else:
        back = change_at(there, "left-off", (box, name))
    assert back == circuit


# --- as many switches as *words* takes


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [*range(2, 9), 12, 16])
def test_lamp_is_parity_of_many_switches(locations: int, scheme: str) -> None:
    """Any-location control is parity: elementary, so it checks *words* where *paths* is too slow.

    Each move of a switch changes the lamp, so states with equally many switches down, modulo two,
    are alike; the first state alone decides which of the two functions it is.
    """
    chain = Layout((ROOT, *range(locations)))
    seen = WORDS.observe(chain.circuit(scheme))
    even = union(1 << state for state in range(1 << locations) if state.bit_count() % 2 == 0)
    every = (1 << (1 << locations)) - 1
    assert seen.trips == 0
    assert seen.lit[0] == (even if seen.lit[0] & 1 else every ^ even)
    assert seen.hazard_names == ()


def test_the_kernel_knows_hazards_by_their_places() -> None:
    """The numbers in the kernel are the places in the list, and its room is that of the arrays."""
    by_connections = [name for name in HAZARD_NAMES if name not in ELECTRICAL]
    for name in by_connections:
        assert getattr(words_kernel, name.upper().replace("-", "_")) == HAZARD_NAMES.index(name)
    assert words_kernel.SPARE_JOINS == SPARE_JOINS


def test_a_fault_without_room_is_refused() -> None:
    """An end that is moved to a join beyond the arrays would be written beyond them."""
    circuit = Layout.parse("1.f.1").circuit("chain")
    beyond = Change(((0, len(circuit.ends) + SPARE_JOINS),))
    with pytest.raises(BugError, match="has no room"):
        Flattener(circuit).batch([beyond])
