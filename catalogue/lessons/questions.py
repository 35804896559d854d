"""The questions of a sheet are made here; each choice is provably right or wrong.

Wrong choices are true suspects: mistakes in the same circuit that flips cannot tell from the right
one, if the opened boxes can, and otherwise mistakes that the table refutes.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeVar

from catalogue.desk.answer import Answer
from catalogue.desk.match import sights
from catalogue.desk.planner import Proposal
from catalogue.desk.suspect_pool import Suspect, SuspectPool
from verify.behaviour.judgement import Judgement
from verify.behaviour.signature import trip_code
from verify.circuit.model import Circuit
from verify.fault.contract import Fault
from verify.hazard.definitions import HAZARDS

_UPSTREAM: Final = frozenset({"neutral-lost"})
_SUSPECTS_OFFERED: Final = 4
_DANGERS_OFFERED: Final = 5
_CHECKS_OFFERED: Final = 4
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

#: The danger of every case that trips, and what people say of it that is wrong.
_ONLY_THE_BREAKER: Final = (
    "Only the breaker stands between this fault and a fire or a shock",
    True,
    "Where it trips, current flows where it should not; a breaker that fails, or that is reset "
    "again and again, lets it flow.",
)
_RESETTING: Final = (
    (
        "It is over as soon as the breaker is on again",
        False,
        "The fault is still there, and each reset heats the same place.",
    ),
    (
        "It is a nuisance only, which a larger breaker puts right",
        False,
        "A larger breaker lets the current flow until something burns.",
    ),
)

_Item = TypeVar("_Item")


@dataclass(frozen=True, slots=True)
class AnswerChoice:
    """One choice; `why` says why it is right or wrong."""

    id: str
    text: str
    is_right: bool
    why: str


@dataclass(frozen=True, slots=True)
class Question:
    """One question; if it is `multiple`, all right choices are to be found."""

    id: Literal["wrong", "danger", "next"]
    prompt: str
    choices: tuple[AnswerChoice, ...]
    multiple: bool = False

    @property
    def right(self) -> list[AnswerChoice]:
        """The choices that are right."""
        return [choice for choice in self.choices if choice.is_right]


@dataclass(frozen=True)
class QuestionSubject:
    """The subject of questions: the suspects of the intended circuit and the true one among them.

    `found` is what is seen of the circuit with the mistake in it, see `seen_in_boxes`; `answer` is
    the desk's answer to its table.
    """

    pool: SuspectPool
    truth: Suspect
    found: Circuit
    judgement: Judgement
    answer: Answer

    @property
    def intended(self) -> Circuit:
        """The circuit without the mistake."""
        if self.pool.circuit is None:
            raise ValueError("a pool of a catalogue has no circuit")
        return self.pool.circuit

    def questions(self, seed: str) -> tuple[Question, ...]:
        """Return all questions; `seed` decides the order of choices."""
        order = random.Random(seed)
        asked = (self._what_is_wrong(order), self._is_it_dangerous(order), self._what_next(order))
        return tuple(question for question in asked if question is not None)

    def _what_is_wrong(self, order: random.Random) -> Question:
        choices = [
            (self.truth.description, True, "It is the mistake that was made."),
            *((text, False, why) for text, why in self._plausible(order)),
        ]
        return Question(
            "wrong",
            "One thing is not as intended. Which? Go by the story, the table and the picture, "
            "which shows what can be seen with the boxes open.",
            _lettered(choices, order),
        )

    def _plausible(self, order: random.Random) -> Iterator[tuple[str, str]]:
        """Yield the other suspects, those most like the truth first, with what refutes each."""
        candidates = [
            number for number, suspect in enumerate(self.pool.suspects) if suspect != self.truth
        ]
        shuffle(candidates, order)
        # A wrong answer is plausible if it looks the same.
        candidates.sort(key=lambda number: self.pool.suspects[number].codes != self.truth.codes)
        families = {self.truth.family}
        kinds = [self.truth.kind]
        for number in candidates:
            suspect = self.pool.suspects[number]
            if suspect.family in families or kinds.count(suspect.kind) > 1:
                continue
            why = self._refutation(number)
            if why:
                families.add(suspect.family)
                kinds.append(suspect.kind)
                yield suspect.description, why
            if len(families) == _SUSPECTS_OFFERED:
                return

    def _refutation(self, number: int) -> str:
        """Return why a suspect is not the cause, empty if nothing on the sheet says so."""
        suspect, fault = self.pool.suspects[number], self.pool.faults[number]
        if suspect.codes != self.truth.codes:
            return self._refuted_by_table(suspect)
        result = self.intended if fault is None else seen_in_boxes(self.intended, fault)
        if _is_seen_alike(result, self.found):
            return ""
        if _is_seen_alike(result, self.intended):
            return (
                "It would do the same in every combination, but then every connection would be "
                "as intended, and in the picture one is not."
            )
        if _is_seen_alike(self.found, self.intended):
            return (
                "It would do the same in every combination, but it would be seen in the boxes, "
                "and there every connection is as intended."
            )
        return (
            "It would do the same in every combination, but the boxes would look different: "
            f"look at {suspect.place or 'all of them'}."
        )

    def _refuted_by_table(self, suspect: Suspect) -> str:
        codes = self.pool.codes
        state = next(
            state
            for state in range(1 << self.pool.switches)
            if codes[suspect.codes][state] != codes[self.truth.codes][state]
        )
        code = int(codes[suspect.codes][state])
        seen = next(sights([code], self.pool.lamps))
        does = (
            "the breaker would trip"
            if code == trip_code(self.pool.lamps)
            else f"the light would be {'too bright' if seen == 'over' else seen}"
        )
        return f"Then {does} with {self.pool.positions(state)}."

    def _is_it_dangerous(self, order: random.Random) -> Question:
        held = [hazard for hazard in HAZARDS if hazard.name in self.judgement.hazards]
        others = [
            hazard
            for hazard in HAZARDS
            if hazard not in held and (hazard.name != "receptacle-switched" or self._has_outlet)
        ]
        shuffle(others, order)
        offered = others[: max(2, _DANGERS_OFFERED - len(held))]
        trips = self._tripping
        refutation = (
            "While the breaker holds, that is so in no combination."
            if trips
            else "In no combination that is so."
        )
        choices = [
            *((hazard.title, True, hazard.danger) for hazard in held),
            *(
                (
                    hazard.title,
                    False,
                    f"It would mean that {hazard.condition}. {refutation}",
                )
                for hazard in offered
            ),
        ]
        if trips:
            # Where nothing ever holds, no other hazard was looked for, so none is refuted.
            choices = [_ONLY_THE_BREAKER, *(choices if False in trips else _RESETTING)]
        is_dangerous = bool(held or trips)
        none = (
            "None of these",
            not is_dangerous,
            "At least one of them holds."
            if is_dangerous
            else "No hazard that was looked for holds in any combination.",
        )
        lettered = _lettered(choices, order)
        last = AnswerChoice(_LETTERS[len(lettered)], *none)
        return Question(
            "danger",
            "Is it dangerous? Mark everything that is true. Other dangers than tripping are looked "
            "for only while the breaker holds."
            if trips
            else "Is it dangerous? Mark everything that holds in some combination.",
            (*lettered, last),
            multiple=True,
        )

    @property
    def _tripping(self) -> list[bool]:
        """Whether each state trips; empty if none does."""
        trip = trip_code(self.pool.lamps)
        found = [int(code) == trip for code in self.pool.codes[self.truth.codes]]
        return found if any(found) else []

    @property
    def _is_dangerous(self) -> bool:
        return bool(self.judgement.hazards or self._tripping or self.answer.stops)

    @property
    def _has_outlet(self) -> bool:
        return any(device.form.name == "receptacle" for device in self.intended.devices)

    def _what_next(self, order: random.Random) -> Question | None:
        """Ask for the check that tells most for its cost, after all flips, with boxes closed."""
        if not self.answer.next_checks:
            return None
        best, *rest = self.answer.next_checks
        others = [other for other in rest if other.worth < best.worth - 1e-9]
        shuffle(others, order)
        suspects = len({hypothesis.suspect for hypothesis in self.answer.hypotheses})
        choices = [
            (
                best.check.title,
                True,
                f"It tells most for its cost: {_worth_text(best)}; "
                f"{suspects} suspects fit the table.",
            ),
            *(
                (other.check.title, False, f"It tells less for its cost: {_worth_text(other)}.")
                for other in others[: _CHECKS_OFFERED - 2]
            ),
            (
                "Go through all combinations of the switches once more.",
                False,
                "It is dangerous, and all of them are in the table: leave it off, flip nothing."
                if self._is_dangerous
                else "All of them are in the table: another round tells nothing.",
            ),
        ]
        return Question(
            "next",
            "Suppose that you have only the table and no box is open yet. Which check next tells "
            "most for its cost?",
            _lettered(choices, order),
        )


def _worth_text(proposal: Proposal) -> str:
    cost = proposal.check.kind.cost
    return f"{proposal.gain:.2f} bits for a cost of {cost:g} flip{'' if cost == 1 else 's'}"


def seen_in_boxes(intended: Circuit, fault: Fault) -> Circuit:
    """Return the faulted circuit as it appears to someone who opens all boxes.

    An opening upstream of a feed is in none of its boxes: there everything looks as intended.
    """
    return intended if fault.kind in _UPSTREAM else fault.apply(intended)


def _is_seen_alike(one: Circuit, other: Circuit) -> bool:
    """Return True if two circuits look the same to someone who opens all boxes."""
    return (one.joins, one.devices, one.cables) == (other.joins, other.devices, other.cables)


def _lettered(
    choices: Sequence[tuple[str, bool, str]], order: random.Random
) -> tuple[AnswerChoice, ...]:
    """Return the choices in a new order, each with its letter."""
    shuffled = list(choices)
    shuffle(shuffled, order)
    return tuple(
        AnswerChoice(letter, *choice) for letter, choice in zip(_LETTERS, shuffled, strict=False)
    )


def shuffle(items: list[_Item], order: random.Random) -> None:
    """Shuffle as Fisher and Yates do, by `Random.random` alone, which never changes."""
    for last in range(len(items) - 1, 0, -1):
        other = int(order.random() * (last + 1))
        items[last], items[other] = items[other], items[last]
