"""`miswire spice`: netlists that simulators read, and the command that writes them."""

import itertools
import re
from dataclasses import replace
from pathlib import Path

import pytest
from boathouse import SWITCH_NOT_GROUNDED, TRAVELER_LEFT_OFF, failed, stair
from commandline import run, words, write
from hypothesis import given, settings

from simulators import by_ngspice
from verify.circuit.model import Circuit
from verify.circuit.parts import Device
from verify.electric.numbers import parameters
from verify.electric.outcomes import circuit_outcomes
from verify.engine.netlist import BEGINNING, LEAK_OHMS, Netlist, netlist
from verify.strategies import circuits, miswired_circuits

STATE = "slipway-switch=up,workshop-switch=down"


@pytest.fixture
def file(tmp_path: Path) -> str:
    """The sound stair as a file."""
    return write(tmp_path / "stair.toml", stair())


@settings(max_examples=30)
@given(miswired_circuits(circuits(most_locations=3)))
def test_netlists_are_well_formed(circuit: Circuit) -> None:
    """Names are used once, every node has an element, and every node is explained."""
    made = Netlist(circuit, 0)
    names = [element.name for element in (*made.elements, *made.leaks)]
    assert len({name.lower() for name in names}) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9]+", name) for name in names)
    used = {node for element in made.elements for node in (element.a, element.b)}
    assert set(made.nodes) - set(made.floating) <= used
    assert not used & set(made.floating)
    text = str(made)
    assert text.startswith(f"{BEGINNING} {circuit.name}: ")
    assert text.endswith("\n.end\n")
    for name, ends in made.nodes.items():
        assert f"* {name} in {ends[0].box}: {', '.join(e.name for e in ends)}" in text
    # Whatever is no comment and no command is an element with a comment above it.
    lines = text.splitlines()
    for above, line in itertools.pairwise(lines):
        assert line[0] in "*." or above.startswith("* ")


def test_a_netlist_is_the_same_every_time() -> None:
    """Deterministic to the byte, and independent of the order in which joins are listed."""
    circuit = stair()
    turned = stair()
    assert netlist(circuit, 1) == netlist(turned, 1)
    assert netlist(circuit, 1) != netlist(circuit, 2)


def test_a_contact_has_one_name_in_all_states() -> None:
    """Netlists of two states can be compared line by line."""
    contacts = {
        state: {e.name: e.words for e in Netlist(stair(), state).elements if "contact" in e.words}
        for state in range(4)
    }
    names = [contacts[state].keys() & contacts[3 - state].keys() for state in range(4)]
    assert names == [set()] * 4
    assert contacts[0].keys() | contacts[3].keys() == {f"Rcontact{n}" for n in range(1, 5)}
    assert contacts[0]["Rcontact1"] == "slipway-switch: contact common to traveler-1"


def test_what_each_part_becomes() -> None:
    """Lamps by their watts, failed ones and touching conductors as shorts, feeds by their leg."""
    circuit = stair(
        None,
        failed("lamp-shorted", "second"),
        failed("conductors-shorted", "slipway-run.red", "slipway-run.white"),
        failed("conductor-open", "workshop-run.bare"),
        devices=[
            Device("second", "lamp", "landing", 25.0),
            Device("third", "lamp", "landing", 100.0),
            Device("outlet", "receptacle", "landing", loads=(100.0, 20.0)),
            Device("leg-b", "feed", "landing", leg="B"),
        ],
    )
    text = netlist(circuit, 0)
    assert re.search(r"\* lamp, 60 W\nRlamp1 \S+ \S+ 240\n", text)
    assert re.search(r"\* leg-b: 120 V, leg B\nVsource2 s2 0 DC 0 AC 120 180\n", text)
    assert re.search(r"slipway-run.red and slipway-run.white touch\nRshort1 \S+ \S+ 0.01\n", text)
    assert "workshop-run bare, " not in text
    # Nothing leads from these to the service, so they have no potential and no line.
    assert "Rlamp2" not in text
    assert "Rload" not in text
    assert "third.contact; nothing connects it, left out" in text


def test_what_hangs_on_capacitance_gets_one_leak() -> None:
    """Two open ends of one traveler are one piece of metal, and one path for direct current."""
    made = Netlist(stair(TRAVELER_LEFT_OFF), 0)
    held = {element.name: element for element in made.leaks}
    assert held
    assert all(element.value == f"{LEAK_OHMS:.10g}" for element in made.leaks)
    assert "Capacitance alone holds these" in str(made)
    # The idle traveler of a lit lamp hangs so, that of a dark one is connected to the lamp.
    assert [len(Netlist(stair(), state).leaks) for state in range(4)] == [1, 0, 0, 1]


def test_nothing_floats_where_a_cable_passes() -> None:
    """A switch's ground left off floats; its cable's conductors do not."""
    made = Netlist(stair(SWITCH_NOT_GROUNDED), 0)
    assert [made.nodes[name][0].name for name in made.floating] == ["slipway-switch.ground"]


def test_the_command_prints_what_ngspice_reads(file: str) -> None:
    """The lamp of the printed state is lit in ngspice as it is here."""
    result = run("spice", file, "--state", STATE)
    assert result.exit_code == 0
    assert result.stdout == netlist(stair(), 2)
    found = by_ngspice(result.stdout)
    made = Netlist(stair(), 2)
    lamp = next(element for element in made.elements if element.name == "Rlamp1")
    volts = abs(found[lamp.a] - found[lamp.b])
    assert volts == pytest.approx(circuit_outcomes(stair()).lamp_volts[0, 2, 0], rel=1e-6)


def test_the_command_shows_the_cautions(file: str) -> None:
    """A netlist that goes from hand to hand carries them as comments."""
    assert "prove it dead" in words(run("spice", file, "--state", STATE).stdout.replace("* ", ""))


def test_the_command_writes_and_replaces_netlists_only(file: str, tmp_path: Path) -> None:
    """A file that is not a netlist of ours is left alone."""
    out = tmp_path / "stair.cir"
    for _ in range(2):
        result = run("spice", file, "--state", STATE, str(out))
        assert (result.exit_code, out.read_text("utf-8")) == (0, netlist(stair(), 2))
        assert words(result.stdout).startswith("Written: ")
    out.write_text("* Somebody's amplifier\n", "utf-8")
    refused = run("spice", file, "--state", STATE, str(out))
    assert refused.exit_code == 2
    assert "is not a netlist of Miswire; it is left alone" in words(refused.stderr)
    assert out.read_text("utf-8") == "* Somebody's amplifier\n"


def test_all_mistakes_are_named_at_once(file: str, tmp_path: Path) -> None:
    """Positions and place are wrong: both are said, with what to do."""
    nowhere = str(tmp_path / "no-folder" / "out.cir")
    result = run("spice", file, "--state", "slipway-switch=left,pier=up", nowhere)
    assert (result.exit_code, result.stdout) == (2, "")
    complaint = words(result.stderr)
    for part in ("up or down", "no such switch", "its folder does not exist"):
        assert part in complaint


def test_a_folder_is_no_netlist(file: str, tmp_path: Path) -> None:
    """A folder in place of OUT is refused."""
    result = run("spice", file, "--state", STATE, str(tmp_path))
    assert result.exit_code == 2
    assert "is a folder" in result.stderr


def test_a_size_without_resistance_is_bad_input(tmp_path: Path) -> None:
    """What cannot be computed is said in a sentence, with its place."""
    thick = tuple(replace(cable, size="rather thick") for cable in stair().cables)
    file = write(tmp_path / "stair.toml", replace(stair(), cables=thick))
    result = run("spice", file, "--state", STATE)
    assert result.exit_code == 2
    assert "cable 'slipway-run'" in result.stderr
    assert "cable 'workshop-run'" in result.stderr
    assert "14 AWG" in result.stderr


def test_a_palette_brings_its_supply() -> None:
    """50 Hz where the palette is that of IEC."""
    assert parameters("iec").hertz == 50
    assert ".ac lin 1 60 60\n" in netlist(stair(), 0)
