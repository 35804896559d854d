"""What tells networks apart, as names of 128 bits: only numbers and arrays.

Networks are of circuits with one feed and one lamp, fit for `verify.sweep.judging`.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - functions of loops, because numba inlines them

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Places = npt.NDArray[np.uint16]
Bytes = npt.NDArray[np.uint8]

_FIRST_PRIME = np.uint64(0x9E3779B97F4A7C15)
_OTHER_PRIME = np.uint64(0xC2B2AE3D27D4EB4F)
_SHIFT = np.uint64(29)
_HAS_GROUND_WIRE = 1
_HAS_STUB = 2


def name_networks(
    terminals: Places,
    conductors: Places,
    is_ground: Bytes,
    join_of: Places,
    conducts: Bytes,
    closed: Bytes,
    works: Bytes,
    bridges: Indices,
    seed: Words,
    names: Words,
    nets: Places,
) -> None:
    """Fill `names` (rows, 2), which are equal for rows that connections cannot tell apart.

    A name is made of all that `verify.engine.words_kernel` looks at: which `terminals` are
    connected by conductors, which of their nets have a ground wire or a conductor with a free end,
    which contacts close and whether the lamp works. `nets` (rows, joins) gets the net of each join.
    """
    rows, ends = join_of.shape
    joins = nets.shape[1]
    size = np.empty(joins, np.int16)
    flags = np.empty(joins, np.uint8)
    label = np.empty(joins, np.int16)
    for row in range(rows):
        of = join_of[row]
        net = nets[row]
        for join in range(joins):
            net[join] = join
            size[join] = 0
            flags[join] = 0
            label[join] = -1
        for end in range(ends):
            size[of[end]] += 1
        for c in range(len(conductors)):
            if conducts[row, c]:
                a = of[conductors[c, 0]]
                b = of[conductors[c, 1]]
                while net[a] != a:
                    a = net[a]
                while net[b] != b:
                    b = net[b]
                net[b] = a
        for c in range(bridges.shape[1]):
            if bridges[row, c, 0] >= 0:
                a = of[bridges[row, c, 0]]
                b = of[bridges[row, c, 1]]
                while net[a] != a:
                    a = net[a]
                while net[b] != b:
                    b = net[b]
                net[b] = a
        for join in range(joins):
            a = net[join]
            while net[a] != a:
                a = net[a]
            net[join] = a
        for c in range(len(conductors)):
            one = of[conductors[c, 0]]
            other = of[conductors[c, 1]]
            flag = 0
            if is_ground[c]:
                flag = _HAS_GROUND_WIRE
            if size[one] == 1 or size[other] == 1:
                flag |= _HAS_STUB
            flags[net[one]] |= flag
            flags[net[other]] |= flag

        first = seed[0]
        second = seed[1]
        met = 0
        for t in range(len(terminals)):
            a = net[of[terminals[t]]]
            part = 0
            if label[a] < 0:
                label[a] = met
                met += 1
                part = flags[a] + 4
            part = part * 256 + label[a]
            first = (first ^ np.uint64(part)) * _FIRST_PRIME
            first ^= first >> _SHIFT
            second = (second + np.uint64(part)) * _OTHER_PRIME
            second ^= second >> _SHIFT
        for c in range(closed.shape[1]):
            part = closed[row, c] + 1
            first = (first ^ np.uint64(part)) * _FIRST_PRIME
            first ^= first >> _SHIFT
            second = (second + np.uint64(part)) * _OTHER_PRIME
            second ^= second >> _SHIFT
        first = (first ^ np.uint64(works[row, 0] + 1)) * _FIRST_PRIME
        second = (second + np.uint64(works[row, 0] + 1)) * _OTHER_PRIME
        names[row, 0] = first ^ (first >> _SHIFT)
        names[row, 1] = second ^ (second >> _SHIFT)
