"""The pages in a real browser: the whole way by mouse and by keyboard, legible for everybody.

Needs Chromium; axe-core comes with the package axe-playwright-python.
"""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pytest
from browser import CLASSIC, MIMIC, ROOT, check_accessible
from lettering import MISMEASURED, STATUSES
from playwright.sync_api import Browser, Error, Locator, Page, Playwright, sync_playwright

from catalogue.drawing.typeface import FAMILY, MARKS

pytest_plugins = ["small_catalogue"]

PHONE: Final = 390
DESKTOP: Final = 1280
WIDTHS: Final = [PHONE, DESKTOP]
#: The width of a sheet of A4 within margins of 10 mm, in CSS pixels.
SHEET: Final = round((210 - 20) / 25.4 * 96)

_CHROMIUM: Final = shutil.which("chromium")
_ARGUMENTS: Final = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
_ALL_DARK: Final = "at-uu=dark&at-du=dark&at-ud=dark&at-dd=dark"
PAGES: Final = {
    "home": "/",
    "faults": f"{ROOT}/faults?verdict=mimic",
    "fault": MIMIC,
    "classic fault": CLASSIC,
    "circuit": f"{ROOT}/circuit/chain-1.f.1",
    "desk": f"{ROOT}/desk",
    "form": f"{ROOT}/desk?locations=2&layout=f.L.1",
    "answer": f"{ROOT}/desk?locations=2&name1=slipway&{_ALL_DARK}",
    "answer for a layout": f"{ROOT}/desk?locations=2&layout=f.L.1&at-uu=lit&at-du=lit",
    "nothing fits": f"{ROOT}/desk?locations=2&at-uu=lit&at-du=lit&at-ud=lit&at-dd=lit"
    "&sign-trips=yes",
    "stop": f"{ROOT}/desk?locations=2&sign-shock=yes&sign-over-bright=yes",
    "stop before the light is known": f"{ROOT}/desk?sign-shock=yes",
    "stop in a plan": f"{ROOT}/desk/plan?circuit=chain-1.f.1&positions=file&at-uu=trips",
    "plan": f"{ROOT}/desk/plan?circuit=chain-1.f.1&positions=file",
    "mimics": f"{ROOT}/mimics",
    "practice": f"{ROOT}/practice?seed=3&boxes=open",
    "practice solved": f"{ROOT}/practice?seed=2&answer=tell",
    "changes": f"{ROOT}/changes",
    "licences": f"{ROOT}/licences",
    "refusal": f"{ROOT}/desk?locations=77",
    "wrong file": f"{ROOT}/desk?file=hello",
}


@pytest.fixture(scope="module")
def server(database: Path) -> Iterator[str]:
    """The address of `miswire serve`, as a person starts it."""
    main = "from catalogue.cli import main; main()"
    command = [sys.executable, "-c", main, "serve", str(database), "--port", "0"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as process:
        try:
            assert process.stdout is not None
            found = re.search(r"http://127\.0\.0\.1:\d+", process.stdout.readline())
            assert found, "no address"
            yield found[0]
        finally:
            process.terminate()


@pytest.fixture(scope="module")
def playwright() -> Iterator[Playwright]:
    """What drives the browser."""
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="module")
def chromium(playwright: Playwright) -> Iterator[Browser]:
    """A headless Chromium."""
    if _CHROMIUM is None:
        pytest.skip("there is no chromium; install it, on Debian: apt-get install chromium")
    browser = playwright.chromium.launch(executable_path=_CHROMIUM, args=_ARGUMENTS)
    yield browser
    browser.close()


@dataclass
class Visitor:
    """A person at a page of ours. `complaints` are what the browser had to say, normally nothing.

    `by_keyboard` reaches everything with the keys alone.
    """

    page: Page
    by_keyboard: bool = False
    complaints: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("requestfailed", lambda request: self.complaints.append(request.url))

    def follow(self, target: Locator) -> None:
        """Follow a link or press a button, and wait for the page that comes."""
        if self.by_keyboard:
            self._reach(target)
        with self.page.expect_navigation():
            if self.by_keyboard:
                self.page.keyboard.press("Enter")
            else:
                target.click()

    def unfold(self, target: Locator) -> None:
        """Open a summary."""
        if self.by_keyboard:
            self._reach(target)
            self.page.keyboard.press("Enter")
        else:
            target.click()

    def choose(self, radio: Locator) -> None:
        """Choose one of some radio buttons."""
        if not self.by_keyboard:
            radio.check()
            return
        group = self.page.locator(f'input[type="radio"][name="{radio.get_attribute("name")}"]')
        self._reach(group)
        self.page.keyboard.press("Space")
        for _ in range(group.count() + 1):
            if radio.is_checked():
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError("the arrow keys do not reach it")

    def tick(self, box: Locator) -> None:
        """Tick a box."""
        if self.by_keyboard:
            self._reach(box)
            self.page.keyboard.press("Space")
        else:
            box.check()

    def write(self, place: Locator, text: str) -> None:
        """Write in a field."""
        if self.by_keyboard:
            self._reach(place)
            self.page.keyboard.type(text)
        else:
            place.fill(text)

    def _reach(self, target: Locator) -> None:
        """Go on with the tabulator until one of the targets has the focus, and see that it does."""
        for _ in range(200):
            self.page.keyboard.press("Tab")
            if target.evaluate_all("all => all.includes(document.activeElement)"):
                shown = "getComputedStyle(document.activeElement).outlineStyle"
                assert self.page.evaluate(shown) != "none"
                return
        raise AssertionError("the tabulator does not reach it")


@contextmanager
def visiting(
    browser: Browser, server: str, width: int, *, scheme: Any = "light", **options: Any
) -> Iterator[Visitor]:
    """A visitor with a window of that width."""
    context = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme=scheme,
        base_url=server,
        **options,
    )
    visitor = Visitor(context.new_page())
    try:
        yield visitor
    finally:
        context.close()


def is_there(path: str) -> bool:
    """True for pages that are no refusal, about which the browser complains."""
    return "=77" not in path and "file=" not in path


@pytest.mark.parametrize("by_keyboard", [False, True], ids=["mouse", "keyboard"])
@pytest.mark.parametrize("width", WIDTHS)
def test_whole_way_from_home_to_a_named_suspect(
    chromium: Browser, server: str, width: int, by_keyboard: bool
) -> None:
    """From the first page to a next check, through two findings to a suspect with a name, back a
    step, and on to the page of an example: by mouse or by keys alone, without a complaint."""
    with visiting(chromium, server, width) as visitor:
        visitor.by_keyboard = by_keyboard
        page = visitor.page
        page.goto("/")
        visitor.follow(page.get_by_role("link", name="To the symptom desk"))
        visitor.follow(page.get_by_role("link", name="2 switches"))
        visitor.unfold(page.locator("summary", has_text="Give the switches names"))
        visitor.write(page.get_by_label("Switch A"), "slipway")
        for state in ("uu", "du", "dd"):
            visitor.choose(page.locator(f"#at-{state}-dark"))
        visitor.follow(page.get_by_role("button", name="Who fits this?"))

        heading = page.get_by_role("heading", level=1)
        before = int(heading.inner_text().split()[0].replace(",", ""))
        assert before > 10
        assert "at-uu=dark" in page.url
        assert "slipway" in page.locator(".path").inner_text()
        following = page.locator(".next")
        assert following.locator(".check-title").first.inner_text().startswith("Set slipway up")
        visitor.choose(following.get_by_label("dark", exact=True).first)
        visitor.follow(following.get_by_role("button", name="Go on").first)
        left = int(heading.inner_text().split()[0].replace(",", ""))
        assert left < before
        assert "Found: dark." in page.locator(".path").inner_text()

        title = page.locator(".next .check-title").first.inner_text()
        findings = page.locator(".next form").first.get_by_role("radio")
        wanted = findings.nth(1)
        visitor.choose(wanted)
        label = page.locator(f'label[for="{wanted.get_attribute("id")}"]').inner_text()
        visitor.follow(page.locator(".next").get_by_role("button", name="Go on").first)
        assert f"{title} Found: {label}." in page.locator(".path").inner_text()
        last = heading.inner_text()
        assert last.startswith("One") or int(last.split()[0]) < left
        assert label in page.locator(".suspects").inner_text()

        address = page.url
        visitor.follow(page.get_by_role("link", name="Step back").last)
        assert heading.inner_text().startswith(f"{left:,} suspects")
        page.goto(address)
        visitor.follow(page.locator(".suspects p > a[href*='/fault/']").first)
        assert "/fault/" in page.url
        assert page.get_by_role("heading", name="Verdict").is_visible()
        assert visitor.complaints == []


@pytest.mark.parametrize("width", WIDTHS)
def test_a_layout_is_picked_from_the_pictures(chromium: Browser, server: str, width: int) -> None:
    """A click on a small picture picks that layout, and the answer says so."""
    with visiting(chromium, server, width) as visitor:
        page = visitor.page
        page.goto(f"{ROOT}/desk?locations=2")
        page.get_by_text("Pick a picture").click()
        page.locator('label[for="layout-f.L.L"] svg').click()
        page.locator("#at-uu-lit").check()
        page.get_by_label("The breaker or the residual-current device").check()
        page.get_by_role("button", name="Who fits this?").click()
        assert "layout=f.L.L" in page.url
        assert "sign-trips=yes" in page.url
        assert "from the lamp on to A and B" in page.inner_text("main")
        assert visitor.complaints == []


def test_a_circuit_is_pasted(chromium: Browser, server: str, database: Path) -> None:
    """A pasted circuit leads to a form with its switches, and to an address that is not long."""
    circuit = (Path(__file__).parents[2] / "data/circuits/stair-feed-at-lamp.toml").read_text()
    with visiting(chromium, server, DESKTOP) as visitor:
        page = visitor.page
        page.goto(f"{ROOT}/desk")
        page.get_by_label("The circuit file").fill(circuit)
        page.get_by_role("button", name="Use this circuit").click()
        page.locator("#at-uu-dark").check()
        page.get_by_role("button", name="Who fits this?").click()
        assert len(page.url) < 1_500
        assert "suspects fit" in page.get_by_role("heading", level=1).inner_text()
        page.locator(".suspects summary", has_text="A picture").first.click()
        picture = page.locator(".suspects img").first
        picture.scroll_into_view_if_needed()
        assert picture.evaluate("one => one.decode().then(() => one.naturalWidth)") > 400
        assert visitor.complaints == []


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_nobody_is_shut_out(chromium: Browser, server: str, name: str, scheme: str) -> None:
    """axe-core finds nothing serious or critical on any page, in light and in dark."""
    with visiting(chromium, server, DESKTOP, scheme=scheme, bypass_csp=True) as visitor:
        page = visitor.page
        page.goto(PAGES[name])
        page.locator("details").evaluate_all("all => all.forEach(one => one.open = true)")
        check_accessible(page, 15)


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", PAGES)
def test_pages_fit_their_window(chromium: Browser, server: str, name: str, width: int) -> None:
    """No page is wider than its window, and the browser has nothing to complain of."""
    with visiting(chromium, server, width) as visitor:
        page = visitor.page
        page.goto(PAGES[name])
        page.locator("details").evaluate_all("all => all.forEach(one => one.open = true)")
        page.wait_for_load_state("networkidle")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if is_there(PAGES[name]):
            assert visitor.complaints == []


@pytest.mark.parametrize("name", ["fault", "circuit", "answer", "stop", "plan", "mimics"])
def test_pages_print(chromium: Browser, server: str, name: str) -> None:
    """On paper nothing is cut off at the edge, what was folded is open, and forms are gone."""
    with visiting(chromium, server, SHEET) as visitor:
        page = visitor.page
        page.goto(PAGES[name])
        page.wait_for_load_state("networkidle")
        page.emulate_media(media="print")
        beyond = page.evaluate(
            """width => [...document.querySelectorAll("main *, footer *")]
            .filter(one => one.checkVisibility() && one.getBoundingClientRect().right > width + 1)
            .map(one => one.outerHTML.slice(0, 120))""",
            SHEET,
        )
        assert beyond == []
        assert page.locator("form:visible").count() == 0
        assert page.get_by_text("Before you open a box.").is_visible()
        for one in page.locator("details:visible").all():
            assert one.evaluate("one => one.scrollHeight > one.firstElementChild.offsetHeight")
        sheets = page.pdf(format="A4", margin={"left": "10mm", "right": "10mm", "top": "10mm"})
        assert sheets.startswith(b"%PDF")
        assert len(re.findall(rb"/Type\s*/Page\b", sheets)) >= 1


def test_pages_and_their_pictures_are_written_in_our_letters(
    chromium: Browser, server: str
) -> None:
    """Under our policy a page gets its letters from us, and a picture by itself from inside it."""
    with visiting(chromium, server, DESKTOP) as visitor:
        page = visitor.page
        page.goto(f"{ROOT}/circuit/chain-1.f.1")
        assert [FAMILY, "loaded"] in page.evaluate(STATUSES)
        assert page.evaluate(MISMEASURED) == []
        page.goto(MIMIC)
        assert [MARKS, "loaded"] in page.evaluate(STATUSES)
        page.goto(f"{ROOT}/desk/picture?circuit=chain-1.f.1&fault=left-off/box-2,switch-2.ground")
        assert page.evaluate(STATUSES) == [[FAMILY, "loaded"]] * 2
        assert page.evaluate(MISMEASURED) == []
        assert visitor.complaints == []


def test_the_checks_of_the_browser_can_fail(chromium: Browser, server: str) -> None:
    """A script is stopped by the policy, and the browser's complaint is heard."""
    with visiting(chromium, server, DESKTOP) as visitor:
        visitor.page.goto("/")
        with pytest.raises(Error, match=r"Content Security Policy|violates"):
            visitor.page.add_script_tag(content="document.title = 'run'")
        assert visitor.complaints
        assert visitor.page.title() != "run"
