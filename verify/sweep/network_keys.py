"""Canonical keys of networks: all that decides what a network does, written in a few words.

Networks are of circuits with one feed and one lamp, fit for `verify.sweep.fault_judging`.

A key is not a hash but all that `verify.engine.words_kernel` looks at, written down so that it does
not depend on how the joins of a network are numbered:

- for each terminal the *label* of its net. Labels are given in the order in which terminals meet
  new nets, which is a restricted growth string: every partition of the terminals has exactly one
  (Knuth, *The Art of Computer Programming* 4A, section 7.2.1.5, from memory). Sixteen bits are
  enough for any label, as joins have numbers of sixteen bits.
- for each label two bits: whether its net has a ground wire, and a conductor with a free end; there
  is room for as many labels as terminals. Nets without terminals are touched by no contact and no
  feed, so nothing spreads to them and what they have plays no part.
- for each contact the two bits that say when it is closed, and a bit for whether the lamp works.

Two networks of circuits with the same devices have equal keys if and only if they agree in all of
these, and then the engine *words* does the same with both. Each loop below goes through the
terminals, contacts, conductors or ends of a row once; see `find_nets` for the nets.
"""

# ruff: noqa: PLR0913, PLR0917 - numba takes arrays one by one, not as fields of an object

import numpy as np
import numpy.typing as npt

from verify.base.compiling import inlined
from verify.engine.words_kernel import count_ends, find_nets

Words = npt.NDArray[np.uint64]
Indices = npt.NDArray[np.int16]
Places = npt.NDArray[np.uint16]
Bytes = npt.NDArray[np.uint8]

_NONE = np.uint64(0)
_HAS_GROUND_WIRE = 1
_HAS_STUB = 2
#: How many labels, and how many fields of two bits, fit into a word.
_LABELS = 4
_FIELDS = 32


def network_key_width(terminals: int, contacts: int) -> int:
    """Return how many 64-bit words the key of a network with these numbers of parts has."""
    return -(-terminals // _LABELS) - (-(terminals + contacts + 1) // _FIELDS)


def fill_network_keys(
    terminals: Places,
    conductors: Places,
    is_ground: Bytes,
    join_of: Places,
    conducts: Bytes,
    closed: Bytes,
    works: Bytes,
    bridges: Indices,
    keys: Words,
    nets: Places,
) -> None:
    """Fill `keys` (rows, width): equal for exactly those rows that connections cannot tell apart.

    The module says what is in a key, `network_key_width` how wide it is. `nets` (rows, joins) gets
    the net of each join.
    """
    joins = nets.shape[1]
    size = np.empty(joins, np.int16)
    flags = np.empty(joins, np.uint8)
    label = np.empty(joins, np.int16)
    fields = -(-len(terminals) // _LABELS)  # the word in which fields of two bits begin
    for row in range(len(join_of)):
        of = join_of[row]
        net = nets[row]
        find_nets(row, conductors, conducts, bridges, of, net)
        count_ends(of, size)
        _flag_nets(conductors, is_ground, of, net, size, flags)
        for join in range(joins):
            label[join] = -1
        for word in range(keys.shape[1]):
            keys[row, word] = _NONE
        met = 0
        for t in range(len(terminals)):
            a = net[of[terminals[t]]]
            if label[a] < 0:
                label[a] = met
                _put_field(keys, row, fields, met, flags[a])
                met += 1
            keys[row, t // _LABELS] |= np.uint64(label[a]) << np.uint64(16 * (t % _LABELS))
        for c in range(closed.shape[1]):
            _put_field(keys, row, fields, len(terminals) + c, closed[row, c])
        _put_field(keys, row, fields, len(terminals) + closed.shape[1], works[row, 0])


@inlined
def _flag_nets(
    conductors: Places, is_ground: Bytes, of: Places, net: Places, size: Indices, flags: Bytes
) -> None:
    """Fill `flags` (joins,) with two bits for each net: it has a ground wire, it has a free end."""
    for join in range(len(flags)):
        flags[join] = 0
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


@inlined
def _put_field(keys: Words, row: int, start: int, number: int, field: int) -> None:
    """Write the field of two bits with that number, counted from the word `start` on."""
    keys[row, start + number // _FIELDS] |= np.uint64(field) << np.uint64(2 * (number % _FIELDS))
