"""Hypothesis strategies for circuits, their faults and their states.

They draw sizes and a tree rather than a blob of text, so a failing example shrinks to the smallest
circuit that shows it: two locations, one lamp, no box without a device, plastic boxes, or as near
to that as the property allows.
"""

import itertools
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from typing import Final

from hypothesis import strategies as st

from verify.circuit.colours import PALETTES
from verify.circuit.devices import LEGS
from verify.circuit.failures import failed_part
from verify.circuit.model import Circuit
from verify.circuit.parts import Device, End, Failure, Join
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Fault
from verify.fault.failed_parts import PART_KINDS
from verify.fault.registry import all_faults, fault_kinds
from verify.layout.outlets import Outlet, SecondFeed, with_outlets
from verify.layout.routing import ROOT, Arrangement, route
from verify.layout.sampler import MOST_JUNCTIONS, MOST_LAMPS, MOST_OUTLETS, arranged, drawn_name
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES

_FURNITURE: Final = ("single-pole", "receptacle", "feed")


def schemes() -> st.SearchStrategy[str]:
    """Draw the name of any scheme, the sound ones first."""
    return st.sampled_from(tuple(SCHEMES))


def sound_schemes() -> st.SearchStrategy[str]:
    """Draw the name of a scheme that is sound."""
    return st.sampled_from(SOUND_SCHEMES)


@st.composite
def arrangements(draw: st.DrawFn, *, most_locations: int = 4) -> Arrangement:
    """Draw places for the parts of a circuit of two to `most_locations` locations.

    The two three-way switches stand in boxes of their own; a four-way switch and a lamp may share a
    box with others.
    """
    locations = draw(st.integers(2, most_locations))
    boxes = 2
    between: list[int] = []
    for _ in range(locations - 2):
        between.append(draw(st.integers(0, boxes)))
        boxes = max(boxes, between[-1] + 1)
    lamp_boxes: list[int] = []
    for _ in range(draw(st.integers(1, MOST_LAMPS))):
        lamp_boxes.append(draw(st.integers(0, boxes)))
        boxes = max(boxes, lamp_boxes[-1] + 1)
    boxes += draw(st.integers(0, MOST_JUNCTIONS))
    parents, metal = draw(_trees(boxes))
    return arranged(
        parents,
        (0, *between, 1),
        lamp_boxes,
        metal=metal,
        neutral_everywhere=draw(st.booleans()),
        palette=draw(st.sampled_from(tuple(PALETTES))),
    )


@st.composite
def _trees(draw: st.DrawFn, boxes: int) -> tuple[Sequence[int], Set[int]]:
    """Draw a rooted tree as the parent of each box, and the boxes of metal.

    Every tree can be drawn. All about one box is drawn together, so that a box that does not matter
    shrinks away.
    """
    order: list[int] = []  # each box after its parent
    places: list[int] = []  # of the parents in `order`
    metal: set[int] = set()
    for box in range(boxes):
        about_box = (st.integers(0, box), st.integers(0, max(0, box - 1)), st.booleans())
        from_end, place, is_metal = draw(st.tuples(*about_box))
        order.insert(box - from_end, box)
        places.append(place)
        if is_metal:
            metal.add(box)
    parents = [ROOT] * boxes
    for box, place in zip(order[1:], places[1:], strict=True):
        parents[box] = order[place]
    return parents, metal


@st.composite
def circuits(
    draw: st.DrawFn,
    *,
    most_locations: int = 4,
    schemes: st.SearchStrategy[str] | None = None,
) -> Circuit:
    """Draw circuits without a mistake, wired by a sound scheme unless others are given."""
    scheme = draw(sound_schemes() if schemes is None else schemes)
    arrangement = draw(arrangements(most_locations=most_locations))
    return route(scheme, arrangement, drawn_name(scheme, arrangement))


@st.composite
def supplied_circuits(draw: st.DrawFn, *, most_locations: int = 3) -> Circuit:
    """Draw circuits without a mistake, with energised receptacles and perhaps a second feed.

    The simplest is one receptacle, with nothing plugged in, on the light's own feed.
    """
    scheme = draw(sound_schemes())
    arrangement = draw(arrangements(most_locations=most_locations))
    boxes = st.integers(0, len(arrangement.boxes) - 1)
    loads = st.lists(st.sampled_from([25.0, 100.0, 600.0]), max_size=1).map(tuple)
    outlets = draw(st.lists(st.builds(Outlet, boxes, loads), min_size=1, max_size=MOST_OUTLETS))
    second = draw(
        st.none()
        | st.builds(SecondFeed, st.sampled_from(LEGS))
        | st.just(SecondFeed("B", shares_neutral=True))
    )
    name = drawn_name(scheme, arrangement, outlets, second)
    return with_outlets(route(scheme, arrangement, name), arrangement, tuple(outlets), second)


def states(circuit: Circuit) -> st.SearchStrategy[int]:
    """Draw the number of a state, in which bit i is 1 for switch i down.

    The simplest is 0, every switch up.
    """
    return st.integers(0, (1 << len(circuit.switches)) - 1)


@st.composite
def faults(draw: st.DrawFn, circuit: Circuit) -> Fault:
    """Draw single faults of a circuit: each kind that has a site is as likely as any other."""
    wiring = NumberedCircuit(circuit)
    kinds = [kind for kind in fault_kinds() if any(kind.faults(wiring))]
    every = list(draw(st.sampled_from(kinds)).faults(wiring))
    return every[draw(st.integers(0, len(every) - 1))]


@st.composite
def faulted_circuits(
    draw: st.DrawFn, of: st.SearchStrategy[Circuit] | None = None
) -> tuple[Circuit, Fault]:
    """Draw a circuit of `of`, by default of `circuits()`, and one of its single faults."""
    circuit = draw(circuits() if of is None else of)
    return circuit, draw(faults(circuit))


@st.composite
def miswired_circuits(
    draw: st.DrawFn, of: st.SearchStrategy[Circuit] | None = None, *, most_faults: int = 3
) -> Circuit:
    """Draw circuits with up to `most_faults` mistakes made one after the other."""
    circuit = draw(circuits() if of is None else of)
    for _ in range(draw(st.integers(0, most_faults))):
        circuit = draw(faults(circuit)).apply(circuit)
    return circuit


@st.composite
def rewirings(draw: st.DrawFn, circuit: Circuit) -> Circuit:
    """Draw the same parts joined in any way at all.

    Ends are landed elsewhere one after the other. The simplest is the circuit as it is; its joins
    lose what is ``fixed``.
    """
    unused = itertools.count(len(circuit.grouped_ends))
    join_of = _join_of(circuit)
    for box in circuit.boxes:
        ends = st.sampled_from([end for end in circuit.ends if end.box == box.name])
        for end, other in draw(st.lists(st.tuples(ends, ends))):
            join_of[end] = next(unused) if end == other else join_of[other]
    return _joined(circuit, join_of)


@st.composite
def furnished_circuits(
    draw: st.DrawFn, of: st.SearchStrategy[Circuit] | None = None, *, most_devices: int = 3
) -> Circuit:
    """Draw a circuit of `of`, by default of `circuits()`, with more devices.

    There are up to `most_devices`: single-pole switches, receptacles and feeds of either leg. Each
    of their terminals is landed somewhere in its box, at the simplest on nothing.
    """
    bare = draw(circuits() if of is None else of)
    boxes = st.sampled_from([box.name for box in bare.boxes])
    more = [
        Device(
            f"{kind}-{number}",
            kind,
            draw(boxes),
            leg=draw(st.sampled_from(LEGS)) if kind == "feed" else None,
        )
        for number, kind in enumerate(
            draw(st.lists(st.sampled_from(_FURNITURE), max_size=most_devices)),
            len(bare.devices) + 1,
        )
    ]
    circuit = replace(bare, devices=(*bare.devices, *more))
    join_of = _join_of(circuit)
    for device in more:
        others = [end for end in circuit.ends if end.box == device.box]
        for name in device.form.terminals:
            terminal = circuit.terminal(device, name)
            join_of[terminal] = join_of[draw(st.sampled_from([terminal, *others]))]
    return _joined(circuit, join_of)


def _join_of(circuit: Circuit) -> dict[End, int]:
    """Return the number of the join of each end."""
    return {end: join for join, group in enumerate(circuit.grouped_ends) for end in group}


def _joined(circuit: Circuit, join_of: Mapping[End, int]) -> Circuit:
    """Return the circuit with its ends in other joins."""
    joins: dict[int, list[End]] = {}
    for end, join in join_of.items():
        joins.setdefault(join, []).append(end)
    return replace(
        circuit,
        joins=tuple(Join(ends[0].box, tuple(end.name for end in ends)) for ends in joins.values()),
    )


def failures(circuit: Circuit, *, most: int = 4) -> st.SearchStrategy[tuple[Failure, ...]]:
    """Draw up to `most` failed parts that a circuit can have besides those it has."""
    options = [
        fault.change.failure
        for fault in all_faults(circuit, PART_KINDS)
        if fault.change.failure is not None
    ]
    return st.lists(st.sampled_from(options), max_size=most, unique_by=failed_part).map(tuple)


@st.composite
def failing_circuits(
    draw: st.DrawFn, of: st.SearchStrategy[Circuit] | None = None, *, most: int = 4
) -> Circuit:
    """Draw a circuit of `of`, by default of `circuits()`, in which up to `most` parts fail."""
    circuit = draw(circuits() if of is None else of)
    failed = (*circuit.failures, *draw(failures(circuit, most=most)))
    return replace(circuit, failures=failed)
