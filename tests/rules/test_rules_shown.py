"""Observations against published rules as `miswire check` shows them, for programs and people."""

import json
from pathlib import Path

import pytest
from boathouse import LINE_ON_SHELL, stair
from commandline import SHIPPED, run, words, write
from ruling import NEUTRAL_APART, NEUTRAL_BESIDE, book, two_cables

from verify.base.resources import data_path
from verify.circuit.file import load
from verify.rules.book import choose, jurisdictions, note
from verify.rules.remarks import book_form, remark_form, remarks

US = str(data_path("circuits") / "stair-feed-at-lamp.toml")
UK = str(data_path("circuits") / "winch-room-two-way-iec.toml")


@pytest.fixture
def reversed_lamp(tmp_path: Path) -> str:
    """A circuit with the lampholder reversed, as a file."""
    return write(tmp_path / "reversed.toml", stair(LINE_ON_SHELL))


def test_json_has_every_remark_and_its_rulebook(reversed_lamp: str) -> None:
    """A remark says which rule of which document, in our words, how known, and what raised it."""
    form = json.loads(run("check", reversed_lamp, "--json").stdout)
    (shell,) = (rule for rule in form["rules"] if rule["id"] == "shell-on-neutral")
    assert shell == {
        "id": "shell-on-neutral",
        "section": "200.10(C), 410.50, 410.90",
        "jurisdiction": "us",
        "edition": 2023,
        "title": "The screw shell on the neutral",
        "says": "The screw shell of a lampholder is connected to the grounded conductor.",
        "known": "memory",
        "how_known": "read in 2008, this edition from memory, not checked against the document",
        "standing": "seen",
        "raised_by": ["lamp"],
        "because": "Line reaches the shell of lamp with slipway-switch up and workshop-switch up.",
    }
    rulebook = form["rulebook"]
    assert rulebook == book_form(book())
    assert rulebook["note"] == note()
    assert {rule["standing"] for rule in form["rules"]} <= rulebook["standings"].keys()
    assert {rule["id"] for rule in form["rules"]} <= {r["id"] for r in rulebook["looked_for"]}


@pytest.mark.parametrize("place", jurisdictions())
def test_json_of_every_edition(reversed_lamp: str, place: str) -> None:
    """With both options the rules are those of that document and edition, of no other."""
    for edition in jurisdictions()[place].editions:
        choice = ["--jurisdiction", place, "--edition", str(edition)]
        form = json.loads(run("check", reversed_lamp, "--json", *choice).stdout)
        found = remarks(stair(LINE_ON_SHELL), book(place, edition))
        assert form["rules"] == [remark_form(remark) for remark in found]
        assert (form["rulebook"]["jurisdiction"], form["rulebook"]["edition"]) == (place, edition)


def test_the_palette_chooses_for_each_file() -> None:
    """North American colours are held against the NEC, IEC colours against BS 7671."""
    forms = json.loads(run("check", US, UK, "--json").stdout)
    assert [form["rulebook"]["title"] for form in forms] == ["NEC 2023", "BS 7671 2018"]


@pytest.mark.parametrize("path", SHIPPED)
def test_text_tells_every_remark_after_the_verdict(path: str) -> None:
    """Each remark with its section, reason, paraphrase and how known; first, that it is none of
    compliance; and what was looked for in vain.
    """
    circuit = load(Path(path))
    rulebook = choose(None, None).book(circuit.palette)
    output = words(run("check", path).stdout)
    section = output.index(f"Published rules: {rulebook.title} {words(note())}")
    assert section > output.index("What the light does:")
    told = output[section:]
    found = remarks(circuit, rulebook)
    for remark in found:
        assert f"- {remark.section}: {remark.rule.title}" in told
        assert words(remark.finding.because) in told
        assert f"In our words: {words(remark.text.says)} ({remark.how_known})" in told
    raised = {remark.rule.id for remark in found}
    in_vain = [text.section(rulebook.edition) for r, text in rulebook.rules if r.id not in raised]
    assert f"nothing found that raises it: {'; '.join(in_vain)}." in told
    for standing, title in book_form(rulebook)["standings"].items():
        assert (title in told) == any(remark.finding.standing == standing for remark in found)


def test_a_return_in_another_cable_is_told(tmp_path: Path) -> None:
    """Travelers in one cable and the return in another do not balance; in one cable they do."""
    apart = run("check", write(tmp_path / "apart.toml", two_cables(NEUTRAL_APART))).stdout
    assert "- 300.3(B): The conductors of a circuit together" in words(apart)
    assert "passes through short-way one way and does not come back in it" in words(apart)
    beside = run("check", write(tmp_path / "beside.toml", two_cables(NEUTRAL_BESIDE))).stdout
    assert "- 300.3(B)" not in words(beside)


def test_rules_do_not_decide_the_exit_status() -> None:
    """A sound circuit is sound whatever the rules are about: they are observations."""
    result = run("check", US)
    assert result.exit_code == 0
    assert "Seen in this wiring" in result.stdout


@pytest.mark.parametrize("extra", [[], ["--json"]])
def test_wrong_options_are_told_at_once(extra: list[str]) -> None:
    """Both options wrong: both sentences, before any file is read, and status 2."""
    result = run("check", US, "--jurisdiction", "mars", "--edition", "MMXX", *extra)
    assert result.exit_code == 2
    assert not result.stdout
    first, second = result.stderr.splitlines()
    assert first == "--jurisdiction=mars: is not known; write one of us, ca, uk"
    assert second.startswith("--edition=MMXX: is not known; the editions are us 2005, ")


def test_an_edition_of_another_document_is_told_with_the_file() -> None:
    """2023 is an edition for one circuit and none for the other, which is judged no further."""
    result = run("check", US, UK, "--edition", "2023", "--json")
    assert result.exit_code == 2
    assert [form["rulebook"]["title"] for form in json.loads(result.stdout)] == ["NEC 2023"]
    assert result.stderr == (
        f"{UK}: --edition=2023: is not known; the editions are uk 2018; that goes with palette "
        "'iec', so ask for another --jurisdiction or leave --edition out\n"
    )


def test_help_names_every_jurisdiction() -> None:
    """What can be asked for is in the help of the command."""
    output = words(run("check", "--help").stdout)
    assert all(place in output for place in jurisdictions())
    assert "nothing here says that a wiring complies" in output
