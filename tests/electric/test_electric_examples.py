"""Circuits small enough to be worked out by hand, each with its formula."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pytest

from verify.base.problems import CircuitError
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, End, Failure, Join
from verify.electric.grid import Grid
from verify.electric.numbers import Parameters, parameters, section
from verify.electric.outcomes import (
    DARK,
    DIM,
    LIT,
    OVER,
    Outcomes,
    circuit_outcomes,
    energise,
    outcomes_of_faults,
)
from verify.electric.physics import ohms_per_metre
from verify.electric.protection import (
    HOLDS,
    TRIPS_AT_ONCE,
    TRIPS_IN_TIME,
    class_a_seconds,
    general_seconds,
)
from verify.electric.readings import Reading, readings
from verify.electric.solve import Solution
from verify.fault.change import Change
from verify.fault.registry import find_fault

US: Final = parameters("us")
RUN: Final = US.feed_length_m * ohms_per_metre("14 AWG", 20.0) + US.terminal
FEED: Final = Device("feed", "feed", "loft")
SWITCH: Final = Device("switch", "single-pole", "loft")
ON: Final = 0  # the switch up
OFF: Final = 1


def lamp(name: str, watts: float = 60.0, box: str = "loft") -> Device:
    """A lamp."""
    return Device(name, "lamp", box, watts)


def wired(
    devices: Sequence[Device],
    loft: str,
    *failures: Failure,
    cables: Sequence[Cable] = (),
    quay: str = "",
) -> Circuit:
    """A circuit in the loft and on the quay, the joins of each box with | between."""
    boxes = (Box("loft"), Box("quay", "metal"))
    joins = [
        Join(box, tuple(part.split()))
        for box, text in (("loft", loft), ("quay", quay))
        for part in text.split("|")
        if part.strip()
    ]
    return Circuit("By hand", boxes, tuple(devices), tuple(cables), tuple(joins), failures)


def solved(circuit: Circuit, assumed: Parameters | None = None) -> Solution:
    """The voltages after protection has acted."""
    grid = Grid(circuit, assumed)
    return energise(grid, grid.network([Change()])).solution


def volts_at(solution: Solution, box: str, name: str, state: int = ON) -> complex:
    """The potential of an end."""
    end = solution.grid.circuit.end_index[End(box, name)]
    return complex(solution.at(np.array([end]))[0, state, 0])


def reading(found: Sequence[Reading], state: int = ON) -> Reading:
    """The one reading of a state."""
    (one,) = [item for item in found if item.state == state]
    return one


SERIES: Final = wired(
    [FEED, SWITCH, lamp("near"), lamp("far")],
    "feed.line switch.s1 | switch.s2 near.contact | near.shell far.contact| far.shell feed.neutral",
)


def test_two_lamps_in_series_share_the_volts() -> None:
    """I = U / (2·240 Ω + source + line run + contact + neutral run), half of 120 V for each."""
    found = circuit_outcomes(SERIES)
    amps = 120 / abs(480 + US.source + 2 * RUN + US.contact)
    assert found.lamp_amps[0, ON] == pytest.approx([amps, amps], rel=1e-9)
    assert found.lamp_volts[0, ON] == pytest.approx([240 * amps] * 2, rel=1e-9)
    assert found.lamps[0].tolist() == [[DIM, DIM], [DARK, DARK]]


def test_two_filaments_in_series() -> None:
    """By the exponents each gives 0.095 of its light and takes 0.34 of its watts (computed)."""
    law = section("lamp")
    found = circuit_outcomes(SERIES, replace(US, lamp_exponent=law["amperes_exponent"]))
    shares = found.lamp_volts[0, ON] / 120
    assert shares == pytest.approx([0.5, 0.5], rel=2e-3)
    watts = found.lamp_volts[0, ON] * found.lamp_amps[0, ON] / 60
    assert watts == pytest.approx([0.34, 0.34], rel=0.05)
    assert shares ** law["light_exponent"] == pytest.approx([0.095, 0.095], rel=0.05)
    assert shares ** law["watts_exponent"] == pytest.approx(watts, rel=2e-3)


def test_filaments_settle_at_their_law() -> None:
    """Unequal filaments in series carry one current, each its own nominal times share^0.541."""
    circuit = replace(SERIES, devices=(FEED, SWITCH, lamp("near", 25.0), lamp("far", 100.0)))
    found = circuit_outcomes(circuit, replace(US, lamp_exponent=0.541))
    shares = found.lamp_volts[0, ON] / 120
    nominal = np.array([25.0, 100.0]) / 120
    assert found.lamp_amps[0, ON] == pytest.approx(nominal * shares**0.541, rel=1e-8)
    assert found.lamp_amps[0, ON, 0] == pytest.approx(found.lamp_amps[0, ON, 1], rel=1e-8)
    assert shares[0] > 0.9 > shares[1]


TWO_LEGS: Final = [
    replace(FEED, name="feed-a"),
    replace(FEED, name="feed-b", leg="B"),
    SWITCH,
    lamp("small", 60.0),
    lamp("large", 100.0),
]


def test_lost_neutral_on_two_legs() -> None:
    """Lamps of 240 Ω and 144 Ω, their common return connected to nothing, divide 240 V.

    The small one gets 240·240/384 = 150 V, the large one 90 V, but for the runs.
    """
    lost = wired(
        TWO_LEGS,
        "feed-a.line switch.s1 | switch.s2 small.contact | feed-b.line large.contact"
        "| small.shell large.shell",
    )
    found = circuit_outcomes(lost)
    amps = 240 / abs(384 + 2 * US.source + 2 * RUN + US.contact)
    assert found.lamp_volts[0, ON] == pytest.approx([240 * amps, 144 * amps], rel=1e-9)
    assert found.lamp_volts[0, ON] == pytest.approx([150, 90], rel=2e-3)
    assert found.lamps[0, ON].tolist() == [OVER, DIM]
    assert found.level[0, ON].tolist() == [HOLDS, HOLDS]


def test_a_neutral_lost_before_two_cables() -> None:
    """The fault in the net loft: 60 W and 25 W, 240 Ω and 576 Ω, in series across 240 V.

    I = 240 / (240 + 576 + all that is in the way): both sources and line runs, of the light two
    cables' lengths of conductor to the stair and two to the lamp, two contacts, and of the bench
    two of its cable. The lamp gets 240·I, about 70.6 V, what is plugged in 576·I, about 169.4 V.
    """
    circuit = load(data_path("circuits") / "net-loft-two-legs.toml")
    lost = find_fault(circuit, "neutral-lost/light-feed,bench-feed")
    found = outcomes_of_faults(circuit, [lost])
    metres = 2 * 7.0 + 2 * 4.0 + 2 * 5.5
    way = metres * ohms_per_metre("14 AWG", US.celsius) + 2 * US.contact + 2 * US.source + 2 * RUN
    amps = 240 / abs(240 + 576 + way)
    lit = found.lamps[0, :, 0] != DARK
    assert lit.tolist() == [True, False, False, True]
    assert found.lamp_volts[0, lit, 0] == pytest.approx([240 * amps] * 2, rel=1e-5)
    assert found.load_volts[0, lit] == pytest.approx([576 * amps] * 2, rel=1e-5)
    assert 240 * amps == pytest.approx(70.6, abs=0.1)
    assert 576 * amps == pytest.approx(169.4, abs=0.2)
    assert found.lamps[0, lit, 0].tolist() == [DIM, DIM]
    # With the light off only capacitance returns what the bench draws.
    assert found.load_volts[0, ~lit] == pytest.approx([0, 0], abs=0.2)


def test_a_shared_neutral_carries_the_difference() -> None:
    """With the return in place each lamp has its 120 V, and 0.5 A − 0.83 A returns in all."""
    whole = wired(
        TWO_LEGS,
        "feed-a.line switch.s1 | switch.s2 small.contact | feed-b.line large.contact"
        "| small.shell large.shell feed-a.neutral feed-b.neutral",
    )
    solution = solved(whole)
    found = circuit_outcomes(whole)
    assert found.lamps[0, ON].tolist() == [LIT, LIT]
    returned = solution.feed_amps()[0, ON, :, 1].sum()
    assert abs(returned) == pytest.approx(100 / 120 - 60 / 120, rel=5e-3)


def test_neutral_and_ground_in_parallel_divide_the_return() -> None:
    """Two paths between the same two points: currents go as the reciprocals of their ohms."""
    cables = [
        Cable("supply", ("loft", "quay"), ("black", "white"), "14 AWG", 20.0),
        Cable("bond", ("loft", "quay"), ("bare",), "10 AWG", 20.0),
    ]
    circuit = wired(
        [FEED, SWITCH, lamp("lamp", 100.0, "quay")],
        "feed.line switch.s1 | switch.s2 supply.black | feed.neutral supply.white"
        "| feed.ground bond.bare",
        cables=cables,
        quay="supply.black lamp.contact | lamp.shell supply.white bond.bare box.quay",
    )
    found = circuit_outcomes(circuit)
    whole = found.lamp_amps[0, ON, 0]
    by_neutral = 20 * ohms_per_metre("14 AWG", 20.0) + RUN
    by_ground = 20 * ohms_per_metre("10 AWG", 20.0) + RUN
    on_ground = whole * by_neutral / (by_neutral + by_ground)
    assert found.ground_amps[0, ON] == pytest.approx(on_ground, rel=1e-5)
    assert found.residual_amps[0, ON, 0] == pytest.approx(on_ground, rel=1e-5)
    # What goes out in one cable comes back in the other.
    assert found.unbalanced_amps[0, ON] == pytest.approx(on_ground, rel=1e-5)
    assert class_a_seconds(found.residual_amps[0, ON])[0] == 0.025
    assert general_seconds(found.residual_amps[0, ON])[0] == 0.04


def floating(*colours: str) -> Circuit:
    """A conductor of 50 ft beside a live one, red and black, and perhaps beside a grounded one."""
    run = Cable("run", ("loft", "quay"), colours, "14 AWG", 15.24)
    grounded = "| feed.ground run.bare" if "bare" in colours else ""
    return wired([FEED, SWITCH, lamp("lamp")], f"feed.line run.black {grounded}", cables=[run])


@pytest.mark.parametrize(
    ("colours", "ohms", "expected"),
    [
        (("black", "red"), 10e6, 116.3),
        (("black", "red"), 1e6, 44.2),
        (("black", "red"), 3e3, 0.143),
        (("black", "red", "bare"), 10e6, 59.5),
        (("black", "red", "bare"), 1e6, 37.2),
        (("black", "red", "bare"), 3e3, 0.143),
    ],
)
def test_what_a_floating_conductor_reads(
    colours: tuple[str, ...], ohms: float, expected: float
) -> None:
    """V·R/√(R² + Xc²) with 21 pF/ft, 120 V, 60 Hz (computed; the capacitance read)."""
    pair = End("loft", "run.red"), End("loft", "feed.ground")
    found = readings(floating(*colours), [pair], replace(US, high_meter=ohms))
    assert reading(found).high == pytest.approx(expected, rel=0.01)
    if len(colours) == 2:
        reactance = 1 / (2 * math.pi * 60 * US.capacitance * 15.24)
        by_hand = 120 * ohms / math.hypot(ohms, reactance)
        assert reading(found).high == pytest.approx(by_hand, rel=1e-4)


def test_a_phantom_is_marked_as_one() -> None:
    """Both meters show line voltage on a live conductor, the low one nothing on a phantom."""
    ground = End("loft", "feed.ground")
    pairs = [(End("quay", f"run.{colour}"), ground) for colour in ("black", "red")]
    live, phantom = readings(floating("black", "red", "bare"), pairs)[::2]
    assert [live.high, live.low] == pytest.approx([120, 120], rel=1e-3)
    assert not live.phantom
    assert phantom.phantom


def test_a_potential_that_does_not_exist() -> None:
    """Nothing connects a plastic-sheathed metal box to anything: there is no number for it.

    A meter between it and ground carries no current and reads 0, on either input.
    """
    circuit = floating("black", "red")
    solution = solved(circuit)
    assert np.isnan(volts_at(solution, "quay", "box.quay"))
    assert not np.isnan(volts_at(solution, "quay", "run.red"))
    box = readings(circuit, [(End("quay", "box.quay"), End("loft", "feed.ground"))])
    assert (reading(box).high, reading(box).low, reading(box).phantom) == (0.0, 0.0, False)


def test_open_neutral_puts_line_on_the_shell() -> None:
    """With the switch on the shell of a lamp without return is at line voltage on both meters."""
    circuit = wired([FEED, SWITCH, lamp("lamp")], "feed.line switch.s1 | switch.s2 lamp.contact")
    shell = End("loft", "lamp.shell"), End("loft", "feed.neutral")
    found = readings(circuit, [shell])
    assert reading(found).high == pytest.approx(120, rel=1e-3)
    assert reading(found).low == pytest.approx(120 * 3000 / 3240, rel=1e-3)
    assert not reading(found).phantom
    assert reading(found, OFF).high == 0.0


def test_a_meter_does_not_warm_filaments() -> None:
    """Readings with filaments are those at the resistance that they have without the meter."""
    middle = End("loft", "near.shell"), End("loft", "feed.neutral")
    for exponent in (None, 0.541):
        (found,) = [
            item
            for item in readings(SERIES, [middle], replace(US, lamp_exponent=exponent))
            if item.state == ON
        ]
        half = 120 if exponent is None else 240 * 0.5**0.459 / 2
        assert found.high == pytest.approx(60, rel=2e-3)
        assert found.low == pytest.approx(60 * 3000 / (3000 + half), rel=2e-3)


def test_a_dead_short_trips_at_once() -> None:
    """I = U / |source + line run + contact + neutral run|; then everything is dead."""
    circuit = wired(
        [FEED, SWITCH, lamp("lamp")],
        "feed.line switch.s1 lamp.contact | switch.s2 feed.neutral lamp.shell",
    )
    found = circuit_outcomes(circuit)
    amps = 120 / abs(US.source + 2 * RUN + 1 / (1 / US.contact + 1 / 240))
    assert found.inrush[0, ON, 0] == pytest.approx(amps, rel=1e-9)
    assert found.level[0, :, 0].tolist() == [TRIPS_AT_ONCE, HOLDS]
    assert found.lamps[0, :, 0].tolist() == [DARK, LIT]
    assert found.lamp_volts[0, ON, 0] == 0
    pair = End("loft", "lamp.contact"), End("loft", "feed.neutral")
    assert reading(readings(circuit, [pair])).high == 0


def test_each_feed_has_its_own_protection() -> None:
    """A short on one feed leaves the lamp of the other lit."""
    circuit = wired(
        TWO_LEGS,
        "feed-a.line switch.s1 small.contact | switch.s2 feed-a.neutral small.shell"
        "| feed-b.line large.contact | feed-b.neutral large.shell",
    )
    found = circuit_outcomes(circuit)
    assert found.level[0, ON].tolist() == [TRIPS_AT_ONCE, HOLDS]
    assert found.lamps[0].tolist() == [[DARK, LIT], [LIT, LIT]]


def test_two_legs_connected_trip_both() -> None:
    """Between opposite legs lie 240 V and two breakers."""
    circuit = wired(
        TWO_LEGS,
        "feed-a.line switch.s1 small.contact | switch.s2 feed-b.line large.contact"
        "| feed-a.neutral feed-b.neutral small.shell large.shell",
    )
    found = circuit_outcomes(circuit)
    assert found.level[0, ON].tolist() == [TRIPS_AT_ONCE, TRIPS_AT_ONCE]
    amps = 240 / abs(2 * US.source + 2 * RUN + US.contact)
    assert found.inrush[0, ON].tolist() == pytest.approx([amps, amps], rel=1e-2)


def test_a_loose_join_heats() -> None:
    """P = I²·5 Ω with I = U / (240 + 5 + the rest); as a way to ground it only trips in time."""
    circuit = wired(
        [FEED, SWITCH, lamp("lamp")],
        "feed.line switch.s1 | switch.s2 lamp.contact | lamp.shell feed.neutral",
    )
    grid = Grid(circuit)
    loose = Failure("loose-join", ("feed.line",), box="loft")
    found = Outcomes.of(energise(grid, grid.network([Change(), Change(failure=loose)])))
    amps = 120 / abs(245 + US.source + 2 * RUN + US.contact)
    assert found.loose_watts[:, ON] == pytest.approx([0, 5 * amps**2], rel=1e-9)
    assert found.loose_watts[1, OFF] == pytest.approx(0, abs=1e-20)
    shorted = wired(
        [FEED, SWITCH, lamp("lamp")], "feed.line switch.s1 lamp.contact | switch.s2 feed.neutral"
    )
    found = circuit_outcomes(replace(shorted, failures=(loose,)))
    assert found.inrush[0, ON, 0] == pytest.approx(120 / 5.2, rel=0.01)
    assert found.level[0, ON, 0] == TRIPS_IN_TIME


def test_several_loose_joins_add_their_ohms() -> None:
    """One loose already and one more, and both ends of one join: 5 Ω for each, in series.

    The heat is that of the hottest, all being equally loose and carrying one current.
    """
    circuit = wired(
        [FEED, SWITCH, lamp("lamp")],
        "feed.line switch.s1 | switch.s2 lamp.contact | lamp.shell feed.neutral",
        Failure("loose-join", ("feed.line",), box="loft"),
    )
    for further in ("switch.s1", "lamp.shell"):
        failure = Failure("loose-join", (further,), box="loft")
        grid = Grid(circuit)
        as_change = Outcomes.of(energise(grid, grid.network([Change(), Change(failure=failure)])))
        as_circuit = circuit_outcomes(replace(circuit, failures=(*circuit.failures, failure)))
        amps = [120 / abs(240 + ohms + US.source + 2 * RUN + US.contact) for ohms in (5, 10)]
        assert as_change.lamp_amps[:, ON, 0] == pytest.approx(amps, rel=1e-9)
        assert as_change.loose_watts[:, ON] == pytest.approx([5 * a**2 for a in amps], rel=1e-9)
        assert as_circuit.lamp_amps[0, ON, 0] == pytest.approx(amps[1], rel=1e-9)
        assert as_circuit.loose_watts[0, ON] == pytest.approx(5 * amps[1] ** 2, rel=1e-9)


def test_a_loose_end_in_a_splice_parts_only_what_is_behind_it() -> None:
    """Of two lamps at one splice the one whose end is loose gets 240 of 245 parts of the volts."""
    circuit = wired(
        [FEED, SWITCH, lamp("near"), lamp("far")],
        "feed.line switch.s1 | switch.s2 near.contact far.contact"
        "| near.shell far.shell feed.neutral",
        Failure("loose-join", ("far.contact",), box="loft"),
    )
    near, far = circuit_outcomes(circuit).lamp_volts[0, ON]
    assert far / near == pytest.approx(240 / 245, rel=1e-9)


TRAVELERS: Final = [
    FEED,
    Device("loft-switch", "three-way", "loft"),
    Device("quay-switch", "three-way", "quay"),
    lamp("lamp", 60.0, "quay"),
]


def control(neutral: str) -> Circuit:
    """A light from two places over two cables side by side; `neutral` is the return's conductor."""
    return wired(
        TRAVELERS,
        "feed.line loft-switch.common | loft-switch.traveler-1 pair.black"
        f"| loft-switch.traveler-2 pair.red | feed.neutral {neutral}"
        "| feed.ground pair.bare spare.bare",
        cables=[
            Cable("pair", ("loft", "quay"), ("black", "red", "white", "bare")),
            Cable("spare", ("loft", "quay"), ("black", "white", "bare")),
        ],
        quay="pair.black quay-switch.traveler-1 | pair.red quay-switch.traveler-2"
        f"| quay-switch.common lamp.contact | lamp.shell {neutral} | box.quay pair.bare spare.bare",
    )


def test_currents_apart_from_their_return_are_unbalanced() -> None:
    """Out in one cable and back in the other: each is off by the current of the lamp."""
    apart, together = (
        circuit_outcomes(control("spare.white")),
        circuit_outcomes(control("pair.white")),
    )
    assert apart.lamps.tolist() == together.lamps.tolist()
    lit = apart.lamps[0, :, 0] == LIT
    assert apart.unbalanced_amps[0, lit] == pytest.approx(apart.lamp_amps[0, lit, 0], rel=1e-3)
    assert (apart.unbalanced_amps[0, lit] > US.unbalanced_amps).all()
    assert (apart.unbalanced_amps[0, ~lit] < US.unbalanced_amps).all()
    assert (together.unbalanced_amps < US.unbalanced_amps / 100).all()


def test_return_through_ground_is_residual_current() -> None:
    """What does not come back on the neutral is what a residual device sees."""
    circuit = wired(
        [FEED, SWITCH, lamp("lamp", 6.0)],
        "feed.line switch.s1 | switch.s2 lamp.contact | lamp.shell feed.ground",
    )
    found = circuit_outcomes(circuit)
    assert found.residual_amps[0, ON, 0] == pytest.approx(0.05, rel=1e-3)
    seconds = class_a_seconds(found.residual_amps[0])
    assert seconds[ON, 0] == pytest.approx((20 / 50) ** 1.43, rel=1e-2)
    assert np.isinf(seconds[OFF, 0])
    assert general_seconds(found.residual_amps[0])[ON, 0] == 0.3


def test_plugged_in_loads_draw_current() -> None:
    """1500 W and 300 W at a receptacle in series with a lamp of 100 W: nearly all volts on it."""
    receptacle = Device("receptacle", "receptacle", "loft", loads=(1500.0, 300.0))
    circuit = wired(
        [FEED, SWITCH, lamp("lamp", 100.0), receptacle],
        "feed.line switch.s1 | switch.s2 lamp.contact | lamp.shell receptacle.line"
        "| receptacle.neutral feed.neutral",
    )
    found = circuit_outcomes(circuit)
    amps = 120 / abs(144 + 120**2 / 1800 + US.source + 2 * RUN + US.contact)
    assert found.lamp_amps[0, ON, 0] == pytest.approx(amps, rel=1e-9)
    assert found.lamps[0, ON, 0] == LIT


def test_an_overload_trips_in_time() -> None:
    """Three kettles of 1000 W on 15 A: 25 A, more than 1.35 times the rating (from memory)."""
    receptacle = Device("receptacle", "receptacle", "loft", loads=(1000.0,) * 3)
    circuit = wired(
        [FEED, SWITCH, lamp("lamp"), receptacle],
        "feed.line switch.s1 | switch.s2 receptacle.line | receptacle.neutral feed.neutral",
    )
    found = circuit_outcomes(circuit)
    assert found.inrush[0, ON, 0] == pytest.approx(25, rel=0.05)
    assert found.level[0, :, 0].tolist() == [TRIPS_IN_TIME, HOLDS]


def test_longer_and_warmer_runs_have_more_ohms() -> None:
    """A feed's run counts with its length, and copper at 75 °C with 1.216 times its ohms."""
    circuit = wired(
        [replace(FEED, length_m=40.0, size="12 AWG"), SWITCH, lamp("lamp")],
        "feed.line switch.s1 | switch.s2 feed.neutral lamp.contact",
    )
    run = 40 * ohms_per_metre("12 AWG", 75.0) + US.terminal
    assert run - US.terminal == pytest.approx(40 * 1.93 / 304.8, rel=1e-4)
    found = circuit_outcomes(circuit, replace(US, celsius=75.0))
    amps = 120 / abs(US.source + 2 * run + US.contact)
    assert found.inrush[0, ON, 0] == pytest.approx(amps, rel=1e-6)


def test_sizes_that_say_nothing_are_all_named() -> None:
    """A size of no known form is refused with its place, and so is every further one."""
    circuit = wired(
        [replace(FEED, size="fat"), SWITCH, lamp("lamp")],
        "feed.line switch.s1",
        cables=[Cable("run", ("loft", "quay"), ("black",), "thin")],
    )
    with pytest.raises(CircuitError) as caught:
        Grid(circuit)
    assert [problem.place for problem in caught.value.problems] == ["cable 'run'", "device 'feed'"]
    assert "14 AWG" in str(caught.value)
