"""A sweep's work is done in this process, in others beside it, or on a cluster.

A sweep knows only executors (`concurrent.futures.Executor`); this module makes them.
"""

import gc
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any, Final, ParamSpec, TypeVar

from verify.base.problems import Problem, UserError

EXECUTORS: Final = ("processes", "dask")

_SECONDS_TO_CONNECT: Final = 10
_BETWEEN_COLLECTIONS: Final = 100_000
_P = ParamSpec("_P")
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Workforce:
    """An executor, or None for this process itself, and how many calls it can work on at once."""

    executor: Executor | None
    workers: int


Hiring = Callable[[], AbstractContextManager[Workforce]]


@contextmanager
def processes(workers: int) -> Iterator[Workforce]:
    """Start that many processes of this machine for the time of the context; 1 is this process."""
    if workers == 1:
        yield Workforce(None, 1)
        return
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_collect_seldom
    ) as pool:
        yield Workforce(pool, workers)


def _collect_seldom() -> None:
    """Let a worker collect cyclic garbage seldom, since what it makes has no cycles."""
    gc.freeze()
    gc.set_threshold(_BETWEEN_COLLECTIONS, 50, 100)


@contextmanager
def cluster(scheduler: str) -> Iterator[Workforce]:
    """Connect to the workers of a Dask scheduler at an address such as ``tcp://10.0.0.7:8786``.

    Raises UserError if Dask is not installed, nothing answers there, or there is no worker.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise UserError(
            [
                Problem(
                    "--executor dask", "needs the extra: pip install 'miswire[cluster]'", "executor"
                )
            ]
        ) from error
    try:
        client = Client(scheduler, timeout=_SECONDS_TO_CONNECT, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UserError(
            [
                Problem(
                    f"--scheduler={scheduler}",
                    f"no Dask scheduler answers there ({error}); write the address that it prints "
                    "when it starts, such as tcp://127.0.0.1:8786",
                    "scheduler",
                )
            ]
        ) from error
    with client:
        workers = sum(client.nthreads().values())
        if not workers:
            raise UserError(
                [
                    Problem(
                        f"--scheduler={scheduler}",
                        "it has no workers; start some with: dask worker ADDRESS",
                        "scheduler",
                    )
                ]
            )
        yield Workforce(_ClusterExecutor(client), workers)


class _ClusterExecutor(Executor):
    """This gives a Dask client, whose library has no types, the interface of an executor.

    Dask gives the work of a worker that died to another one. A call that has killed several workers
    ends in `BrokenExecutor`, as with any executor that has lost its workers.
    """

    def __init__(self, client: Any) -> None:
        self._client = client

    def submit(self, fn: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> Future[_T]:
        """Submit one call; equal calls are computed separately."""
        promised: Future[_T] = Future()
        task = self._client.submit(fn, *args, pure=False, **kwargs)
        task.add_done_callback(lambda done: _settle(promised, done))
        return promised


def _settle(promised: "Future[_T]", done: Any) -> None:
    """Pass on to `promised` what a finished call returned or raised."""
    from distributed import KilledWorker

    error = None if done.cancelled() else done.exception()
    if done.cancelled() or isinstance(error, KilledWorker):
        promised.set_exception(BrokenExecutor("the workers that had the call were lost"))
    elif error is not None:
        promised.set_exception(error)
    else:
        promised.set_result(done.result())
