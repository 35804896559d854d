"""`miswire flips`: which flips show a mistake, told and as JSON."""

import itertools
import json
from pathlib import Path

import pytest
from commandline import SHIPPED, run, words, write

from verify.base.resources import data_path
from verify.circuit.file import load
from verify.circuit.model import Circuit
from verify.engine.nodal import NodalEngine
from verify.fault.registry import all_faults
from verify.layout.enumeration import Layout
from verify.verdict.judging import judge

STAIR = str(data_path("circuits") / "stair-feed-at-lamp.toml")
LOFT = str(data_path("circuits") / "loft-stair-three-switches.toml")


def form(*arguments: str) -> dict[str, object]:
    """The JSON that the command prints."""
    result = run("flips", "--json", *arguments)
    assert result.exit_code == 0, result.output
    found: dict[str, object] = json.loads(result.stdout)
    return found


def test_what_is_not_seen_is_counted_by_another_engine() -> None:
    """What no flipping shows: the mimics and the harmless ones, by plain nodal analysis."""
    circuit = load(Path(STAIR))
    judged = [judge(fault.apply(circuit), NodalEngine()) for fault in all_faults(circuit)]
    unseen = [judgement for judgement in judged if judgement.any_location]
    said = form(STAIR)
    assert said["faults"] == len(judged)
    assert said["shown"] == len(judged) - len(unseen)
    by_hazard: dict[str, int] = {}
    for judgement in unseen:
        for hazard in judgement.hazards:
            by_hazard[hazard] = by_hazard.get(hazard, 0) + 1
    counted = said["unseen"]
    assert isinstance(counted, dict)
    assert counted["faults"] == len(unseen) == sum(counted["by_kind"].values())
    assert counted["by_hazard"] == by_hazard
    assert counted["by_verdict"]["mimic"] == sum(j.verdict == "mimic" for j in unseen)
    assert set(said) == {
        "format",
        "name",
        "engine",
        "faults",
        "shown",
        "positions_known",
        "positions_unknown",
        "unseen",
        "cautions",
    }


@pytest.mark.parametrize("start", ["", "up,up,up", "down,up,down"])
def test_the_walk_is_one_of_single_flips(start: str) -> None:
    """Each step of the walk moves the switch it names, and the lamp is as the circuit has it."""
    circuit = load(Path(LOFT))
    switches = [switch.name for switch in circuit.switches]
    positions = ",".join(f"{n}={p}" for n, p in zip(switches, start.split(","), strict=False))
    said = form(LOFT, *(["--start", positions] if start else []))
    known = said["positions_known"]
    assert isinstance(known, dict)
    walk = known["walk"]
    if start:
        assert list(walk[0]["positions"].values()) == start.split(",")
    assert known["flips"] == len(walk) - 1 == len(known["moves"])
    assert sum(step["counts"] for step in walk) == known["states"] == 7
    steps = zip(itertools.pairwise(walk), known["moves"], strict=True)
    for (here, there), moved in steps:
        differ = [n for n in switches if here["positions"][n] != there["positions"][n]]
        assert differ == [moved]
        assert here["lamps"] != there["lamps"]
    unknown = said["positions_unknown"]
    assert isinstance(unknown, dict)
    assert (unknown["states"], unknown["flips"], len(unknown["moves"])) == (8, 7, 7)


def test_what_a_person_reads() -> None:
    """The walk as a table, what every flip must do, what is not seen, and the cautions."""
    said = words(run("flips", STAIR).stdout)
    assert "4 of 4 combinations are enough and no fewer are; 3 flips lead through them" in said
    assert "Every flip must change every lamp, from dark to lit or from lit to dark." in said
    assert "What no flipping can show" in said
    assert "two mistakes at once may hide each other" in said
    assert "Metal not grounded" in said
    assert "a switch that is off proves nothing" in said


@pytest.mark.parametrize("file", SHIPPED)
def test_every_circuit_that_is_shipped(file: str) -> None:
    """Sound or not, each shipped circuit can be tested: what changes it is shown."""
    said = form(file)
    unseen = said["unseen"]
    assert isinstance(unseen, dict)
    assert isinstance(said["shown"], int)
    assert said["faults"] == said["shown"] + unseen["faults"]


def test_a_start_that_is_none_is_refused() -> None:
    """A position that is left out or unknown is told with its remedy."""
    result = run("flips", STAIR, "--start", "slipway-switch=ajar,hatch=up")
    assert result.exit_code == 2
    assert "--start slipway-switch=ajar: a switch is up or down" in result.stderr
    assert "--start hatch=up: there is no such switch" in result.stderr
    missing = run("flips", STAIR, "--start", "slipway-switch=up")
    assert (missing.exit_code, "--start: says nothing of workshop-switch" in missing.stderr) == (
        2,
        True,
    )


def test_too_many_switches_are_refused(tmp_path: Path) -> None:
    """Beyond what can be searched the command says so, and how much it can."""
    large: Circuit = Layout.parse("f.L.1.2.3.4.5.6").circuit("chain")
    result = run("flips", write(tmp_path / "large.toml", large))
    assert result.exit_code == 2
    assert "has 7 switches, and 1 to 6 can be tested by flipping" in result.stderr
    missing = run("flips", str(tmp_path / "none.toml"))
    assert missing.exit_code == 2
