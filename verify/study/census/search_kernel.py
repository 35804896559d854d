"""The kernel of the search, compiled by numba or run by plain Python: numbers and arrays only.

A wiring is a growth string: `block[t]` is the number of terminal t's join, joins being numbered in
the order in which they are first met, so that every partition is written in exactly one way. For
every pair of joins one word holds the states in which they are connected, by contacts too.

`verify.study.census.pruning` tells what the rules are, and why each is safe.
"""

# ruff: noqa: PLR0912, PLR0913, PLR0915, PLR0917 - one function, because numba inlines it all

import numpy as np
import numpy.typing as npt

Words = npt.NDArray[np.uint64]
Numbers = npt.NDArray[np.int64]
Strings = npt.NDArray[np.int8]

#: The rules that may be left out, as bits of `rules`.
LIGHT_IS_FINAL = 1
NO_STATE_DOES_MORE = 2
ENOUGH_CONTACTS_LEFT = 4
ONE_PLACE_SERVES = 8

_NONE = np.uint64(0)


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
    The other arguments are those of `verify.study.census.search.Tables`.
    """
    terminals, most_contacts = partner.shape
    places = terminals + 1
    # together[t, i, j]: where joins i and j are connected once t terminals are placed. There is
    # always one join more than are in use, connected to nothing: the one a terminal may begin.
    together = np.zeros((terminals + 1, places, places), np.uint64)
    joins = np.zeros(terminals + 1, np.int64)
    block = np.zeros(terminals, np.int64)
    gain = np.zeros(places, np.uint64)
    telling = np.zeros(places * places, np.uint64)
    even = full & ~odd
    total = 0
    together[0, 0, 0] = full

    for row in range(prefixes.shape[0]):
        given = prefixes.shape[1]
        t = 0
        block[0] = -1
        while t >= 0:
            block[t] += 1
            if t < given:
                # A terminal of the prefix has one place only.
                if block[t] > prefixes[row, t]:
                    t -= 1
                    continue
                block[t] = prefixes[row, t]
            b = block[t]
            used = joins[t]
            if b > used:
                t -= 1
                continue
            if t >= given:
                nodes[t] += 1
            now = together[t]

            # Through the contacts of terminal t, each state closing one of them at most, join i
            # gets into the component of join b in the states gain[i].
            contacts = 0
            while contacts < most_contacts and partner[t, contacts] >= 0:
                contacts += 1
            for i in range(used + 1):
                gain[i] = _NONE
            for k in range(contacts):
                q = block[partner[t, k]]
                mask = closed[t, k]
                for i in range(used + 1):
                    gain[i] |= mask & (now[i, b] | now[i, q])

            # Which class of states may still be the lit one.
            may_be_odd = True
            may_be_even = True
            if t >= 1:
                n = block[1]  # the join of neutral; that of line is 0
                if now[0, n] | (gain[0] & gain[n]):
                    continue
            if t >= 3:
                n = block[1]
                c = block[2]
                s = block[3]
                line_c = now[0, c] | (gain[0] & gain[c])
                line_s = now[0, s] | (gain[0] & gain[s])
                back_c = now[n, c] | (gain[n] & gain[c])
                back_s = now[n, s] | (gain[n] & gain[s])
                lit = (line_c & back_s) | (line_s & back_c)
                if t == terminals - 1:
                    may_be_odd = lit == odd
                    may_be_even = lit == even
                if rules & LIGHT_IS_FINAL:
                    bypassed = now[c, s] | (gain[c] & gain[s])
                    may_be_odd &= not ((lit & even) | (bypassed & odd))
                    may_be_even &= not ((lit & odd) | (bypassed & even))
                if rules & ENOUGH_CONTACTS_LEFT and (may_be_odd or may_be_even):
                    # `able`: lit, or what is left can light it. `serving`: makes the one connection
                    # that is missing. `direct`: where two are, each contact makes one.
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
                            on_line = now[k, 0] | (gain[k] & gain[0])
                            on_back = now[k, n] | (gain[k] & gain[n])
                            on_c = now[k, c] | (gain[k] & gain[c])
                            on_s = now[k, s] | (gain[k] & gain[s])
                            serving |= (
                                (line_c & (on_back | on_s))
                                | (back_s & (on_line | on_c))
                                | (line_s & (on_back | on_c))
                                | (back_c & (on_line | on_s))
                            )
                            direct &= on_line | on_back | on_c | on_s
                            if first >= 0:
                                serving |= one_missing & (now[k, first] | (gain[k] & gain[first]))
                            first = k
                        fit |= serving
                        if left == 2:
                            fit |= direct
                        able &= fit | ~mask
                    may_be_odd &= not (odd & ~able)
                    may_be_even &= not (even & ~able)
                if rules & ONE_PLACE_SERVES:
                    for w in range(wait_states.shape[1]):
                        waiting = wait_states[t, w, 0] | wait_states[t, w, 1]
                        if waiting == _NONE or not (may_be_odd or may_be_even):
                            break
                        # In a join of its own the terminal lights nothing, in join j maybe more.
                        odd_served = not (odd & waiting & ~lit)
                        even_served = not (even & waiting & ~lit)
                        for j in range(max(used, b + 1)):
                            j_line = now[j, 0] | (gain[j] & gain[0])
                            j_back = now[j, n] | (gain[j] & gain[n])
                            j_c = now[j, c] | (gain[j] & gain[c])
                            j_s = now[j, s] | (gain[j] & gain[s])
                            odd_here = True
                            even_here = True
                            for h in range(2):
                                mask = wait_states[t, w, h]
                                odd_reached = not (odd & mask & ~lit)
                                even_reached = not (even & mask & ~lit)
                                first = 0
                                beyond = max(used, b + 1)
                                if wait_from[t, w, h] >= 0:
                                    first = block[wait_from[t, w, h]]
                                    beyond = first + 1
                                    odd_reached = False
                                    even_reached = False
                                for k in range(first, beyond):
                                    on_line = now[k, 0] | (gain[k] & gain[0])
                                    on_back = now[k, n] | (gain[k] & gain[n])
                                    on_c = now[k, c] | (gain[k] & gain[c])
                                    on_s = now[k, s] | (gain[k] & gain[s])
                                    lights = mask & (
                                        (line_c & ((on_back & j_s) | (on_s & j_back)))
                                        | (back_s & ((on_line & j_c) | (on_c & j_line)))
                                        | (line_s & ((on_back & j_c) | (on_c & j_back)))
                                        | (back_c & ((on_line & j_s) | (on_s & j_line)))
                                    )
                                    missed = mask & ~(lit | lights)
                                    odd_reached |= not ((odd & missed) | (even & lights))
                                    even_reached |= not ((even & missed) | (odd & lights))
                                    if odd_reached and even_reached:
                                        break
                                odd_here &= odd_reached
                                even_here &= even_reached
                                if not (odd_here or even_here):
                                    break
                            odd_served |= odd_here
                            even_served |= even_here
                            if odd_served and even_served:
                                break
                        may_be_odd &= odd_served
                        may_be_even &= even_served
                if not (may_be_odd or may_be_even):
                    continue

            last = t == stop - 1
            if last and t == terminals - 1:
                if total < found.shape[0]:
                    for i in range(stop):
                        found[total, i] = block[i]
                total += 1
                continue

            # No rule so far excludes it: write down what is connected now.
            after = together[t + 1]
            now_used = used + 1 if b == used else used
            joins[t + 1] = now_used
            for i in range(now_used):
                for j in range(i):
                    word = now[i, j] | (gain[i] & gain[j])
                    after[i, j] = word
                    after[j, i] = word
                after[i, i] = full
            for i in range(now_used):
                after[i, now_used] = _NONE
                after[now_used, i] = _NONE
            after[now_used, now_used] = full

            if (
                rules & NO_STATE_DOES_MORE
                and t >= 3
                and finished[t] > 0
                and (contacts > 0 or finished[t] > finished[t - 1])
            ):
                # A state of a class must have, against each state of the other, a connection that
                # the other lacks: that is seen for all states at once, each against its neighbour
                # by the same flips.
                words = 0
                for i in range(now_used):
                    for j in range(i):
                        if after[i, j] != _NONE and after[i, j] != full:
                            telling[words] = after[i, j]
                            words += 1
                for flips in range(1, 1 << finished[t]):
                    parity = 0
                    for switch in range(finished[t]):
                        parity ^= flips >> switch & 1
                    if not parity:
                        continue
                    incomparable = _NONE
                    for w in range(words):
                        word = telling[w]
                        for switch in range(finished[t]):
                            if flips >> switch & 1:
                                by = np.uint64(1 << switch)
                                word = ((word & down[switch]) >> by) | (
                                    (word & ~down[switch]) << by
                                )
                        incomparable |= telling[w] & ~word
                        if incomparable == full:
                            break
                    may_be_odd &= not (odd & ~incomparable)
                    may_be_even &= not (even & ~incomparable)
                    if not (may_be_odd or may_be_even):
                        break
                if not (may_be_odd or may_be_even):
                    continue

            if last:
                if total < found.shape[0]:
                    for i in range(stop):
                        found[total, i] = block[i]
                total += 1
                continue
            t += 1
            block[t] = -1
    return total
