"""A deadline for work that somebody waits for.

A thread cannot be stopped from outside, so work that may take long asks in its loops whether its
time is over. Where nobody set a deadline, as in commands, there is none.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from time import monotonic

_ends: ContextVar[float | None] = ContextVar("ends", default=None)


class TooLateError(Exception):
    """The deadline has passed, and whoever set it is no longer waiting."""


@contextmanager
def ending_at(moment: float) -> Iterator[None]:
    """Let the work of this thread end soon after `moment`, in seconds of `time.monotonic`."""
    token = _ends.set(moment)
    try:
        yield
    finally:
        _ends.reset(token)


def is_too_late() -> bool:
    """Return True if the deadline of this thread has passed."""
    ends = _ends.get()
    return ends is not None and monotonic() >= ends


def keep_deadline() -> None:
    """Raise TooLateError if the deadline of this thread has passed."""
    if is_too_late():
        raise TooLateError
