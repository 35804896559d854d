"""Find every way to land the free ends with which the light works from every switch.

Nothing is left out, and no way is gone through twice. A *part* is some boxes and switches; all that
the rest of the circuit can notice of it is, for each state of its switches, which of its nodes are
connected (`SearchPart.rows`). Parts start as single switches and single boxes with all their
partitions and are merged two by two until one is left. That loses nothing, because

- ways of a part with equal rows do the same whatever the rest does: they are searched as one row
  and told apart again at the end;
- nodes that nothing outside the part touches are forgotten, as nothing can be connected there any
  more; line, back and the lamp's sides are never forgotten;
- neutral and ground are one node: the breaker trips where line meets either, and a lamp is lit by
  the return through either. Which of the two it is the hazards ask, and those are looked for in
  each way that is found, not here.

A row is dropped when no way with it can work, whatever the rest does. Connecting more never undoes
a connection, and any-location control asks that in every state every switch changes the lamp, so
these rules are safe:

- line meets neutral or ground in some state of the part: the breaker trips in it, however the rest
  stands;
- while switches are outside the part, the lamp has to be lit in one of their states and dark in
  another. It cannot be if its two sides are connected already, if it is lit already, or if one of
  its sides is connected to nothing that the rest or the feed is connected to;
- a switch of the part that makes no difference to the rows in some state of the others makes none
  to the lamp;
- when nothing is left to merge, the lamp is lit exactly when the number of switches that are down
  is even, or exactly when it is odd: anything else is not any-location control.

The order of merging and the number of workers change only how long it takes.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.compiling import compiled
from verify.base.problems import CircuitError, Problem
from verify.study.landings.instance import Contacts, LandingInstance
from verify.study.landings.landing_search_kernel import Labels, Pairs, merge_rows, number_equals
from verify.study.landings.partitions import partitions

Indices = npt.NDArray[np.int64]
Progress = Callable[[int, int], None]
#: Arguments of the kernel, and which rows of the left part to merge.
_Task = tuple[tuple[object, ...], int, int]
#: Rows that differ, all pairs that pass, and the row of each pair.
_Merging = tuple[Labels, Pairs, Pairs]

#: How many pairs of rows one task of a worker takes on.
_AT_ONCE: Final = 1 << 19
#: The bytes that the rows and pairs of one merge may take.
_MOST_BYTES: Final = 2_000_000_000
#: Labels are bytes, so a part has at most so many nodes.
_MOST_NODES: Final = 255
#: In how many steps the progress of one merge is shown.
_STEPS: Final = 1000


@dataclass(frozen=True, slots=True)
class SearchPart:
    """Some boxes and switches.

    - `nodes` (places,): what the rows tell of
    - `switches`: bit i of a state is the position of switch `switches[i]`
    - `rows` (rows, states, places): the group of each node
    - `ways` (rows,): how many ways have each row
    - `origin`: how the rows came about
    """

    nodes: Indices
    switches: tuple[int, ...]
    rows: Labels
    ways: Indices
    origin: "BoxOrigin | Nothing | MergedOrigin"

    @property
    def states(self) -> int:
        """How many states the rows have."""
        return 1 << len(self.switches)


class Nothing:
    """Origin of a part in which nothing can be chosen."""


@dataclass(frozen=True, slots=True)
class BoxOrigin:
    """Origin of a part whose rows are the partitions of a box, by its place in the instance."""

    number: int


@dataclass(frozen=True, slots=True)
class MergedOrigin:
    """Origin of a part that was merged: row r came from the pairs `pairs[starts[r]:starts[r+1]]`.

    A pair is a row of `left` and one of `right`.
    """

    left: SearchPart
    right: SearchPart
    starts: Indices
    pairs: Pairs


def search(
    instance: LandingInstance, *, workers: int = 1, progress: Progress = lambda done, total: None
) -> Indices:
    """Return every way with any-location control (ways, boxes), in ascending order.

    A way is the number of a partition (a row of `partitions`) for each of `instance.boxes`. Raises
    `CircuitError` where the parts differ in so many ways that memory does not hold them.
    """
    if not instance.lamp_works:
        return np.zeros((0, len(instance.boxes)), np.int64)
    found = _Search(instance, workers, progress).run()
    order = np.lexsort(found.T[::-1]) if found.size else slice(None)
    ordered: Indices = found[order]
    return ordered


class _Search:
    """One search: merges the parts of an instance two by two, with workers for large merges."""

    def __init__(self, instance: LandingInstance, workers: int, progress: Progress) -> None:
        self._instance = instance
        self._pool = ThreadPoolExecutor(workers)
        self._window = 2 * workers
        self._progress = progress
        self._rails = np.array([instance.line, instance.back, *instance.lamp], np.int64)
        self._merges = 0
        self._merged = 0

    def run(self) -> Indices:
        """Return every way, see `search`."""
        with self._pool:
            part = self._whole()
        self._check_size(int(part.ways.sum()) * (len(self._instance.boxes) + 1) * 16)
        return self._expanded(part, np.arange(len(part.rows)))[1]

    def _whole(self) -> SearchPart:
        """Return the whole circuit as one part."""
        places = [[*self._parts_of(box.name)] for box in self._instance.circuit.boxes]
        places = [parts for parts in places if parts]
        self._merges = sum(map(len, places)) + len(places) - 1
        parts = [_nothing()]
        for number, members in enumerate(places):
            later = [part for others in places[number + 1 :] for part in others]
            # Switches first: a box has thousands of partitions, and each is merged once.
            whole = _nothing()
            for place, part in enumerate(members):
                whole = self._merge(whole, part, [*parts, *later, *members[place + 1 :]])
            parts.append(whole)
        del parts[0]
        while len(parts) > 1:
            left, right = self._next(parts)
            rest = [part for part in parts if part is not left and part is not right]
            parts = [*rest, self._merge(left, right, rest)]
        return parts[0]

    def _parts_of(self, box: str) -> Iterator[SearchPart]:
        """Yield the switches in a box, then the box itself."""
        for contacts in self._instance.contacts:
            if contacts.box == box:
                yield _switch(contacts)
        for number, free in enumerate(self._instance.boxes):
            if free.name == box:
                rows = partitions(len(free.ends))[:, None, :]
                nodes = np.array([self._instance.node(end) for end in free.ends], np.int64)
                yield SearchPart(nodes, (), rows, np.ones(len(rows), np.int64), BoxOrigin(number))

    def _next(self, parts: Sequence[SearchPart]) -> tuple[SearchPart, SearchPart]:
        """Return the two parts to merge next: of those that touch, those with the fewest pairs."""

        def cost(pair: tuple[SearchPart, SearchPart]) -> tuple[bool, int]:
            left, right = pair
            shared = np.setdiff1d(np.intersect1d(left.nodes, right.nodes), self._rails)
            return not len(shared), len(left.rows) * len(right.rows)

        return min(combinations(parts, 2), key=cost)

    def _merge(self, left: SearchPart, right: SearchPart, rest: Iterable[SearchPart]) -> SearchPart:
        """Return two parts merged into one; `rest` are all others."""
        others = [*rest]
        outside = np.unique(np.concatenate([self._rails[:2], *(part.nodes for part in others)]))
        nodes = np.unique(np.concatenate([left.nodes, right.nodes, self._rails]))
        kept = nodes[np.isin(nodes, outside) | np.isin(nodes, self._rails)]
        if len(nodes) > _MOST_NODES:
            raise _too_large()
        switches = (*left.switches, *right.switches)
        arguments = (
            left.rows,
            right.rows,
            np.searchsorted(nodes, left.nodes),
            np.searchsorted(nodes, right.nodes),
            len(nodes),
            np.searchsorted(nodes, kept),
            np.isin(kept, outside),
            np.searchsorted(nodes, self._rails),
            len(switches) < len(self._instance.contacts),
            self._merged == self._merges - 1,
        )
        step = max(1, _AT_ONCE // max(1, len(right.rows)))
        starts = range(0, len(left.rows), step)
        tasks = ((arguments, start, min(start + step, len(left.rows))) for start in starts)
        rows, pairs, kinds = [], [], []
        used = 0
        found = 0
        for done, (some_rows, some_pairs, some_kinds) in enumerate(self._merged_in(tasks), 1):
            rows.append(some_rows)
            pairs.append(some_pairs)
            kinds.append(some_kinds.astype(np.int64) + found)
            found += len(some_rows)
            used += some_rows.nbytes + some_pairs.nbytes + 2 * kinds[-1].nbytes
            self._check_size(used)
            self._report(self._merged * _STEPS + done * _STEPS // len(starts))
        self._merged += 1
        self._report(self._merged * _STEPS)
        shape = (1 << len(switches), len(kept))
        every = np.concatenate(rows) if rows else np.zeros((0, *shape), np.uint8)
        firsts, kind = _number_equals(every)
        came_from = np.concatenate(pairs) if pairs else np.zeros((0, 2), np.int32)
        row_of = kind[np.concatenate(kinds)] if kinds else np.zeros(0, np.int32)
        order = np.argsort(row_of, kind="stable")
        starting = np.searchsorted(row_of[order], np.arange(len(firsts) + 1))
        ways = np.zeros(len(firsts), np.int64)
        np.add.at(ways, row_of, left.ways[came_from[:, 0]] * right.ways[came_from[:, 1]])
        origin = MergedOrigin(left, right, starting, came_from[order])
        return SearchPart(kept, switches, every[firsts], ways, origin)

    def _merged_in(self, tasks: Iterable[_Task]) -> Iterator[_Merging]:
        """Yield the result of each task, in order; as many tasks are out as keep workers busy."""
        waiting: deque[Future[_Merging]] = deque()
        for task in tasks:
            waiting.append(self._pool.submit(_merge_some, *task))
            if len(waiting) > self._window:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()

    def _report(self, steps: int) -> None:
        self._progress(steps, self._merges * _STEPS)

    def _check_size(self, used: int) -> None:
        if used > _MOST_BYTES:
            raise _too_large()

    def _expanded(self, part: SearchPart, rows: Indices) -> tuple[Indices, Indices]:
        """Return all ways of some rows: (ways,) the place in `rows`, and (ways, boxes).

        They are in the order of the rows. Boxes that are not in the part have 0.
        """
        if isinstance(part.origin, MergedOrigin):
            origin = part.origin
            counts = np.diff(origin.starts)[rows]
            source = np.repeat(np.arange(len(rows)), counts)
            within = np.arange(len(source)) - np.repeat(np.cumsum(counts) - counts, counts)
            pairs = origin.pairs[origin.starts[rows][source] + within].astype(np.int64)
            left_source, left = self._expanded(origin.left, pairs[:, 0])
            right_source, right = self._expanded(origin.right, pairs[left_source, 1])
            return source[left_source[right_source]], left[right_source] + right
        chosen = np.zeros((len(rows), len(self._instance.boxes)), np.int64)
        if isinstance(part.origin, BoxOrigin):
            chosen[:, part.origin.number] = rows
        return np.arange(len(rows)), chosen


def _merge_some(arguments: tuple[object, ...], first: int, last: int) -> _Merging:
    """Do the task of a worker, and return its part of `_Merging`."""
    rows, pairs = compiled(merge_rows)(*arguments, first, last)
    firsts, kind = _number_equals(rows)
    return rows[firsts], pairs, kind


def _number_equals(rows: Labels) -> tuple[Pairs, Pairs]:
    """Return which rows of a part are equal, see `number_equals` of the kernel."""
    flat = rows.reshape(len(rows), rows.shape[1] * rows.shape[2])
    firsts, kind = compiled(number_equals)(flat)
    return firsts, kind


def _nothing() -> SearchPart:
    """Return a part without anything, to start from."""
    nodes = np.zeros(0, np.int64)
    return SearchPart(nodes, (), np.zeros((1, 1, 0), np.uint8), np.ones(1, np.int64), Nothing())


def _switch(contacts: Contacts) -> SearchPart:
    """Return a part that is one switch."""
    nodes = np.array(contacts.nodes, np.int64)
    rows = np.zeros((1, 2, len(nodes)), np.uint8)
    for position, pairs in enumerate(contacts.closed):
        group = {node: place for place, node in enumerate(contacts.nodes)}
        for a, b in pairs:
            old, new = group[b], group[a]
            group = {node: new if own == old else own for node, own in group.items()}
        rows[0, position] = [group[node] for node in contacts.nodes]
    return SearchPart(nodes, (contacts.switch,), rows, np.ones(1, np.int64), Nothing())


def _too_large() -> CircuitError:
    return CircuitError(
        [
            Problem(
                "joins",
                "the boxes act on each other in more ways than memory holds; write fixed = true on "
                "joins that are not to be rearranged, and count again",
            )
        ]
    )
