"""`miswire landings`: what it prints, for programs and for people, and what it refuses."""

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from boathouse import stair
from commandline import run, words, write
from jsonschema import validate
from landing import BELL, one_box, two_cables

from verify.base.cautions import summary
from verify.base.resources import data_path
from verify.circuit.parts import Device, Failure
from verify.hazard.definitions import HAZARD_NAMES

HOOKUPS = (
    "slipway-feed-at-first-switch",
    "stair-feed-at-lamp",
    "workshop-feed-and-lamp-at-ends",
)
WHOLE = {"type": "integer", "minimum": 0}
FIXED_PROPERTIES: dict[str, object] = {
    "name": {"type": "string"},
    "ways": WHOLE,
    "any_location": WHOLE,
    "sound": WHOLE,
    "by_hazard": {
        "type": "object",
        "propertyNames": {"enum": list(HAZARD_NAMES)},
        "additionalProperties": WHOLE,
    },
}
#: The form that `landings --json` promises to keep; keys may be added.
FIXED = {"type": "object", "properties": FIXED_PROPERTIES, "required": list(FIXED_PROPERTIES)}


def shipped(name: str) -> str:
    """The path of a circuit that ships."""
    return str(data_path("circuits") / f"{name}.toml")


@pytest.mark.parametrize("name", HOOKUPS)
def test_json_has_the_fixed_form_and_its_examples_check(name: str, tmp_path: Path) -> None:
    """Each class's circuit, written to a file, is judged by `miswire check` as the class says."""
    result = run("landings", shipped(name), "--json")
    assert result.exit_code == 0
    form = json.loads(result.stdout)
    validate(form, FIXED)
    assert form["sound"] <= form["any_location"] <= form["ways"]
    assert (
        form["ways"]
        == form["boxes"][0]["ways"] * form["boxes"][1]["ways"] * (form["boxes"][2]["ways"])
    )
    assert all(box["ways"] == BELL[len(box["free_ends"])] for box in form["boxes"])
    assert sum(one["ways"] for one in form["classes"]) == form["any_location"]
    for number, one in enumerate(form["classes"]):
        file = tmp_path / f"{number}.toml"
        file.write_text(one["circuit"], "utf-8")
        checked = json.loads(run("check", str(file), "--json").stdout)
        assert (checked["verdict"], checked["hazards"]) == (one["verdict"], one["hazards"])
        assert checked["any_location"] is True


def test_a_person_reads_counts_classes_and_cautions() -> None:
    """The ways by box, what works, each class with its distance, each hazard explained."""
    result = run("landings", shipped("stair-feed-at-lamp"))
    told = words(result.stdout)
    for sentence in (
        "4,779,213,775 ways to land the free ends",
        "landing 10 115,975",
        "1,440 of them work from every switch, and 288 of these are sound.",
        "1. sound: 288 ways in 3 families the wiring in the file is one of them",
        "nearest to the wiring in the file: 1 exchange of two ends, or 2 ends landed elsewhere",
        "exchanges alone lead to none of them",
        "lamp-reversed: Shell live while lit.",
    ):
        assert sentence in told
    assert told.endswith(summary())
    assert "\x1b" not in result.output


def test_nothing_that_works_is_said(tmp_path: Path) -> None:
    """With a burnt-out lamp no way works, and the wiring in the file misbehaves."""
    burnt_out = replace(one_box("single-pole"), failures=(Failure("lamp-open", ("lamp",)),))
    broken = write(tmp_path / "broken.toml", burnt_out)
    result = run("landings", broken)
    assert result.exit_code == 0
    assert "203 ways to land the free ends" in result.stdout
    assert "None of them works from every switch." in result.stdout


def test_a_wiring_that_does_not_work_is_said_not_to_be_among_them(tmp_path: Path) -> None:
    """The distance is from what the file says, whatever that does."""
    told = words(run("landings", write(tmp_path / "bare.toml", one_box("single-pole"))).stdout)
    assert "The wiring in the file misbehaves: it is not among them." in told
    assert "the wiring in the file is one of them" not in told


def test_pictures_are_drawn_and_only_ours_replaced(tmp_path: Path) -> None:
    """A picture a class; a second run replaces them, and never somebody else's file."""
    circuit = write(tmp_path / "cables.toml", two_cables())
    folder = tmp_path / "pictures"
    for _ in range(2):
        result = run("landings", circuit, "--json", "--pictures", str(folder))
        assert result.exit_code == 0
        classes = json.loads(result.stdout)["classes"]
        assert [one["picture"] for one in classes] == [
            str(folder / f"class-{number}.svg") for number, _ in enumerate(classes, 1)
        ]
        for one in classes:
            drawn = Path(one["picture"]).read_text("utf-8")
            assert ElementTree.fromstring(drawn).tag.endswith("svg")
            assert ("As intended" in drawn) == (one["moves"] > 0)
    told = words(run("landings", circuit, "--pictures", str(folder)).stdout)
    assert f"drawn: {folder / 'class-1.svg'}" in told
    (folder / "class-1.svg").write_text("mine", "utf-8")
    refused = run("landings", circuit, "--pictures", str(folder))
    assert refused.exit_code == 2
    assert "it is left alone" in words(refused.stderr)
    assert (folder / "class-1.svg").read_text("utf-8") == "mine"


def test_a_folder_that_cannot_be_is_refused_before_counting(tmp_path: Path) -> None:
    """A file in its place, or no folder to put it in."""
    for folder in (tmp_path / "no" / "where", tmp_path / "file"):
        (tmp_path / "file").touch()
        result = run("landings", shipped(HOOKUPS[1]), "--pictures", str(folder))
        assert result.exit_code == 2
        assert result.stderr.startswith(f"--pictures={folder}: ")
        assert result.stdout == ""


def test_all_mistakes_are_told_at_once_with_status_2(tmp_path: Path) -> None:
    """What cannot be counted is refused with every reason, each with its remedy."""
    circuit = stair(devices=[Device("loft-lamp", "lamp", "landing")])
    file = write(tmp_path / "two-lamps.toml", circuit)
    result = run("landings", file)
    assert result.exit_code == 2
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert [line.removeprefix(f"{file}: ").partition(":")[0] for line in lines] == [
        "lamps=2",
        "box.landing",
    ]
    assert "write fixed = true on joins" in lines[1]


def test_a_file_that_is_no_circuit_is_refused(tmp_path: Path) -> None:
    """As everywhere: each mistake with its place, and status 2."""
    file = tmp_path / "bad.toml"
    file.write_text("format = 2\n", "utf-8")
    result = run("landings", str(file))
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{file}: ")
