"""Checks that can come next, and the outcome that each suspect predicts for them.

A hypothesis is a suspect together with one way to read the positions. A check gives every
hypothesis an outcome; hypotheses with different outcomes are told apart by it.
"""

import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from catalogue.desk.match import Match, Numbers, sights
from catalogue.desk.measuring import Meter
from catalogue.desk.suspect_pool import Suspect
from verify.base.deadline import keep_deadline
from verify.base.problems import Problem, UserError
from verify.base.resources import data_path
from verify.behaviour.signature import trip_code

CLEAR: Final = "clear"
#: Kinds of checks that are made, and show what they show, with the power off. Another lamp shows
#: nothing until the power is on again.
POWER_OFF_KINDS: Final = frozenset({"look", "continuity"})
#: A check that needs the power off begins with this sentence.
OFF_AT_BREAKER: Final = "Off at the breaker, locked, and proved dead"

#: With more hypotheses voltages are not predicted, since dead checks then come first anyway.
_MOST_FOR_VOLTAGE: Final = 200
#: They are not predicted either for more pairs of suspect and state, so that nobody waits: those of
#: `_MOST_FOR_VOLTAGE` suspects in four locations.
_MOST_MEASURED: Final = _MOST_FOR_VOLTAGE << 4

_PHANTOM: Final = (
    " An ordinary meter (10 MΩ) may show a phantom of up to {volts:.0f} V here, where nothing is "
    "connected to line: go by a low-impedance one (3 kΩ)."
)


@dataclass(frozen=True, slots=True)
class CheckKind:
    """A kind of check: its cost, its risk beside other kinds, and its cautions."""

    name: str
    title: str
    cost: float
    order: int
    caution: str


def check_kinds(path: Path | None = None) -> dict[str, CheckKind]:
    """Read the kinds of checks with their costs, from `path` or the shipped file.

    A file that only sets costs keeps the shipped titles and cautions. Raises UserError with every
    mistake in the file.
    """
    return _kinds(path or data_path("checks.toml"))


@cache
def _kinds(path: Path) -> dict[str, CheckKind]:
    try:
        tables = tomllib.loads(path.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise UserError([Problem(str(path), f"cannot be read as costs ({error})")]) from error
    shipped = data_path("checks.toml")
    usual = {} if path == shipped else _kinds(shipped)
    problems = []
    kinds = {}
    for name in ("flip", "lamp", "look", "continuity", "voltage"):
        table = tables.get(name)
        if not isinstance(table, dict):
            problems.append(Problem(str(path), f"[{name}] is missing; copy it from checks.toml"))
            continue
        cost, order = table.get("cost"), table.get("order")
        if not isinstance(cost, int | float) or not 0 < cost < float("inf"):
            problems.append(Problem(f"{path} [{name}]", f"cost={cost} must be a number above 0"))
        elif not isinstance(order, int):
            problems.append(Problem(f"{path} [{name}]", f"order={order} must be a whole number"))
        else:
            kinds[name] = CheckKind(
                name,
                str(table.get("title", usual[name].title if usual else name)),
                float(cost),
                order,
                str(table.get("caution", usual[name].caution if usual else "")),
            )
    if problems:
        raise UserError(problems)
    return kinds


class Hypothesis(NamedTuple):
    """A suspect, the reading of the positions under which it fits, and the weight of both."""

    suspect: int
    reading: int
    weight: float


@dataclass(frozen=True, slots=True)
class Check:
    """One check. `outcomes[h]` is what hypothesis h predicts, as an index into `results`.

    `outcomes[h]` is what hypothesis h predicts, as an index into `results`. `key` names the check
    in an address, ``look:landing``; `results` are pairs of a short word and what one finds.
    """

    kind: CheckKind
    key: str
    title: str
    how: str
    outcomes: tuple[int, ...]
    results: tuple[tuple[str, str], ...]

    def __repr__(self) -> str:
        # Not its title: that tells a person what to do, and goes with its caution only.
        return f"<{type(self).__name__} {self.key}: one of {len(self.results):,} findings>"


@dataclass(frozen=True)
class CheckBench:
    """All checks that can be made between hypotheses that fit what was seen."""

    match: Match
    kinds: dict[str, CheckKind]
    _merged_readings: dict[int, list[tuple[int, int]]] = field(
        default_factory=dict, init=False, repr=False
    )

    def hypotheses(self) -> list[Hypothesis]:
        """Return every suspect that fits, once for each reading under which it does.

        Where no circuit is known, readings under which a suspect acts the same are one hypothesis.
        """
        found = []
        for number, suspect in enumerate(self.match.pool.suspects):
            readings = self.match.consistent_readings(suspect)
            if not len(readings):
                continue
            each = self.match.prior(suspect) / len(self.match.readings)
            found += [
                Hypothesis(number, reading, each * count)
                for reading, count in self._merged(suspect.codes, readings)
            ]
        return found

    def _merged(self, codes: int, readings: Numbers) -> list[tuple[int, int]]:
        """Return the readings of a behaviour with counts; readings that act alike are one."""
        if self.match.pool.circuit is not None:
            return [
                (reading, 1) for reading in readings.tolist()
            ]  # which parts are live differs even so
        if codes not in self._merged_readings:
            alike, counts = np.unique(self._alike(codes)[readings], return_counts=True)
            self._merged_readings[codes] = list(zip(alike.tolist(), counts.tolist(), strict=True))
        return self._merged_readings[codes]

    def _alike(self, codes: int) -> Numbers:
        """Return for each reading the first one under which the behaviour is the same."""
        named = self.match.pool.codes[codes][self.match.readings]
        _, first, which = np.unique(named, axis=0, return_index=True, return_inverse=True)
        return first[which.reshape(-1)]

    def checks(self, hypotheses: Sequence[Hypothesis], *, power_off: bool = False) -> list[Check]:
        """Return every check that tells some of the hypotheses apart, cheapest kinds first.

        With `power_off` only checks of `POWER_OFF_KINDS` are returned.
        """
        kinds = [kind for kind in self.kinds if kind in POWER_OFF_KINDS or not power_off]
        return [check for kind in kinds for check in self._useful(kind, hypotheses)]

    def check(self, key: str, hypotheses: Sequence[Hypothesis]) -> Check | None:
        """Return the check of that key, or None if it tells no hypotheses apart.

        It avoids making most of the other checks.
        """
        kind, _, part = key.partition(":")
        if kind not in self.kinds:
            return None
        useful = self._useful(kind, hypotheses, part)
        return next((check for check in useful if check.key == key), None)

    def _useful(
        self, kind: str, hypotheses: Sequence[Hypothesis], only: str | None = None
    ) -> Iterator[Check]:
        """Yield the checks of a kind that tell hypotheses apart; of part `only` if it is given."""
        for check in self._made(kind, hypotheses, only):
            keep_deadline()
            if len(set(check.outcomes)) > 1:
                yield check

    def _made(
        self, kind: str, hypotheses: Sequence[Hypothesis], only: str | None
    ) -> Iterator[Check]:
        if kind == "flip":
            states = [s for s in self.match.symptoms.untried if only in (None, str(s))]
            return self._flips(hypotheses, states)
        if kind == "voltage":
            return self._voltages(
                hypotheses
            )  # which of these checks exist follows from all hypotheses together
        parts, shows = {
            "lamp": (self._lamps, self._is_lamp_fault),
            "look": (self._boxes, self._shows_in_box),
            "continuity": (self._testables, self._shows_in_test),
        }[kind]
        wanted = [part for part in parts() if only in (None, part[0])]
        return self._parts(hypotheses, kind, wanted, shows)

    def _suspect(self, hypothesis: Hypothesis) -> Suspect:
        return self.match.pool.suspects[hypothesis.suspect]

    def _flips(self, hypotheses: Sequence[Hypothesis], states: Sequence[int]) -> Iterator[Check]:
        pool, readings = self.match.pool, self.match.readings
        behaviours = np.array([self._suspect(h).codes for h in hypotheses], np.int64)
        read = np.array([h.reading for h in hypotheses], np.int64)
        for state in states:
            codes, which = np.unique(
                pool.codes[behaviours, readings[read, state]], return_inverse=True
            )
            seen = list(sights(codes.tolist(), pool.lamps))
            words = sorted(set(seen))
            numbers = np.array([words.index(word) for word in seen], np.int64)
            yield Check(
                self.kinds["flip"],
                f"flip:{state}",
                f"Set {pool.positions(state)}, and look at the light.",
                "Nothing is opened.",
                tuple(numbers[which.reshape(-1)].tolist()),
                tuple((word, word) for word in words),
            )

    def _parts(
        self,
        hypotheses: Sequence[Hypothesis],
        kind: str,
        parts: Sequence[tuple[str, str, str]],
        shows: Callable[[Suspect, str], bool],
    ) -> Iterator[Check]:
        """Yield a check of each part: it is as intended, or as a suspect there has left it."""
        there = dict.fromkeys(hypothesis.suspect for hypothesis in hypotheses)
        for part, title, how in parts:
            results: dict[str, tuple[str, str]] = {CLEAR: (CLEAR, "everything as intended")}
            numbers = {CLEAR: 0}
            shown = dict.fromkeys(there, 0)
            for number in there:
                suspect = self.match.pool.suspects[number]
                if shows(suspect, part):
                    word = suspect.label if self.match.pool.circuit else suspect.family
                    told = suspect.description if self.match.pool.circuit else suspect.family
                    results.setdefault(word, (word, told))
                    shown[number] = numbers.setdefault(word, len(numbers))
            yield Check(
                self.kinds[kind],
                f"{kind}:{part}",
                title,
                how,
                tuple(shown[hypothesis.suspect] for hypothesis in hypotheses),
                tuple(results.values()),
            )

    def _lamps(self) -> list[tuple[str, str, str]]:
        circuit = self.match.pool.circuit
        names = [lamp.name for lamp in circuit.lamps] if circuit else ["lamp"]
        return [
            (name, f"Put a lamp that is known to work in place of {name}.", "Power off first.")
            for name in names
        ]

    def _boxes(self) -> list[tuple[str, str, str]]:
        """Return every box in which a suspect can be seen."""
        circuit = self.match.pool.circuit
        if circuit:
            boxes = [box.name for box in circuit.boxes]
        else:
            boxes = ["lamp-box", *(f"box-{i}" for i in range(1, self.match.pool.switches + 1))]
        return [
            (
                box,
                f"Open the box {box} and compare every connection with what is intended.",
                f"{OFF_AT_BREAKER}.",
            )
            for box in boxes
        ]

    def _testables(self) -> list[tuple[str, str, str]]:
        """Return every cable and every switch that can be tested by itself."""
        circuit = self.match.pool.circuit
        cables = (
            [cable.name for cable in circuit.cables]
            if circuit
            else sorted({s.place for s in self.match.pool.suspects if "-run" in s.place})
        )
        tests = [
            (
                cable,
                f"Test the conductors of {cable} from end to end and against each other.",
                f"{OFF_AT_BREAKER}; disconnected at both ends.",
            )
            for cable in cables
        ]
        return tests + [
            (
                switch,
                f"Test {switch} by itself in both positions.",
                f"{OFF_AT_BREAKER}; its conductors taken off.",
            )
            for switch in self.match.pool.switch_names
        ]

    @staticmethod
    def _is_lamp_fault(suspect: Suspect, lamp: str) -> bool:
        return suspect.kind.startswith("lamp") and suspect.place == lamp

    def _shows_in_box(self, suspect: Suspect, box: str) -> bool:
        if suspect.kind == "whole-circuit":
            return True
        if suspect.kind == "wrong-device":
            circuit = self.match.pool.circuit
            there = circuit.device(suspect.place).box if circuit else _box_of(suspect.place)
            return there == box
        return suspect.place == box

    @staticmethod
    def _shows_in_test(suspect: Suspect, part: str) -> bool:
        return suspect.place == part and suspect.kind in (
            "conductor-open",
            "conductors-shorted",
            "contact-open",
            "contact-welded",
            "switch-stuck",
            "wrong-device",
        )

    def _voltages(self, hypotheses: Sequence[Hypothesis]) -> Iterator[Check]:
        pool = self.match.pool
        suspects = [hypothesis.suspect for hypothesis in hypotheses]
        if pool.circuit is None or not 0 < len(hypotheses) <= _MOST_FOR_VOLTAGE:
            return
        if len(set(suspects)) << pool.switches > _MOST_MEASURED:
            return
        if any(pool.faults[number] is None for number in suspects):
            return  # "nothing wrong" is among the suspects: looking settles that at less risk
        states = self.match.readings[[hypothesis.reading for hypothesis in hypotheses]]
        behaviours = np.array([self._suspect(h).codes for h in hypotheses], np.int64)
        trips = (pool.codes[behaviours[:, None], states] == trip_code(pool.lamps)).any(axis=0)
        for expected in self.meter.expected(suspects, states, ~trips):
            meter = " with a low-impedance meter" if expected.phantom else ""
            yield Check(
                self.kinds["voltage"],
                f"voltage:{expected.terminal}@{expected.state}",
                f"With {pool.positions(expected.state)}, measure {expected.terminal} to a ground "
                f"that is proved good{meter}.",
                "The circuit is live: for qualified persons only."
                + (_PHANTOM.format(volts=expected.phantom) if expected.phantom else ""),
                expected.found,
                expected.words,
            )

    @cached_property
    def meter(self) -> Meter:
        """The meters for a pool whose circuit is known."""
        return Meter(self.match.pool)


def _box_of(switch: str) -> str:
    """Return the box of a switch of a layout."""
    return f"box-{switch.rpartition('-')[2]}"
