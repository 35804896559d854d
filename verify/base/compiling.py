"""Functions of numbers and arrays as machine code."""

from collections.abc import Callable
from functools import cache
from typing import Any


@cache
def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function as machine code, compiled by numba once for each machine and kept on disk."""
    import numba

    made: Callable[..., Any] = numba.njit(cache=True, nogil=True)(function)
    return made
