"""Pictures on the pages of circuits and faults: every state has its address, without a script."""

import xml.etree.ElementTree as ET

import pytest
from browser import CLASSIC, MIMIC, ROOT, Browser, Document, check_page

pytest_plugins = ["small_catalogue"]

CIRCUIT = f"{ROOT}/circuit/chain-1.f.1"
BOTH_POLES = f"{ROOT}/fault/chain-1.f.1/whole-circuit/both-poles"
UP_UP = "state=switch-1=up,switch-2=up"


def drawn(html: str) -> ET.Element:
    """The picture in a page, read as XML."""
    start = html.index("<svg")
    return ET.fromstring(html[start : html.index("</svg>") + len("</svg>")])


def words(picture: ET.Element) -> str:
    """Everything that is written in a picture."""
    return " ".join(picture.itertext())


def links(document: Document, part: str) -> list[str]:
    """The links of the picture whose query has a part."""
    found = [str(link["href"]) for link in document.all("a")]
    return [link for link in found if link.endswith("#picture") and part in link]


@pytest.mark.parametrize(
    "path",
    [
        CIRCUIT,
        f"{CIRCUIT}?{UP_UP}",
        f"{CIRCUIT}?view=schematic",
        f"{CIRCUIT}?view=schematic&{UP_UP}",
        CLASSIC,
        MIMIC,
        f"{CLASSIC}?view=found",
        f"{CLASSIC}?view=found&{UP_UP}",
        f"{CLASSIC}?path=misbehaves",
        f"{BOTH_POLES}?path=lamp-live-dark",
    ],
)
def test_pictures_are_there(browser: Browser, path: str) -> None:
    """Each has a title and a description in words, and the page around it stays sound."""
    response = browser.get(path)
    check_page(response, path)
    picture = drawn(response.text)
    named = {child.tag.partition("}")[2]: child.text or "" for child in picture}
    assert picture.get("role") == "img"
    assert named["title"]
    assert len(named["desc"]) > 100


def test_handles_are_links_that_move_one_switch(browser: Browser) -> None:
    """From any state one link for each switch leads to the state with that switch moved."""
    page = browser.read(f"{CIRCUIT}?{UP_UP}")
    states = [
        link.partition("state=")[2].removesuffix("#picture") for link in links(page, "state=")
    ]
    assert "switch-1=down,switch-2=up" in states
    assert "switch-1=up,switch-2=down" in states
    for link in links(page, "state="):
        assert browser.get(CIRCUIT + link.removesuffix("#picture")).status_code == 200


def test_states_look_different(browser: Browser) -> None:
    """The lamp is written to be lit or dark, handles up or down, as the state has it."""
    lit = words(drawn(browser.get(f"{CIRCUIT}?{UP_UP}").text))
    dark = words(drawn(browser.get(f"{CIRCUIT}?state=switch-1=down,switch-2=up").text))
    assert "lit" in lit.split()
    assert "handle down" not in lit
    assert "dark" in dark.split()
    assert "handle down" in dark


def test_a_fault_shows_both_wirings_or_only_what_is_found(browser: Browser) -> None:
    """Beside each other and marked; unmarked on request, for teaching."""
    assert "As intended" in words(drawn(browser.get(CLASSIC).text))
    found = words(drawn(browser.get(f"{CLASSIC}?view=found").text))
    assert "As intended" not in found


def test_paths_that_have_evidence_are_offered(browser: Browser) -> None:
    """Every hazard of a mimic has a link that shows its path."""
    page = browser.read(BOTH_POLES)
    claims = {link.partition("path=")[2].removesuffix("#picture") for link in links(page, "path=")}
    assert claims == {"lamp-live-dark", "lamp-reversed", "neutral-switched", "both-poles-on-switch"}


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("view=upside-down", "view must be one of wiring, schematic;"),
        ("view=found", "view must be one of wiring, schematic;"),
        ("state=x", "write each switch as NAME=up or NAME=down"),
        ("state=switch-1=up", "says nothing of switch-2"),
        ("state=switch-1=up,switch-9=up", "there is no such switch"),
        ("path=nonsense", "path names nothing that is shown on this page"),
        ("state=" + "x" * 9000, "write each switch as NAME=up or NAME=down"),
        ("state=%3Cscript%3E", "write each switch as NAME=up or NAME=down"),
    ],
)
def test_what_cannot_be_shown_is_refused(browser: Browser, query: str, sentence: str) -> None:
    """A wrong query gets a sentence with the remedy, never a failure."""
    response = browser.get(f"{CIRCUIT}?{query}")
    assert response.status_code == 400
    assert sentence in " ".join(Document.of(response.text).text.split())
