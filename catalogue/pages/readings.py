"""Readings of meters in a circuit, for its page and the pages of its faults."""

from typing import Final

from catalogue.pages.contract import Facts
from catalogue.report.flows import CurrentForm, flow_forms
from catalogue.report.metering import (
    Measured,
    ProbePoint,
    against_returns,
    agree,
    all_points,
    assumed_words,
    point_of,
    positions,
    why_not,
)
from verify.circuit.model import Circuit
from verify.circuit.parts import conductor_name
from verify.circuit.wording import conductor_words
from verify.electric.readings import Reading

#: A table with more columns helps nobody.
_MOST_STATES: Final = 16
_DECIMALS: Final = 3


def reading_facts(circuit: Circuit | None) -> Facts:
    """Return tables of readings against neutral and ground, states as columns.

    If there is no circuit, or it has too many states, they are not computed, and `why_not` says
    why.
    """
    refusal = why_not(circuit, _MOST_STATES) if circuit else "the circuit could not be made"
    if refusal or circuit is None:
        nothing: Facts = {
            "why_not": refusal,
            "assumed": "",
            "states": [],
            "tables": [],
            "flows": [],
        }
        return {"readings": nothing}
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
            "flows": _flows(circuit),
        }
    }


def _flows(circuit: Circuit) -> list[Facts]:
    """Return what flows, as rows with a cell for every state."""
    states = flow_forms(circuit)
    rows: list[Facts] = []
    for number, feed in enumerate(circuit.feeds):
        feeds = [state["feeds"][number] for state in states]
        rows.append(_flow(f"line of {feed.name}", "A", [form["amperes"] for form in feeds]))
        rows.append({"what": f"breaker of {feed.name}", "words": [f["breaker"] for f in feeds]})
        residual = [form["residual_amperes"] for form in feeds]
        rows.append(_flow(f"not returned to {feed.name}", "A", residual))
    for number, lamp in enumerate(circuit.lamps):
        rows.append(_flow(lamp.name, "V", [state["lamps"][number]["volts"] for state in states]))
    for cable in circuit.cables:
        for name in (conductor_name(cable.name, colour) for colour in cable.conductors):
            carried = [_amperes(state["conductors"], name) for state in states]
            rows.append(_flow(conductor_words(name), "A", carried))
        left = [_amperes(state["cables"], cable.name) for state in states]
        rows.append(_flow(f"{cable.name}, all conductors together", "A", left))
    return rows


def _amperes(currents: list[CurrentForm], name: str) -> float:
    return next(current["amperes"] for current in currents if current["name"] == name)


def _flow(what: str, unit: str, amounts: list[float]) -> Facts:
    return {"what": what, "words": [f"{amount:.2f} {unit}" for amount in amounts]}


def _row(item: Measured) -> Facts:
    return {"point": _point(item.point), "cells": list(map(_cell, item.readings))}


def _point(point: ProbePoint) -> Facts:
    return {"names": list(point.words), "box": point.box}


def _cell(reading: Reading) -> Facts:
    return {
        "high": round(reading.high, _DECIMALS),
        "low": round(reading.low, _DECIMALS),
        "agree": agree(reading),
        "phantom": reading.phantom,
    }
