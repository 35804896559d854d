"""Measurements that the desk proposes: what meters will read, and which of it is a phantom."""

import re
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from catalogue.desk.checks import Check, CheckBench, Hypothesis, check_kinds
from catalogue.desk.match import Match
from catalogue.desk.suspect_pool import SuspectPool, pool_of_circuit
from catalogue.desk.symptoms import Symptoms
from verify.base.resources import data_path
from verify.behaviour.signature import DARK, LIT
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.electric.readings import Reading, ground_readings, readings
from verify.engine.paths import StateGraph, WireGraph
from verify.engine.words import WordsEngine, terminals
from verify.fault.contract import Fault
from verify.fault.registry import all_faults, find_fault
from verify.strategies import circuits

NEVER_LIGHTS = dict.fromkeys(range(4), DARK)
FEED_AT_LAMP = load(data_path("circuits") / "stair-feed-at-lamp.toml")
FEED_AT_SWITCH = load(data_path("circuits") / "slipway-feed-at-first-switch.toml")


def read_at(circuit: Circuit, terminal: str, state: int) -> Reading:
    """What meters read at a terminal of a circuit as it stands, against the feed's neutral."""
    ends = {end.name: end for end in circuit.ends}
    pair = (ends[terminal], circuit.terminal(circuit.feed, "neutral"))
    (reading,) = readings(circuit, [pair], states=[state])
    return reading


def named_alike(fault: Fault) -> bool:
    """Whether terminals have the same names with a fault."""
    return fault.kind != "wrong-device"


def named_alike_in(pool: SuspectPool, hypothesis: Hypothesis) -> bool:
    """Whether terminals have the same names in the circuit of a hypothesis."""
    fault = pool.faults[hypothesis.suspect]
    return fault is not None and named_alike(fault)


def bench_of(pool: SuspectPool, faults: list[str]) -> tuple[CheckBench, list[Hypothesis]]:
    """Checks that tell some faults apart, given by label."""
    match = Match(pool, Symptoms(pool.switches, {}, as_found=False), {})
    numbers = [number for number, s in enumerate(pool.suspects) if s.label in faults]
    assert len(numbers) == len(faults)
    return CheckBench(match, check_kinds()), [Hypothesis(number, 0, 1.0) for number in numbers]


def measurements(
    bench: CheckBench, hypotheses: list[Hypothesis]
) -> Iterator[tuple[str, int, Check]]:
    """The measurements among the checks, each with its terminal and state."""
    for check in bench.checks(hypotheses):
        if check.kind.name == "voltage":
            terminal, _, state = check.key.partition(":")[2].partition("@")
            yield terminal, int(state), check


@settings(max_examples=10)
@given(circuits(most_locations=3), st.data())
def test_a_batch_reads_what_each_circuit_reads(circuit: Circuit, data: st.DataObject) -> None:
    """The readings of many faults at once are those of each faulted circuit by itself."""
    every = [fault for fault in all_faults(circuit) if named_alike(fault)]
    some = data.draw(st.lists(st.sampled_from(every), min_size=1, max_size=4, unique=True))
    names = terminals(circuit)
    found = ground_readings(circuit, some, names)
    for row, fault in enumerate(some):
        faulted = fault.apply(circuit)
        for place, terminal in enumerate(names):
            state = data.draw(st.integers(0, found.high.shape[1] - 1))
            alone = read_at(faulted, terminal, state)
            # The feed's neutral is a little away from the bond: by what the lamps' current drops.
            near = pytest.approx((alone.high, alone.low), rel=0.02, abs=1.0)
            assert (found.high[row, state, place], found.low[row, state, place]) == near
            assert found.phantom[row, state, place] == alone.phantom


def test_what_is_known_to_be_on_line_is_not_asked_again() -> None:
    """Leaving out the second meter where conductors lead to line changes a reading by 1 % at most.

    And line reads as line on both.
    """
    faults = all_faults(FEED_AT_LAMP)
    names = terminals(FEED_AT_LAMP)
    words = WordsEngine().live_terminals(FEED_AT_LAMP, faults)[:, :, 0]
    live = words[:, None, :] >> np.arange(4, dtype=np.uint64)[:, None] & np.uint64(1) == 1
    asked = ground_readings(FEED_AT_LAMP, faults, names)
    left_out = ground_readings(FEED_AT_LAMP, faults, names, live)
    assert left_out.low == pytest.approx(asked.low, rel=0.01, abs=1e-6)
    assert left_out.high == pytest.approx(asked.high, rel=0.01, abs=1e-6)
    assert not (left_out.phantom & live).any()


def test_measurements_predict_what_meters_read() -> None:
    """What is said to be found with a suspect is what both meters read in that circuit."""
    pool = pool_of_circuit(FEED_AT_LAMP)
    match = Match(pool, Symptoms(2, NEVER_LIGHTS, as_found=False), {})
    bench = CheckBench(match, check_kinds())
    hypotheses = [h for h in bench.hypotheses() if pool.faults[h.suspect]]
    checks = list(measurements(bench, hypotheses))
    assert len(checks) > 5
    for terminal, state, check in checks:
        phantoms = []
        for hypothesis, outcome in list(zip(hypotheses, check.outcomes, strict=True)):
            fault = pool.faults[hypothesis.suspect]
            assert fault is not None
            if not named_alike(fault):
                continue
            reading = read_at(fault.apply(FEED_AT_LAMP), terminal, state)
            word, told = check.results[outcome]
            if reading.phantom:
                phantoms.append(reading.high)
            if reading.phantom or reading.low < 12:
                assert word == "dead"
            else:
                assert word == ("live" if reading.high >= 108 else "part")
                for volts, (lowest, highest) in zip(
                    (reading.high, reading.low), told_ranges(told), strict=True
                ):
                    assert lowest - 1 <= volts <= highest + 1
        if phantoms:
            assert f"a phantom of up to {max(phantoms):.0f} V" in check.how
            assert "with a low-impedance meter" in check.title


def told_ranges(told: str) -> list[tuple[int, int]]:
    """The volts that a finding names, on an ordinary meter and on a low-impedance one."""
    ranges = [
        (int(low), int(high or low)) for low, high in re.findall(r"(\d+)(?: to (\d+))? V", told)
    ]
    assert len(ranges) == 1 + ("low-impedance" in told)
    return ranges if len(ranges) == 2 else ranges * 2


def test_what_line_reaches_through_a_lamp_counts_as_line() -> None:
    """An open neutral leaves the shell at line voltage on both meters, though nothing joins it."""
    pool = pool_of_circuit(FEED_AT_LAMP)
    no_neutral = "left-off/landing,feed.neutral"
    bench, hypotheses = bench_of(pool, [no_neutral, "lamp-open/lamp"])
    fault = find_fault(FEED_AT_LAMP, no_neutral)
    graphs = [StateGraph(WireGraph(fault.apply(FEED_AT_LAMP)), state) for state in range(4)]
    found = [
        (check.results[outcome], state)
        for terminal, state, check in measurements(bench, hypotheses)
        for hypothesis, outcome in zip(hypotheses, check.outcomes, strict=True)
        if terminal == "lamp.shell" and pool.faults[hypothesis.suspect] == fault
    ]
    assert found
    for (word, told), state in found:
        shell = next(end for end in fault.apply(FEED_AT_LAMP).ends if end.name == "lamp.shell")
        assert not graphs[state].is_live(shell)
        assert word == "live"
        assert re.search(r"line voltage: 1(19|20) V on an ordinary meter, 111 V on a low", told)


def test_a_phantom_is_not_counted_as_live() -> None:
    """On a conductor that hangs free an ordinary meter shows volts, and "dead" is predicted."""
    pool = pool_of_circuit(FEED_AT_SWITCH)
    # Lit with both switches up and never else, as with an open traveler.
    seen = Symptoms(2, {0: LIT, 1: DARK, 2: DARK, 3: DARK}, as_found=False)
    bench = CheckBench(Match(pool, seen, {}), check_kinds())
    hypotheses = [h for h in bench.hypotheses() if named_alike_in(pool, h)]
    phantoms = 0
    for terminal, state, check in measurements(bench, hypotheses):
        for hypothesis, outcome in zip(hypotheses, check.outcomes, strict=True):
            fault = pool.faults[hypothesis.suspect]
            assert fault is not None
            reading = read_at(fault.apply(FEED_AT_SWITCH), terminal, state)
            if reading.phantom:
                phantoms += 1
                assert check.results[outcome] == ("dead", "no voltage")
                assert reading.high > 5
                assert "with a low-impedance meter" in check.title
                assert "An ordinary meter (10 MΩ) may show a phantom of up to" in check.how
    assert phantoms


def test_of_measurements_that_tell_the_same_one_is_proposed() -> None:
    """No two measurements part the suspects alike."""
    pool = pool_of_circuit(FEED_AT_LAMP)
    match = Match(pool, Symptoms(2, NEVER_LIGHTS, as_found=False), {})
    bench = CheckBench(match, check_kinds())
    hypotheses = [h for h in bench.hypotheses() if pool.faults[h.suspect]]
    parted = [
        tuple(check.results[outcome][0] for outcome in check.outcomes)
        for _, _, check in measurements(bench, hypotheses)
    ]
    assert len(parted) > 1
    assert len(set(parted)) == len(parted)
