"""The symptom desk takes whatever is asked of it, and circuits that somebody brings."""

import base64
import zlib
from pathlib import Path
from typing import Final
from urllib.parse import urlencode
from xml.etree import ElementTree

import pytest
from browser import HOSTILE, Browser, check_page, visiting
from desking import DESK, LABEL, MIMICS, PLAN, STAIR, at, seen
from hypothesis import given, settings
from hypothesis import strategies as st

from catalogue.desk.suspect_pool import pool_of_circuit
from catalogue.desk.symptoms import SIGHTS
from catalogue.pages.deskask import LONGEST_FILE, packed
from catalogue.pages.response import PICTURE_HEADERS
from verify.base.resources import data_path
from verify.circuit.file import dump, loads
from verify.layout.sampler import sample

pytest_plugins = ["small_catalogue"]

BOMB: Final = base64.urlsafe_b64encode(zlib.compress(b"a" * 10_000_000, 9)).decode()
REFUSED: Final = {
    "locations=2&at-uu=dark&at-uu=lit": "given more than once",
    "locations=99999999": "all layouts of 2 switches",
    "locations=-1": "must be a whole number",
    "locations=7": "paste its circuit file",
    "locations=2&at-uuu=dark": "names no positions of 2 switches",
    "locations=2&at-ux=dark": "names no positions",
    "locations=2&at-uu=purple": "must be one of dark, dim, lit, over, trips",
    "locations=2&sign-smoke=yes": "the signs are",
    "locations=2&layout=9.9.9": "one of the pictures",
    "locations=2&scheme=ring": "scheme must be chain or tied",
    "locations=2&positions=file": "needs a circuit",
    "locations=2&positions=left": "positions must be",
    "locations=2&circuit=chain-1.f.1": "are two questions",
    "locations=2&step1=look": "is no finding",
    "locations=2&step1=look:attic=clear": "is no check that tells anything here",
    "locations=2&step1=flip:0=blue": "must be one of",
    f"locations=2&step1={'x' * 500}=clear": "is no finding",
    f"locations=2&name1={'x' * 10_000}": "10,000 characters",
    "locations=2&name1=slip%E2%80%AEyaw": "turn the direction of writing",
    "locations=2&name1=a%00b": "characters that cannot be seen",
    "locations=2&name1=slip&name2=slip": "Two switches are called slip",
    "packed=AAAA": "paste the circuit file again",
    "packed=%C3%BC": "paste the circuit file again",
    f"packed={BOMB}": "paste the circuit file again",
}


@pytest.mark.parametrize("query", REFUSED, ids=lambda query: query[:40])
def test_odd_questions_get_a_sentence(browser: Browser, query: str) -> None:
    """Whatever is wrong with a question, the answer is a page that says what to do."""
    for page in (DESK, PLAN):
        response = browser.get(f"{page}?{query}")
        assert response.status_code == 400
        assert REFUSED[query] in check_page(response, query).words


@pytest.mark.parametrize("name", [HOSTILE[:40], '"><img src=x>', "الرصيف", "{{ 7*7 }}", "a & <b>"])
def test_any_name_is_only_text(browser: Browser, name: str) -> None:
    """Names in any script and with any signs stand as they were typed, in form and answer."""
    for query in (
        {"locations": 2, "name1": name, "at-uu": "dark"},
        {"locations": 2, "name1": name, "edit": 1},
        {"locations": 2, "name1": name, "layout": "f.L.1", "at-uu": "dark"},
    ):
        path = at(DESK, **query)
        document = check_page(browser.get(path), path)
        held = [*document.all("input"), {"value": document.text}]
        assert any(" ".join(name.split()) in tag.get("value", "") for tag in held)
        assert "<img src=x" not in browser.get(path).text


def test_desk_behind_another_base_address(database: Path) -> None:
    """Behind a proxy every link, form and picture of the desk keeps to the base address."""
    with visiting(database, base_url="/boats/") as browser:
        for query in ("", "?locations=2", "?locations=2&at-uu=dark"):
            path = f"/boats{DESK}{query}"
            document = check_page(browser.get(path), path)
            aims = [tag["action"] for tag in document.all("form")]
            aims += [*document.links, *(tag["src"] for tag in document.all("img"))]
            assert aims
            assert all(aim.startswith("/boats/") for aim in aims)


@pytest.mark.parametrize(
    ("query", "status"),
    [
        (f"circuit={LABEL}&fault=left-off/box-2,switch-2.ground", 200),
        (f"packed={packed(STAIR)}&fault=lamp-open/lamp", 200),
        (f"circuit={LABEL}&fault=left-off/attic", 404),
        (f"circuit={LABEL}", 404),
        ("locations=2", 400),
    ],
)
def test_pictures_of_examples(browser: Browser, query: str, status: int) -> None:
    """The picture of a fault is an SVG under our policy; there is none of what is no fault."""
    response = browser.get(f"{DESK}/picture?{query}")
    assert response.status_code == status
    if status == 200:
        assert response.headers["content-type"].startswith("image/svg+xml")
        assert {name: response.headers[name] for name in PICTURE_HEADERS} == PICTURE_HEADERS
        assert response.text.count("@font-face") == response.text.count("url(data:font/") == 2
        words = " ".join(ElementTree.fromstring(response.text).itertext())
        assert "As intended" in words
        assert "As found" in words
    else:
        check_page(response, query)


WORDS: Final = st.one_of(
    st.sampled_from([*SIGHTS, "", "yes", "1", "2", "3", "chain", "f.L.1", LABEL, "file", "clear"]),
    st.text(max_size=12),
)
KEYS: Final = st.sampled_from(
    [
        *("locations", "circuit", "layout", "scheme", "at-uu", "at-du", "sign-trips", "sign-x"),
        *("name1", "name2", "step1", "step2", "file", "packed", "positions", "ask", "edit"),
        "format",
    ]
)


@settings(max_examples=60)
@given(st.dictionaries(KEYS, WORDS, max_size=6), st.sampled_from([DESK, PLAN, MIMICS]))
def test_any_question_is_answered(browser: Browser, query: dict[str, str], page: str) -> None:
    """No question makes the desk fail."""
    response = browser.get(f"{page}?{urlencode(query)}")
    assert response.status_code in (200, 400, 404)
    if response.headers["content-type"].startswith("text/html"):
        check_page(response, str(query))


def test_a_pasted_circuit_is_judged(browser: Browser) -> None:
    """A pasted file becomes a short address, and its faults are the suspects by its own names."""
    form = browser.facts(at(DESK, file=STAIR.replace("\n", "\r\n")))
    assert form["is_known"]
    short = form["keep"]["packed"]
    assert len(short) < len(STAIR) / 2
    path = at(DESK, packed=short, **seen([0, 0, 0, 0]))
    facts = browser.facts(path)
    words = check_page(browser.get(path), path).words
    assert "landing" in words
    expected = pool_of_circuit(loads(STAIR))
    dark = [s for s in expected.suspects if not expected.codes[s.codes].any()]
    assert facts["suspects_left"] == len(dark)
    assert facts["unsound"] is None


def test_an_unsound_circuit_is_called_out(browser: Browser) -> None:
    """A circuit that is not sound by itself says so above the answer."""
    faulty = (data_path("circuits") / "faulty-open-traveler.toml").read_text("utf-8")
    path = at(DESK, packed=packed(dump(loads(faulty))), at_uuuu="dark")
    assert browser.facts(path)["unsound"] == "misbehaves"
    assert "not sound as it was given" in check_page(browser.get(path), path).words


def test_mistakes_of_a_pasted_file_are_told_together(browser: Browser) -> None:
    """Every mistake of a file is told at once, with its text there to be mended."""
    wrong = STAIR.replace('kind = "lamp"', 'kind = "lantern"').replace("format = 1", "format = 7")
    response = browser.get(at(DESK, file=wrong))
    assert response.status_code == 400
    document = check_page(response, "wrong file")
    facts = browser.facts(at(DESK, file=wrong))
    assert len(facts["problems"]) >= 2
    for problem in facts["problems"]:
        assert problem in document.words
    assert 'kind = "lantern"' in document.text


def wide(switches: int = 2, receptacles: int = 0) -> str:
    """A sound circuit with many ends in one box."""
    more = "".join(
        f'[device.outlet-{i}]\nkind = "receptacle"\nbox = "landing"\n' for i in range(receptacles)
    )
    circuit = sample(1, 0, fewest=switches, most=switches).circuit if switches > 2 else loads(STAIR)
    return dump(circuit) if switches > 2 else STAIR.replace("[cable.", f"{more}\n[cable.", 1)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (wide(switches=9), "9 switches; here suspects are judged for up to 8"),
        (wide(receptacles=60), "so many ends"),
        ("x" * (LONGEST_FILE + 1), "8,001"),
    ],
    ids=["many switches", "wide box", "long file"],
)
def test_work_is_bounded(browser: Browser, text: str, sentence: str) -> None:
    """What would take too long is refused with a sentence that names the way out."""
    is_long = len(text) > LONGEST_FILE and "format" not in text
    response = browser.get(at(DESK, **({"file": text} if is_long else {"packed": packed(text)})))
    assert response.status_code == 400
    words = check_page(response, "bounded").words
    assert sentence in words
    assert "miswire suspects" in words
