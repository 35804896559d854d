"""`miswire readings`, and what `miswire check` says of meters."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from boathouse import stair
from commandline import run, words, write
from hypothesis import given, settings

from catalogue.report.metering import MOST_STATES, against_returns, all_points, pairs_to
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.circuit.parts import End, Failure
from verify.electric.readings import points, readings
from verify.layout.enumeration import layouts
from verify.layout.schemes import SOUND_SCHEMES
from verify.strategies import circuits, miswired_circuits

STAIR = str(data_path("circuits") / "stair-feed-at-lamp.toml")
OPEN_TRAVELER = str(data_path("circuits") / "faulty-open-traveler.toml")
UP_DOWN = "slipway-switch=up,workshop-switch=down"


def asked(*arguments: str) -> dict[str, Any]:
    """The JSON of a command."""
    result = run(*arguments, "--json")
    assert result.exit_code in (0, 1), result.stderr
    form: dict[str, Any] = json.loads(result.stdout)
    return form


@settings(max_examples=20)
@given(miswired_circuits(circuits(most_locations=3)))
def test_every_end_is_at_one_point(circuit: Circuit) -> None:
    """Points are listed once, with all their ends, lamps first, then switches, then the rest."""
    every = all_points(circuit)
    assert sorted(end for point in every for end in point.ends) == sorted(circuit.ends)
    assert {frozenset(point.ends) for point in every} == set(map(frozenset, points(circuit)))
    sides = {f"{lamp.name}.{side}" for lamp in circuit.lamps for side in ("contact", "shell")}
    contacts = {f"{s.name}.{t}" for s in circuit.switches for t in s.form.switched_terminals}
    names = [{end.name for end in point.ends} for point in every]
    ranks = [0 if at & sides else 1 if at & contacts else 2 for at in names]
    assert ranks == sorted(ranks)


def test_both_sides_of_a_loose_join_are_points() -> None:
    """What hangs on by five ohms is measured by itself; all else is a point for each join."""
    joins = set(map(frozenset, stair().grouped_ends))
    assert set(map(frozenset, points(stair()))) == joins
    loose = stair(None, Failure("loose-join", ("lamp.contact",), box="landing"))
    alone = End("landing", "lamp.contact")
    (join,) = [join for join in joins if alone in join]
    assert set(map(frozenset, points(loose))) == joins - {join} | {
        frozenset({alone}),
        join - {alone},
    }


def test_readings_are_those_of_the_library() -> None:
    """Every reading of the JSON is that of its two ends in its state, in order."""
    form = asked("readings", STAIR)
    circuit = load(Path(STAIR))
    assert [entry["state"] for entry in form["states"]] == [0, 1, 2, 3]
    assert form["states"][1]["positions"] == {"slipway-switch": "down", "workshop-switch": "up"}
    found = [
        (item["point"], item["against"], reading)
        for item in form["readings"]
        for reading in item["states"]
    ]
    every = all_points(circuit)
    pairs = [pair for name in ("neutral", "ground") for pair in pairs_to(circuit, every, name)]
    assert len(found) == 4 * len(pairs)
    assert len(pairs) == 2 * (len(every) - 1)
    for point, against, reading in found:
        one, other = (End(at["box"], at["ends"][-1]) for at in (point, against))
        (read,) = readings(circuit, [(one, other)], states=[reading["state"]])
        assert reading["high"] == pytest.approx(read.high, abs=1e-3)
        assert reading["low"] == pytest.approx(read.low, abs=1e-3)
        assert reading["phantom"] == read.phantom
    assert {against["ends"][0] for _, against, _ in found} == {"lamp.shell", "feed.ground"}


def test_points_are_named_as_a_person_says_them() -> None:
    """The name says every terminal and conductor, and the box is beside it."""
    (item,) = asked("readings", STAIR, "--between", "feed.neutral", "feed.line")["readings"]
    assert item["point"] == {
        "name": "lamp at shell, the feed at neutral",
        "box": "landing",
        "ends": ["lamp.shell", "feed.neutral"],
    }


def test_check_has_the_same_readings() -> None:
    """The key of `check` holds what the command says of all points, and what it rests on."""
    checked, form = asked("check", STAIR), asked("readings", STAIR)
    assert checked["readings_computed"] is True
    assert checked["readings"] == form["readings"]
    assert checked["readings_note"] == form["assumed"]
    assert "miswire readings FILE" in words(run("check", STAIR).stdout)


def test_too_many_states_are_said_to_be_too_many(tmp_path: Path) -> None:
    """Not computed is not the same as nothing to read, and one state can always be asked for."""
    locations = MOST_STATES.bit_length()
    large = write(tmp_path / "large.toml", next(layouts(locations)).circuit(SOUND_SCHEMES[0]))
    checked = asked("check", large)
    assert (checked["readings_computed"], checked["readings"]) == (False, [])
    assert checked["readings_note"].startswith(f"Not computed: {2 * MOST_STATES} states are more")
    result = run("readings", large)
    assert result.exit_code == 2
    assert (
        f"has {2 * MOST_STATES} combinations of positions; name one with --state" in result.stderr
    )
    state = ",".join(f"switch-{n}=up" for n in range(1, locations + 1))
    assert asked("readings", large, "--state", state)["readings"]


def test_the_table_shows_phantoms_and_the_cautions() -> None:
    """A row for each point, p beside a phantom, what is assumed in a sentence, and the cautions."""
    output = run("readings", OPEN_TRAVELER).stdout
    lines = output.splitlines()
    row = next(line for line in lines if line.startswith("quay-switch.traveler-2"))
    assert row.split()[1:5] == ["80p", "120", "0", "120"]
    assert max(map(len, lines)) <= 80
    told = words(output)
    assert "Against lamp.shell, feed.neutral" in told
    assert "The letter p marks a phantom" in told
    assert "Assumed: " in told
    assert "meters of 10 MΩ and 3 kΩ" in told
    assert "prove it dead" in told


def test_both_meters_are_shown_where_they_differ(tmp_path: Path) -> None:
    """Through a lamp the low-impedance meter reads less, and no phantom is claimed."""
    circuit = stair()
    joins = tuple(
        replace(join, ends=tuple(end for end in join.ends if end != "feed.neutral"))
        for join in circuit.joins
    )
    file = write(tmp_path / "open.toml", replace(circuit, joins=joins))
    output = run("readings", file, "--between", "lamp.shell", "feed.neutral").stdout
    row = next(line for line in output.splitlines() if line.startswith("lamp.shell"))
    assert row.split()[1:] == ["120/111", "68p", "68p", "120/111"]


@pytest.mark.parametrize(
    ("text", "box"),
    [
        ("lamp.shell", "landing"),
        ("landing:lamp.shell", "landing"),
        ("slipway:slipway-run.red", "slipway"),
        (" landing : slipway-run.red ", "landing"),
    ],
)
def test_an_end_is_written_as_in_a_file(text: str, box: str) -> None:
    """A terminal by itself, a conductor's end after its box."""
    (item,) = asked("readings", STAIR, "--between", text, "feed.ground")["readings"]
    assert item["point"]["box"] == box
    assert text.rpartition(":")[2].strip() in item["point"]["ends"]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (
            "slipway-run.red",
            "is in two boxes; write landing:slipway-run.red, slipway:slipway-run.red",
        ),
        (
            "workshop:slipway-run.red",
            "is not in that box; write landing:slipway-run.red, slipway:slipway-run.red",
        ),
        ("lamp.shel", "is no end of this circuit; lamp has lamp.contact, lamp.shell, lamp.ground"),
        ("slipway-run.pink", "is no end of this circuit; slipway-run has slipway-run.black, "),
        ("lantern.shell", "write device.terminal or box:cable.colour, of feed, lamp, "),
        ("", "write device.terminal or box:cable.colour"),
        (":", "write device.terminal or box:cable.colour"),
    ],
)
def test_a_wrong_end_is_named_with_its_remedy(text: str, complaint: str) -> None:
    """Whatever is no end is answered with what is one."""
    result = run("readings", STAIR, "--between", "feed.line", text)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert f"--between {text}: " in result.stderr
    assert complaint in result.stderr


def test_all_mistakes_are_told_at_once() -> None:
    """Both ends and the state are wrong, and each is said."""
    result = run("readings", STAIR, "--between", "one.a", "two.b", "--state", "slipway-switch=left")
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert [line.partition(":")[0] for line in lines] == [
        "--between one.a",
        "--between two.b",
        "--state slipway-switch=left",
    ]


def test_one_state_can_be_asked_for() -> None:
    """Only that state is computed and shown."""
    form = asked("readings", STAIR, "--state", UP_DOWN)
    assert [entry["state"] for entry in form["states"]] == [2]
    whole = asked("readings", STAIR)["readings"]
    for one, all_states in zip(form["readings"], whole, strict=True):
        assert one["states"] == [all_states["states"][2]]


def test_the_table_of_a_page_is_the_same() -> None:
    """What pages show is grouped by neutral and ground, each point but the one it is against."""
    circuit = load(Path(STAIR))
    found = against_returns(circuit, range(4))
    assert list(found) == ["neutral", "ground"]
    for part in found.values():
        assert len(part) == len(all_points(circuit)) - 1
        assert all(item.point != item.against for item in part)
