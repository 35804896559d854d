"""The rules by jurisdiction and edition: where each says what, and how that is known.

The sections are those of the documents named in `data/rules.toml`; what is read and what is from
memory is stated there for each.
"""

import re
from collections.abc import Mapping

import pytest
from boathouse import stair
from ruling import book, findings

from verify.base.problems import UserError
from verify.circuit.colours import PALETTES
from verify.rules.book import BookChoice, Rule, Rulebook, choose, jurisdictions, note, rules

US = jurisdictions()["us"]
ALL = [Rulebook(place, year) for place in jurisdictions().values() for year in place.editions]

# By edition of the NEC: section, how it is known, and the way to apply it. 404.2(C) came in 2011
# and changed in 2014 and 2017, all read; later wording from memory. Grounds in a box: before 2020
# all together count one, from 2020 each beyond four a quarter; read in 2017 and 2020.
NEUTRAL_AT_SWITCH = {
    2005: None,
    2008: None,
    2011: ("404.2(C)", "read", "at-each"),
    2014: ("404.2(C)", "read", "at-each"),
    2017: ("404.2(C)", "read", "at-one-may-do"),
    2020: ("404.2(C)", "memory", "at-one-may-do"),
    2023: ("404.2(C)", "memory", "at-one-may-do"),
}
WHITE_ON_LINE = {
    2005: ("200.7(C)(2)", "read", ""),
    2008: ("200.7(C)(2)", "memory", ""),
    2011: ("200.7(C)(1)", "read", ""),
    2014: ("200.7(C)(1)", "read", ""),
    2017: ("200.7(C)(1)", "read", ""),
    2020: ("200.7(C)(1)", "read", ""),
    2023: ("200.7(C)(1)", "read", ""),
}
BOX_FILL = {
    2005: ("314.16(B)", "memory", "grounds-as-one"),
    2008: ("314.16(B)", "memory", "grounds-as-one"),
    2011: ("314.16(B)", "memory", "grounds-as-one"),
    2014: ("314.16(B)", "memory", "grounds-as-one"),
    2017: ("314.16(B)", "read", "grounds-as-one"),
    2020: ("314.16(B)", "read", "quarter-beyond-four"),
    2023: ("314.16(B)", "memory", "quarter-beyond-four"),
}
SHELL = {
    2005: ("200.10(C)", "memory", ""),
    2008: ("200.10(C), 410.50, 410.90", "read", ""),
    2011: ("200.10(C), 410.50, 410.90", "memory", ""),
    2014: ("200.10(C), 410.50, 410.90", "memory", ""),
    2017: ("200.10(C), 410.50, 410.90", "memory", ""),
    2020: ("200.10(C), 410.50, 410.90", "memory", ""),
    2023: ("200.10(C), 410.50, 410.90", "memory", ""),
}
BY_EDITION: Mapping[str, Mapping[int, tuple[str, str, str] | None]] = {
    "neutral-at-switch": NEUTRAL_AT_SWITCH,
    "neutral-colour-on-line": WHITE_ON_LINE,
    "supply-not-return": WHITE_ON_LINE,
    "box-fill": BOX_FILL,
    "shell-on-neutral": SHELL,
}


def rule(name: str) -> Rule:
    """A rule by its id."""
    return next(rule for rule in rules() if rule.id == name)


@pytest.mark.parametrize("edition", US.editions)
@pytest.mark.parametrize("name", BY_EDITION)
def test_clauses_move_from_edition_to_edition(name: str, edition: int) -> None:
    """Each edition of the NEC has the section, the knowledge and the variant stated here."""
    text = rule(name).text("us", edition)
    found = text and (text.section(edition), text.known_in(edition), text.variant)
    assert found == BY_EDITION[name][edition]


@pytest.mark.parametrize("edition", US.editions)
def test_neutral_at_switches_by_edition(edition: int) -> None:
    """Nothing was asked before 2011; in 2011 and 2014 each switch counts, since 2017 one may do."""
    only_one = {"feed.neutral lamp.shell": "feed.neutral lamp.shell slipway-run.red"}
    circuit = stair(
        {
            **only_one,
            "slipway-run.red workshop-run.red": "",
            "slipway-run.red slipway-switch.traveler-1": "",
        }
    )
    found = findings(circuit, "neutral-at-switch", edition=edition)
    wanted = {2005: [], 2008: [], 2011: ["seen"], 2014: ["seen"]}.get(edition, ["open"])
    assert [finding.standing for finding in found] == wanted
    assert all(finding.raised_by == ("workshop-switch",) for finding in found)


@pytest.mark.parametrize(("place", "section"), [("ca", "14-604"), ("us", "404.2(A)")])
def test_other_documents_say_it_elsewhere(place: str, section: str) -> None:
    """One rule has a section in each document that has it."""
    text = rule("switching-ungrounded").text(place, max(jurisdictions()[place].editions))
    assert text is not None
    assert text.section(2023 if place == "us" else 2024) == section
    assert rule("switching-ungrounded").text("uk", 2018) is None


def test_sections_of_the_united_kingdom_and_canada() -> None:
    """All that is known of BS 7671 and C22.1, by rule."""
    assert sections("uk", 2018) == {
        "no-switch-in-neutral": "132.14.1",
        "neutral-colour-on-line": "IEC 60445",
        "shell-on-neutral": "643.6",
        "induced-heating": "521.5.1",
        "separate-circuits": "314.4",
    }
    for edition in jurisdictions()["ca"].editions:
        assert sections("ca", edition) == {
            "switching-ungrounded": "14-604",
            "neutral-at-switch": "4-022",
        }


def sections(place: str, edition: int) -> dict[str, str]:
    """The sections of a rulebook by rule."""
    return {rule.id: text.section(edition) for rule, text in book(place, edition).rules}


@pytest.mark.parametrize("rulebook", ALL, ids=lambda rulebook: rulebook.title)
def test_every_rule_has_its_text_and_how_it_is_known(rulebook: Rulebook) -> None:
    """A paraphrase in whole sentences, a section, and read or memory with what that covers."""
    told = list(rulebook.rules)
    assert told
    for rule, text in told:
        assert re.fullmatch(r"[A-Z][^.]+", rule.title)
        for words in (rule.looks_for, text.says):
            assert re.fullmatch(r"[A-Z].{20,}\.", words), words
            assert words == " ".join(words.split())
            assert '"' not in words, "nothing is quoted"
        assert text.known_in(rulebook.edition) in ("read", "memory")
        how = text.how_known(rulebook.edition)
        assert how.startswith("read") or how.startswith("from memory")
        assert set(text.read_in) <= set(text.editions)
        assert re.fullmatch(r"[\w.()-]+(?:, [\w.()-]+)*|IEC 60445", text.section(rulebook.edition))


def test_no_edition_has_two_texts_of_a_rule() -> None:
    """For each rule and edition there is one text at most, so there is no doubt which counts."""
    for rule in rules():
        told = [(text.jurisdiction.name, year) for text in rule.texts for year in text.editions]
        assert len(told) == len(set(told))
        assert all(text.editions for text in rule.texts)
    assert len({rule.id for rule in rules()}) == len(rules())


def test_how_a_text_is_known_names_the_editions_read() -> None:
    """Who reads "from memory" also reads what else is known, and what of a read text is not."""
    text = rule("box-fill").text("us", 2023)
    assert text is not None
    assert text.how_known(2023) == (
        "read in 2020, this edition from memory, not checked against the document"
    )
    assert text.how_known(2020).startswith("read; from memory: the clamps, and that conductors")
    polarity = rule("polarity").text("us", 2017)
    assert polarity is not None
    assert polarity.how_known(2017) == "read"
    tied = rule("neutral-ground-tied").text("us", 2017)
    assert tied is not None
    assert tied.how_known(2017) == "from memory, not checked against the document"


def test_the_note_denies_that_anything_complies() -> None:
    """Only an inspector or an authority can say that a wiring complies; the note says so."""
    for words in ("not verdicts", "Nothing here says that a wiring complies", "inspector"):
        assert words in note()


def test_the_palette_decides_unless_somebody_does() -> None:
    """A circuit in North American colours is held against the NEC, one in IEC colours BS 7671."""
    choice = choose(None, None)
    assert {palette: choice.book(palette).title for palette in PALETTES} == {
        "us": "NEC 2023",
        "iec": "BS 7671 2018",
    }
    assert choose("ca", None).book("iec").title == "CSA C22.1 2024"
    assert choose(None, "2011").book("us").title == "NEC 2011"
    assert choose("us", " 2014 ").book("iec") == Rulebook(US, 2014)


@pytest.mark.parametrize(
    ("jurisdiction", "edition", "wanted"),
    [
        ("fr", None, ["--jurisdiction=fr: is not known; write one of us, ca, uk"]),
        ("uk", "2023", ["--edition=2023: is not known; the editions are uk 2018"]),
        (
            None,
            "1999",
            [
                "--edition=1999: is not known; the editions are us 2005, 2008, 2011, 2014, 2017, "
                "2020, 2023; ca 2018, 2021, 2024; uk 2018"
            ],
        ),
        ("", "20x3", ["--jurisdiction=: is not known", "--edition=20x3: is not known"]),
        ("us", "2023\x1b[31m", [r"--edition=2023\x1b[31m: is not known"]),
        ("us", "2023.0", ["--edition=2023.0: is not known"]),
    ],
)
def test_wrong_choices_are_told_together(
    jurisdiction: str | None, edition: str | None, wanted: list[str]
) -> None:
    """Everything that is wrong is said at once, with what there is to choose from."""
    with pytest.raises(UserError) as caught:
        choose(jurisdiction, edition)
    told = [str(problem) for problem in caught.value.problems]
    assert len(told) == len(wanted)
    for problem, words in zip(told, wanted, strict=True):
        assert problem.startswith(words)


def test_an_edition_that_goes_with_another_palette() -> None:
    """An edition that some document has may not be one of the document that a circuit is under."""
    choice = choose(None, "2023")
    assert choice == BookChoice(None, 2023)
    with pytest.raises(UserError, match="uk 2018; that goes with palette 'iec'"):
        choice.book("iec")
