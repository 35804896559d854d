"""Every single fault as rows: sequence, dictionaries, data frame, and what Python prints."""

import json
import sys
from collections import Counter
from types import ModuleType
from typing import Any

import pytest
from boathouse import SWITCH_NOT_GROUNDED, stair
from hypothesis import given
from hypothesis import strategies as st

from verify.base.problems import CircuitError, UserError
from verify.behaviour.judgement import PROVED_VERDICTS
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Device
from verify.fault.registry import fault_kinds, find_fault
from verify.hazard.definitions import HAZARD_NAMES
from verify.verdict.single_faults import ROW_KEYS, FaultList, JudgedFault, faults


@pytest.fixture(scope="module")
def found() -> FaultList:
    """Every single fault of the stair."""
    return faults(stair())


def test_a_list_is_a_sequence(found: FaultList) -> None:
    """Its length, places, slices and rows are those of a list."""
    assert len(found) == len(list(found)) == sum(sum(c.values()) for c in found.counts.values())
    assert isinstance(found[0], JudgedFault)
    assert list(found[1:3]) == [found[1], found[2]]
    assert found[-1] in found


def test_a_part_is_a_list_of_faults(found: FaultList) -> None:
    """A slice and a choice have tables, counts and cautions as the whole has."""
    for part in (found[10:30], found.where(verdict="mimic"), found.where(kind="left-off")[::2]):
        assert isinstance(part, FaultList)
        assert 0 < len(part) < len(found)
        assert [row for row in found if row in part.rows] == list(part) == list(part.rows)
        assert sum(sum(counts.values()) for counts in part.counts.values()) == len(part)
        assert f"{len(part)} single faults" in part._repr_html_()


@given(
    kind=st.none() | st.sampled_from([kind.name for kind in fault_kinds()]),
    verdict=st.none() | st.sampled_from(PROVED_VERDICTS),
    hazard=st.none() | st.sampled_from(HAZARD_NAMES),
)
def test_where_chooses_by_what_rows_say(
    found: FaultList, kind: str | None, verdict: str | None, hazard: str | None
) -> None:
    """Of the dictionaries those are chosen that say each thing asked for, in their order."""
    wanted = [
        row
        for row in found.to_dicts()
        if (kind is None or row["kind"] == kind)
        and (verdict is None or row["verdict"] == verdict)
        and (hazard is None or repr(hazard) in str(row["hazards"]))
    ]
    chosen = found.where(kind=kind, verdict=verdict, hazard=hazard)
    assert chosen.to_dicts() == wanted
    assert all(row.kind == row.fault.kind and row.site == row.fault.site for row in chosen)


def test_where_refuses_names_that_there_are_not(found: FaultList) -> None:
    """A misspelt name finds nothing by mistake only, so each is told with those that there are."""
    with pytest.raises(UserError) as refusal:
        found.where(kind="left-of", verdict="safe", hazard="metal")
    said = str(refusal.value).splitlines()
    for line, name in zip(said, ("kind=left-of", "verdict=safe", "hazard=metal"), strict=True):
        assert line.startswith(f"{name} is not known; write one of ")
    assert "left-off" in said[0]
    assert "metal-floating" in said[2]


def test_lists_are_equal_by_their_rows(found: FaultList) -> None:
    """The faults of equal circuits are equal lists; a part is not the whole."""
    assert faults(stair()) == found == found[:]
    assert found[1:] != found
    assert found.where(kind="left-off") == found.where(kind="left-off")


def test_a_label_leads_back(found: FaultList) -> None:
    """The label of a row is that of its fault in the circuit, which names it too."""
    for row in found[::40]:
        assert find_fault(found.circuit, row.label) == row.fault
        assert repr(row.fault) == f"<Fault {row.label}>"
        assert repr(row).startswith(f"<JudgedFault {row.label}: {row.verdict}")
        assert row.description in repr(row)


def test_dictionaries_are_plain(found: FaultList) -> None:
    """Every row has the same keys, and JSON holds them as they are."""
    rows = found.to_dicts()
    assert len(rows) == len(found)
    assert {tuple(row) for row in rows} == {tuple(ROW_KEYS)}
    assert json.loads(json.dumps(rows)) == rows


def test_a_frame_has_the_rows(found: FaultList, monkeypatch: pytest.MonkeyPatch) -> None:
    """pandas, which a stand-in is here, gets a row a fault and the columns, hazards as one text."""
    given: dict[str, Any] = {}

    class DataFrame:
        def __init__(self, data: list[dict[str, object]], columns: list[str]) -> None:
            given.update(data=data, columns=columns)

    pandas = ModuleType("pandas")
    pandas.DataFrame = DataFrame  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "pandas", pandas)
    assert isinstance(found.to_frame(), DataFrame)
    assert given["columns"] == ROW_KEYS
    assert [row["hazards"] for row in given["data"]] == [", ".join(row.hazards) for row in found]
    assert [row["label"] for row in given["data"]] == [row.label for row in found]


def test_without_pandas_there_is_a_remedy(
    found: FaultList, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pandas is no dependency: who lacks it hears what to do."""
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(UserError, match="pandas is not installed; install it, or take to_dicts"):
        found.to_frame()


def test_what_python_prints_counts_them(found: FaultList) -> None:
    """Name, number, counts by kind and verdict, cautions; before all, that it is not sound."""
    said = " ".join(repr(found).split())
    assert said.startswith(f"Boathouse stair {len(found)} single faults kind sound mimic")
    for kind, counts in found.counts.items():
        assert f"{kind} {' '.join(map(str, counts.values()))} {sum(counts.values())}" in said
    assert "Cautions: " in said
    faulty = " ".join(repr(faults(stair(SWITCH_NOT_GROUNDED))).split())
    assert "this circuit is not sound but mimic (metal-floating)" in faulty


def test_too_many_switches_are_refused() -> None:
    """Faults of more switches than an engine lists are not judged one by one."""
    switches = [Device(f"switch-{n}", "single-pole", "landing") for n in range(17)]
    devices = (Device("feed", "feed", "landing"), Device("lamp", "lamp", "landing"), *switches)
    with pytest.raises(CircuitError, match="17 switches are more than the 16 that"):
        faults(Circuit("Many switches", (Box("landing"),), devices, (), ()))


def test_progress_ends_with_all_done(found: FaultList, monkeypatch: pytest.MonkeyPatch) -> None:
    """Progress is told after each batch, and the last time everything is done."""
    monkeypatch.setattr("verify.verdict.judging._BATCH_BYTES", 5000)
    told: list[tuple[int, int]] = []
    again = faults(stair(), lambda done, total: told.append((done, total)))
    assert len(told) > 2
    assert told == sorted(told)
    assert told[-1] == (len(again), len(again))
    assert Counter(judged.verdict for judged in again) == Counter(
        judged.verdict for judged in found
    )
