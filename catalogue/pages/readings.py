"""What meters read in a circuit, for its page and the pages of its faults."""

from typing import Final

from catalogue.metering import (
    Measured,
    Point,
    against_returns,
    agree,
    all_points,
    assumed_words,
    point_of,
    positions,
    why_not,
)
from catalogue.pages.visit import Facts
from verify.circuit import Circuit
from verify.electric.readings import Reading

#: A table with more columns than this helps nobody.
_MOST_STATES: Final = 16
_DECIMALS: Final = 3


def reading_facts(circuit: Circuit | None) -> Facts:
    """Tables of readings against neutral and ground, states as columns.

    With None, and for circuits of too many states, they are not computed, and `why_not` says why.
    """
    refusal = why_not(circuit, _MOST_STATES) if circuit else "the circuit could not be made"
    if refusal or circuit is None:
        return {"readings": {"why_not": refusal, "assumed": "", "states": [], "tables": []}}
    states = range(1 << len(circuit.switches))
    every = all_points(circuit)
    return {
        "readings": {
            "why_not": "",
            "assumed": assumed_words(circuit),
            "states": [
                {"state": state, "positions": positions(circuit, state)} for state in states
            ],
            "tables": [
                {
                    "against": terminal,
                    "where": _point(point_of(every, circuit.terminal(circuit.feed, terminal))),
                    "rows": list(map(_row, found)),
                }
                for terminal, found in against_returns(circuit, states).items()
            ],
        }
    }


def _row(item: Measured) -> Facts:
    return {"point": _point(item.point), "cells": list(map(_cell, item.readings))}


def _point(point: Point) -> Facts:
    return {"names": list(point.words), "box": point.box}


def _cell(reading: Reading) -> Facts:
    return {
        "high": round(reading.high, _DECIMALS),
        "low": round(reading.low, _DECIMALS),
        "agree": agree(reading),
        "phantom": reading.phantom,
    }
