"""Kernels: functions of numbers and arrays that run as machine code, or as plain Python.

A kernel is compiled for much work and runs as it is for little, which is then done sooner than a
compiler is loaded. It falls into helpers marked `inlined`: plain Python calls them, and numba
writes them into the code of each kernel that calls them, so that they cost no call there.

numba keeps machine code on disk and looks only at the file of the compiled function to see whether
it is out of date. So the name of a kernel's machine code ends in a hash of the files that its
helpers are written in: code made of other helpers is not found under it.
"""

import hashlib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any, Final, TypeVar

_F = TypeVar("_F", bound=Callable[..., object])

_HELPERS: Final[set[FunctionType]] = set()


def inlined(function: _F) -> _F:
    """Mark a function as a helper of kernels; a kernel calls it by a global name of its module."""
    assert isinstance(function, FunctionType)
    _HELPERS.add(function)
    return function


@cache
def compiled(function: Callable[..., Any], *, allocates: bool = True) -> Callable[..., Any]:
    """A kernel as machine code, compiled by numba once for each machine and kept on disk.

    One that makes no arrays of its own may say so: then no references to arrays are counted, which
    costs time wherever one is handed to a helper.
    """
    import numba

    assert isinstance(function, FunctionType)
    kernel = _with_inlined_helpers(function)
    files = sorted({helper.__code__.co_filename for helper in _helpers_under(function)})
    if files:
        content = b"".join(Path(file).read_bytes() for file in files)
        kernel.__qualname__ += f"_{hashlib.sha256(content).hexdigest()[:16]}"
    # `_nrt` is the count of references; numba's type hints leave this option out.
    options: dict[str, Any] = {"cache": True, "nogil": True, "_nrt": allocates}
    made: Callable[..., Any] = numba.njit(**options)(kernel)
    return made


def _with_inlined_helpers(function: FunctionType) -> FunctionType:
    """A copy of a function for the compiler, whose helpers are those that numba writes into it."""
    helpers = {name: _for_compiler(helper) for name, helper in _helpers_of(function)}
    copy = FunctionType(
        function.__code__,
        {**function.__globals__, **helpers},
        function.__name__,
        function.__defaults__,
        function.__closure__,
    )
    copy.__qualname__ = function.__qualname__
    copy.__module__ = function.__module__
    return copy


@cache
def _for_compiler(helper: FunctionType) -> Any:
    import numba

    return numba.njit(inline="always", nogil=True)(_with_inlined_helpers(helper))


def _helpers_of(function: FunctionType) -> Iterator[tuple[str, FunctionType]]:
    """The helpers that a function itself calls, by the names that it calls them."""
    for name in function.__code__.co_names:
        helper = function.__globals__.get(name)
        if isinstance(helper, FunctionType) and helper in _HELPERS:
            yield name, helper


def _helpers_under(function: FunctionType) -> Iterator[FunctionType]:
    """All helpers in the machine code of a function: those that its helpers call as well."""
    for _, helper in _helpers_of(function):
        yield helper
        yield from _helpers_under(helper)
