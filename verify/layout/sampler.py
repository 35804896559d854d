"""Circuits drawn at random, beyond the layouts that are enumerated completely.

A sample may have many locations, boxes that several devices share, boxes without a device, several
lamps, metal boxes, a neutral at every switch, receptacles that stay energised and a second feed for
them; all are sound. The same seed and index give the same sample on every machine.
"""

import base64
import hashlib
import random
from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import networkx as nx

from verify.base.problems import Problem, UnfitValueError, whole_number_problems
from verify.base.sentences import counted
from verify.circuit.colours import PALETTES
from verify.circuit.devices import DEFAULT_LEG, LEGS
from verify.circuit.file import dump
from verify.circuit.model import Circuit
from verify.circuit.parts import Box
from verify.layout.enumeration import FEWEST_LOCATIONS
from verify.layout.outlets import Outlet, SecondFeed, with_outlets
from verify.layout.routing import ROOT, Arrangement, rooted, route
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES

MOST_LOCATIONS: Final = 16
MOST_LAMPS: Final = 3
MOST_JUNCTIONS: Final = 2
MOST_OUTLETS: Final = 2
_SHARED_BOX: Final = 1 / 8
_METAL_BOX: Final = 1 / 3
_HAS_OUTLETS: Final = 1 / 4
#: The loads that may be plugged in, in watts; a breaker of 15 A carries all of them at once.
_LOADS: Final = (25.0, 100.0, 600.0)
_LABEL_LENGTH: Final = 10

_Option = TypeVar("_Option")


@dataclass(frozen=True, slots=True)
class Sample:
    """One drawn circuit; equal circuits have equal labels.

    `arrangement` says where everything is except the receptacles and their feed.
    """

    label: str
    scheme: str
    arrangement: Arrangement
    circuit: Circuit


def sample(seed: int, index: int, *, fewest: int = FEWEST_LOCATIONS, most: int = 6) -> Sample:
    """Return sample number `index` of the series `seed`, with `fewest` to `most` locations.

    Raises UnfitValueError, which is a UserError and a ValueError, unless all are whole numbers,
    seed and index ≥ 0 and 2 ≤ fewest ≤ most ≤ 16.
    """
    problems = whole_number_problems(0, seed=seed, index=index, fewest=fewest, most=most)
    if not problems and not FEWEST_LOCATIONS <= fewest <= most <= MOST_LOCATIONS:
        message = (
            f"fewest={fewest} and most={most} must be in order and between {FEWEST_LOCATIONS} "
            f"and {MOST_LOCATIONS} locations"
        )
        problems.append(Problem("", message))
    if problems:
        raise UnfitValueError(problems)
    draws = _Draws(f"{seed}/{index}")
    locations = fewest + draws.below(most - fewest + 1)
    scheme = draws.one_of(SOUND_SCHEMES)
    arrangement = _arrangement(draws, locations)
    # Drawn last, so that the rest is the same with receptacles as without.
    outlets, second = _outlets(draws, len(arrangement.boxes))
    name = drawn_name(scheme, arrangement, outlets, second)
    circuit = route(scheme, arrangement, name)
    if outlets:
        circuit = with_outlets(circuit, arrangement, outlets, second)
    return Sample(_label(circuit), scheme, arrangement, circuit)


def random_circuit(
    seed: int, index: int = 0, *, fewest: int = FEWEST_LOCATIONS, most: int = 6
) -> Circuit:
    """Return a sound circuit drawn at random, number `index` of the series `seed`.

    It has `fewest` to `most` switches and up to three lamps; some have metal boxes, receptacles or
    a second feed. The same numbers give the same circuit on every machine.

    Raises UnfitValueError, which is a UserError and a ValueError, unless all are whole numbers,
    seed and index ≥ 0 and 2 ≤ fewest ≤ most ≤ 16.
    """
    return sample(seed, index, fewest=fewest, most=most).circuit


def arranged(
    parents: Sequence[int],
    switch_boxes: Sequence[int],
    lamp_boxes: Sequence[int],
    *,
    metal: Container[int] = (),
    neutral_everywhere: bool = False,
    palette: str = "us",
) -> Arrangement:
    """Return an arrangement whose boxes are named after the locations or lamps in them."""
    names: list[str] = []
    junctions = 0
    for box in range(len(parents)):
        if box in switch_boxes:
            names.append(f"box-{switch_boxes.index(box) + 1}")
        elif box in lamp_boxes:
            names.append(f"lamp-box-{lamp_boxes.index(box) + 1}")
        else:
            junctions += 1
            names.append(f"junction-{junctions}")
    return Arrangement(
        boxes=tuple(
            Box(name, "metal" if box in metal else "plastic") for box, name in enumerate(names)
        ),
        parents=tuple(parents),
        switch_boxes=tuple(switch_boxes),
        lamp_boxes=tuple(lamp_boxes),
        switch_names=tuple(f"switch-{place}" for place, _ in enumerate(switch_boxes, 1)),
        lamp_names=tuple(f"lamp-{number}" for number, _ in enumerate(lamp_boxes, 1)),
        neutral_everywhere=neutral_everywhere,
        palette=palette,
    )


def drawn_name(
    scheme: str,
    arrangement: Arrangement,
    outlets: Sequence[Outlet] = (),
    second: SecondFeed | None = None,
) -> str:
    """Return the name of a drawn circuit, which lists its features but not its seed."""
    metal = sum(box.is_metal for box in arrangement.boxes)
    parts = [
        SCHEMES[scheme].title,
        f"{len(arrangement.switch_boxes)} locations",
        counted(len(arrangement.lamp_boxes), "lamp"),
        counted(len(arrangement.boxes), "box", "boxes") + (f" ({metal} of metal)" if metal else ""),
    ]
    if arrangement.neutral_everywhere:
        parts.append("neutral at every switch")
    if outlets:
        parts.append(counted(len(outlets), "receptacle"))
    if second is not None:
        shared = ", one neutral for both" if second.shares_neutral else ""
        parts.append(f"second feed on leg {second.leg}{shared}")
    return f"Drawn circuit: {', '.join(parts)}"


class _Draws:
    """Choices made by `random.Random.random`, whose sequence Python promises never to change."""

    def __init__(self, seed: str) -> None:
        self._fraction = random.Random(seed).random

    def below(self, limit: int) -> int:
        """Return a number from 0 to `limit` − 1."""
        return int(self._fraction() * limit)

    def happens(self, chance: float) -> bool:
        """Return True with that chance."""
        return self._fraction() < chance

    def one_of(self, options: Sequence[_Option]) -> _Option:
        """Return one of `options`."""
        return options[self.below(len(options))]


def _arrangement(draws: _Draws, locations: int) -> Arrangement:
    switch_boxes: list[int] = []
    boxes = 0
    for _ in range(locations):
        if boxes and draws.happens(_SHARED_BOX):
            switch_boxes.append(draws.below(boxes))
        else:
            switch_boxes.append(boxes)
            boxes += 1
    lamp_boxes: list[int] = []
    for _ in range(1 + draws.below(MOST_LAMPS)):
        if draws.happens(1 / 2):
            lamp_boxes.append(draws.one_of(switch_boxes))
        else:
            lamp_boxes.append(boxes)
            boxes += 1
    boxes += draws.below(MOST_JUNCTIONS + 1)
    return arranged(
        _drawn_tree(draws, boxes),
        switch_boxes,
        lamp_boxes,
        metal={box for box in range(boxes) if draws.happens(_METAL_BOX)},
        neutral_everywhere=draws.happens(1 / 2),
        palette=draws.one_of(tuple(PALETTES)),
    )


def _outlets(draws: _Draws, boxes: int) -> tuple[tuple[Outlet, ...], SecondFeed | None]:
    """Draw receptacles with their loads, mostly none, and perhaps a feed for them."""
    if not draws.happens(_HAS_OUTLETS):
        return (), None
    outlets = tuple(
        Outlet(draws.below(boxes), (draws.one_of(_LOADS),) if draws.happens(3 / 4) else ())
        for _ in range(1 + draws.below(MOST_OUTLETS))
    )
    if draws.happens(1 / 3):
        return outlets, None
    leg = draws.one_of(LEGS)
    return outlets, SecondFeed(leg, leg != DEFAULT_LEG and draws.happens(1 / 2))


def _drawn_tree(draws: _Draws, boxes: int) -> tuple[int, ...]:
    """Return the parents of a rooted tree; each tree is as likely as any other."""
    if boxes == 1:
        return (ROOT,)
    tree = nx.from_prufer_sequence([draws.below(boxes) for _ in range(boxes - 2)])
    return rooted(tree, draws.below(boxes))


def _label(circuit: Circuit) -> str:
    """Return the number of locations and a digest of the circuit as it is written in a file."""
    digest = base64.b32encode(hashlib.sha256(dump(circuit).encode()).digest()).decode().lower()
    return f"drawn-{len(circuit.switches)}-{digest[:_LABEL_LENGTH]}"
