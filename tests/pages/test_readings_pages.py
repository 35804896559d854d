"""What meters read, on the pages of circuits and faults."""

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from browser import HOSTILE, ROOT, Browser, check_page

from catalogue.pages import readings as readings_page
from catalogue.report.metering import against_returns
from verify.circuit.file import loads
from verify.electric.readings import Reading

pytest_plugins = ["small_catalogue"]

CIRCUIT = f"{ROOT}/circuit/chain-1.f.1"
OPEN_NEUTRAL = f"{ROOT}/fault/chain-1.f.1/left-off/lamp-box,lamp.shell"
OPEN_TRAVELER = f"{ROOT}/fault/chain-1.f.1/conductor-open/box-2-run.white"
ON = (0, 3)


class Tables(HTMLParser):
    """The tables of readings of a page: for each its caption, and its rows as lists of cells."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.captions: list[str] = []
        self.rows: list[list[list[str]]] = []
        self._within = False
        self._text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a table, a row or a cell."""
        if tag == "table":
            self._within = dict(attrs).get("class") == "readings"
            if self._within:
                self.rows.append([])
        elif self._within and tag == "tr":
            self.rows[-1].append([])
        if tag in ("th", "td", "caption"):
            self._text = ""

    def handle_endtag(self, tag: str) -> None:
        """Keep what a cell or a caption holds."""
        if not self._within:
            return
        if tag in ("th", "td"):
            self.rows[-1][-1].append(" ".join(self._text.split()))
        elif tag == "caption":
            self.captions.append(" ".join(self._text.split()))
        elif tag == "table":
            self._within = False

    def handle_data(self, data: str) -> None:
        """Collect the text."""
        self._text += data

    def cells(self, table: int, point: str) -> list[str]:
        """The cells of a point, a state each."""
        (row,) = [row for row in self.rows[table] if row[0].startswith(point)]
        return row[1:]


def tables(browser: Browser, path: str) -> Tables:
    """The tables of a page that is as every page must be."""
    response = browser.get(path)
    assert response.status_code == 200
    check_page(response, path)
    return Tables(response.text)


@pytest.mark.parametrize(("table", "against"), [(0, "neutral"), (1, "ground")])
def test_an_open_neutral_puts_the_shell_at_line_voltage(
    browser: Browser, table: int, against: str
) -> None:
    """With the switch on both meters read line voltage at the lamp's shell, which is no phantom."""
    shown = tables(browser, OPEN_NEUTRAL)
    assert shown.captions[table].startswith(f"Each point against {against}, that is ")
    shell = shown.cells(table, "lamp at shell")
    for state in ON:
        volts = re.fullmatch(r"(\d+) / (\d+) V", shell[state])
        assert volts, shell
        # Through the 240 ohms of the lamp: 120 V · 3000/3240 on the low-impedance meter.
        assert int(volts[1]) == pytest.approx(120, abs=1)
        assert int(volts[2]) == pytest.approx(111, abs=1)
    facts = browser.facts(OPEN_NEUTRAL)["readings"]
    for row in facts["tables"][table]["rows"]:
        if row["point"]["names"][0] == "lamp at shell":
            assert [row["cells"][state]["phantom"] for state in ON] == [False, False]


@pytest.mark.parametrize("table", [0, 1])
def test_an_open_traveler_is_a_phantom(browser: Browser, table: int) -> None:
    """Its far end shows volts on the ordinary meter and none on the low-impedance one, in words."""
    cells = tables(browser, OPEN_TRAVELER).cells(table, "switch-2 at traveler-1")
    phantoms = [re.fullmatch(r"(\d+) / 0 V phantom", cell) for cell in cells]
    # Lit by way of the other traveler: the far end of the open one hangs free, beside line.
    assert [bool(phantom) for phantom in phantoms] == [False, False, False, True], cells
    assert all(int(phantom[1]) >= 5 for phantom in phantoms if phantom)
    # With both switches turned to it line does not come through, and neither meter shows any.
    assert cells[0] == "0 V"
    assert tables(browser, CIRCUIT).cells(table, "switch-2 at traveler-1")[0] == "120 V"


@pytest.mark.parametrize("path", [CIRCUIT, OPEN_NEUTRAL, OPEN_TRAVELER])
def test_the_tables_are_the_readings(browser: Browser, path: str) -> None:
    """Every cell of both tables is what the library reads in the circuit of the page."""
    facts = browser.facts(path)
    circuit = loads(facts["circuit_file"])
    shown = tables(browser, path)
    found = against_returns(circuit, range(4))
    assert len(shown.rows) == 2
    for table, measured in enumerate(found.values()):
        state, *positions = shown.rows[table][:3]
        assert state == ["State", "0", "1", "2", "3"]
        assert [row[0] for row in positions] == ["switch-1", "switch-2"]
        assert [row[2] for row in positions] == ["▼ down", "▲ up"]
        rows = shown.rows[table][3:]
        assert [row[1:] for row in rows] == [
            [cell_of(reading) for reading in item.readings] for item in measured
        ]
        for row, item in zip(rows, measured, strict=True):
            assert all(words in row[0] for words in (*item.point.words, item.point.box))
    assert facts["readings"]["assumed"] in browser.read(path).words


def cell_of(reading: Reading) -> str:
    """A reading as pages write it."""
    if reading.high - reading.low < 1:
        return f"{reading.high:.0f} V"
    phantom = " phantom" if reading.phantom else ""
    return f"{reading.high:.0f} / {reading.low:.0f} V{phantom}"


@pytest.mark.parametrize("path", [CIRCUIT, OPEN_NEUTRAL])
def test_a_table_scrolls_by_itself_and_the_second_can_be_opened(
    browser: Browser, path: str
) -> None:
    """Each is in a region of its own that takes the keyboard; that against ground is folded."""
    document = browser.read(path)
    regions = [a for a in document.all("div") if a.get("aria-label", "").startswith("Readings")]
    assert [region["aria-label"] for region in regions] == [
        "Readings against neutral",
        "Readings against ground",
    ]
    assert all((r["class"], r["tabindex"], r["role"]) == ("scroll", "0", "region") for r in regions)
    assert "Against ground" in document.words
    assert "Mind: whoever measures does so with the power on." in document.words


def test_circuits_of_many_states_say_why_there_is_no_table(
    browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not computed is said, with the remedy, and is no empty table."""
    monkeypatch.setattr(readings_page, "_MOST_STATES", 2)
    document = browser.read(CIRCUIT)
    assert "Not computed for this page: 4 states are more than the 2" in document.words
    assert "miswire readings with --state" in document.words
    assert browser.facts(CIRCUIT)["readings"]["tables"] == []


def test_names_in_a_table_are_only_text(browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing in the name of a point or its box becomes markup."""

    def hostile(point: object) -> dict[str, Any]:
        return {"names": [HOSTILE, HOSTILE], "box": HOSTILE}

    monkeypatch.setattr(readings_page, "_point", hostile)
    document = check_page(browser.get(CIRCUIT), CIRCUIT)
    assert document.text.count(HOSTILE) >= 30
