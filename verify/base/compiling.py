"""Functions of numbers and arrays as machine code."""

from collections.abc import Callable
from typing import Any, Final

_COMPILED: Final[dict[Callable[..., Any], Callable[..., Any]]] = {}


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function as machine code, compiled by numba once for each machine and kept on disk."""
    if function not in _COMPILED:
        import numba

        _COMPILED[function] = numba.njit(cache=True, nogil=True)(function)
    return _COMPILED[function]


def compiled_where(is_worth_it: bool, function: Callable[..., Any]) -> Callable[..., Any]:
    """`function` as machine code where it is worth loading the compiler for, or loaded already.

    Elsewhere it is as Python runs it, which is quicker for little work.
    """
    return compiled(function) if is_worth_it or function in _COMPILED else function
