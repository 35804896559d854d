"""Signs of danger make a person stop: what to do then, and which checks remain.

Whoever notices one of these signs is never asked to flip a switch or to measure live parts. The
texts are those of `data/stops.toml`.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Final, cast

from catalogue.desk.checks import OFF_AT_BREAKER, POWER_OFF_KINDS, Check
from catalogue.desk.suspect_pool import Suspect, SuspectPool
from catalogue.desk.symptoms import SIGN, SOME_OVER, Symptoms
from verify.base.resources import data_path
from verify.behaviour.signature import DIM, LIT, OVER, TRIP
from verify.hazard.definitions import HAZARD_NAMES

#: A light that is seen to do this is as dangerous as the sign of that name.
_SEEN_AS: Final = {TRIP: "trips", OVER: "over-bright"}
_FOUND_AS: Final = {"trips": "trips", "over": "over-bright", SOME_OVER: "over-bright"}

#: What somebody writes with these letters in it may mean the sign of that name.
_WRITTEN_AS: Final = {"trip": "trips", "over": "over-bright", "bright": "over-bright"}

_OFF_AT_MAIN: Final = "Off at the main switch, locked, and proved dead"


@dataclass(frozen=True, slots=True)
class Stop:
    """One reason to stop: `name` is that of its sign, the sentences belong to it alone.

    `called` names the sign in a sentence; each of the hazards in `explained_by` explains it.
    """

    name: str
    why: str
    called: str
    explained_by: tuple[str, ...] = ()
    main: bool = False
    do: tuple[str, ...] = ()
    do_not: tuple[str, ...] = ()
    call: tuple[str, ...] = ()

    @property
    def noticed(self) -> str:
        """The thing that was noticed, as a sentence."""
        return SIGN[self.name].question

    def is_explained_by(self, suspect: Suspect) -> bool:
        """Return whether a suspect that fits all that was seen explains this sign too.

        What trips was matched with the suspect already.
        """
        hazards = sum(1 << HAZARD_NAMES.index(name) for name in self.explained_by)
        return SIGN[self.name].needs_trip or bool(suspect.hazards & hazards)


@dataclass(frozen=True, slots=True)
class Panel:
    """The panel that is shown first, for all reasons to stop together, the gravest first."""

    stops: tuple[Stop, ...]

    @property
    def is_main(self) -> bool:
        """True if the main switch must be off, because one breaker is not enough."""
        return any(stop.main for stop in self.stops)

    @property
    def title(self) -> str:
        """The heading: what to do at once."""
        return phrase("main" if self.is_main else "breaker")

    @property
    def do(self) -> tuple[str, ...]:
        """What to do, in order."""
        off = phrase("off_main" if self.is_main else "off_breaker")
        return (
            phrase("look_first"),
            off,
            *_all(stop.do for stop in self.stops),
            phrase("off_stays"),
        )

    @property
    def do_not(self) -> tuple[str, ...]:
        """What not to do."""
        return (phrase("do_not"), *_all(stop.do_not for stop in self.stops))

    @property
    def call(self) -> tuple[str, ...]:
        """Whom to call."""
        own = _all(stop.call for stop in self.stops)
        return (phrase("emergency"), *own, phrase("call"))

    def form(self) -> dict[str, object]:
        """Return the panel as JSON."""
        return {
            "title": self.title,
            "noticed": [{"sentence": stop.noticed, "why": stop.why} for stop in self.stops],
            "do": list(self.do),
            "do_not": list(self.do_not),
            "call": list(self.call),
            "after": phrase("after"),
        }


def stop_forms(stops: Sequence[Stop]) -> list[dict[str, object]]:
    """Return each reason to stop as JSON, with all that is to be done for it alone."""
    return [{"sign": stop.name, **Panel((stop,)).form()} for stop in stops]


def panel_form(stops: Sequence[Stop]) -> dict[str, object] | None:
    """Return the panel as JSON, None if there is no reason to stop."""
    return Panel(tuple(stops)).form() if stops else None


def _all(sentences: Iterable[Sequence[str]]) -> list[str]:
    return list(dict.fromkeys(sentence for some in sentences for sentence in some))


def stops() -> Mapping[str, Stop]:
    """Return every reason to stop by the name of its sign, the gravest first."""
    return _shipped_texts()[0]


def phrase(name: str) -> str:
    """Return a sentence that goes with every stop, by its name in `data/stops.toml`."""
    return _shipped_texts()[1][name]


@cache
def _shipped_texts() -> tuple[Mapping[str, Stop], Mapping[str, str]]:
    document = tomllib.loads(data_path("stops.toml").read_text("utf-8"))
    made = [
        Stop(
            entry["name"],
            entry["why"],
            entry["called"],
            tuple(entry.get("explained_by", SIGN[entry["name"]].hazards)),
            entry.get("main", False),
            tuple(entry.get("do", ())),
            tuple(entry.get("do_not", ())),
            tuple(entry.get("call", ())),
        )
        for entry in document["stop"]
    ]
    return {stop.name: stop for stop in made}, cast(dict[str, str], document["panel"])


def named_stops(names: Iterable[str]) -> tuple[Stop, ...]:
    """Return the reasons to stop among signs, the gravest first."""
    wanted = set(names)
    return tuple(stop for name, stop in stops().items() if name in wanted)


def stops_in_texts(signs: Iterable[str], told: Iterable[str]) -> tuple[Stop, ...]:
    """Return the reasons to stop in what somebody wrote, whatever else is wrong with it.

    `signs` are names of signs; `told` are texts on what was seen or found, which comes after the
    last colon or equals sign. Capitals count like small letters.
    """
    names = {"-".join(sign.lower().replace("_", " ").split()) for sign in signs}
    for text in told:
        last = re.split("[:=]", text.lower())[-1]
        names |= {name for part, name in _WRITTEN_AS.items() if part in last}
    return named_stops(names)


def reasons(
    pool: SuspectPool, symptoms: Symptoms, results: Iterable[tuple[str, str]]
) -> tuple[Stop, ...]:
    """Return every reason to stop in signs, in what was seen, and in what checks have shown."""
    names = symptoms.signs | signs_seen(symptoms.seen.values())
    for key, word in results:
        names |= frozenset(found_signs(pool, symptoms.seen, key, word))
    return named_stops(names)


def signs_seen(outcomes: Iterable[int]) -> frozenset[str]:
    """Return the dangerous signs that follow from what a light was seen to do."""
    return frozenset(_SEEN_AS[outcome] for outcome in outcomes if outcome in _SEEN_AS)


def found_signs(pool: SuspectPool, seen: Mapping[int, int], key: str, word: str) -> Iterator[str]:
    """Yield the dangerous signs that follow from a finding of a check.

    A lampholder that a meter finds live where it should not be is one: the shell always, the
    contact unless the lamp is known to be lit.
    """
    kind, _, what = key.partition(":")
    if kind == "flip" and word in _FOUND_AS:
        yield _FOUND_AS[word]
    if kind == "voltage" and word in ("part", "live") and pool.circuit is not None:
        terminal, _, state = what.rpartition("@")
        lamp, _, part = terminal.rpartition(".")
        is_alight = state.isdecimal() and seen.get(int(state)) in (DIM, LIT)
        if lamp in {each.name for each in pool.circuit.lamps} and not (
            part == "contact" and is_alight
        ):
            yield "holder-live"


def power_off(checks: Iterable[Check], stops: Sequence[Stop]) -> list[Check]:
    """Return the checks that these reasons to stop allow; all of them if there is no reason."""
    if not stops:
        return list(checks)
    left = [check for check in checks if check.kind.name in POWER_OFF_KINDS]
    if Panel(tuple(stops)).is_main:
        left = [replace(c, how=c.how.replace(OFF_AT_BREAKER, _OFF_AT_MAIN)) for c in left]
    return left
