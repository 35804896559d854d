"""The currents of a circuit are told here state by state, for commands and pages."""

from collections.abc import Sequence
from typing import Final, TypedDict

import numpy as np

from catalogue.report.metering import why_not
from verify.circuit.model import Circuit
from verify.electric.grid import Grid
from verify.electric.outcomes import Outcomes, energise
from verify.electric.protection import LEVELS, class_a_seconds, general_seconds
from verify.fault.change import Change

_DECIMALS: Final = 4


class FeedForm(TypedDict):
    """A feed as JSON: the most that its line carried before its breaker acted, and the breaker.

    `residual_amperes` do not return by its neutral; `residual_seconds` is the longest that a device
    for people may take at them, null where it need not trip.
    """

    name: str
    amperes: float
    breaker: str
    residual_amperes: float
    residual_seconds: float | None


class LampForm(TypedDict):
    """A lamp's volts and amperes as JSON."""

    name: str
    volts: float
    amperes: float


class CurrentForm(TypedDict):
    """The amperes of a conductor, or the sum of the currents in a cable, as JSON."""

    name: str
    amperes: float


class FlowForm(TypedDict):
    """What flows in one state, once breakers have acted, as JSON."""

    state: int
    feeds: list[FeedForm]
    lamps: list[LampForm]
    conductors: list[CurrentForm]
    cables: list[CurrentForm]


def flow_forms(circuit: Circuit) -> list[FlowForm]:
    """Return what flows in every state; empty where that is not computed (`metering.why_not`).

    Residual currents are held to class A (UL 943) with the North American palette, else to a
    general device of 30 mA (IEC 61008-1).
    """
    if why_not(circuit):
        return []
    grid = Grid(circuit)
    energised = energise(grid, grid.network([Change()]))
    found = Outcomes.of(energised)
    seconds = class_a_seconds if circuit.palette == "us" else general_seconds
    longest = seconds(found.residual_amps[0])
    conductors = np.abs(energised.solution.conductor_amps()[0])
    cables = np.abs(energised.solution.cable_amps()[0])
    return [
        FlowForm(
            state=state,
            feeds=[
                FeedForm(
                    name=feed.name,
                    amperes=_rounded(found.inrush[0, state, number]),
                    breaker=LEVELS[found.level[0, state, number]],
                    residual_amperes=_rounded(found.residual_amps[0, state, number]),
                    residual_seconds=_seconds(longest[state, number]),
                )
                for number, feed in enumerate(circuit.feeds)
            ],
            lamps=[
                LampForm(
                    name=lamp.name,
                    volts=_rounded(found.lamp_volts[0, state, number]),
                    amperes=_rounded(found.lamp_amps[0, state, number]),
                )
                for number, lamp in enumerate(circuit.lamps)
            ],
            conductors=_currents(grid.conductor_names, conductors[state]),
            cables=_currents([cable.name for cable in circuit.cables], cables[state]),
        )
        for state in range(1 << len(circuit.switches))
    ]


def _currents(names: Sequence[str], amperes: "np.typing.NDArray[np.float64]") -> list[CurrentForm]:
    return [
        CurrentForm(name=name, amperes=_rounded(value))
        for name, value in zip(names, amperes.tolist(), strict=True)
    ]


def _rounded(amount: float) -> float:
    return round(float(amount), _DECIMALS)


def _seconds(longest: float) -> float | None:
    return round(float(longest), 3) if np.isfinite(longest) else None
