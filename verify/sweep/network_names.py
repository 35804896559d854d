"""What tells networks apart, as names of some words: only numbers and arrays.

Networks are of circuits with one feed and one lamp, fit for `verify.sweep.judging`.

A name is not a hash but all that `verify.engine.words_kernel` looks at, written down so that it is
the same for networks that are the same up to what joins are called:

- for each terminal the *label* of its net. Labels are given in the order in which terminals meet
  new nets, which is a restricted growth string: every partition of the terminals has exactly one
  (Knuth, *The Art of Computer Programming* 4A, section 7.2.1.5, from memory). Sixteen bits are
  enough for any label, as joins have numbers of sixteen bits.
- for each label two bits: whether its net has a ground wire, and a conductor with a free end; there
  is room for as many labels as terminals. Nets without terminals are touched by no contact and no
  feed, so nothing spreads to them and what they have plays no part.
- for each contact the two bits that say when it is closed, and a bit for whether the lamp works.

Two networks of circuits with the same devices have one name if and only if they agree in all of
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
#: How many labels, and how many pieces of two bits, fit into a word.
_LABELS = 4
_PIECES = 32


def width_of_names(terminals: int, contacts: int) -> int:
    """How many words the names of networks with so many terminals and contacts have."""
    return -(-terminals // _LABELS) - (-(terminals + contacts + 1) // _PIECES)


def name_networks(
    terminals: Places,
    conductors: Places,
    is_ground: Bytes,
    join_of: Places,
    conducts: Bytes,
    closed: Bytes,
    works: Bytes,
    bridges: Indices,
    names: Words,
    nets: Places,
) -> None:
    """Fill `names` (rows, width), equal for exactly those rows that connections cannot tell apart.

    See above for what is in a name, and `width_of_names`. `nets` (rows, joins) gets the net of each
    join.
    """
    joins = nets.shape[1]
    size = np.empty(joins, np.int16)
    flags = np.empty(joins, np.uint8)
    label = np.empty(joins, np.int16)
    pieces = -(-len(terminals) // _LABELS)  # the word in which pieces of two bits begin
    for row in range(len(join_of)):
        of = join_of[row]
        net = nets[row]
        find_nets(row, conductors, conducts, bridges, of, net)
        count_ends(of, size)
        _flag_nets(conductors, is_ground, of, net, size, flags)
        for join in range(joins):
            label[join] = -1
        for word in range(names.shape[1]):
            names[row, word] = _NONE
        met = 0
        for t in range(len(terminals)):
            a = net[of[terminals[t]]]
            if label[a] < 0:
                label[a] = met
                _put_piece(names, row, pieces, met, flags[a])
                met += 1
            names[row, t // _LABELS] |= np.uint64(label[a]) << np.uint64(16 * (t % _LABELS))
        for c in range(closed.shape[1]):
            _put_piece(names, row, pieces, len(terminals) + c, closed[row, c])
        _put_piece(names, row, pieces, len(terminals) + closed.shape[1], works[row, 0])


@inlined
def _flag_nets(
    conductors: Places, is_ground: Bytes, of: Places, net: Places, size: Indices, flags: Bytes
) -> None:
    """Fill `flags` (joins,): what the conductors of each net are, two bits."""
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
def _put_piece(names: Words, row: int, start: int, number: int, piece: int) -> None:
    """Write two bits, the `number`-th of those that begin with the word `start`."""
    names[row, start + number // _PIECES] |= np.uint64(piece) << np.uint64(2 * (number % _PIECES))
