"""Errors of Datasette's own pages get sentences of ours and a status that is true.

Datasette 0.65 answers some addresses that name no column, or have no number where it expects one,
as if it had failed itself.
"""

import sqlite3
from traceback import walk_tb
from typing import Any, Final

from datasette.database import QueryInterrupted
from datasette.utils.asgi import Base400, NotFound
from datasette.views.base import DatasetteError

from catalogue.pages.contract import FailedError, ForbiddenError, MissingError, RefusalError
from verify.base.problems import shown

#: Python raises these for a value of another form than code expects.
_OF_VALUES: Final = (
    ValueError,
    OverflowError,
    LookupError,
    TypeError,
    AttributeError,
    AssertionError,
)
#: SQLite raises these for a value of another form; rows that do not fit cannot be meant, since
#: nothing is written.
_OF_QUESTIONS: Final = (sqlite3.ProgrammingError, sqlite3.DataError, sqlite3.IntegrityError)
_FAILED: Final = 500
_OURS: Final = ("catalogue", "verify")
_NO_SQL: Final = (
    "Questions in SQL are turned off here. The lists and filters of the tables work; whoever has "
    "the file can ask it anything, with miswire serve on their own machine."
)
_ODD: Final = "The tables cannot be asked that: it has a value of another form than is wanted."
_SLOW: Final = (
    "This question takes longer than anybody is given here, so it was ended. Ask for fewer rows, "
    "or by a column with an index; whoever has the file can ask it anything on their own machine."
)
_BROKEN: Final = (
    "This page could not be made, through a mistake of the program or because the file cannot be "
    "read. Whoever serves the catalogue sees the reason where the server was started."
)
_REMEDY: Final = "Take the address from a page, or leave out what was added to it."


def no_sql() -> ForbiddenError:
    """Return the refusal of SQL that a visitor wrote."""
    return ForbiddenError(_NO_SQL)


def refusal_of(exception: Exception, *, allow_sql: bool) -> RefusalError | None:
    """Return the refusal if Datasette failed because of the address, None if it did not."""
    if isinstance(exception, NotFound):
        return MissingError(f"{shown(str(exception), 200)}. Take the address from a page.")
    if isinstance(exception, DatasetteError):
        if isinstance(exception.__context__, QueryInterrupted):
            return RefusalError(_SLOW)
        if exception.status == ForbiddenError.status and not allow_sql:
            return no_sql()
        # Without a status Datasette takes it for a failure, though it is about the address.
        told = RefusalError(f"{shown(str(exception.message), 200)}. {_REMEDY}")
        return told if exception.status == _FAILED else None
    if isinstance(exception, QueryInterrupted):
        return RefusalError(_SLOW)
    if isinstance(exception, sqlite3.Error):
        is_asked = isinstance(exception, _OF_QUESTIONS)
        return RefusalError(f"{_ODD} {_REMEDY}") if is_asked else None
    if isinstance(exception, _OF_VALUES) and not _is_ours(exception):
        return RefusalError(f"{_ODD} {_REMEDY}")
    return None


def failure_of(exception: Exception) -> FailedError | None:
    """Return what is said of a failure, which tells nothing of the machine; None if Datasette
    itself means to refuse.
    """
    is_refusal = isinstance(exception, Base400 | DatasetteError)
    return None if is_refusal else FailedError(_BROKEN)


def _is_ours(exception: Exception) -> bool:
    """Return whether an exception comes from code of ours that Datasette called."""
    modules: list[Any] = [
        frame.f_globals.get("__name__", "") for frame, _ in walk_tb(exception.__traceback__)
    ]
    return any(name.partition(".")[0] in _OURS for name in modules)
