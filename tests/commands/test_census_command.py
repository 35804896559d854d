"""`miswire census`: what it tells, what it refuses, and how a run is spread and taken up again."""

import json
import re
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import pytest
from commandline import run, words

from catalogue.build.census import take_census
from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.typeface import standalone
from verify.base.problems import UserError
from verify.study.census.pruning import PRUNED, PRUNING_RULES, UNPRUNED
from verify.study.census.search import run_of, search_batches
from verify.study.census.terminals import bell
from verify.study.census.wiring_families import closed_form

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("locations", [2, 3])
def test_json_has_the_fixed_form(locations: int) -> None:
    """The keys of the fixed form, the numbers of the search, and families that add up."""
    result = run("census", str(locations), "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert list(told)[:5] == ["locations", "terminals", "wirings", "any_location", "families"]
    assert told["locations"] == locations
    assert told["terminals"] == 4 * locations + 2
    assert told["wirings"] == bell(4 * locations + 2)
    assert told["any_location"] == told["closed_form"] == closed_form(locations)
    assert sum(family["wirings"] for family in told["families"]) == told["any_location"]
    assert sum(family["sound"] for family in told["families"]) == told["sound"]
    for family in told["families"]:
        assert list(family)[:3] == ["name", "wirings", "hazards"]
        assert {*family["hazards_of_all"]} <= {*family["hazards"]}
        joined = [name for join in family["example"] for name in join]
        assert len(joined) == len({*joined})


def test_unpruned_tells_the_same() -> None:
    """Without the rules the same answer comes of more nodes."""
    fast, slow = (
        json.loads(run("census", "2", "--json", *options).stdout)
        for options in ((), ("--unpruned",))
    )
    assert slow.pop("nodes") > fast.pop("nodes")
    assert slow == fast


def test_text_says_numbers_families_rules_and_cautions() -> None:
    """Everything that the JSON has, in words, with why the search is complete."""
    text = words(run("census", "3").stdout)
    assert "190,899,322 ways" in text
    assert "256 wirings never trip" in text
    assert "48 of them are without hazard" in text
    for family in take_census(3).families:
        assert family.name in text
    for rule in PRUNING_RULES:
        assert rule.reason in text
    assert "a1 and a2 of four-way-1; the sides of four-way-1;" in text
    assert "By which side of the lamp is which: lamp-reversed." in text
    assert "Cautions:" in text


def test_unpruned_text_names_the_one_rule_that_is_kept() -> None:
    """What is not left out is not told as if it were."""
    text = words(run("census", "2", "--unpruned").stdout)
    assert [rule.reason in text for rule in PRUNING_RULES] == [True, False, False, False, False]


def test_the_numbers_of_the_readme() -> None:
    """The table in the README is what is found, beyond three locations by the closed form."""
    rows = re.findall(r"^\| (\d) \| ([\d,]+) \| ([\d,]+) \| ([\d,]+) \|$", _readme(), re.MULTILINE)
    table = [[int(cell.replace(",", "")) for cell in row] for row in rows]
    expected = []
    for locations in (2, 3, 4, 5):
        sound = locations * closed_form(locations) // (2 * (3 * locations - 1))
        expected.append([locations, bell(4 * locations + 2), closed_form(locations), sound])
        if locations < 4:
            families = take_census(locations).families
            assert sum(family.sound for family in families) == sound
    assert table == expected


def _readme() -> str:
    return (ROOT / "README.md").read_text("utf-8")


# --- refusals


@pytest.mark.parametrize("number", ["1", "6", "0", "-2", "two", "2.0", "1_0", "\x1b[2J"])
def test_other_numbers_are_refused(number: str) -> None:
    """One sentence with the rule, and nothing else happens."""
    result = run("census", "--", number)
    assert result.exit_code == 2
    assert "must be a whole number from 2 to 5" in result.stderr
    assert "N=" in result.stderr
    assert "\x1b" not in result.stderr
    assert result.stdout == ""


def test_all_mistakes_are_told_at_once() -> None:
    """A wrong number of workers does not hide that four locations are too many."""
    result = run("census", "4", "--unpruned", "--workers", "0")
    assert result.exit_code == 2
    assert "must be at most 3 with --unpruned; leave the option out" in words(result.stderr)
    assert "--workers=0: must be a whole number from 1" in words(result.stderr)


def test_places_are_checked_before_the_search(tmp_path: Path) -> None:
    """A folder that is not there is noticed at once, not after the search."""
    missing = tmp_path / "none"
    result = run("census", "7", "--resume", str(missing / "run.json"), "--pictures", str(missing))
    assert result.exit_code == 2
    assert "N=7" in result.stderr
    assert "its folder does not exist" in words(result.stderr)
    assert "is no folder; make it" in words(result.stderr)
    result = run("census", "2", "--resume", str(tmp_path))
    assert result.exit_code == 2
    assert "is a folder; write the name of a file" in words(result.stderr)


# --- pictures


def test_every_family_is_drawn(tmp_path: Path) -> None:
    """Two pictures a family, those that the library draws of its example."""
    result = run("census", "3", "--pictures", str(tmp_path))
    assert result.exit_code == 0
    taken = take_census(3)
    assert len(list(tmp_path.iterdir())) == 2 * len(taken.families) == 10
    for family in taken.families:
        name = f"census-3-{family.name.replace(' ', '-')}"
        circuit = taken.parts.circuit(family.example, family.name[0].upper() + family.name[1:])
        assert (tmp_path / f"{name}.svg").read_text("utf-8") == standalone(
            schematic_picture(circuit)
        )
        assert (tmp_path / f"{name}-terminals.svg").read_text("utf-8") == standalone(
            wiring_picture(circuit)
        )
    assert run("census", "3", "--pictures", str(tmp_path)).exit_code == 0


def test_a_file_that_is_no_picture_is_left_alone(tmp_path: Path) -> None:
    """Somebody's own file of that name stays as it is, and no other picture is written."""
    own = tmp_path / "census-2-tied-commons-in-the-line.svg"
    own.write_text("mine", "utf-8")
    result = run("census", "2", "--pictures", str(tmp_path))
    assert result.exit_code == 2
    assert "is not an SVG of ours" in words(result.stderr)
    assert [path.name for path in tmp_path.iterdir()] == [own.name]
    assert own.read_text("utf-8") == "mine"


# --- spreading and resuming


class _Dying(Executor):
    """An executor whose first job is lost, and that takes none after the second."""

    def __init__(self) -> None:
        self.jobs = 0

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it, lose it, or refuse it."""
        self.jobs += 1
        future: Future[Any] = Future()
        if self.jobs == 1:
            future.set_exception(BrokenProcessPool())
        elif self.jobs == 2:
            future.set_result(fn(*args, **kwargs))
        else:
            raise BrokenProcessPool
        return future


@pytest.mark.parametrize("workers", [0, 2, 5])
def test_any_executor_finds_the_same(workers: int) -> None:
    """Batches come back in order with the same content, whoever searched them."""
    batches = run_of(3).batches
    assert len(batches) > 3
    expected = list(search_batches(batches))
    with ThreadPoolExecutor(workers) if workers else _Dying() as executor:
        assert list(search_batches(batches, executor=executor, window=3)) == expected


def test_no_more_batches_are_out_than_the_window() -> None:
    """A slow reader does not make results pile up."""
    batches = run_of(3).batches
    counting = _Counting()
    results = search_batches(batches, executor=counting, window=2)
    for _ in range(2):
        next(results)
    assert counting.submitted <= 4


class _Counting(Executor):
    """Does everything at once and counts it."""

    submitted = 0

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it."""
        self.submitted += 1
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


@pytest.mark.slow
def test_processes_find_the_same() -> None:
    """Two workers in processes of their own come to the result of one."""
    assert take_census(4, workers=2) == take_census(4)


def test_a_run_that_was_stopped_goes_on(tmp_path: Path) -> None:
    """Stopped after any batch it searches the rest only and ends with the same result."""
    whole = take_census(3)
    keep = tmp_path / "run.json"
    batches = len(run_of(3).batches)

    class StoppedError(Exception):
        pass

    def stop(done: int, total: int) -> None:
        assert total == batches
        if done == 2:
            raise StoppedError

    with pytest.raises(StoppedError):
        take_census(3, keep=keep, progress=stop)
    assert len(json.loads(keep.read_text("utf-8"))["done"]) == 2
    seen = []
    resumed = take_census(3, keep=keep, progress=lambda done, total: seen.append(done))
    assert resumed == whole
    assert seen == list(range(2, batches + 1))
    assert take_census(3, keep=keep) == whole
    assert [path.name for path in tmp_path.iterdir()] == ["run.json"]


def test_what_is_kept_is_what_is_used(tmp_path: Path) -> None:
    """A kept batch is not searched again: a wiring left out of the file is missed."""
    keep = tmp_path / "run.json"
    take_census(3, keep=keep)
    held = json.loads(keep.read_text("utf-8"))
    number = next(number for number, form in held["done"].items() if form["wirings"])
    held["done"][number]["wirings"].pop()
    keep.write_text(json.dumps(held), "utf-8")
    with pytest.raises(Exception, match="not closed"):
        take_census(3, keep=keep)


@pytest.mark.parametrize(
    "content",
    ["", "{", "[]", "7", "null", '{"census": 1}', '{"census": 1, "locations": 3, "rules": 15}'],
)
def test_a_file_that_is_no_run_is_refused_and_left_alone(tmp_path: Path, content: str) -> None:
    """Whatever it is, it is not replaced."""
    keep = tmp_path / "own.json"
    keep.write_text(content, "utf-8")
    result = run("census", "3", "--resume", str(keep))
    assert result.exit_code == 2
    assert "holds no run of a census; write the name of a new file" in words(result.stderr)
    assert keep.read_text("utf-8") == content


@pytest.mark.parametrize("number", ["99", "-1"])
def test_a_file_with_other_batches_is_refused(tmp_path: Path, number: str) -> None:
    """A batch that the run does not have is no part of it."""
    keep = tmp_path / "run.json"
    take_census(2, keep=keep)
    held = json.loads(keep.read_text("utf-8"))
    held["done"][number] = held["done"].pop("0")
    keep.write_text(json.dumps(held), "utf-8")
    with pytest.raises(UserError, match="holds no run of a census"):
        take_census(2, keep=keep)


def test_a_file_of_another_run_is_refused(tmp_path: Path) -> None:
    """Other locations and other rules have other batches."""
    keep = tmp_path / "run.json"
    take_census(2, keep=keep)
    for locations, rules in ((3, PRUNED), (2, UNPRUNED)):
        with pytest.raises(UserError, match=f"it is of another run, .* rules {PRUNED}"):
            take_census(locations, rules, keep=keep)
