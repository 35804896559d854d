"""The files of `miswire lessons`: self-contained, printable, in open formats, and nobody else's."""

import csv
import io
import json
import re
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree

import pytest
from browser import Document, check_accessible
from commandline import run, words
from jsonschema import Draft202012Validator
from playwright.sync_api import Browser, Request, sync_playwright

from catalogue.lessons.curated import Curated, shipped, shipped_circuit
from catalogue.lessons.lesson_set import Made, Wanted, make_lessons
from catalogue.lessons.prints import find_chromium
from catalogue.lessons.qti import ITEM_SPACE, MATCH_CORRECT, PACKAGE_SPACE
from catalogue.report.folder import LIST_NAME
from verify.base.cautions import cautions
from verify.base.problems import UserError
from verify.base.resources import data_path

pytest_plugins = ["small_catalogue"]

#: A tall picture, a wide one in two halves, one with volts, and one that is harmless.
FEW: Final = replace(
    shipped(),
    cases=tuple(
        case
        for case in shipped().cases
        if case.title
        in (
            "One combination out of four",
            "Too many on the bench",
            "Flickers when the door slams",
            "Is this even wrong?",
        )
    ),
)
TEXTS: Final = ("html", "csv", "json", "qti", "svg")
SCHEMA: Final = json.loads(data_path("lessons.schema.json").read_text("utf-8"))
#: The width of a sheet of A4 and of Letter within the margins of the style, in CSS pixels.
SHEETS: Final = {"A4": round((210 - 28) / 25.4 * 96), "Letter": round((215.9 - 28) / 25.4 * 96)}


def make(wanted: Wanted, curated: Curated = FEW) -> Made:
    """A set without a catalogue."""
    return make_lessons(curated, shipped_circuit, lambda case: None, wanted)


@pytest.fixture(scope="module")
def made() -> Made:
    """A small set in every format that needs no other program."""
    return make(Wanted(formats=TEXTS))


@pytest.fixture(scope="module")
def bare() -> Made:
    """The same without answers."""
    return make(Wanted(formats=TEXTS, with_answers=False))


@pytest.fixture(scope="module")
def few_file(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The first two shipped entries as a file of their own."""
    text = data_path("curated.toml").read_text("utf-8")
    path = tmp_path_factory.mktemp("curated") / "few.toml"
    path.write_text("[[case]]".join(text.split("[[case]]")[:3]), "utf-8")
    return str(path)


def pages(made: Made) -> dict[str, str]:
    """The pages by name."""
    return {name: made.files[name].decode() for name in made.files if name.endswith(".html")}


def test_pages_need_nothing_from_elsewhere(made: Made) -> None:
    """No page has a script or an address outside its folder, and each link leads to a file.

    The letters are in the style sheet itself.
    """
    for name, text in pages(made).items():
        document = Document.of(text)
        assert document.mistakes == [], name
        assert not document.all("script")
        for tag, attributes in document.tags:
            for key in ("href", "src"):
                if key in attributes:
                    assert attributes[key] in made.files, f"{name}: <{tag} {key}>"
        assert "url(" not in text
        assert "@import" not in text
        # The namespace of SVG is a name, not an address that is fetched.
        assert set(re.findall(r"https?://[^\s\"'<]+", text)) <= {"http://www.w3.org/2000/svg"}
    loaded = re.findall(r"url\(([^)]{0,40})", made.files["style.css"].decode())
    assert len(loaded) == 3
    assert all(address.startswith("data:font/woff2;base64,") for address in loaded)


def test_every_sheet_carries_the_cautions(made: Made, bare: Made) -> None:
    """Whatever leaves the folder alone, a sheet, a picture or a question, says them too."""
    first = cautions()[0].short
    for name, text in (pages(made) | pages(bare)).items():
        assert first in text, name
    for name, content in made.files.items():
        if name.endswith(".svg"):
            assert "prove it dead" in content.decode(), name
    assert first in made.files["lessons.json"].decode()


def test_without_answers_no_file_tells(made: Made, bare: Made) -> None:
    """No answer sheet is there, and neither note, reason, marked picture nor proof anywhere."""
    assert not [name for name in bare.files if "answer" in name or "marked" in name]
    everything = b"".join(
        content for name, content in bare.files.items() if not name.endswith(".zip")
    ).decode()
    for case in FEW.cases:
        assert case.note[:40] not in everything
        assert case.reason[:40] not in everything
        assert case.note[:40] in made.files["answers.html"].decode()
    archive = zipfile.ZipFile(io.BytesIO(bare.files["qti3.zip"]))
    assert not any(b"correct" in archive.read(name) for name in archive.namelist())


def test_a_seed_shuffles_and_nothing_else_does() -> None:
    """A number gives one order of the cases, another number another, none that of the file."""

    def order(seed: int | None) -> list[str]:
        made = make(Wanted(formats=("json",), seed=seed))
        return [case["label"] for case in json.loads(made.files["lessons.json"])["cases"]]

    filed = [case.label for case in FEW.cases]
    assert order(None) == filed
    assert order(3) == order(3)
    assert len({tuple(order(seed)) for seed in range(4)}) > 1
    assert sorted(order(3)) == sorted(filed)


def test_equal_wishes_give_equal_bytes(made: Made) -> None:
    """A set can be made again anywhere and compared."""
    assert make(Wanted(formats=TEXTS)).files == made.files


@pytest.mark.parametrize("with_answers", [True, False])
def test_json_is_as_its_schema_says(made: Made, bare: Made, with_answers: bool) -> None:
    """The schema is one, holds for what is written, and does not hold for the other kind."""
    Draft202012Validator.check_schema(SCHEMA)
    form = json.loads((made if with_answers else bare).files["lessons.json"])
    assert list(Draft202012Validator(SCHEMA).iter_errors(form)) == []
    form["with_answers"] = not with_answers
    assert list(Draft202012Validator(SCHEMA).iter_errors(form))


def test_csv_has_a_row_a_question(made: Made) -> None:
    """Every question with its choices, and the answer is among them."""
    rows = list(csv.DictReader(io.StringIO(made.files["questions.csv"].decode(), newline="")))
    asked = json.loads(made.files["lessons.json"])["cases"]
    assert len(rows) == sum(len(case["questions"]) for case in asked)
    for row in rows:
        assert row["answer"]
        assert set(row["answer"].split("\n")) <= set(row["choices"].split("\n"))
        assert row["why"]


def package(made: Made) -> tuple[zipfile.ZipFile, ElementTree.Element]:
    """The package and its manifest."""
    archive = zipfile.ZipFile(io.BytesIO(made.files["qti3.zip"]))
    return archive, ElementTree.fromstring(archive.read("imsmanifest.xml"))


def test_the_manifest_names_every_file_of_the_package(made: Made) -> None:
    """Structure of a QTI 3 package, by 1EdTech's own examples, since the published schema cannot
    be had offline: schema and version, each file listed once, each dependency resolved."""
    archive, manifest = package(made)
    space = {"p": PACKAGE_SPACE}
    assert manifest.tag == f"{{{PACKAGE_SPACE}}}manifest"
    assert [child.tag.rpartition("}")[2] for child in manifest] == [
        "metadata",
        "organizations",
        "resources",
    ]
    assert manifest.findtext("p:metadata/p:schema", "", space) == "QTI Package"
    assert manifest.findtext("p:metadata/p:schemaversion", "", space).startswith("3.0")
    resources = manifest.findall("p:resources/p:resource", space)
    assert {r.get("type") for r in resources} == {
        "imsqti_test_xmlv3p0",
        "imsqti_item_xmlv3p0",
        "webcontent",
    }
    listed = [str(file.get("href")) for r in resources for file in r.findall("p:file", space)]
    assert sorted(listed) == sorted(set(archive.namelist()) - {"imsmanifest.xml"})
    assert archive.namelist()[0] == "imsmanifest.xml"
    names = [r.get("identifier") for r in resources]
    assert len(set(names)) == len(names)
    needed = {d.get("identifierref") for d in manifest.iter(f"{{{PACKAGE_SPACE}}}dependency")}
    assert needed <= set(names)


def test_items_ask_what_the_sheets_ask(made: Made) -> None:
    """Every item is a choice interaction with the choices of its question; the correct response is
    that of the answer sheet, identifiers are names, and the picture is in the package."""
    archive, _ = package(made)
    name = re.compile(r"[A-Za-z_][\w.-]*")
    for case in json.loads(made.files["lessons.json"])["cases"]:
        for question in case["questions"]:
            path = f"items/case-{case['number']:02}-{question['id']}.xml"
            item = ElementTree.fromstring(archive.read(path))
            assert item.tag == f"{{{ITEM_SPACE}}}qti-assessment-item"
            assert name.fullmatch(item.get("identifier", ""))
            assert item.get("time-dependent") == "false"
            order = [child.tag.rpartition("}")[2] for child in item]
            assert order == [
                "qti-response-declaration",
                "qti-outcome-declaration",
                "qti-item-body",
                "qti-response-processing",
            ]
            q = "{" + ITEM_SPACE + "}qti-"
            declared = item.find(f"{q}response-declaration")
            asked = item.find(f"{q}item-body/{q}choice-interaction")
            processing = item.find(f"{q}response-processing")
            assert declared is not None
            assert asked is not None
            assert processing is not None
            assert asked.get("response-identifier") == declared.get("identifier")
            several = question["multiple"]
            assert declared.get("cardinality") == ("multiple" if several else "single")
            assert asked.get("max-choices") == str(len(question["choices"]) if several else 1)
            assert processing.get("template") == MATCH_CORRECT
            right = [v.text for v in item.iter(f"{q}value")]
            assert right == [c["id"] for c in question["choices"] if c["right"]]
            offered = {c.get("identifier"): c.text for c in asked.iter(f"{q}simple-choice")}
            assert offered == {c["id"]: c["text"] for c in question["choices"]}
            (picture,) = item.iter(f"{{{ITEM_SPACE}}}img")
            assert picture.get("src", "").removeprefix("../") in archive.namelist()
            assert picture.get("alt")


def test_the_test_lists_every_item_once(made: Made) -> None:
    """A section for each case, in which its questions stand in order."""
    archive, _ = package(made)
    test = ElementTree.fromstring(archive.read("test.xml"))
    refs = [r.get("href") for r in test.iter(f"{{{ITEM_SPACE}}}qti-assessment-item-ref")]
    assert sorted(map(str, refs)) == sorted(n for n in archive.namelist() if "items/" in n)
    assert len(set(refs)) == len(refs)


def test_an_entry_that_is_no_longer_true_says_so_on_every_sheet() -> None:
    """A verdict that changed, by the entry or by the catalogue, is an alarm on the sheets, in the
    index and in the command's warnings."""
    wrong = replace(FEW, cases=(replace(FEW.cases[0], verdict="trips"), *FEW.cases[1:]))
    made = make(Wanted(), wrong)
    assert len(made.warnings) == 1
    assert "the verdict is trips, and it is misbehaves" in made.warnings[0]
    for name in ("sheet-01.html", "answer-01.html"):
        assert 'role="alert"' in made.files[name].decode()
    assert "changed: do not use" in made.files["index.html"].decode()
    assert 'role="alert"' not in made.files["sheet-02.html"].decode()
    held = make_lessons(FEW, shipped_circuit, lambda case: "sound", Wanted())
    assert len(held.warnings) == len(FEW.cases) - 1
    assert all("Build the catalogue again" in warning for warning in held.warnings)


def test_a_teachers_templates_replace_ours(tmp_path: Path) -> None:
    """A template in the folder is used, the others are ours; a mistake in it is told with its line,
    and a folder that replaces nothing is refused."""
    (tmp_path / "_sheet.html").write_text("<h1>Our own: {{ case.title }}</h1>", "utf-8")
    made = make(Wanted(templates=tmp_path))
    assert "Our own: One combination out of four" in made.files["sheet-01.html"].decode()
    assert "answer sheet" in made.files["answer-01.html"].decode()
    (tmp_path / "_sheet.html").write_text("one\n{% if %}", "utf-8")
    with pytest.raises(UserError, match=r"_sheet\.html line 2: .*; mend the template"):
        make(Wanted(templates=tmp_path))
    (tmp_path / "_sheet.html").write_text("{{ case.colour }}", "utf-8")
    with pytest.raises(UserError, match="colour"):
        make(Wanted(templates=tmp_path))
    (tmp_path / "_sheet.html").rename(tmp_path / "sheet.html")
    with pytest.raises(UserError, match=r"replaces nothing; name its files _answer\.html"):
        make(Wanted(templates=tmp_path))


def test_without_chromium_pdf_is_refused_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is missing, how to get it, and what works without."""
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(UserError, match=r"--format=pdf: needs Chromium.*or make html"):
        make(Wanted(formats=("pdf",)))


# The command and its folder.


def test_the_command_fills_a_folder_and_replaces_its_own_files(
    database: Path, few_file: str, tmp_path: Path
) -> None:
    """Made twice it is the same; made without answers, the answers of before are gone and a file of
    somebody else's stays."""
    out = tmp_path / "sheets"
    result = run("lessons", str(database), str(out), "--curated", few_file)
    assert result.exit_code == 0, result.output
    assert "Made: 2 cases" in words(result.output)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    assert run("lessons", str(database), str(out), "--curated", few_file).exit_code == 0
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    (out / "mine.txt").write_text("mine", "utf-8")
    options = ("--curated", few_file, "--without-answers")
    result = run("lessons", str(database), str(out), *options)
    assert result.exit_code == 0, result.output
    assert "Removed, since not made again: answer-01.html" in words(result.output)
    assert not list(out.glob("answer*"))
    assert (out / "mine.txt").read_text("utf-8") == "mine"


def test_files_of_others_are_left_alone(database: Path, few_file: str, tmp_path: Path) -> None:
    """A file in the way, or one of ours that somebody changed, stops the command before it writes
    anything; all of them are named."""
    out = tmp_path / "sheets"
    out.mkdir()
    for name in ("index.html", "sheets.html"):
        (out / name).write_text("mine", "utf-8")
    result = run("lessons", str(database), str(out), "--curated", few_file)
    assert result.exit_code == 2
    assert result.stderr.count("is there and is not ours") == 2
    assert {path.name for path in out.iterdir()} == {"index.html", "sheets.html"}
    shutil.rmtree(out)
    assert run("lessons", str(database), str(out), "--curated", few_file).exit_code == 0
    with (out / "index.html").open("a", encoding="utf-8") as page:
        page.write("<!-- mine -->")
    result = run("lessons", str(database), str(out), "--curated", few_file)
    assert result.exit_code == 2
    assert "index.html: was changed since Miswire wrote it" in result.stderr
    (out / LIST_NAME).write_text('{"files": {"../x": []}}', "utf-8")
    result = run("lessons", str(database), str(out), "--curated", few_file)
    assert result.exit_code == 2
    assert "is no list of `miswire lessons`" in result.stderr


def test_an_interrupted_run_leaves_whole_files_and_can_be_repeated(
    database: Path, few_file: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped in the middle of writing, every file is whole and nothing half is left behind; the
    same command then goes through."""
    out = tmp_path / "sheets"
    written = 0
    replace_file = Path.replace

    def stop(path: Path, target: Any) -> Path:
        nonlocal written
        written += 1
        if written == 4:
            raise KeyboardInterrupt
        return replace_file(path, target)

    monkeypatch.setattr(Path, "replace", stop)
    assert run("lessons", str(database), str(out), "--curated", few_file).exit_code == 130
    assert not list(out.glob(".miswire-*"))
    assert all(path.read_bytes() for path in out.iterdir())
    assert run("lessons", str(database), str(out), "--curated", few_file).exit_code == 0


def test_all_wrong_options_are_told_at_once(database: Path, tmp_path: Path) -> None:
    """Each with what it may be."""
    result = run(
        *("lessons", str(database), str(tmp_path / "out")),
        *("--format", "html,docx", "--terms", "jp", "--seed", "x", "--paper", "a0"),
    )
    assert result.exit_code == 2
    for words_told in (
        "--format=docx: is not known; write one of html",
        "--terms=jp",
        "--seed=x",
        "--paper=a0",
    ):
        assert words_told in result.stderr
    assert not (tmp_path / "out").exists()


def test_bad_entries_stop_the_command(database: Path, tmp_path: Path) -> None:
    """All of them with their lines, status 2, nothing written."""
    path = tmp_path / "own.toml"
    path.write_text('[[case]]\nlabel = "chain-1.f.1/lamp-open/lamp"\nlevel = "x"\n', "utf-8")
    result = run("lessons", str(database), str(tmp_path / "out"), "--curated", str(path))
    assert result.exit_code == 2
    assert result.stderr.count("own.toml line 1: ") >= 6
    assert not (tmp_path / "out").exists()


# In a real browser.


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """A headless Chromium."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("there is no chromium; install it, on Debian: apt-get install chromium")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def folder(made: Made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The set on disk."""
    out = tmp_path_factory.mktemp("lessons")
    for name, content in made.files.items():
        (out / name).parent.mkdir(exist_ok=True)
        (out / name).write_bytes(content)
    return out


def test_the_folder_opens_from_disk_and_asks_nobody(chromium: Browser, folder: Path) -> None:
    """Every page is shown from the disk without a request that leaves the folder and without a
    complaint, and no page is wider than a small screen."""
    asked: list[str] = []
    complaints: list[str] = []
    context = chromium.new_context(viewport={"width": 390, "height": 800})
    page = context.new_page()

    def note(request: Request) -> None:
        asked.append(request.url)

    page.on("request", note)
    page.on("console", lambda message: complaints.append(message.text))
    for path in sorted(folder.glob("*.html")):
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, path.name
    context.close()
    assert complaints == []
    assert asked
    assert {url.rpartition("/")[0] for url in asked} == {folder.as_uri()}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["index", "sheet-01", "answer-01", "answers"])
def test_nobody_is_shut_out(chromium: Browser, folder: Path, name: str) -> None:
    """axe-core finds nothing serious or critical on the pages."""
    context = chromium.new_context()
    page = context.new_page()
    page.goto((folder / f"{name}.html").as_uri())
    check_accessible(page, 10)
    context.close()


@pytest.mark.parametrize("paper", SHEETS)
def test_sheets_print(chromium: Browser, folder: Path, paper: str) -> None:
    """On either paper nothing is cut off at the edge, every case begins on a page of its own, and
    neither a picture nor a question is torn."""
    context = chromium.new_context(viewport={"width": SHEETS[paper], "height": 900})
    page = context.new_page()
    for name in ("sheets.html", "answers.html"):
        page.goto((folder / name).as_uri())
        page.emulate_media(media="print")
        beyond = page.evaluate(
            """width => [...document.querySelectorAll("main *")]
            .filter(one => one.checkVisibility() && one.getBoundingClientRect().right > width + 1)
            .map(one => one.outerHTML.slice(0, 120))""",
            SHEETS[paper],
        )
        assert beyond == []
        style = "one => [getComputedStyle(one).breakBefore, getComputedStyle(one).breakInside]"
        articles = page.locator("article").all()
        assert len(articles) == len(FEW.cases)
        assert [a.evaluate(style)[0] for a in articles[1:]] == ["page"] * (len(articles) - 1)
        for torn in page.locator("figure, .question, .cautions").all():
            assert torn.evaluate(style)[1] == "avoid"
        highest = page.evaluate(
            "Math.max(...[...document.querySelectorAll('figure')].map(f => f.offsetHeight))"
        )
        assert highest < (279.4 - 30) / 25.4 * 96  # what fits on the shorter of the two papers
        sheets = page.pdf(format=paper, prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", sheets)) >= 2 * len(FEW.cases)
    context.close()


@pytest.mark.slow
def test_pdf_and_png_are_made_where_there_is_a_chromium(chromium: Browser) -> None:
    """The PDF has the paper asked for, and a picture all of its pixels."""
    assert chromium.is_connected()
    assert find_chromium("pdf")
    one = replace(FEW, cases=FEW.cases[:1])
    made = make(Wanted(formats=("pdf", "png", "svg"), paper="letter"), one)
    for name in ("sheets.pdf", "answers.pdf"):
        assert made.files[name].startswith(b"%PDF")
        assert b"/MediaBox [0 0 612 792]" in made.files[name]
    png = made.files["pictures/case-01-found.png"]
    svg = made.files["pictures/case-01-found.svg"].decode()
    width, height = map(float, re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    assert png.startswith(b"\x89PNG")
    size = int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")
    assert size == (2 * round(width), 2 * round(height))
