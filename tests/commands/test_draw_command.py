"""`miswire draw`: what it writes, what it refuses, and what it leaves alone."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from boathouse import stair
from commandline import run, words, write
from picturereader import SVG, panels

from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.typeface import standalone
from verify.base.cautions import summary
from verify.base.resources import data_path
from verify.circuit.file import load
from verify.fault.registry import find_fault
from verify.verdict.evidence import find_evidence

FAULT = "left-off/landing,lamp.contact"
UP = "slipway-switch=up,workshop-switch=up"


@pytest.fixture
def file(tmp_path: Path) -> str:
    """The stair as a file."""
    return write(tmp_path / "stair.toml", stair())


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """Where the picture goes."""
    return tmp_path / "stair.svg"


def test_draws_what_the_library_draws(file: str, out: Path) -> None:
    """The file holds the picture with its letters, and the command says the cautions."""
    result = run("draw", file, str(out))
    assert result.exit_code == 0
    assert out.read_text("utf-8") == standalone(wiring_picture(stair()))
    assert "Cautions:" in result.output


def test_options_choose_the_picture(file: str, out: Path) -> None:
    """State, fault, unmarked and schematic each give their own picture."""
    found = find_fault(stair(), FAULT).apply(stair())
    pictures = {
        ("--state", UP): wiring_picture(stair(), state=0),
        ("--schematic",): schematic_picture(stair()),
        ("--schematic", "--state", UP): schematic_picture(stair(), state=0),
        ("--fault", FAULT): wiring_picture(found, intended=stair()),
        ("--fault", FAULT, "--unmarked"): wiring_picture(found, intended=stair(), marked=False),
        ("--fault", FAULT, "--schematic"): schematic_picture(found),
    }
    assert len(set(pictures.values())) == len(pictures)
    for options, picture in pictures.items():
        assert run("draw", file, str(out), *options).exit_code == 0
        assert out.read_text("utf-8") == standalone(picture), options


def test_says_what_the_fault_is_unless_it_is_to_be_found(file: str, out: Path) -> None:
    """The sentence about the fault would give away what --unmarked hides."""
    said = "lamp contact is left off"
    assert said in words(run("draw", file, str(out), "--fault", FAULT).output)
    assert said not in words(run("draw", file, str(out), "--fault", FAULT, "--unmarked").output)


def test_shows_the_path_on_which_the_breaker_trips(out: Path) -> None:
    """In a state that trips the path is drawn, without being asked for."""
    path = data_path("circuits") / "faulty-traveler-shorted-to-neutral.toml"
    state = "slipway-switch=down,workshop-switch=up"
    assert run("draw", str(path), str(out), "--state", state).exit_code == 0
    circuit = load(path)
    evidence = find_evidence(circuit, "trips", 1)
    assert out.read_text("utf-8") == standalone(wiring_picture(circuit, state=1, evidence=evidence))


def test_replaces_an_svg_and_nothing_else(file: str, out: Path) -> None:
    """A second run replaces the picture; a file of another kind is left as it is."""
    run("draw", file, str(out), "--schematic")
    assert run("draw", file, str(out)).exit_code == 0
    assert out.read_text("utf-8") == standalone(wiring_picture(stair()))
    before = Path(file).read_text("utf-8")
    result = run("draw", file, file)
    assert result.exit_code == 2
    assert "not an SVG" in result.stderr
    assert Path(file).read_text("utf-8") == before


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--state", "slipway-switch=up"], "--state: says nothing of workshop-switch"),
        (["--state", "loft=up"], "there is no such switch; switches are slipway-switch"),
        (["--fault", "crossed"], "--fault=crossed: write a fault as KIND/SITE"),
        (["--fault", "left-off/nowhere"], "no such fault; the sites of left-off are"),
        (["--unmarked"], "--unmarked: hides the marks of a fault; add --fault"),
        (["--fault", FAULT, "--unmarked", "--schematic"], "leave one of the two out"),
    ],
)
def test_wrong_options_are_refused_with_the_remedy(
    file: str, out: Path, options: list[str], said: str
) -> None:
    """Status 2, a sentence with place and remedy, and no file."""
    result = run("draw", file, str(out), *options)
    assert result.exit_code == 2
    assert said in words(result.stderr)
    assert not out.exists()


def test_all_mistakes_are_told_together(file: str, tmp_path: Path) -> None:
    """Who makes three mistakes reads of three."""
    out = tmp_path / "nowhere" / "stair.svg"
    result = run("draw", file, str(out), "--state", "loft=up", "--fault", "crossed")
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 3
    assert "its folder does not exist" in result.stderr


def test_a_picture_is_written_as_svg_only(file: str, tmp_path: Path) -> None:
    """No file is called something that it is not."""
    result = run("draw", file, str(tmp_path / "stair.png"))
    assert result.exit_code == 2
    assert "write stair.svg" in words(result.stderr)
    assert not (tmp_path / "stair.png").exists()


def test_wrong_circuit_files_are_refused(tmp_path: Path, out: Path) -> None:
    """A file that is no circuit draws nothing."""
    broken = tmp_path / "broken.toml"
    broken.write_text("format = 1\n", "utf-8")
    result = run("draw", str(broken), str(out))
    assert result.exit_code == 2
    assert "there is no feed" in result.stderr
    assert not out.exists()


def test_a_fault_has_two_panels_and_one_when_unmarked(file: str, out: Path) -> None:
    """Intended and found beside each other; unmarked only what was found."""
    run("draw", file, str(out), "--fault", FAULT)
    assert len(panels(out.read_text("utf-8"))) == 2
    run("draw", file, str(out), "--fault", FAULT, "--unmarked")
    svg = out.read_text("utf-8")
    assert len(panels(svg)) == 1
    assert ET.fromstring(svg).tag == f"{SVG}svg"


@pytest.mark.parametrize("options", [[], ["--schematic"], ["--fault", FAULT], ["--state", UP]])
def test_every_picture_carries_the_cautions(file: str, out: Path, options: list[str]) -> None:
    """A picture leaves the screen, and somebody wires from it: the cautions go with it in full."""
    assert run("draw", file, str(out), *options).exit_code == 0
    written = [text.text or "" for text in ET.parse(out).iter(f"{SVG}text")]
    assert summary() in " ".join(written)
