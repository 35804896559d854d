"""The search of the census itself: growth strings, terminal by terminal, with what is connected.

**What is searched.** A wiring is a restricted growth string: `block[t]` is the number of terminal
t's join, joins being numbered in the order in which they are first met, so that every partition of
the terminals into joins is written in exactly one way. Strings are gone through in ascending order
by backtracking: `block[t]` rises from 0 to the number of joins in use, which begins a new one; then
the search goes back to terminal t - 1. *It ends*, because each step either makes the string longer,
which has a last terminal, or makes it greater in this order, of which there are finitely many.

**What the words mean.** Bit s of a word is a truth about state s, as in
`verify.engine.words_kernel`. For every pair of joins one word holds the states in which they are
connected, by contacts too. *Invariant*: `together[t]` holds this for the first t terminals as
`block` places them; it is symmetric, transitive in every state, and all ones on its diagonal.

**One terminal more.** Terminal t, placed in join b, has contacts to terminals placed before it, of
which each state closes one at most. With `gain[i]`, the states in which join i is connected to b or
to the other side of the contact that is closed, two joins i and j are connected now where they were
before or where both gained: as one new edge connects in each state, that closes the relation again,
and the invariant is kept. Nothing has to be spread.

**What is left out.** Which rules give a branch up, and why each loses no wiring, is told in
`verify.study.census.pruning`. Each rule answers for two *classes* of states, an odd or an even
number of switches down: whether that class may still be the lit one. A branch in which neither may
is given up.

**Where the ideas are published** (from memory). Restricted growth strings and backtracking: Knuth,
*The Art of Computer Programming* 4A, section 7.2.1.5, and 4B, section 7.2.2. That a relation that
is transitive stays so by one new edge in a single pass: Ibaraki and Katoh, *On-line computation of
transitive closures of graphs*, Information Processing Letters 16 (1983).
"""

# ruff: noqa: PLR0913, PLR0917 - numba takes arrays one by one, not as fields of an object
# ruff: noqa: PLR0912, PLR0915 - a backtracking search is one loop; its rules are helpers

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from verify.base.compiling import inlined

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]
Strings = npt.NDArray[np.int8]

#: The rules that may be left out, as bits of `rules`.
LIGHT_IS_FINAL = 1
NO_STATE_DOES_MORE = 2
ENOUGH_CONTACTS_LEFT = 4
ONE_PLACE_SERVES = 8

#: The classes of states that may be lit, as bits.
_ODD = 1
_EVEN = 2
_EITHER = 3

_NONE = np.uint64(0)


class Scratch(NamedTuple):
    """What the search writes to as it goes.

    `together` (terminals + 1, places, places): the states in which two joins are connected once so
    many terminals are placed. There is always one join more than are in use, connected to nothing:
    the one that a terminal may begin. `joins` (terminals + 1,): how many are in use then; `block`
    (terminals,); `gain` (places,); `telling` (places²,).
    """

    together: Words
    joins: Numbers
    block: Numbers
    gain: Words
    telling: Words

    @classmethod
    def of(cls, terminals: int) -> "Scratch":
        """Room for so many terminals."""
        places = terminals + 1
        return cls(
            np.zeros((terminals + 1, places, places), np.uint64),
            np.zeros(terminals + 1, np.int64),
            np.zeros(terminals, np.int64),
            np.zeros(places, np.uint64),
            np.zeros(places * places, np.uint64),
        )


def search_growth_strings(
    full: np.uint64,
    odd: np.uint64,
    down: Words,
    partner: Numbers,
    closed: Words,
    finished: Numbers,
    reach_states: Words,
    reach_from: Numbers,
    wait_states: Words,
    wait_from: Numbers,
    together: Words,
    joins: Numbers,
    block: Numbers,
    gain: Words,
    telling: Words,
    prefixes: Strings,
    stop: int,
    rules: int,
    found: Strings,
    nodes: Numbers,
) -> int:
    """Go through every growth string that begins with one of `prefixes`, up to `stop` terminals.

    The strings of `stop` terminals that no rule excludes are written to `found` (rows, stop) as
    far as it has room, and counted in the result; with all terminals these are the wirings with
    any-location control. `nodes[t]` grows by the number of times that terminal t was placed.
    The other arguments are those of `verify.study.census.search.Tables` and `Scratch`.
    """
    terminals = len(partner)
    given = prefixes.shape[1]
    even = full & ~odd
    total = 0
    together[0, 0, 0] = full
    for row in range(len(prefixes)):
        t = 0
        block[0] = -1
        while t >= 0:
            block[t] += 1
            if t < given:  # a terminal of the prefix has one place only
                block[t] = max(block[t], prefixes[row, t])
            if block[t] > joins[t] or (t < given and block[t] > prefixes[row, t]):
                t -= 1
                continue
            if t >= given:
                nodes[t] += 1
            used = joins[t]
            now_used = max(used, block[t] + 1)
            now = together[t]
            contacts = _gain_by(t, partner, closed, block, used, now, gain)
            if t >= 1 and _meet(now, gain, 0, block[1]):
                continue
            may_be = _EITHER
            if t >= 3:
                n, c, s = block[1], block[2], block[3]
                line_c, line_s = _meet(now, gain, 0, c), _meet(now, gain, 0, s)
                back_c, back_s = _meet(now, gain, n, c), _meet(now, gain, n, s)
                lit = (line_c & back_s) | (line_s & back_c)
                if t == terminals - 1:
                    may_be = _classes(lit == odd, lit == even)
                if rules & LIGHT_IS_FINAL:
                    may_be &= _may_be_by_light(odd, even, lit, _meet(now, gain, c, s))
                if rules & ENOUGH_CONTACTS_LEFT and may_be:
                    may_be &= _may_be_by_contacts_left(
                        t, full, odd, even, block, now, gain, n, c, s,
                        line_c, line_s, back_c, back_s, lit, reach_states, reach_from,
                    )  # fmt: skip
                if rules & ONE_PLACE_SERVES and may_be:
                    may_be = _may_be_by_places(
                        t, may_be, odd, even, block, now_used, now, gain, n, c, s,
                        line_c, line_s, back_c, back_s, lit, wait_states, wait_from,
                    )  # fmt: skip
                if not may_be:
                    continue

            if t < terminals - 1:
                # No rule so far excludes it: write down what is connected now.
                after = together[t + 1]
                joins[t + 1] = now_used
                _connect(full, now_used, now, gain, after)
                if (
                    rules & NO_STATE_DOES_MORE
                    and t >= 3
                    and finished[t] > 0
                    and (contacts > 0 or finished[t] > finished[t - 1])
                    and not _may_be_by_comparison(
                        may_be, full, odd, even, down, finished[t], now_used, after, telling
                    )
                ):
                    continue
            if t == stop - 1:
                _note(block, total, found)
                total += 1
            else:
                t += 1
                block[t] = -1
    return total


@inlined
def _gain_by(
    t: int,
    partner: Numbers,
    closed: Words,
    block: Numbers,
    used: int,
    now: Words,
    gain: Words,
) -> int:
    """Fill `gain` (joins,): the states in which terminal t connects a join to its own, see above.

    Returns how many contacts to terminals placed before it there are.
    """
    b = block[t]
    contacts = 0
    while contacts < partner.shape[1] and partner[t, contacts] >= 0:
        contacts += 1
    for i in range(used + 1):
        gain[i] = _NONE
    for k in range(contacts):
        q = block[partner[t, k]]
        mask = closed[t, k]
        for i in range(used + 1):
            gain[i] |= mask & (now[i, b] | now[i, q])
    return contacts


@inlined
def _meet(now: Words, gain: Words, i: int, j: int) -> np.uint64:
    """The states in which two joins are connected once the terminal is placed."""
    states: np.uint64 = now[i, j] | (gain[i] & gain[j])
    return states


@inlined
def _rails(
    now: Words, gain: Words, n: int, c: int, s: int, k: int
) -> tuple[np.uint64, np.uint64, np.uint64, np.uint64]:
    """The states in which join k is connected to line, neutral, and the two sides of the lamp.

    Line's join is 0; n, c and s are the others.
    """
    g = gain[k]
    return (
        now[k, 0] | (g & gain[0]),
        now[k, n] | (g & gain[n]),
        now[k, c] | (g & gain[c]),
        now[k, s] | (g & gain[s]),
    )


@inlined
def _classes(may_be_odd: bool, may_be_even: bool) -> int:
    """Both answers in one."""
    return (_ODD if may_be_odd else 0) | (_EVEN if may_be_even else 0)


@inlined
def _may_be_by_light(odd: np.uint64, even: np.uint64, lit: np.uint64, bypassed: np.uint64) -> int:
    """The classes that may be lit, as what is lit or bypassed stays so."""
    return _classes(
        not ((lit & even) | (bypassed & odd)),
        not ((lit & odd) | (bypassed & even)),
    )


@inlined
def _may_be_by_contacts_left(
    t: int,
    full: np.uint64,
    odd: np.uint64,
    even: np.uint64,
    block: Numbers,
    now: Words,
    gain: Words,
    n: int,
    c: int,
    s: int,
    line_c: np.uint64,
    line_s: np.uint64,
    back_c: np.uint64,
    back_s: np.uint64,
    lit: np.uint64,
    reach_states: Words,
    reach_from: Numbers,
) -> int:
    """The classes whose dark states can all be lit by the contacts that are left.

    `n`, `c` and `s` are the joins of neutral and of the lamp's sides, `line_c` the states in which
    line is connected to `c`, and so on. Below, `able` is lit, or what is left can light it;
    `serving` makes the one connection that is missing; `direct`: where two are, each contact makes
    one.
    """
    one_missing = line_c | line_s | back_c | back_s
    able = full
    for g in range(reach_states.shape[1]):
        mask = reach_states[t, g]
        if mask == _NONE:
            break
        left = reach_from[t, g, 0]
        fit = lit
        serving = _NONE
        direct = full
        first = -1
        for h in range(left):
            from_terminal = reach_from[t, g, 1 + h]
            if from_terminal < 0:
                serving |= one_missing
                continue
            k = block[from_terminal]
            on_line, on_back, on_c, on_s = _rails(now, gain, n, c, s, k)
            serving |= (
                (line_c & (on_back | on_s))
                | (back_s & (on_line | on_c))
                | (line_s & (on_back | on_c))
                | (back_c & (on_line | on_s))
            )
            direct &= on_line | on_back | on_c | on_s
            if first >= 0:
                serving |= one_missing & _meet(now, gain, k, first)
            first = k
        fit |= serving
        if left == 2:
            fit |= direct
        able &= fit | ~mask
    return _classes(not (odd & ~able), not (even & ~able))


@inlined
def _may_be_by_places(
    t: int,
    may_be: int,
    odd: np.uint64,
    even: np.uint64,
    block: Numbers,
    beyond: int,
    now: Words,
    gain: Words,
    n: int,
    c: int,
    s: int,
    line_c: np.uint64,
    line_s: np.uint64,
    back_c: np.uint64,
    back_s: np.uint64,
    lit: np.uint64,
    wait_states: Words,
    wait_from: Numbers,
) -> int:
    """The classes for which each waiting terminal has one place, below `beyond` or of its own.

    That is asked of the classes `may_be` only.
    """
    for w in range(wait_states.shape[1]):
        waiting = wait_states[t, w, 0] | wait_states[t, w, 1]
        if waiting == _NONE or not may_be:
            break
        # In a join of its own the terminal lights nothing, in join j maybe more.
        served = _classes(not (odd & waiting & ~lit), not (even & waiting & ~lit))
        for j in range(beyond):
            j_line, j_back, j_c, j_s = _rails(now, gain, n, c, s, j)
            here = _EITHER
            for h in range(2):
                mask = wait_states[t, w, h]
                reached = _classes(not (odd & mask & ~lit), not (even & mask & ~lit))
                first = 0
                end = beyond
                if wait_from[t, w, h] >= 0:
                    first = block[wait_from[t, w, h]]
                    end = first + 1
                    reached = 0
                for k in range(first, end):
                    on_line, on_back, on_c, on_s = _rails(now, gain, n, c, s, k)
                    lights = mask & (
                        (line_c & ((on_back & j_s) | (on_s & j_back)))
                        | (back_s & ((on_line & j_c) | (on_c & j_line)))
                        | (line_s & ((on_back & j_c) | (on_c & j_back)))
                        | (back_c & ((on_line & j_s) | (on_s & j_line)))
                    )
                    missed = mask & ~(lit | lights)
                    reached |= _classes(
                        not ((odd & missed) | (even & lights)),
                        not ((even & missed) | (odd & lights)),
                    )
                    if reached == _EITHER:
                        break
                here &= reached
                if not here:
                    break
            served |= here
            if served == _EITHER:
                break
        may_be &= served
    return may_be


@inlined
def _note(block: Numbers, row: int, found: Strings) -> None:
    """Write a string to a row of `found`, if it has room."""
    if row < found.shape[0]:
        for i in range(found.shape[1]):
            found[row, i] = block[i]


@inlined
def _connect(full: np.uint64, used: int, now: Words, gain: Words, after: Words) -> None:
    """Write to `after` what is connected once the terminal is placed, with `used` joins in use."""
    for i in range(used):
        for j in range(i):
            word = _meet(now, gain, i, j)
            after[i, j] = word
            after[j, i] = word
        after[i, i] = full
    for i in range(used):
        after[i, used] = _NONE
        after[used, i] = _NONE
    after[used, used] = full


@inlined
def _may_be_by_comparison(
    may_be: int,
    full: np.uint64,
    odd: np.uint64,
    even: np.uint64,
    down: Words,
    finished: int,
    used: int,
    after: Words,
    telling: Words,
) -> int:
    """The classes of `may_be` no state of which does less than one of the other.

    A state of a class must have, against each state of the other, a connection that the other
    lacks: that is seen for all states at once, each against its neighbour by the same flips of
    switches that are `finished`. `telling` is scratch.
    """
    words = 0
    for i in range(used):
        for j in range(i):
            if after[i, j] != _NONE and after[i, j] != full:
                telling[words] = after[i, j]
                words += 1
    for flips in range(1, 1 << finished):
        parity = 0
        for switch in range(finished):
            parity ^= flips >> switch & 1
        if not parity:
            continue
        incomparable = _NONE
        for w in range(words):
            word = telling[w]
            for switch in range(finished):
                if flips >> switch & 1:
                    by = np.uint64(1 << switch)
                    word = ((word & down[switch]) >> by) | ((word & ~down[switch]) << by)
            incomparable |= telling[w] & ~word
            if incomparable == full:
                break
        may_be &= _classes(not (odd & ~incomparable), not (even & ~incomparable))
        if not may_be:
            break
    return may_be
