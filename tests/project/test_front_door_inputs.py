"""What the front doors take, what they refuse, and what becomes of a refusal."""

import pickle
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, cast

import pytest

import catalogue
import verify
from verify.base.problems import Problem, UnknownNameError

#: Values of a wrong type for what they are given to; type checkers would say so too.
PATH: Final[Any] = "data/circuits/stair-feed-at-lamp.toml"
FIVE: Final[Any] = 5
NOTHING: Final[Any] = None

CHAIN: Final = verify.wire("1.f.1")


@pytest.mark.parametrize("kind", [verify.UserError, verify.CircuitError, UnknownNameError])
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
