"""Ways to land free ends, found the long way: every one is made and judged by itself."""

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from verify.behaviour.judgement import MIMIC, SOUND
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, End, Join
from verify.engine.words import WordsEngine
from verify.fault.change import Change
from verify.fault.contract import Fault
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.judging import NONE, judge_faults

#: OEIS A000110; to 4140 as read, the rest from memory.
BELL = (1, 1, 2, 5, 15, 52, 203, 877, 4140, 21147, 115975, 678570, 4213597)

#: How many ways are held at once.
_AT_ONCE = 20_000

#: The groups of the free ends of every box.
Way = frozenset[frozenset[End]]


def groupings(ends: Sequence[End]) -> Iterator[tuple[tuple[End, ...], ...]]:
    """Every partition of some ends, by putting the last into each group of those without it."""
    if not ends:
        yield ()
        return
    *others, last = ends
    for groups in groupings(others):
        yield (*groups, (last,))
        for place, group in enumerate(groups):
            yield (*groups[:place], (*group, last), *groups[place + 1 :])


def free_ends(circuit: Circuit) -> dict[str, list[End]]:
    """The ends of each box that are in no fixed join."""
    fixed = {End(join.box, name) for join in circuit.joins if join.fixed for name in join.ends}
    free: dict[str, list[End]] = {box.name: [] for box in circuit.boxes}
    for end in circuit.ends:
        if end not in fixed:
            free[end.box].append(end)
    return free


def way_count(circuit: Circuit) -> int:
    """The product of Bell numbers."""
    return math.prod(BELL[len(ends)] for ends in free_ends(circuit).values())


def landed(circuit: Circuit, groups: Iterable[Iterable[End]]) -> Fault:
    """A way as a change of every end: joins are named by their first ends."""
    number = circuit.end_index
    fixed = ([End(join.box, name) for name in join.ends] for join in circuit.joins if join.fixed)
    numbered = ([number[end] for end in group] for group in (*fixed, *groups))
    moves = tuple((end, min(group)) for group in numbered for end in group)
    return Fault("landing", (), Change(moves))


def working_ways(circuit: Circuit) -> dict[Way, frozenset[str]]:
    """Every way with any-location control, and its hazards, by going through all ways."""
    every = itertools.product(*map(groupings, free_ends(circuit).values()))
    working: dict[Way, frozenset[str]] = {}
    while some := list(itertools.islice(every, _AT_ONCE)):
        ways = [list(itertools.chain(*boxes)) for boxes in some]
        faults = [landed(circuit, groups) for groups in ways]
        start = 0
        for part, _, found in judge_faults(circuit, faults, WordsEngine()):
            for row in np.flatnonzero(np.isin(found.verdict, (SOUND, MIMIC))):
                held = np.flatnonzero(found.hazard_state[row] != NONE)
                way = frozenset(map(frozenset[End], ways[start + row]))
                working[way] = frozenset(HAZARD_NAMES[hazard] for hazard in held)
            start += len(part)
    return working


def by_hazards(working: Mapping[Way, frozenset[str]]) -> Counter[frozenset[str]]:
    """How many ways have exactly which hazards."""
    return Counter(working.values())


def with_free(circuit: Circuit, boxes: Mapping[str, Iterable[str]]) -> Circuit:
    """The circuit with these ends free and all others fixed as they are.

    Raises ValueError if a join is only in part among these.
    """
    free = {End(box, name) for box, names in boxes.items() for name in names}
    joins = []
    for group in circuit.grouped_ends:
        loose = {end for end in group if end in free}
        if loose and len(loose) < len(group):
            raise ValueError(f"{group} would be free in part")
        joins.append(Join(group[0].box, tuple(end.name for end in group), fixed=not loose))
    return replace(circuit, joins=tuple(joins))


def one_box(*switch_kinds: str) -> Circuit:
    """A feed, a lamp and switches in one box, whose grounds are joined for good."""
    devices = (
        Device("feed", "feed", "workshop"),
        Device("lamp", "lamp", "workshop"),
        *(Device(f"switch-{n}", kind, "workshop") for n, kind in enumerate(switch_kinds, 1)),
    )
    grounds = tuple(f"{device.name}.ground" for device in devices)
    return Circuit(
        "Workshop, all in one box",
        (Box("workshop"),),
        devices,
        (),
        (Join("workshop", grounds, fixed=True),),
    )


def two_cables() -> Circuit:
    """A single-pole switch at the slipway, reached by two cables from the landing."""
    return Circuit(
        "Slipway light, a cable out and another back",
        (Box("landing"), Box("slipway", "metal")),
        (
            Device("feed", "feed", "landing"),
            Device("lamp", "lamp", "landing"),
            Device("slipway-switch", "single-pole", "slipway"),
        ),
        (
            Cable("upper-run", ("landing", "slipway"), ("black", "bare")),
            Cable("lower-run", ("landing", "slipway"), ("black", "bare")),
        ),
        (
            Join("landing", ("feed.line", "upper-run.black")),
            Join("landing", ("lower-run.black", "lamp.contact")),
            Join("landing", ("lamp.shell", "feed.neutral")),
            Join("slipway", ("upper-run.black", "slipway-switch.s1")),
            Join("slipway", ("slipway-switch.s2", "lower-run.black")),
            Join(
                "landing",
                ("feed.ground", "lamp.ground", "upper-run.bare", "lower-run.bare"),
                fixed=True,
            ),
            Join(
                "slipway",
                ("slipway-switch.ground", "upper-run.bare", "lower-run.bare", "box.slipway"),
                fixed=True,
            ),
        ),
    )


def feed_beyond() -> Circuit:
    """A lamp and one three-way at the slipway, and the feed in a box of its own."""
    return Circuit(
        "Slipway light, the feed in a box of its own",
        (Box("slipway"), Box("landing")),
        (
            Device("feed", "feed", "landing"),
            Device("lamp", "lamp", "slipway"),
            Device("slipway-switch", "three-way", "slipway"),
        ),
        (Cable("slipway-run", ("landing", "slipway"), ("black", "white", "bare")),),
        (
            Join("landing", ("feed.line", "slipway-run.black")),
            Join("landing", ("feed.neutral", "slipway-run.white")),
            Join("slipway", ("slipway-run.black", "slipway-switch.common")),
            Join("slipway", ("slipway-switch.traveler-1", "lamp.contact")),
            Join("slipway", ("slipway-run.white", "lamp.shell")),
            Join("landing", ("feed.ground", "slipway-run.bare"), fixed=True),
            Join("slipway", ("lamp.ground", "slipway-switch.ground", "slipway-run.bare"), True),
        ),
    )
