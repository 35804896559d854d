"""Numbers of copper, lamps and protection, against what is published."""

import math
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verify.base.resources import data_path
from verify.electric import physics
from verify.electric.numbers import parameters, section
from verify.electric.outcomes import DARK, DIM, LIT, OVER, lamp_outcomes
from verify.electric.physics import ohms_per_metre, temperature_factor
from verify.electric.protection import (
    HOLDS,
    MAY_TRIP_AT_ONCE,
    MAY_TRIP_IN_TIME,
    TRIPS_AT_ONCE,
    TRIPS_IN_TIME,
    class_a_seconds,
    curve,
    general_seconds,
)
from verify.engine import copper

METRES_IN_1000_FEET = 304.8


@pytest.mark.parametrize(("size", "ohms"), [("14 AWG", 3.07), ("12 AWG", 1.93), ("10 AWG", 1.21)])
def test_american_sizes_are_those_of_the_table(size: str, ohms: float) -> None:
    """NEC Chapter 9 Table 8, solid uncoated copper at 75 °C, Ω/1000 ft (read)."""
    assert ohms_per_metre(size, 75.0) * METRES_IN_1000_FEET == pytest.approx(ohms, rel=1e-4)


@pytest.mark.parametrize(("size", "ohms"), [("14 AWG", 3.07), ("12 AWG", 1.93), ("10 AWG", 1.21)])
def test_the_table_is_copper(size: str, ohms: float) -> None:
    """Its values follow from the area of the gauge, 0.017241 Ω·mm²/m at 20 °C and 0.00393/K."""
    by_hand = 0.017241 / physics.area_mm2(size) * (1 + 0.00393 * 55) * METRES_IN_1000_FEET
    assert by_hand == pytest.approx(ohms, rel=5e-3)


@pytest.mark.parametrize(
    ("size", "ohms"), [("1.0 mm²", 18.1), ("1 mm2", 18.1), ("1.5 mm²", 12.1), ("2.5mm²", 7.41)]
)
def test_metric_sizes_are_the_limits(size: str, ohms: float) -> None:
    """IEC 60228:2004 Table 1, class 1, at 20 °C, largest permitted Ω/km (read)."""
    assert ohms_per_metre(size, 20.0) * 1000 == pytest.approx(ohms, rel=1e-9)


@pytest.mark.parametrize(("size", "area"), [("14 AWG", 2.08), ("12 AWG", 3.31), ("8 awg", 8.37)])
def test_gauges_have_their_areas(size: str, area: float) -> None:
    """mm² of American gauges (ASTM B258, from memory)."""
    assert physics.area_mm2(size) == pytest.approx(area, rel=2e-3)


def test_sizes_beyond_the_tables_are_computed() -> None:
    """6 mm² is in no table here: it is copper of that area."""
    assert ohms_per_metre("6 mm²", 20.0) == pytest.approx(0.017241 / 6)


@given(
    st.integers(0, 40).map("{} AWG".format)
    | st.decimals("0.05", "400", places=2).map("{} mm²".format)
    | st.sampled_from(["1.0 mm²", "1.5 mm2", "2.5mm^2", "14 awg", "12 AWG", "10AWG"]),
    st.floats(-60, 200),
)
def test_those_that_check_have_copper_of_the_same_ohms(size: str, celsius: float) -> None:
    """Two formulae written apart, for judging and for checking, agree on any size, warm or cold."""
    assert copper.ohms_per_metre(size, celsius) == pytest.approx(
        ohms_per_metre(size, celsius), rel=1e-12
    )


@pytest.mark.parametrize("size", ["thick", "14", "0 mm²", "AWG 14", "-1.5 mm²"])
def test_a_size_that_says_nothing_is_refused(size: str) -> None:
    """No resistance is made up for a size that cannot be read."""
    with pytest.raises(ValueError, match="neither a gauge"):
        ohms_per_metre(size, 20.0)
    with pytest.raises(ValueError, match="neither a gauge"):
        copper.ohms_per_metre(size, 20.0)


def test_copper_cannot_be_colder_than_its_formula() -> None:
    """Resistance never comes out negative."""
    with pytest.raises(ValueError, match="not a temperature"):
        temperature_factor(-300.0, 20.0)
    with pytest.raises(ValueError, match="not a temperature"):
        copper.ohms_per_metre("14 AWG", -300.0)


@pytest.mark.parametrize(
    ("milliamperes", "seconds"), [(6, 5.594), (20, 1.0), (264, 0.025), (1000, 0.025)]
)
def test_class_a_times(milliamperes: float, seconds: float) -> None:
    """UL 943: slowest allowed is (20/I)^1.43 s with I in mA (read), never less than 0.025 s."""
    assert class_a_seconds(np.array([milliamperes / 1000]))[0] == pytest.approx(seconds, rel=2e-3)


def test_class_a_limits() -> None:
    """It must not trip below 4 mA and must at 6 mA; between, nobody is held to anything (read)."""
    amps = np.array([3.99, 4.0, 5.99, 6.0]) / 1000
    assert section("residual", "class-a")["never_below_milliamperes"] == 4
    assert np.isinf(class_a_seconds(amps)).tolist() == [True, True, True, False]


def test_general_residual_times() -> None:
    """IEC 61008-1: 300, 150, 40 ms at 1, 2, 5 times 30 mA, none at half (read)."""
    amps = np.array([15, 29.9, 30, 59, 60, 149, 150, 10_000]) / 1000
    expected = [math.inf, math.inf, 0.3, 0.3, 0.15, 0.15, 0.04, 0.04]
    assert general_seconds(amps).tolist() == expected
    assert section("residual", "general")["never_up_to"] * 30 == 15
    assert general_seconds(np.array([0.1]), 100.0)[0] == 0.3


@pytest.mark.parametrize(("name", "low", "high"), [("B", 3, 5), ("C", 5, 10), ("D", 10, 20)])
def test_bands_of_breakers(name: str, low: float, high: float) -> None:
    """IEC 60898-1: B trips at once between 3 and 5 times its rating, C 5–10, D 10–20 (read).

    Conventional currents of 1.13 and 1.45 times the rating from memory.
    """
    rating = 16.0
    multiples = np.array([1.13, 1.14, 1.45, 1.46, low, low * 1.01, high, high * 1.01])
    assert curve(name).level(multiples * rating, rating).tolist() == [
        HOLDS,
        MAY_TRIP_IN_TIME,
        MAY_TRIP_IN_TIME,
        TRIPS_IN_TIME,
        TRIPS_IN_TIME,
        MAY_TRIP_AT_ONCE,
        MAY_TRIP_AT_ONCE,
        TRIPS_AT_ONCE,
    ]


def test_lamp_outcomes_have_their_limits() -> None:
    """Dark up to 10 % of nominal volts, dim below 90 %, lit to 110 %, over above (definition)."""
    shares = np.array([0.0, 0.1, 0.101, 0.899, 0.9, 1.1, 1.101])
    assert lamp_outcomes(shares).tolist() == [DARK, DARK, DIM, DIM, LIT, LIT, OVER]


def test_lamps_below_their_volts() -> None:
    """At 88 % volts about −34 % light, −18 % watts, −7 % amperes (read in an encyclopedia)."""
    law = section("lamp")
    assert 0.88 ** law["light_exponent"] - 1 == pytest.approx(-0.34, abs=0.02)
    assert 0.88 ** law["watts_exponent"] - 1 == pytest.approx(-0.18, abs=0.02)
    assert 0.88 ** law["amperes_exponent"] - 1 == pytest.approx(-0.07, abs=0.02)


def test_watts_are_volts_times_amperes() -> None:
    """The exponents, from memory, agree with each other: 1.54 = 1 + 0.541 to a thousandth."""
    law = section("lamp")
    assert law["watts_exponent"] == pytest.approx(1 + law["amperes_exponent"], rel=1e-3)


def test_every_number_has_its_source() -> None:
    """Each section of the data says where its values come from and how they are known."""
    document = tomllib.loads(data_path("electrical.toml").read_text("utf-8"))

    def entries(part: object) -> list[dict[str, object]]:
        if isinstance(part, list):
            return part
        assert isinstance(part, dict)
        nested = [value for value in part.values() if isinstance(value, dict)]
        return nested or [part]

    found = [entry for part in document.values() for entry in entries(part)]
    assert len(found) > 15
    for entry in found:
        assert entry.get("source"), entry
        known = str(entry.get("how_known"))
        assert any(word in known for word in ("read", "memory", "computed", "declared")), entry


def test_parameters_differ_by_palette() -> None:
    """60 Hz and 14 AWG in North America, 50 Hz and 1.5 mm² elsewhere."""
    us, iec = parameters("us"), parameters("iec")
    assert (us.hertz, us.size, iec.hertz, iec.size) == (60.0, "14 AWG", 50.0, "1.5 mm²")
    assert us.capacitance == pytest.approx(21e-12 / 0.3048, rel=1e-3)
