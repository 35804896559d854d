"""What the front doors take, what they refuse, and what becomes of a refusal."""

import pickle
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, cast

import numpy as np
import pytest

import catalogue
import verify
from verify.base.problems import Problem, UnfitValueError, UnknownNameError

#: Values of a wrong type for what they are given to; type checkers would say so too.
PATH: Final[Any] = "data/circuits/stair-feed-at-lamp.toml"
FIVE: Final[Any] = 5
NOTHING: Final[Any] = None

ROOT: Final = Path(__file__).parents[2]
CHAIN: Final = verify.wire("1.f.1")


@pytest.mark.parametrize(
    "kind", [verify.UserError, verify.CircuitError, UnknownNameError, UnfitValueError]
)
def test_a_refusal_travels_between_processes(kind: type[verify.UserError]) -> None:
    """Pickled and read again it is of the same class, with the same problems and text."""
    refusal = kind([Problem("box.landing", "is of brass", "material"), Problem("", "is empty")])
    again = pickle.loads(pickle.dumps(refusal))
    assert type(again) is kind
    assert again.problems == refusal.problems
    assert again.problems[0].about == "material"
    assert str(again) == str(refusal) == "box.landing: is of brass\nis empty"


CIRCUIT_WANTED = r"is a str; give a Circuit, such as verify\.load\(…\) returns"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (lambda: verify.examine(PATH), f"^circuit='{PATH}' {CIRCUIT_WANTED}$"),
        (lambda: verify.faults(PATH), f"^circuit='{PATH}' {CIRCUIT_WANTED}$"),
        (lambda: verify.find_fault(PATH, "lamp-open/lamp"), f"^circuit='{PATH}' {CIRCUIT_WANTED}$"),
        (lambda: verify.find_fault(CHAIN, FIVE), "^fault=5 is an int; give a label, a Fault, or"),
        (
            lambda: catalogue.draw(CHAIN, state=FIVE),
            "^state=5 is an int; give a row of states",
        ),
        (lambda: verify.wire(FIVE), "^layout=5 is an int; give a Layout, or its code such as"),
        (lambda: catalogue.draw(PATH), f"^circuit='{PATH}' {CIRCUIT_WANTED}$"),
        (lambda: verify.dump(PATH), f"^circuit='{PATH}' {CIRCUIT_WANTED}$"),
        (lambda: verify.load(FIVE), "^source=5 is an int; give a path or an open file$"),
        (lambda: verify.load(NOTHING), "^source=None is a NoneType; give a path or an open file$"),
        (lambda: verify.loads(FIVE), "^content=5 is an int; give the text of a circuit file; load"),
        (lambda: verify.loads(cast(Any, Path(PATH))), "^content=.*Path.*; load takes a path$"),
        (
            lambda: catalogue.suspects(NOTHING),
            "^source=None is a NoneType; give a Circuit",
        ),
        (
            lambda: catalogue.suspects(PATH, FIVE),
            "^saw=5 is an int; give a text, or a list",
        ),
        (lambda: catalogue.suspects(PATH, signs=[FIVE]), r"^signs\[0\]=5 is an int; give a text"),
    ],
)
def test_a_value_of_another_type_is_refused(asked: Callable[[], Any], said: str) -> None:
    """Each entrance says what it was given, of which type that is, and what to give it."""
    with pytest.raises(verify.UserError, match=said):
        asked()


def test_a_refusal_shows_values_in_one_short_line() -> None:
    """What Python prints in many lines, such as an examination, is cut to one that can be read."""
    circuit: Any = verify.examine(CHAIN)
    with pytest.raises(verify.UserError) as refusal:
        verify.examine(circuit)
    assert len(str(refusal.value).splitlines()) == 1
    assert re.fullmatch(r"circuit=.{,60} is an Examination; give .*", str(refusal.value))


def test_what_one_name_gives_another_takes() -> None:
    """A fault is named by its label, itself or its row, a state by its row, text or mapping."""
    row = verify.faults(CHAIN)[7]
    by_label = verify.find_fault(CHAIN, row.label)
    assert by_label == verify.find_fault(CHAIN, row) == verify.find_fault(CHAIN, row.fault)
    state = verify.examine(CHAIN).states[1]
    pictures = [
        catalogue.draw(CHAIN, fault=fault, state=where)
        for fault, where in (
            (row.label, "switch-1=down,switch-2=up"),
            (row, state),
            (row.fault, state.positions),
        )
    ]
    assert pictures[0] == pictures[1] == pictures[2]


def test_what_python_prints_names_the_class() -> None:
    """A fault, a row with its verdict, and a state are told apart by their first word."""
    row = verify.faults(CHAIN)[0]
    shown = [repr(item) for item in (row, row.fault, verify.examine(CHAIN).states[0])]
    assert [text.split()[0] for text in shown] == ["<JudgedFault", "<Fault", "<StateRow"]


def test_a_wrong_file_is_named_once(tmp_path: Path) -> None:
    """Every mistake says in which file it is, and then where there; a colon follows each place."""
    path = tmp_path / "slipway.toml"
    path.write_text("format = 2\n[box.slipway]\nmaterial = 'brass'\n", "utf-8")
    with pytest.raises(verify.UserError) as of_text:
        verify.loads(path.read_text("utf-8"))
    wanted = [(f"{path}: {p.place}", p.message) for p in of_text.value.problems]
    assert len(wanted) > 1
    with path.open(encoding="utf-8") as file:
        asked: list[Callable[[], object]] = [
            lambda: verify.load(path),
            lambda: verify.load(str(path)),
            lambda: verify.load(file),
            lambda: catalogue.suspects(path),
        ]
        for ask in asked:
            with pytest.raises(verify.UserError) as refusal:
                ask()
            assert [(p.place, p.message) for p in refusal.value.problems] == wanted


@pytest.mark.parametrize("asked", [verify.load, catalogue.suspects])
def test_a_mistake_of_a_whole_file_has_one_colon(asked: Callable[[str], Any]) -> None:
    """A file that is no circuit at all has no place within; its name is followed by one colon."""
    with pytest.raises(verify.UserError, match=r"README\.md: the file is not TOML \("):
        asked(str(ROOT / "README.md"))


def test_load_and_loads_point_to_each_other() -> None:
    """Who gives a text for a path, or a path for a text, hears which name takes it."""
    with pytest.raises(verify.CircuitError, match=r"^source=format = 1.* is a text; .*; loads "):
        verify.load(verify.dump(CHAIN))
    with pytest.raises(verify.CircuitError, match=rf"^content={PATH} is a path; .*; load takes"):
        verify.loads(PATH)


def test_type_checkers_see_misspelt_names(tmp_path: Path) -> None:
    """A name that a front door has is one to a type checker, another name is a mistake."""
    program = tmp_path / "program.py"
    program.write_text("import catalogue, verify\nverify.load\nverify.laod\ncatalogue.suspect\n")
    doors = [str(Path(str(package.__file__))) for package in (verify, catalogue)]
    # Nothing but the front doors is read, so that this takes a second.
    quick = ["--config-file=", "--strict", "--follow-imports=skip", "--no-incremental"]
    command = [sys.executable, "-m", "mypy", *quick, *doors, str(program)]
    told = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False).stdout
    lines = re.findall(r'program\.py:(\d+): error: Module has no attribute "(\w+)"', told)
    assert lines == [("3", "laod"), ("4", "suspect")], told


@pytest.mark.parametrize("saw", ["slipway-switch=up,workshop-switch=up: dark", ()])
@pytest.mark.parametrize("signs", [(), "trips"])
def test_parts_of_an_answer_are_printed_in_a_line(saw: str, signs: str) -> None:
    """What an answer holds shows its class and what counts, not all its suspects.

    What to do is not among it, since that goes with its cautions.
    """
    answer = catalogue.suspects(ROOT / PATH, saw, signs=signs)
    group, proposal = answer.groups[0], answer.next_checks[0]
    for item in (answer.plan, answer.match, answer.pool, group, proposal, proposal.check):
        assert repr(item).startswith(f"<{type(item).__name__}")
        assert len(repr(item).splitlines()) == 1
        assert len(repr(item)) < 200
        assert proposal.check.title not in repr(item)
    assert repr(group.name) in repr(group)
    assert f"{group.faults} fault" in repr(group)
    assert proposal.check.key in repr(proposal)
    assert str(len(answer.match.suspects)) in repr(answer.match)
    assert all(stop.name in repr(answer.plan) for stop in answer.stops)


def test_answers_can_be_compared_and_kept_in_sets() -> None:
    """An answer, its match and its pool are each equal to themselves, whatever arrays they hold."""
    one, other = (catalogue.suspects(CHAIN) for _ in range(2))
    for mine, theirs in ((one, other), (one.match, other.match), (one.pool, other.pool)):
        assert mine == mine  # noqa: PLR0124 - that this is no error
        assert mine != theirs
        assert len({mine, theirs}) == 2


@pytest.mark.parametrize("label", ["left-off/lamp-box,lamp.ground", "whole-circuit/both-poles"])
def test_a_fault_is_made_in_its_own_circuit_only(label: str) -> None:
    """Another circuit is refused with its fault's own name; an equal one is as good as its own."""
    fault = verify.find_fault(CHAIN, label)
    equal = verify.loads(verify.dump(CHAIN))
    assert equal is not CHAIN
    assert fault.apply(equal) == fault.apply(CHAIN) != CHAIN
    again = pickle.loads(pickle.dumps(fault))
    assert again == fault
    for other in (verify.wire("2.f.1"), fault.apply(CHAIN)):
        with pytest.raises(verify.UserError, match=f"^fault={label}: is a fault of another"):
            again.apply(other)


def test_a_picture_goes_into_no_file_of_another_kind(tmp_path: Path) -> None:
    """A PNG that holds SVG opens nowhere: other suffixes are refused, with the one that fits."""
    picture = catalogue.draw(CHAIN)
    with pytest.raises(verify.UserError, match=r"stair\.png: .* not \.png; write stair\.svg"):
        picture.save(tmp_path / "stair.png")
    assert not any(tmp_path.iterdir())
    for name in ("stair.SVG", "stair"):
        picture.save(tmp_path / name)
        assert (tmp_path / name).read_text("utf-8") == picture.svg


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (lambda: verify.layouts(1), ["locations=1 must be 2 or more"]),
        (
            lambda: verify.layouts(cast(Any, "2")),
            ["locations='2' is a str; give a whole number, 2"],
        ),
        (lambda: verify.layouts(cast(Any, 2.0)), ["locations=2.0 is a float; give a whole number"]),
        (lambda: verify.Layout.parse("zz"), ["code='zz' is not a layout; write one as 1.f.1"]),
        (lambda: verify.random_circuit(1, most=17), ["fewest=2 and most=17 must be in order"]),
        (
            lambda: verify.random_circuit(-1, True, most=cast(Any, "3")),
            [
                "seed=-1 must be 0 or more",
                "index=True is a bool; give a whole number, 0 or more",
                "most='3' is a str; give a whole number, 0 or more",
            ],
        ),
        (lambda: verify.random_circuit(NOTHING), ["seed=None is a NoneType; give a whole number"]),
    ],
)
def test_a_value_that_does_not_fit_is_refused(asked: Callable[[], Any], said: list[str]) -> None:
    """Values out of range are told like other mistakes, all at once; Python's own class holds."""
    with pytest.raises(verify.UserError) as refusal:
        asked()
    assert isinstance(refusal.value, ValueError)
    told = str(refusal.value).splitlines()
    assert all(line.startswith(start) for line, start in zip(told, said, strict=True)), told


def test_numbers_of_arrays_are_whole_numbers() -> None:
    """An index that comes from numpy draws what the same number of Python draws."""
    assert verify.random_circuit(cast(int, np.int64(3))) == verify.random_circuit(3)
