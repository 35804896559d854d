"""What flows, state by state, as `check --json` and the pages of circuits and faults tell it."""

import json

import pytest
from boathouse import stair
from browser import Browser
from click.testing import CliRunner

from catalogue.cli import main
from catalogue.report.flows import flow_forms
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.parts import Failure

pytest_plugins = ["small_catalogue"]


def test_the_lamp_s_current_flows_where_it_must() -> None:
    """Out on the black wires and on one traveler, back by the neutral; nothing in the grounds.

    60 W at 120 V are 0.5 A; in a cable whose currents cancel nothing is left.
    """
    for form in flow_forms(stair()):
        carried = {item["name"]: item["amperes"] for item in form["conductors"]}
        lit = form["lamps"][0]["amperes"] > 0.1
        amps = pytest.approx(0.5, rel=0.01) if lit else pytest.approx(0, abs=1e-3)
        assert form["lamps"][0]["amperes"] == amps
        assert carried["workshop-run.black"] == amps
        assert carried["slipway-run.red"] + carried["slipway-run.white"] == amps
        assert carried["slipway-run.bare"] == pytest.approx(0, abs=1e-3)
        assert all(item["amperes"] < 0.001 for item in form["cables"])
        (feed,) = form["feeds"]
        assert (feed["breaker"], feed["residual_seconds"]) == ("holds", None)


def test_a_short_trips_and_then_nothing_flows() -> None:
    """The line's current before the breaker acted, and the zeros after."""
    short = Failure("conductors-shorted", ("slipway-run.black", "slipway-run.bare"))
    for form in flow_forms(stair({}, short)):
        (feed,) = form["feeds"]
        assert feed["amperes"] > 150
        assert feed["breaker"] == "trips-at-once"
        assert {item["amperes"] for item in form["conductors"]} == {0.0}


def test_a_current_by_ground_says_how_soon_a_device_for_people_trips() -> None:
    """Half an ampere is a hundred times what class A must trip at: the fastest time asked for.

    UL 943 (read): at most (20/I)^1.43 seconds; that the curve ends at 0.025 s is from memory.
    """
    circuit = load(data_path("circuits/faulty-ground-used-as-neutral.toml"))
    lit = [form for form in flow_forms(circuit) if form["lamps"][0]["amperes"] > 0.1]
    assert lit
    for form in lit:
        (feed,) = form["feeds"]
        assert feed["residual_amperes"] == pytest.approx(form["lamps"][0]["amperes"], rel=0.01)
        assert feed["residual_seconds"] == pytest.approx(0.025)


def test_check_says_what_flows() -> None:
    """The key `flows` has an entry for each state."""
    path = data_path("circuits/faulty-return-in-another-cable.toml")
    result = CliRunner().invoke(main, ["check", str(path), "--json"])
    assert result.exit_code == 1
    form = json.loads(result.output)
    assert [item["state"] for item in form["flows"]] == [0, 1, 2, 3]
    amounts = form["evidence"]["cable-unbalanced"]["amounts"]
    assert [amount["amperes"] for amount in amounts] == [pytest.approx(0.83, abs=0.005)]


def test_pages_show_what_flows(browser: Browser) -> None:
    """A row for each conductor, with a cell for each state."""
    facts = browser.facts("/-/miswire/circuit/chain-1.f.1")
    rows = {row["what"]: row["words"] for row in facts["readings"]["flows"]}
    assert sorted(float(word.removesuffix(" V")) for word in rows["lamp"]) == pytest.approx(
        [0, 0, 120, 120], abs=1
    )
    assert {"breaker of feed", "line of feed", "not returned to feed"} <= rows.keys()
    assert rows["breaker of feed"] == ["holds"] * 4
