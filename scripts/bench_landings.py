"""Measure how long it takes to count every way to land the free ends."""

from __future__ import annotations

import time
from typing import Final

from verify.base.resources import data_path
from verify.circuit.file import load
from verify.engine.volts import VoltsEngine
from verify.study.landings.survey import survey

HOOKUPS: Final = (
    "slipway-feed-at-first-switch",
    "stair-feed-at-lamp",
    "workshop-feed-and-lamp-at-ends",
)


def landings() -> list[dict[str, float | int | str]]:
    """Measure each usual hookup of two locations, with one worker and with two.

    Hazards are searched for too; everything is loaded and compiled beforehand.
    """
    engine = VoltsEngine()
    circuits = {name: load(data_path("circuits") / f"{name}.toml") for name in HOOKUPS}
    survey(circuits[HOOKUPS[-1]], engine)
    measured: list[dict[str, float | int | str]] = []
    for name, circuit in circuits.items():
        seconds = []
        for workers in (1, 2):
            started = time.perf_counter()
            found = survey(circuit, engine, workers=workers)
            seconds.append(time.perf_counter() - started)
        measured.append(
            {
                "circuit": name,
                "ways": found.instance.ways,
                "any_location": found.any_location,
                "seconds": round(seconds[0], 2),
                "seconds_with_two_workers": round(seconds[1], 2),
                "ways_per_second": round(found.instance.ways / min(seconds)),
            }
        )
    return measured
