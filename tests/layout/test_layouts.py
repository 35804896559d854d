"""Layouts: every tree of boxes, once, each with a code, sound by every sound scheme."""

import re

import networkx as nx
import pytest

from verify.base.problems import UserError
from verify.engine.paths import PathsEngine
from verify.engine.words import WordsEngine
from verify.layout.enumeration import LAMP_BOX, Layout, layouts, wire
from verify.layout.routing import ROOT, arrangement_of
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES
from verify.verdict.judging import judge

WORDS = WordsEngine()


@pytest.mark.parametrize("locations", [2, 3, 4])
def test_every_layout_is_a_tree_with_a_feed(locations: int) -> None:
    """Each layout has the boxes that it must have, one of them the feed's, joined as a tree."""
    for layout in layouts(locations):
        assert layout.locations == locations
        assert layout.parents.count(ROOT) == 1
        tree = nx.Graph((box, above) for box, above in enumerate(layout.parents) if above != ROOT)
        assert nx.is_tree(tree)
        assert set(tree) == set(range(locations + 1))


@pytest.mark.parametrize("locations", [2, 3, 4])
def test_code_stands_for_the_layout(locations: int) -> None:
    """Each layout has a code of its own that is read back."""
    every = list(layouts(locations))
    assert len({layout.code for layout in every}) == len(every)
    assert [Layout.parse(layout.code) for layout in every] == every


def test_code_names_the_box_above_each_box() -> None:
    """The lamp's box first, then the locations in order; `f` is the feed's, `L` the lamp's."""
    assert Layout((1, ROOT, 1)).code == "1.f.1"
    assert Layout((ROOT, LAMP_BOX, LAMP_BOX)).code == "f.L.L"


@pytest.mark.parametrize(
    "code",
    ["", "f", "f.L", "x.f.1", "f.f.1", "1.L.f", "f.9.1", "01.f.1", "1.f.1.", "f.-1.1", "1.f.¹"],
)
def test_code_of_no_layout_is_refused(code: str) -> None:
    """No tree, too few locations, or anything else than a code: the message repeats it."""
    with pytest.raises(ValueError, match=re.escape(f"code={code!r} is not a layout")):
        Layout.parse(code)


def test_wiring_by_code() -> None:
    """A layout and its code are wired alike, as a chain unless another scheme is named."""
    layout = Layout.parse("1.f.1")
    assert wire(layout) == wire("1.f.1", "chain") == layout.circuit("chain")
    assert wire("1.f.1", "tied") == layout.circuit("tied")
    assert repr(layout) == f"<Layout 1.f.1: {layout.in_words()}>"


def test_wiring_names_all_mistakes() -> None:
    """What is no code and what is no scheme are said together, each with its remedy."""
    with pytest.raises(UserError) as refusal:
        wire("1.f.9", "tide")
    assert [str(problem) for problem in refusal.value.problems] == [
        "scheme=tide is not known; schemes are chain, tied, chain-in-neutral, tied-in-neutral, "
        "both-poles",
        "code='1.f.9' is not a layout; write one as 1.f.1: for the lamp and each location the box "
        "it hangs on",
    ]


def test_layouts_come_one_by_one() -> None:
    """The first of a hundred million is there at once; fewer than two locations are refused."""
    assert next(layouts(8)).locations == 8
    with pytest.raises(ValueError, match="locations=1 must be 2 or more"):
        layouts(1)


def test_words_follow_the_cables_from_the_feed() -> None:
    """The description of a layout says where the feed is and where each cable leads."""
    described = Layout.parse("1.f.1").in_words()
    assert described == "feed at switch 1; from switch 1 on to the lamp and switch 2"
    described = Layout.parse("3.f.L.1").in_words()
    assert described == (
        "feed at switch 1; from switch 1 on to switch 3; from switch 3 on to the lamp; "
        "from the lamp on to switch 2"
    )


@pytest.mark.parametrize("locations", [2, 3])
def test_words_tell_layouts_apart(locations: int) -> None:
    """No two layouts are described alike."""
    every = list(layouts(locations))
    assert len({layout.in_words() for layout in every}) == len(every)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_circuit_stands_where_the_layout_says(scheme: str) -> None:
    """The circuit has the layout's boxes and tree, whatever the scheme."""
    for layout in layouts(3):
        circuit = layout.circuit(scheme)
        assert arrangement_of(circuit) == layout.arrangement()
        assert layout.in_words() in circuit.name


@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
@pytest.mark.parametrize("locations", [2, 3])
def test_every_layout_is_sound(locations: int, scheme: str) -> None:
    """In every layout each flip of each switch changes the lamp, and there is no hazard."""
    for layout in layouts(locations):
        assert judge(layout.circuit(scheme), WORDS).verdict == "sound", layout.code


@pytest.mark.slow
@pytest.mark.parametrize("scheme", SOUND_SCHEMES)
def test_every_layout_of_four_locations_is_sound(scheme: str) -> None:
    """So is every layout of four locations."""
    for layout in layouts(4):
        assert judge(layout.circuit(scheme), WORDS).verdict == "sound", layout.code


USUAL_HOOKUPS = {
    "feed and lamp at the first switch, a cable on to the second": "1.f.1",
    "feed at the lamp, a cable to each switch": "f.L.L",
    "feed at one end, lamp at the other": "2.f.1",
    "feed at the first switch, lamp between the switches": "1.f.L",
}


@pytest.mark.parametrize("hookup", USUAL_HOOKUPS)
def test_usual_hookups_are_sound(hookup: str) -> None:
    """What electricians wire every day is sound (common practice, no source)."""
    for engine in (WORDS, PathsEngine()):
        circuit = Layout.parse(USUAL_HOOKUPS[hookup]).circuit("chain")
        assert judge(circuit, engine).verdict == "sound"
