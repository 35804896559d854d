"""The rules by which the search leaves branches out, and why no wiring is lost by them.

All rules rest on one fact: terminals still to be placed only add connections. Ends that joins and
closed contacts connect in a state stay connected however the search goes on. A wiring gives
any-location control if and only if it never trips and the lamp is lit in all states of one class,
an odd or an even number of switches down, and in no state of the other. The search keeps both
classes open and gives a branch up when neither can come to pass.
"""

from dataclasses import dataclass
from typing import Final

from verify.study.census.search_kernel import (
    ENOUGH_CONTACTS_LEFT,
    LIGHT_IS_FINAL,
    NO_STATE_DOES_MORE,
    ONE_PLACE_SERVES,
)


@dataclass(frozen=True, slots=True)
class PruningRule:
    """A reason to give a branch up; `bit` turns it on in the kernel, and 0 is always on."""

    name: str
    bit: int
    statement: str
    reason: str


PRUNING_RULES: Final[tuple[PruningRule, ...]] = (
    PruningRule(
        "a short is final",
        0,
        "Line is connected to neutral in some state.",
        "A connection once made is never undone, so the breaker trips in that state however the "
        "rest is wired.",
    ),
    PruningRule(
        "light is final",
        LIGHT_IS_FINAL,
        "The lamp is lit in states of both classes, or bypassed in states of both, or lit in a "
        "state of one class and bypassed in another state of it.",
        "A lamp that is lit stays lit, since both connections that light it stay and a short has "
        "been excluded. A lamp whose two sides are connected is dark for good: to light it would "
        "short the feed. While a switch has no contact connected, what is lit is lit in both of "
        "its positions.",
    ),
    PruningRule(
        "no state does more",
        NO_STATE_DOES_MORE,
        "For either class there is a state of it, and a state of the other that differs only in "
        "switches all of whose terminals are placed, with every connection of the first and maybe "
        "more.",
        "What is still to be placed adds the same connections in both states: joins do not depend "
        "on the state, and the other switches stand alike. So the second state always has every "
        "connection of the first; where the first is lit the second is lit too or trips, and the "
        "first class cannot be the lit one.",
    ),
    PruningRule(
        "enough contacts left",
        ENOUGH_CONTACTS_LEFT,
        "For either class there is a state of it that is dark, and the contacts closed in it that "
        "still have a terminal to be placed, two at most, cannot light the lamp.",
        "In one state the terminals to be placed connect nothing but by such contacts. A contact "
        "with one terminal placed connects that place to one other; one with none placed, any two. "
        "A dark lamp lacks one connection or two, between line or neutral and a side of the lamp. "
        "With none left it stays dark. One contact makes the one that is missing, if it is placed "
        "at an end of it or not at all. Two contacts make one that is missing also if both are "
        "placed at the same piece between; and to make two, each must be placed, if it is, at "
        "line, neutral or a side of the lamp.",
    ),
    PruningRule(
        "one place serves all states",
        ONE_PLACE_SERVES,
        "For either class there is a terminal to be placed that has no place: wherever it is put, "
        "one of its contacts, in the states in which it is the only contact left, lights the lamp "
        "in the other class or leaves it dark in a state of the class, wherever the contact's "
        "other terminal is or is put.",
        "A terminal has one place, the same in all states. In these states nothing else is still "
        "to be connected, so the places of the contact's two terminals decide which of them are "
        "lit. A join of its own, or one with others that wait, connects nothing more.",
    ),
)

UNPRUNED: Final = 0
PRUNED: Final = LIGHT_IS_FINAL | NO_STATE_DOES_MORE | ENOUGH_CONTACTS_LEFT | ONE_PLACE_SERVES
