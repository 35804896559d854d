"""A visitor to the pages of a catalogue: gets them without a network and reads what they say.

The catalogue that most tests visit is the one of `small_catalogue`.
"""

import asyncio
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any, Final
from urllib.parse import urldefrag

from datasette.app import Datasette
from playwright.sync_api import Page

from catalogue.commands.serve import SETTINGS
from catalogue.pages.gate import Gate
from catalogue.pages.response import HEADERS
from catalogue.pages.workers import workers
from verify.base.cautions import summary

ROOT: Final = "/-/miswire"
TABLES_AT: Final = "/boat~20house~2E2"
MIMIC: Final = f"{ROOT}/fault/chain-1.f.1/left-off/box-2,switch-2.ground"
CLASSIC: Final = f"{ROOT}/fault/chain-1.f.1/exchanged/box-1,switch-1.common,switch-1.traveler-1"
HOSTILE: Final = """</title><script>alert("1")</script>' onclick='x & {{ 7 }}"""

_VOID: Final = frozenset({"meta", "link", "input", "br", "hr", "img"})
_INLINE: Final = frozenset({"a", "abbr", "b", "code", "em", "i", "span", "strong"})
_CONTROLS: Final = frozenset({"input", "select", "textarea"})


class Browser:
    """Visits one Datasette; `get` gives its responses, `read` its pages."""

    def __init__(self, datasette: Datasette, loop: asyncio.AbstractEventLoop) -> None:
        self.datasette = datasette
        datasette.client.app = Gate(datasette.client.app)
        self._loop = loop

    def get(self, path: str, method: str = "GET") -> Any:
        """The response to a request."""
        # What Datasette itself has put its base before must not get it again.
        request = self.datasette.client.request(method, path, avoid_path_rewrites=True)
        return self._loop.run_until_complete(request)

    def read(self, path: str) -> "Document":
        """A page that is there, read."""
        response = self.get(path)
        assert response.status_code == 200, f"{path}: {response.status_code}"
        return Document.of(response.text)

    def facts(self, path: str) -> dict[str, Any]:
        """The JSON of a page."""
        response = self.get(path + ("&" if "?" in path else "?") + "format=json")
        assert response.headers["content-type"] == "application/json; charset=utf-8"
        found: dict[str, Any] = response.json()
        return found


@contextmanager
def visiting(*databases: Path, **settings: object) -> Iterator[Browser]:
    """A browser of a Datasette that serves databases as `miswire serve` does."""
    loop = asyncio.new_event_loop()
    files = [str(database) for database in databases]
    datasette = Datasette(files, settings={**SETTINGS, **settings})
    workers(datasette).seconds = 600  # however busy the machine is
    try:
        loop.run_until_complete(datasette.invoke_startup())
        yield Browser(datasette, loop)
    finally:
        for database in datasette.databases.values():
            database.close()
        loop.close()


@dataclass
class Document(HTMLParser):
    """What a page holds. `mistakes` lists tags that do not match and controls without a label."""

    text: str = ""
    tags: list[tuple[str, Mapping[str, str]]] = field(default_factory=list)
    mistakes: list[str] = field(default_factory=list)
    _open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    @classmethod
    def of(cls, html: str) -> "Document":
        """Read a page."""
        document = cls()
        document.feed(html)
        document.close()
        document.mistakes += (f"<{tag}> is not closed" for tag in document._open)
        labelled = {a.get("for") for tag, a in document.tags if tag == "label"}
        for tag, attributes in document.tags:
            hidden = attributes.get("type") in ("hidden", "submit")
            if tag in _CONTROLS and not hidden and attributes.get("id") not in labelled:
                document.mistakes.append(f"<{tag}> has no label")
            if tag == "th" and "scope" not in attributes:
                document.mistakes.append("<th> has no scope")
        return document

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in _VOID:
            self._open.append(tag)
        self._part(tag)

    def handle_endtag(self, tag: str) -> None:
        """Compare with what is open."""
        if not self._open or self._open.pop() != tag:
            self.mistakes.append(f"</{tag}> closes something else")
        self._part(tag)

    def _part(self, tag: str) -> None:
        if tag not in _INLINE:
            self.text += " "

    def handle_data(self, data: str) -> None:
        """Collect the text."""
        self.text += data

    def all(self, tag: str) -> list[Mapping[str, str]]:
        """The attributes of every such tag."""
        return [attributes for name, attributes in self.tags if name == tag]

    @property
    def dangers(self) -> list[str]:
        """What could run, or load something from elsewhere."""
        return [
            f"<{tag} {name}={value}>"
            for tag, attributes in self.tags
            for name, value in (attributes or {"": ""}).items()
            if tag in ("script", "style", "iframe", "object", "embed", "base")
            or name == "style"
            or name.startswith("on")
            or (name in ("href", "src", "action") and not value.startswith(("/", "?", "#")))
            or value.startswith("//")
        ]

    @property
    def words(self) -> str:
        """The text with single spaces."""
        return " ".join(self.text.split())

    @property
    def anchors(self) -> set[str]:
        """Where a fragment can lead."""
        return {attributes["id"] for _, attributes in self.tags if "id" in attributes}

    @property
    def links(self) -> list[str]:
        """Every address that a visitor can follow within the site, fragments included."""
        return [a["href"] for a in self.all("a") if not a.get("href", "#").startswith(("#", "?"))]


def without_fragment(address: str) -> str:
    """The page that an address is on."""
    return urldefrag(address).url


def changed(database: Path, tmp_path: Path, statement: str, *parameters: object) -> Path:
    """A copy of the catalogue after a statement."""
    copy = Path(shutil.copy(database, tmp_path / "changed.db"))
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute(statement, parameters)
        connection.commit()
    return copy


def check_page(response: Any, path: str) -> Document:
    """Hold one of our pages, whatever it says, to what every one of them promises."""
    assert {name: response.headers[name] for name in HEADERS} == HEADERS, path
    document = Document.of(response.text)
    assert document.mistakes == [], path
    assert document.dangers == [], path
    assert summary() in document.words, path
    assert len(document.all("h1")) == 1, path
    assert document.all("html") == [{"lang": "en"}], path
    return document


def check_accessible(page: Page, passes: int) -> None:
    """Hold an open page to axe-core: nothing serious or critical, and more passed than so many."""
    page.add_script_tag(content=(files("axe_playwright_python") / "axe.min.js").read_text("utf-8"))
    found = page.evaluate("axe.run()")
    bad = [
        f"{violation['id']}: {node['html'][:200]}"
        for violation in found["violations"]
        if violation["impact"] in ("serious", "critical")
        for node in violation["nodes"]
    ]
    assert bad == []
    assert len(found["passes"]) > passes
