"""Box fill and breaker sizes: the numbers of the documents, and sums worked by hand."""

from dataclasses import replace

import pytest
from boathouse import stair
from ruling import findings, wired

from verify.circuit.model import Circuit
from verify.circuit.parts import Cable, Device
from verify.rules.boxes import CUBIC_CM, CUBIC_INCHES, MOST_AMPS, gauge


def test_volumes_of_the_table() -> None:
    """NEC Table 314.16(B), read: in³ for each conductor of 14, 12 and 10 AWG."""
    assert CUBIC_INCHES == {14: 2.00, 12: 2.25, 10: 2.50}
    assert pytest.approx(16.387, abs=0.001) == CUBIC_CM


def test_amperes_of_small_conductors() -> None:
    """NEC 240.4(D), from memory, not checked against the document: copper of 14, 12, 10 AWG."""
    assert MOST_AMPS == {14: 15, 12: 20, 10: 30}


@pytest.mark.parametrize(
    ("size", "awg"),
    [
        ("14 AWG", 14),
        (" 12awg ", 12),
        ("8 AWG", 8),
        ("1.5 mm²", None),
        ("14", None),
        ("114 AWG", None),
        ("1/0 AWG", None),
        (None, None),
    ],
)
def test_gauges(size: str | None, awg: int | None) -> None:
    """A size is a gauge if it says so; any other writing is not guessed at."""
    assert gauge(size) == awg


def junction(
    cables: int, sizes: list[str | None], amps: float = 15, switch: bool = False
) -> Circuit:
    """A box on the slipway with so many two-conductor cables to others, of sizes in turn."""
    runs = [
        Cable(
            f"run-{n}", ("slipway", f"loft-{n}"), ("black", "white", "bare"), sizes[n % len(sizes)]
        )
        for n in range(cables)
    ]
    switch_joins = (
        "slipway: run-0.black switch.s1\nslipway: run-1.black switch.s2" if switch else ""
    )
    return wired(
        ("slipway", "landing", *(f"loft-{n}" for n in range(cables))),
        (
            Device("feed", "feed", "landing", breaker_amps=amps),
            Device("lamp", "lamp", "landing"),
            Device("switch", "single-pole", "slipway" if switch else "landing"),
        ),
        runs,
        switch_joins or "slipway: run-0.white run-1.white",
    )


# Each sum is worked by hand from 314.16(B): conductors, yoke, grounds, clamps.
WORKED = {
    # 3 cables of 14 AWG: 6 × 2.00 + grounds 2.00 + clamps 2.00.
    "three cables": (junction(3, ["14 AWG"]), 2017, 16.00),
    # 4 grounds are one in either edition: 8 × 2.00 + 2.00 + 2.00.
    "four grounds before": (junction(4, ["14 AWG"]), 2017, 20.00),
    "four grounds since": (junction(4, ["14 AWG"]), 2020, 20.00),
    # 5 grounds: 10 × 2.00 + 2.00 + 2.00 before 2020; since then 1.25 × 2.00 for the grounds.
    "five grounds before": (junction(5, ["14 AWG"]), 2017, 24.00),
    "five grounds since": (junction(5, ["14 AWG"]), 2020, 24.50),
    # 10 grounds of which the largest is 12 AWG, half of the cables each: 10 × 2.00 + 10 × 2.25
    # for conductors, 2.5 × 2.25 = 5.625 for grounds, 2.25 for clamps.
    "ten grounds of two sizes": (junction(10, ["14 AWG", "12 AWG"]), 2023, 50.375),
    # A yoke counts two of the largest conductor on it: 2 × 2.50 beside 4 × 2.50 and 2 × 2.00,
    # 2.50 for the grounds and 2.50 for clamps.
    "yoke on the larger": (junction(3, ["10 AWG", "10 AWG", "14 AWG"], switch=True), 2023, 24.00),
    # … and not of the largest in the box: 2 × 2.00 beside 4 × 2.00, 2 × 2.50, 2.50 and 2.50.
    "yoke on the smaller": (junction(3, ["14 AWG", "14 AWG", "10 AWG"], switch=True), 2023, 22.00),
}


@pytest.mark.parametrize("name", WORKED)
def test_worked_by_hand(name: str) -> None:
    """The volume that a box needs is the sum worked by hand, in in³ and in cm³."""
    circuit, edition, cubic_inches = WORKED[name]
    (slipway,) = (
        finding
        for finding in findings(circuit, "box-fill", edition=edition)
        if finding.raised_by == ("slipway",)
    )
    assert slipway.because.startswith(
        f"slipway needs {cubic_inches:.2f} in³ ({cubic_inches * 16.387:.0f} cm³): "
    )


def test_the_count_is_shown_term_by_term() -> None:
    """The stair's lamp box by hand: feed 2, two cables of 3, 3 grounds as one, clamps: 20 in³.

    No size is in the file; 14 AWG is assumed on a breaker of 15 A, and said to be.
    """
    landing, slipway, workshop = findings(stair(), "box-fill")
    assert landing.because == (
        "landing needs 20.00 in³ (328 cm³): 8 conductors of 14 AWG, 8 × 2.00; 3 grounds, 1 × 2.00; "
        "clamps inside the box, 1 × 2.00. The size of feed, slipway-run and workshop-run is not in "
        "the file and taken as 14 AWG."
    )
    assert slipway.because == (
        "slipway needs 14.00 in³ (229 cm³): 3 conductors of 14 AWG, 3 × 2.00; yoke of "
        "slipway-switch, 2 × 2.00; 1 ground, 1 × 2.00; clamps inside the box, 1 × 2.00. The size "
        "of slipway-run is not in the file and taken as 14 AWG."
    )
    assert workshop.because.startswith("workshop needs 14.00 in³")


@pytest.mark.parametrize(("amps", "awg"), [(10, 14), (15, 14), (20, 12), (30, 10), (40, 10)])
def test_an_unknown_size_is_the_thinnest_that_the_breaker_allows(amps: float, awg: int) -> None:
    """14 AWG unless the breaker asks for more."""
    (finding, *_) = findings(junction(2, [None], amps), "box-fill")
    assert f"taken as {awg} AWG" in finding.because


def test_sizes_that_the_table_does_not_have_are_not_guessed() -> None:
    """A box with a conductor of another size is left open, and the size is named."""
    (finding, *_) = findings(junction(2, ["14 AWG", "8 AWG"]), "box-fill")
    assert finding.standing == "open"
    assert "'8 AWG' of run-1 is not among the sizes 14, 12 and 10 AWG" in finding.because


def test_a_box_that_nothing_enters_needs_no_room() -> None:
    """There is nothing to count where no conductor comes in."""
    named = [finding.raised_by for finding in findings(junction(2, ["14 AWG"]), "box-fill")]
    assert ("landing",) in named
    circuit = wired(
        ("landing", "slipway"),
        (
            Device("feed", "feed", "landing"),
            Device("lamp", "lamp", "landing"),
            Device("switch", "single-pole", "slipway"),
        ),
        (),
        "landing: feed.neutral lamp.shell",
    )
    assert [finding.raised_by for finding in findings(circuit, "box-fill")] == [("landing",)]


def test_a_cable_is_held_against_the_breaker_on_it() -> None:
    """With two feeds a cable answers to the one whose line comes to it, by whatever switch."""
    circuit = wired(
        ("landing", "slipway"),
        (
            Device("feed-1", "feed", "landing", breaker_amps=15, size="14 AWG"),
            Device("feed-2", "feed", "landing", breaker_amps=30, size="12 AWG"),
            Device("lamp", "lamp", "slipway"),
            Device("switch", "single-pole", "landing"),
        ),
        (Cable("run", ("landing", "slipway"), ("black", "white", "bare"), "14 AWG"),),
        """
        landing: feed-1.line switch.s1
        landing: switch.s2 run.black
        landing: feed-1.neutral run.white
        slipway: run.black lamp.contact
        slipway: run.white lamp.shell""",
    )
    assert [finding.raised_by for finding in findings(circuit, "size-against-breaker")] == [
        ("feed-2", "feed-2")
    ]
    on_both = replace(circuit, cables=(replace(circuit.cables[0], size="10 AWG"),))
    assert [finding.raised_by for finding in findings(on_both, "size-against-breaker")] == [
        ("feed-2", "feed-2")
    ]
