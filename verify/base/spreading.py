"""Work done by an executor, its results in order, whatever happens to the workers."""

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
    """Each item with the result of `work` on it, in the order of the items.

    Any executor will do; without one the work is done here. At most `window` items are out at
    once. An item whose worker died is worked on here, so that nothing is lost with a pool.
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
