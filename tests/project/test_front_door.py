"""The front doors of both packages: what a program or a notebook finds there, and what it says."""

import doctest
import inspect
import io
import re
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest

import catalogue
import verify
from catalogue.pages.contract import Visit
from catalogue.pages.frompython import from_python
from verify.base.resources import data_path
from verify.base.telling import html, plain

pytest_plugins = ["small_catalogue"]

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
EXAMPLE = data_path("from-python.txt").read_text("utf-8")
NAMES = [(package, name) for package in (verify, catalogue) for name in package.__all__]
STAIR = data_path("circuits") / "stair-feed-at-lamp.toml"


def test_the_example_is_real(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the example shows is what Python prints."""
    monkeypatch.chdir(ROOT)
    test = doctest.DocTestParser().get_doctest(EXAMPLE, {}, "from-python.txt", None, 0)
    said = io.StringIO()
    outcome = doctest.DocTestRunner(optionflags=doctest.FAIL_FAST).run(test, out=said.write)
    assert outcome.failed == 0, said.getvalue()
    assert outcome.attempted == EXAMPLE.count(">>> ") >= 12


def test_one_example_for_all() -> None:
    """The README and the page show the example that is run."""
    assert re.findall(r"```pycon\n(.*?)```", README, re.DOTALL) == [EXAMPLE]


def test_the_page_lists_the_front_doors(visit: Visit) -> None:
    """Every name is on the page, with a sentence about it."""
    facts = from_python(visit).facts
    assert facts["example"] == EXAMPLE
    names = facts["names"]
    assert isinstance(names, list)
    assert [entry["name"] for entry in names] == [
        f"{package.__name__}.{name}" for package, name in NAMES
    ]
    assert all(re.fullmatch(r"[^`]{20,}\.", entry["about"], re.DOTALL) for entry in names)


def documented(item: object, name: str) -> Iterator[tuple[str, str]]:
    """A public thing and all that is public of it, each with what is said of it."""
    yield name, inspect.getdoc(item) or ""
    if inspect.isclass(item):
        for part, inner in vars(item).items():
            if not part.startswith("_") and (callable(inner) or hasattr(inner, "__get__")):
                said = inspect.getdoc(inner) or ""
                if not inspect.ismemberdescriptor(inner):  # a slot: the class says what it holds
                    yield f"{name}.{part}", said


@pytest.mark.parametrize(
    ("package", "name"), NAMES, ids=lambda item: getattr(item, "__name__", item)
)
def test_everything_public_is_documented(package: ModuleType, name: str) -> None:
    """Each name, and each method and property, says what it is; the README or the example names it.

    The docstrings say which errors there are of everything that takes an input.
    """
    item = getattr(package, name)
    bare = [place for place, said in documented(item, name) if not said.endswith(".")]
    assert bare == []
    section = README.partition("## From Python")[2].partition("\n## ")[0]
    assert re.search(rf"\b{name}\b", section), f"{name} is not in the section From Python"
    if inspect.isfunction(item) and name not in ("dump",):
        assert "Raises" in str(inspect.getdoc(item))


@pytest.mark.parametrize("package", [verify, catalogue], ids=lambda package: package.__name__)
def test_names_for_types_are_the_names_that_load(package: ModuleType) -> None:
    """What type checkers see is what is there: same names, and each from the place it is loaded."""
    source = Path(str(package.__file__)).read_text("utf-8")
    seen = {
        alias.rpartition(" as ")[2]: f"{module}:{alias.partition(' as ')[0]}"
        for module, aliases in re.findall(r"^    from ([\w.]+) import (.+)$", source, re.MULTILINE)
        for alias in aliases.split(", ")
    }
    assert seen == package._PLACES
    assert sorted(seen) == sorted(package.__all__) == dir(package)
    assert Path(str(package.__file__)).with_name("py.typed").exists()
    with pytest.raises(AttributeError, match="has no attribute 'wired'"):
        _ = package.wired


def test_nothing_is_loaded_before_it_is_used() -> None:
    """To import both packages costs no numpy; a name that is used is there from then on."""
    program = (
        "import sys, catalogue, verify\n"
        "assert not {'numpy', 'networkx', 'click', 'sqlite_utils'} & sys.modules.keys()\n"
        "assert verify.load is verify.load\n"
        "assert 'load' in vars(verify)\n"
        "assert 'numpy' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True, cwd=ROOT)


class Tags(HTMLParser):
    """The tags of a piece of HTML, which must match."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag, which holds nothing that could run."""
        assert {name for name, _ in attrs} <= {"scope"}
        self.open.append(tag)
        self.seen.add(tag)

    def handle_endtag(self, tag: str) -> None:
        """The tag that is open closes."""
        assert self.open.pop() == tag


HOSTILE = "</title><script>alert('1')</script>"


def shown_in_notebooks() -> list[object]:
    """One object of each sort that a notebook shows as HTML, its name not to be trusted."""
    circuit = verify.loads(STAIR.read_text("utf-8").replace("Boathouse stair", HOSTILE))
    return [circuit, verify.examine(circuit), verify.faults(circuit), catalogue.suspects(circuit)]


def test_notebooks_get_harmless_html_with_cautions() -> None:
    """Names are escaped, tags match, nothing runs, and the cautions go with it, in text too."""
    for item in shown_in_notebooks():
        shown = item._repr_html_()  # type: ignore[attr-defined]
        assert Tags(shown).seen <= {
            *("section", "h3", "h4", "p", "ul", "li"),
            *("table", "thead", "tbody", "tr", "th", "td"),
        }
        assert "Cautions: " in shown
        assert isinstance(item, verify.Circuit) or "Cautions: " in repr(item)


def test_a_picture_shows_itself(tmp_path: Path) -> None:
    """A notebook gets the SVG, which names its cautions; a file gets the same."""
    picture = catalogue.draw(verify.load(STAIR), fault="left-off/landing,lamp.ground")
    assert picture.title == "In the landing box, lamp ground is left off."
    assert picture._repr_svg_() == picture.svg
    assert "Cautions: " in picture.svg
    picture.save(tmp_path / "stair.svg")
    assert (tmp_path / "stair.svg").read_text("utf-8") == picture.svg


def test_a_picture_names_all_mistakes() -> None:
    """Everything that is wrong with what is asked of a picture is said at once."""
    with pytest.raises(verify.UserError) as refusal:
        catalogue.draw(verify.load(STAIR), fault="moved/nowhere", state={"slipway-switch": "left"})
    assert [problem.place for problem in refusal.value.problems] == [
        "fault=moved/nowhere",
        "state slipway-switch=left",
    ]


@pytest.mark.parametrize(
    ("fault", "remedy"),
    [(None, "add a fault, or leave it out"), ("lamp-open/lamp", "leave one of the two out")],
)
def test_nothing_unmarked_without_marks(fault: str | None, remedy: str) -> None:
    """Only the picture of a fault has marks to hide, and a schematic has none."""
    with pytest.raises(verify.UserError, match=f"unmarked: .*; {remedy}"):
        catalogue.draw(verify.load(STAIR), fault=fault, unmarked=True, schematic=bool(fault))


def test_a_catalogue_is_opened_for_reading(database: Path) -> None:
    """Rows, circuits and suspects come from a file that stays as it is."""
    before = database.read_bytes()
    with catalogue.open_catalogue(str(database)) as opened:
        assert opened.covers in plain(opened._told(), 1000)
        assert sum(opened.counts.values()) == opened.rows("select count(*) as n from fault")[0]["n"]
        chain = opened.circuit("chain-1.f.1")
        assert chain == verify.wire("1.f.1", "chain")
        assert opened.digest is None or re.fullmatch(r"[0-9a-f]{64}", opened.digest)
        saw = ["a=up,b=up: dark", "a=down,b=up: dark"]
        by_object = catalogue.suspects(opened, saw)
        assert Tags(opened._repr_html_()).seen >= {"table", "p"}
        with pytest.raises(verify.UserError, match="label=chain-9: is no circuit here"):
            opened.circuit("chain-9")
    assert by_object.to_json() == catalogue.suspects(database, saw).to_json()
    assert by_object.groups
    assert database.read_bytes() == before
    with pytest.raises(verify.UserError, match="there is no such file"):
        catalogue.open_catalogue(database.with_name("none.db"))


def test_one_text_stands_for_a_list_of_one() -> None:
    """Who saw one thing need not write a list."""
    stair = verify.load(STAIR)
    saw = "slipway-switch=up,workshop-switch=up: dark"
    assert (
        catalogue.suspects(stair, saw).to_json() == catalogue.suspects(str(STAIR), [saw]).to_json()
    )


def test_blocks_are_told_alike_in_text_and_html() -> None:
    """Every word of a text is in its HTML."""
    examined = verify.examine(verify.load(data_path("circuits") / "faulty-open-traveler.toml"))
    told = [*examined.told(1000)]
    words = re.sub(r"<[^>]*>", " ", html(told))
    for word in re.sub(r"-{2,}|^ *- ", " ", plain(told, 1000), flags=re.MULTILINE).split():
        assert word in words
