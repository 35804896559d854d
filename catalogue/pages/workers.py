"""Pages that compute have threads of their own, so that nobody else waits for them.

Few pages are computed at once, few visitors wait, and nobody waits for ever: whoever comes when all
places are taken, or whose answer is not ready in time, is told to come again.
"""

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from sqlite3 import Connection, OperationalError
from threading import local
from time import monotonic
from typing import Any, Final, TypeVar
from weakref import WeakKeyDictionary

from catalogue.pages.contract import BusyError
from verify.base.deadline import TooLateError, ending_at, is_too_late

#: Only one thread at a time runs Python; the second one is for short questions
#: beside a long one.
_THREADS: Final = 2
#: Visitors who wait or are served: with more, the last would wait longer than the deadline.
_PLACES: Final = 6
#: In seconds, from when a question arrives. The first one waits for compiled functions too.
_SECONDS: Final = 30.0
#: In seconds: work past its deadline may run on so long before it notices, and keeps its place.
_GRACE: Final = 1.0
#: Steps of SQLite between two looks at the clock, a millisecond or so.
_SQL_STEPS: Final = 10_000

_BUSY: Final = "So many are asking for answers that have to be worked out that there is no place."
_LATE: Final = "Working out this answer takes longer than anybody is asked to wait."

# Datasette has no types.
Datasette = Any
Database = Any
T = TypeVar("T")

_workers: "WeakKeyDictionary[Datasette, Workers]" = WeakKeyDictionary()


def workers(datasette: Datasette) -> "Workers":
    """Return the threads of a Datasette."""
    return _workers.setdefault(datasette, Workers())


@dataclass
class Workers:
    """Threads that answer with connections of their own. `seconds` is how long one may wait."""

    threads: int = _THREADS
    places: int = _PLACES
    seconds: float = _SECONDS
    _taken: int = field(default=0, init=False)
    _own: local = field(default_factory=local, init=False)

    def __post_init__(self) -> None:
        self._executor = ThreadPoolExecutor(self.threads, thread_name_prefix="desk")

    async def run(self, database: Database, work: Callable[[Connection], T]) -> T:
        """Return what `work` computes with a connection to `database`.

        Raises BusyError if there is no place, or no answer in time; work that was given up ends by
        itself, see `verify.base.deadline`, and keeps its place until then.
        """
        if self._taken >= self.places:
            raise BusyError(f"{_BUSY} Come again in a moment.")
        ends = monotonic() + self.seconds
        self._taken += 1
        future = asyncio.get_running_loop().run_in_executor(
            self._executor, self._work, database, work, ends
        )
        future.add_done_callback(self._left)
        try:
            return await asyncio.wait_for(asyncio.shield(future), self.seconds + _GRACE)
        except (TooLateError, TimeoutError) as error:
            raise BusyError(
                f"{_LATE} Come again in a moment, or say more of what you saw, so that there is "
                "less to work out."
            ) from error

    def _left(self, future: "asyncio.Future[T]") -> None:
        self._taken -= 1
        if not future.cancelled():
            future.exception()  # mark the exception as seen, even if nobody waits any more

    def _work(self, database: Database, work: Callable[[Connection], T], ends: float) -> T:
        with ending_at(ends):
            if is_too_late():
                raise TooLateError
            try:
                return work(self._connection(database))
            except OperationalError as error:
                if is_too_late():
                    raise TooLateError from error
                raise

    def _connection(self, database: Database) -> Connection:
        """Return this thread's connection, whose queries keep the deadline too."""
        known: dict[str, Connection] = self._own.__dict__.setdefault("connections", {})
        if database.name not in known:
            connection: Connection = database.connect()
            database.ds._prepare_connection(connection, database.name)
            connection.set_progress_handler(is_too_late, _SQL_STEPS)
            known[database.name] = connection
        return known[database.name]
