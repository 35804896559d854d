"""Kernels: functions of numbers and arrays that run as machine code, or as plain Python.

A kernel is compiled where there is much work. Where there is little, plain Python is done before a
compiler is loaded. A kernel calls helpers marked `inlined`: numba writes their code into that of
the kernel, so that a call costs nothing.

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
_COMPILED: Final[dict[Callable[..., Any], Callable[..., Any]]] = {}


def inlined(function: _F) -> _F:
    """Mark a function as a helper of kernels; a kernel calls it by a global name of its module."""
    assert isinstance(function, FunctionType)
    _HELPERS.add(function)
    return function


def compiled(function: Callable[..., Any], *, allocates: bool = True) -> Callable[..., Any]:
    """Return a kernel as machine code, which numba compiles once for each machine and keeps.

    A kernel that makes no arrays of its own may say so: then no references to arrays are counted,
    which costs time wherever one is handed to a helper.
    """
    if function not in _COMPILED:
        _COMPILED[function] = _compiled(function, allocates=allocates)
    return _COMPILED[function]


def compiled_where(is_worth_it: bool, function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` as machine code if that is worth it or loaded already, else as it is.

    Loading the compiler takes longer than plain Python takes for little work.
    """
    return compiled(function) if is_worth_it or function in _COMPILED else function


def _compiled(function: Callable[..., Any], *, allocates: bool) -> Callable[..., Any]:
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
    """Return a copy of a function for the compiler, in which numba inlines the helpers."""
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
    """Yield the helpers that a function itself calls, each with the name that it calls it by."""
    for name in function.__code__.co_names:
        helper = function.__globals__.get(name)
        if isinstance(helper, FunctionType) and helper in _HELPERS:
            yield name, helper


def _helpers_under(function: FunctionType) -> Iterator[FunctionType]:
    """Yield all helpers of a function: those that it calls, and those that these call."""
    for _, helper in _helpers_of(function):
        yield helper
        yield from _helpers_under(helper)
