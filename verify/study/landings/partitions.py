"""The partitions of the free ends of one box.

A partition is a row of small numbers, the group of each end; groups are numbered as they are met,
so that each partition has exactly one row: 0 0 1 puts the first two of three ends together.
There are as many as Bell numbers say: 1, 1, 2, 5, 15, 52, … (OEIS A000110, read).
"""

from functools import cache
from itertools import combinations
from typing import Final

import networkx as nx
import numpy as np
import numpy.typing as npt

MOST_ENDS: Final = 12
NO_WAY: Final = -1

_BITS: Final = 4  # a group's number takes four bits, since there are at most 12 groups

Rows = npt.NDArray[np.uint8]
Numbers = npt.NDArray[np.int64]


@cache
def bell(ends: int) -> int:
    """Return the number of partitions of `ends` ends, the Bell number."""
    row = [1]
    for _ in range(ends):
        # The triangle of Aitken and Peirce: each row starts with the end of the one before.
        row = [row[-1], *row]
        for place in range(1, len(row)):
            row[place] += row[place - 1]
    return row[0]


@cache
def partitions(ends: int) -> Rows:
    """Return all partitions of `ends` ends (bell(ends), ends), in the order of their rows.

    Raises ValueError for more than `MOST_ENDS`.
    """
    if not 0 <= ends <= MOST_ENDS:
        raise ValueError(f"ends={ends} must be from 0 to {MOST_ENDS}: there are too many ways")
    rows = np.zeros((1, 0), np.uint8)
    for _ in range(ends):
        # The next end goes into any group there is, or into a new one.
        options = rows.max(axis=1, initial=0).astype(np.int64) + (2 if rows.shape[1] else 1)
        parent = np.repeat(np.arange(len(rows)), options)
        group = np.arange(len(parent)) - np.repeat(np.cumsum(options) - options, options)
        rows = np.column_stack([rows[parent], group.astype(np.uint8)])
    rows.flags.writeable = False
    return rows


def growth_strings(groups: npt.NDArray[np.integer]) -> Rows:
    """Return rows whose groups have any numbers, with the groups numbered as they are met."""
    rows = np.zeros(groups.shape, np.uint8)
    count = np.zeros(len(groups), np.uint8)
    every = np.arange(len(groups))
    for place in range(groups.shape[1]):
        met = (groups[:, : place + 1] == groups[:, place, None]).argmax(axis=1)
        is_new = met == place
        rows[:, place] = np.where(is_new, count, rows[every, met])
        count += is_new
    return rows


def codes(rows: Rows) -> Numbers:
    """Return each row as one number, in the same order as the rows."""
    code = np.zeros(len(rows), np.int64)
    for place in range(rows.shape[1]):
        code = code << _BITS | rows[:, place]
    return code


def _rows_of(code: Numbers, ends: int) -> Rows:
    shifts = _BITS * np.arange(ends - 1, -1, -1)
    return (code[:, None] >> shifts & ((1 << _BITS) - 1)).astype(np.uint8)


def fewest_exchanges(start: Rows, targets: Rows) -> Numbers:
    """Return the fewest exchanges of two ends from `start` (1, ends) to each of `targets`.

    It is `NO_WAY` where the groups have other sizes, since exchanges keep them. A breadth-first
    search goes through all that one exchange, two, three … lead to, until every target has been
    met.
    """
    ends = start.shape[1]
    wanted = codes(targets)
    found = np.full(len(targets), NO_WAY, np.int64)
    alike = np.flatnonzero((_group_sizes(targets) == _group_sizes(start)).all(axis=1))
    frontier = seen = codes(start)
    steps = 0
    while True:
        found[alike[np.isin(wanted[alike], frontier)]] = steps
        if (found[alike] != NO_WAY).all():
            return found
        rows = _rows_of(frontier, ends)
        reached = [frontier[:0]]
        for one, other in combinations(range(ends), 2):
            order = np.arange(ends)
            order[[one, other]] = other, one
            reached.append(np.unique(codes(growth_strings(rows[:, order]))))
        frontier = np.setdiff1d(np.concatenate(reached), seen)
        seen = np.concatenate([seen, frontier])
        steps += 1


def _group_sizes(rows: Rows) -> Numbers:
    """Return the sizes of the groups of each row, the largest first."""
    sizes = (rows[:, :, None] == np.arange(rows.shape[1])).sum(axis=1)
    return np.sort(sizes, axis=1)[:, ::-1]


def fewest_moves(start: Rows, targets: Rows) -> Numbers:
    """Return the fewest ends to land elsewhere to get from `start` to each of `targets`.

    All ends but those that stay in the best matching of old groups and new ones: D. Gusfield,
    "Partition-distance", Information Processing Letters 82 (2002) 159–164 (from memory).
    """
    return np.array([_moves_to(start[0], row) for row in targets], np.int64)


def _moves_to(start: Rows, target: Rows) -> int:
    graph: nx.Graph[tuple[str, int]] = nx.Graph()
    for old, new in zip(start.tolist(), target.tolist(), strict=True):
        edge = ("old", old), ("new", new)
        weight = graph.edges[edge]["weight"] if graph.has_edge(*edge) else 0
        graph.add_edge(*edge, weight=weight + 1)
    stays = (int(graph.edges[edge]["weight"]) for edge in nx.max_weight_matching(graph))
    return len(start) - sum(stays)
