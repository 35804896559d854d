"""Known wiring: the number of switches alone, the way the cables run, or the whole circuit.

Each of the three gives the desk its suspects. The desk calls switches and boxes by number; `told`
rewords its texts with the names that a person uses.
"""

import json
import re
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from catalogue.desk.match import SuspectGroup
from catalogue.desk.suspect_pool import (
    NO_FAULT,
    Suspect,
    SuspectPool,
    pool_of_catalogue,
    pool_of_circuit,
)
from catalogue.pages.contract import Row, Visit
from catalogue.pages.desksketch import Shape, letters
from catalogue.pages.rendered import render_fault
from catalogue.store.coverage import scheme_title
from verify.behaviour.signature import Signature, canonical
from verify.circuit.model import Circuit

#: The sizes for which the wiring need not be known, with names for their switches.
ORDINALS: Final[Mapping[int, Sequence[str]]] = {
    2: ("first", "last"),
    3: ("first", "middle", "last"),
}
_NUMBERED: Final = re.compile(r"\b(?P<what>switch|box)-(?P<number>[1-9])(?P<run>-run(?:-2)?)?\b")
_COUNTED: Final = re.compile(r"\bswitch(?:es)? (\d+(?:, \d+)*(?: and \d+)?)")
_BETWEEN: Final = re.compile(r"between switch-(\d) and switch-(\d)")


class KnownWiring(ABC):
    """What somebody knows of the wiring.

    `query` names it in an address; `names` are the person's names for the switches.
    """

    query: Mapping[str, str]
    names: tuple[str, ...]
    any_order: bool = False

    @property
    @abstractmethod
    def pool(self) -> SuspectPool:
        """The suspects."""

    @property
    @abstractmethod
    def switches(self) -> int:
        """The number of switches of the light."""

    @abstractmethod
    def in_words(self) -> str:
        """Return what is searched, as a sentence."""

    @property
    def called(self) -> Sequence[str]:
        """The names of the switches in texts, that of number 1 first."""
        return self.names

    def told(self, text: str) -> str:
        """Return a text of the desk with the names that the person knows."""
        return text

    def named(self, name: str) -> str:
        """Return the name of a signature with the names that the person knows."""

        def listed(match: re.Match[str]) -> str:
            *most, last = [self.called[int(n) - 1] for n in re.findall(r"\d+", match[1])]
            return f"{', '.join(most)} and {last}" if most else last

        return _COUNTED.sub(listed, name)

    def circuits(self, group: SuspectGroup) -> int | None:
        """Return how many circuits the faults of a group are in; None if there is only one."""
        return None

    def example(self, group: SuspectGroup) -> Suspect | None:
        """Return the suspect with a page of its own that stands for most faults."""
        return max(
            (s for s in group.suspects if s.family != NO_FAULT),
            key=lambda suspect: suspect.faults,
            default=None,
        )


def _called(names: Sequence[str]) -> list[str]:
    """Return names as they stand in a sentence; a switch without one has its letter."""
    return [
        f"switch {name}" if name == letter else name
        for name, letter in zip(names, letters(len(names)), strict=True)
    ]


def _numbered_told(text: str, switch: Sequence[str], box: Sequence[str]) -> str:
    """Return a text with names for numbers; the lists begin with the name for number 1."""

    def name(match: re.Match[str]) -> str:
        number = int(match["number"]) - 1
        if match["what"] == "switch":
            return switch[number]
        if match["run"]:
            which = "second cable" if match["run"].endswith("2") else "cable"
            return f"the {which} to {box[number]}"
        return box[number]

    text = text.replace("the box box-", "box-").replace("the box lamp-box", "lamp-box")
    text = text.replace("lamp-box-run", "the cable to lamp-box")
    return _NUMBERED.sub(name, text).replace("lamp-box", "the lamp’s box")


@dataclass(frozen=True)
class AnyLayout(KnownWiring):
    """Nothing is known of the wiring: every layout of a size in the catalogue is searched."""

    visit: Visit
    locations: int
    schemes: tuple[str, ...]
    names: tuple[str, ...]
    query: Mapping[str, str]
    any_order = True

    @property
    def switches(self) -> int:
        """The number of locations."""
        return self.locations

    @cached_property
    def pool(self) -> SuspectPool:
        """The suspects of every layout, by name."""
        return pool_of_catalogue(
            self.visit.catalogue.execute, self.locations, self.schemes, names=_called(self.names)
        )

    def in_words(self) -> str:
        """Return which circuits are searched."""
        total = self.visit.number(f"select count(*) from ({self._circuits()})", *self._values())
        wired = " or ".join(scheme_title(scheme) for scheme in self.schemes)
        return (
            f"Nothing is taken to be known of the wiring: all {total} circuits of "
            f"{self.locations} switches in this catalogue are searched, in every layout, wired as "
            f"{wired}."
        )

    @property
    def called(self) -> Sequence[str]:
        """ "The first switch" and so on, in the order in which the current meets them."""
        return [f"the {ordinal} switch" for ordinal in ORDINALS[self.locations]]

    def told(self, text: str) -> str:
        """Name switches by their order, since which of the person's they are is not known."""
        return _numbered_told(text, self.called, [f"{switch}’s box" for switch in self.called])

    def circuits(self, group: SuspectGroup) -> int | None:
        """Count circuits by signature; if the group is only a part of it, by names and hazards."""
        behaviours = {suspect.codes for suspect in group.suspects}
        words = [canonical(self.pool.codes[codes], 1).word for codes in behaviours]
        if len(group.suspects) == sum(s.codes in behaviours for s in self.pool.suspects):
            return self.visit.number(  # the group is all that looks like this: an index counts it
                _ALL_IN.format(circuits=self._circuits(), words=", ".join("?" * len(words))),
                *(*words, *self._values()),
            )
        wanted = sorted({(s.kind, s.family, s.place, s.hazards) for s in group.suspects})
        return self.visit.number(
            _SOME_IN.format(circuits=self._circuits(), words=", ".join("?" * len(words))),
            *(json.dumps(wanted), *words, *self._values()),
        )

    def _circuits(self) -> str:
        marks = ", ".join("?" * len(self.schemes))
        return (
            "select id from circuit where origin = 'layout' and locations = ?"
            f" and scheme in ({marks})"
        )

    def _values(self) -> tuple[object, ...]:
        return (self.locations, *self.schemes)


_ALL_IN: Final = """
select count(distinct circuit_id)
from outcome cross join fault on outcome_id = outcome.id
where signature_id in (select id from signature where word in ({words}))
    and circuit_id in ({circuits})
"""
_SOME_IN: Final = """
with wanted as materialized (
    select kind.id, family.id, json_extract(value, '$[3]') from json_each(?)
    join fault_kind as kind on kind.name = json_extract(value, '$[0]')
    join family on family.name = json_extract(value, '$[1]')
        and family.place = json_extract(value, '$[2]')
)
select count(distinct circuit_id)
from outcome cross join fault on outcome_id = outcome.id
where signature_id in (select id from signature where word in ({words}))
    and circuit_id in ({circuits})
    and (kind_id, family_id, hazard_set) in (select * from wanted)
"""


@dataclass(frozen=True)
class OneLayout(KnownWiring):
    """The way the cables run is known, but not which switch the current meets first.

    Numbers of switches and boxes stand for places of the shape.
    """

    visit: Visit
    shape: Shape
    schemes: tuple[str, ...]
    names: tuple[str, ...]
    query: Mapping[str, str]

    @property
    def switches(self) -> int:
        """The number of switches of the shape."""
        return self.shape.layout.locations

    def in_words(self) -> str:
        """Return the shape and the schemes."""
        wired = " or ".join(scheme_title(scheme) for scheme in self.schemes)
        return (
            f"{self.shape.in_words()}. Wired as {wired}, the switches met by the current in any "
            f"order: {len(self._labels)} circuits are searched."
        )

    @property
    def called(self) -> Sequence[str]:
        """The names that the person gave, or letters."""
        return _called(self.names)

    def told(self, text: str) -> str:
        """Name switches as the person does, and each box after its switch."""
        return _numbered_told(text, self.called, [f"the box of {name}" for name in self.called])

    @cached_property
    def _labels(self) -> dict[str, list[tuple[int, ...]]]:
        """Each circuit with the ways in which its switches can stand at the places."""
        labels: dict[str, list[tuple[int, ...]]] = {}
        for layout, places in self.shape.numbered():
            for scheme in self.schemes:
                labels.setdefault(f"{scheme}-{layout.code}", []).append(places)
        return labels

    @cached_property
    def _found(self) -> tuple[SuspectPool, list[set[str]]]:
        """The pool, and the circuits in which each of its suspects occurs."""
        behaviours: dict[str, int] = {}
        alike: dict[tuple[str, str, str, str, str, int], list[Row]] = {}
        for row in self._rows():
            circuit, word, kind, family, where = tuple(row)[:5]
            for places in self._labels[circuit]:
                codes = _placed_word(word, places)
                name, place = _placed(family, places), _placed(where, places)
                key = (kind, name, place, row["verdict"], codes, row["hazard_set"])
                alike.setdefault(key, []).append(row)
        holding = [{row["circuit"] for row in faults} for faults in alike.values()]
        suspects = tuple(
            Suspect(
                kind=kind,
                family=name,
                place=place,
                **_example_words(faults[0]),
                verdict=verdict,
                codes=behaviours.setdefault(codes, len(behaviours)),
                hazards=hazards,
                faults=len(faults),
                circuits=len(circuits),
            )
            for ((kind, name, place, verdict, codes, hazards), faults), circuits in zip(
                alike.items(), holding, strict=True
            )
        )
        locations = self.switches
        pool = SuspectPool(
            switch_names=tuple(f"switch-{number}" for number in range(1, locations + 1)),
            lamps=1,
            codes=np.array([Signature.parse(word).codes for word in behaviours], np.int64).reshape(
                len(behaviours), 1 << locations
            ),
            suspects=suspects,
            scope=f"every single fault of {len(self._labels)} circuits of this layout",
            is_canonical=True,
        )
        return pool, holding

    def _rows(self) -> list[Row]:
        """Read every fault of the circuits, then every circuit as intended, which has no kind."""
        marks = ", ".join("?" * len(self._labels))
        labels = tuple(self._labels)
        faults = self.visit.rows(_OF_CIRCUITS.format(marks=marks), *labels)
        return faults + self.visit.rows(_INTENDED.format(marks=marks), NO_FAULT, *labels)

    @property
    def pool(self) -> SuspectPool:
        """The suspects of all circuits of the shape; those alike that share a name are one."""
        return self._found[0]

    def circuits(self, group: SuspectGroup) -> int | None:
        """Return how many of the circuits have a fault of the group."""
        pool, holding = self._found
        wanted = set(group.suspects)
        of_each = zip(pool.suspects, holding, strict=True)
        return len(set().union(*(circuits for suspect, circuits in of_each if suspect in wanted)))


_OF_CIRCUITS: Final = """
select circuit.label as circuit, word, kind.name as kind, family.name as family, place,
       circuit.file, fault.site, verdict.name as verdict, hazard_set
from circuit cross join fault on circuit_id = circuit.id
cross join outcome on outcome.id = outcome_id
join signature on signature.id = outcome.signature_id
join fault_kind as kind on kind.id = kind_id
join family on family.id = family_id
join verdict on verdict.id = outcome.verdict_id
where circuit.label in ({marks}) order by fault.id
"""
_INTENDED: Final = """
select label as circuit, word, '' as kind, ? as family, '' as place, file, 0 as site,
       'sound' as verdict, 0 as hazard_set
from circuit join signature on signature.id = signature_id where label in ({marks})
"""


def _example_words(row: Row) -> dict[str, str]:
    """Return the label of a fault, and the fault as a sentence."""
    if not row["kind"]:
        return {"label": "", "description": "The circuit is as intended."}
    words = render_fault(row["circuit"], row["file"], row["kind"], row["site"])
    return {
        "label": f"{row['circuit']}/{row['kind']}/{words.site}",
        "description": words.description,
    }


@lru_cache(maxsize=20_000)
def _placed(text: str, places: tuple[int, ...]) -> str:
    """Return a text in which numbers of switches and boxes became those of their places."""
    moved = _NUMBERED.sub(
        lambda m: f"{m['what']}-{places[int(m['number']) - 1]}{m['run'] or ''}", text
    )
    return _BETWEEN.sub(
        lambda m: "between switch-{} and switch-{}".format(*sorted(m.groups())), moved
    )


@lru_cache(maxsize=1000)
def _placed_word(word: str, places: tuple[int, ...]) -> str:
    """Return a signature's canonical word with its switches numbered by their places."""
    codes = Signature.parse(word).codes
    moved = list(codes)
    for state, code in enumerate(codes):
        moved[sum((state >> i & 1) << (place - 1) for i, place in enumerate(places))] = code
    return canonical(np.array(moved, np.int64), 1).word


@dataclass(frozen=True)
class OneCircuit(KnownWiring):
    """The whole circuit is known; `label` names it if it is one of the catalogue."""

    circuit: Circuit
    names: tuple[str, ...]
    query: Mapping[str, str]
    label: str | None = None

    @property
    def switches(self) -> int:
        """The number of switches of the circuit."""
        return len(self.circuit.switches)

    @cached_property
    def pool(self) -> SuspectPool:
        """Every single fault of the circuit."""
        return pool_of_circuit(self.circuit)

    def in_words(self) -> str:
        """Return which circuit is searched."""
        where = f"circuit {self.label} of this catalogue" if self.label else "the pasted circuit"
        return f"Every single fault of {where}, “{self.circuit.name}”, is searched."
