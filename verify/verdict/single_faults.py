"""All single faults of a circuit with the verdict on each, as rows that have names."""

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, overload

import numpy as np

from verify.base.problems import CircuitError, Problem, UserError, shown
from verify.base.sentences import counted
from verify.base.telling import Group, Passage, TextTable, cautions_group, heading, html, plain
from verify.behaviour.judgement import PROVED_VERDICTS, VERDICTS, Judgement
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import Codes, canonical
from verify.circuit.model import Circuit, require_circuit
from verify.engine.volts import engine_for
from verify.engine.words import WORTH_COMPILING_ONCE, WordsEngine
from verify.fault.contract import Fault, FaultKind
from verify.fault.registry import all_faults, fault_kinds
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.judging import NONE, Verdicts, judge, judge_faults, why_unprovable

#: The keys of a row of `FaultList.to_dicts`.
ROW_KEYS: Final = [
    "label",
    "kind",
    "site",
    "description",
    "verdict",
    "signature",
    "signature_name",
    "hazards",
]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class JudgedFault:
    """A fault with its verdict, its hazards and its signature.

    `description` says what was done wrong, `signature` what the light then does, a symbol a lamp
    and state, and `signature_name` the same in words. `hazards` are those that hold in some state.
    """

    fault: Fault
    description: str
    verdict: str
    signature: str
    signature_name: str
    hazards: tuple[str, ...]

    @property
    def label(self) -> str:
        """Kind and site in one word: `find_fault` takes it."""
        return self.fault.label

    @property
    def kind(self) -> str:
        """The kind of the mistake, such as ``left-off``."""
        return self.fault.kind

    @property
    def site(self) -> tuple[str, ...]:
        """Where it is: names from the circuit."""
        return self.fault.site

    def to_dict(self) -> dict[str, object]:
        """Return the row as plain values; its keys are `ROW_KEYS`."""
        return {
            "label": self.label,
            "kind": self.kind,
            "site": self.fault.site_text,
            "description": self.description,
            "verdict": self.verdict,
            "signature": self.signature,
            "signature_name": self.signature_name,
            "hazards": list(self.hazards),
        }

    def __repr__(self) -> str:
        hazards = f" ({', '.join(self.hazards)})" if self.hazards else ""
        return f"<JudgedFault {self.label}: {self.verdict}{hazards}. {self.description}>"


@dataclass(frozen=True)
class FaultList(Sequence[JudgedFault]):
    """Single faults of `circuit`, in order, all or a part; two lists of equal rows are equal.

    `judgement` is on the circuit as it stands. A slice is a `FaultList` too.
    """

    circuit: Circuit
    judgement: Judgement
    rows: tuple[JudgedFault, ...]

    @overload
    def __getitem__(self, place: int) -> JudgedFault: ...

    @overload
    def __getitem__(self, place: slice) -> "FaultList": ...

    def __getitem__(self, place: int | slice) -> "JudgedFault | FaultList":
        if isinstance(place, slice):
            return replace(self, rows=self.rows[place])
        return self.rows[place]

    def __len__(self) -> int:
        return len(self.rows)

    def where(
        self, *, kind: str | None = None, verdict: str | None = None, hazard: str | None = None
    ) -> "FaultList":
        """The faults of that kind, with that verdict and with that hazard; None stands for any.

        Raises UserError with every name that there is not.
        """
        named = {
            "kind": (kind, [known.name for known in fault_kinds()]),
            "verdict": (verdict, PROVED_VERDICTS),
            "hazard": (hazard, HAZARD_NAMES),
        }
        problems = [
            Problem("", f"{name}={shown(str(word))} is not known; write one of {', '.join(known)}")
            for name, (word, known) in named.items()
            if word is not None and word not in known
        ]
        if problems:
            raise UserError(problems)
        rows = (
            row
            for row in self.rows
            if kind in (None, row.kind)
            and verdict in (None, row.verdict)
            and (hazard is None or hazard in row.hazards)
        )
        return replace(self, rows=tuple(rows))

    @property
    def counts(self) -> dict[str, dict[str, int]]:
        """Return how many faults of each kind have each verdict, zeros included."""
        counts = {kind.name: dict.fromkeys(PROVED_VERDICTS, 0) for kind in fault_kinds()}
        for judged in self.rows:
            counts[judged.kind][judged.verdict] += 1
        return counts

    def to_dicts(self) -> list[dict[str, object]]:
        """Return the rows as dictionaries of plain values, fit for JSON."""
        return [judged.to_dict() for judged in self.rows]

    def to_frame(self) -> Any:
        """Return the rows as a `pandas.DataFrame` with a column for each key of `to_dicts`.

        Hazards are one text, their names with commas between. Raises UserError where pandas is not
        installed.
        """
        try:
            import pandas
        except ModuleNotFoundError as error:
            raise UserError(
                [Problem("", "pandas is not installed; install it, or take to_dicts()")]
            ) from error
        rows = [{**judged.to_dict(), "hazards": ", ".join(judged.hazards)} for judged in self.rows]
        return pandas.DataFrame(rows, columns=ROW_KEYS)

    def told(self) -> Iterator[Group]:
        """Yield a table of how many faults of each kind have which verdict."""
        base = self.judgement
        if base.verdict != "sound":
            hazards = f" ({', '.join(base.hazards)})" if base.hazards else ""
            yield [
                Passage(
                    f"As it stands this circuit is not sound but {base.verdict}{hazards}: what "
                    "follows is about one more mistake in it."
                )
            ]
        yield [heading(counted(len(self), "single fault"))]
        by_kind = {kind: list(counts.values()) for kind, counts in self.counts.items()}
        by_kind["all"] = [sum(column) for column in zip(*by_kind.values(), strict=True)]
        rows = [
            [kind, *(f"{number:,}" for number in (*numbers, sum(numbers)))]
            for kind, numbers in by_kind.items()
        ]
        yield [TextTable(["kind", *PROVED_VERDICTS, "total"], rows, numbers=True)]

    def _all_told(self) -> Iterator[Group]:
        yield [heading(self.circuit.name)]
        yield from self.told()
        yield cautions_group()

    def __repr__(self) -> str:
        return plain(self._all_told())

    def _repr_html_(self) -> str:
        return html(self._all_told())


def faults(circuit: Circuit, progress: Progress = lambda done, total: None) -> FaultList:
    """Judge every single fault of a circuit: a row each, in the order of kinds and sites.

    `progress` is told how many are done and how many there are. Raises `CircuitError` for a circuit
    with more switches or lamps than an engine can prove, UserError for what is no `Circuit`.
    """
    require_circuit(circuit)
    reason = why_unprovable(circuit, WordsEngine())
    if reason:
        raise CircuitError([Problem("", f"{reason}; split the circuit")])
    kinds = {kind.name: kind for kind in fault_kinds()}
    names = _Signatures(len(circuit.lamps))
    every = all_faults(circuit)
    engine = engine_for(circuit, len(every), WORTH_COMPILING_ONCE)
    judged: list[JudgedFault] = []
    for part, _, verdicts in judge_faults(circuit, every, engine):
        judged += _judged(part, verdicts, kinds, names)
        progress(len(judged), len(every))
    return FaultList(circuit, judge(circuit, engine), tuple(judged))


def _judged(
    faults: Sequence[Fault],
    found: Verdicts,
    kinds: Mapping[str, FaultKind],
    names: "_Signatures",
) -> Iterator[JudgedFault]:
    rows = zip(faults, found.verdict.tolist(), found.hazard_state != NONE, found.codes, strict=True)
    for fault, verdict, hazards, codes in rows:
        word, name = names.of(codes)
        yield JudgedFault(
            fault,
            kinds[fault.kind].in_words(fault.site),
            VERDICTS[verdict],
            word,
            name,
            tuple(HAZARD_NAMES[number] for number in np.flatnonzero(hazards)),
        )


class _Signatures:
    """A cache of signatures: few faults differ, so each is worked out once and shared."""

    def __init__(self, lamps: int) -> None:
        self._lamps = lamps
        self._known: dict[bytes, tuple[str, str]] = {}

    def of(self, codes: Codes) -> tuple[str, str]:
        """Return the word and the name of the signature of one row of `Verdicts.codes`."""
        key = hashlib.sha256(codes.tobytes()).digest()  # with 16 switches a row has half a megabyte
        if key not in self._known:
            signature = canonical(codes, self._lamps)
            self._known[key] = signature.word, signature_name(signature)
        return self._known[key]
