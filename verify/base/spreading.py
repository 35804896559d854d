"""Spreads work over an executor and returns the results in order, even if workers die."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from typing import TypeVar

_Item = TypeVar("_Item")
_Result = TypeVar("_Result")


def in_order(
    items: Iterable[_Item],
    work: Callable[[_Item], _Result],
    *,
    executor: Executor | None = None,
    window: int = 6,
) -> Iterator[tuple[_Item, _Result]]:
    """Yield each item with the result of `work` on it, in the order of the items.

    Any executor will do; without one the work is done in this process. At most `window` items are
    submitted at once. If a worker dies, its item is worked on in this process, so that none is
    lost.
    """
    if executor is None:
        for item in items:
            yield item, work(item)
        return
    waiting = iter(items)
    out: deque[tuple[_Item, Future[_Result] | None]] = deque()

    def send() -> None:
        for item in waiting:
            try:
                out.append((item, executor.submit(work, item)))
            except (BrokenExecutor, RuntimeError):
                out.append((item, None))
            return

    for _ in range(window):
        send()
    while out:
        item, future = out.popleft()
        try:
            result = work(item) if future is None else future.result()
        except BrokenExecutor:
            result = work(item)
        send()
        yield item, result
