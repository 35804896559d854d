"""What the front doors take, what they refuse, and what becomes of a refusal."""

import pickle

import pytest

import verify
from verify.base.problems import Problem, UnknownNameError


@pytest.mark.parametrize("kind", [verify.UserError, verify.CircuitError, UnknownNameError])
def test_a_refusal_travels_between_processes(kind: type[verify.UserError]) -> None:
    """Pickled and read again it is of the same class, with the same problems and text."""
    refusal = kind([Problem("box.landing", "is of brass", "material"), Problem("", "is empty")])
    again = pickle.loads(pickle.dumps(refusal))
    assert type(again) is kind
    assert again.problems == refusal.problems
    assert again.problems[0].about == "material"
    assert str(again) == str(refusal) == "box.landing: is of brass\nis empty"
