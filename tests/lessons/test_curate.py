"""What `miswire curate` proposes shows everything, and no smaller set does."""

import itertools
import json
import sqlite3
import tomllib
from contextlib import closing
from pathlib import Path

import pytest
from commandline import run, words
from hypothesis import given
from hypothesis import strategies as st

from catalogue.lessons.curated import Case, locate, shipped_circuit
from catalogue.lessons.sheet import work_out
from catalogue.lessons.suggest import Candidate, Suggestion, candidates, fewest, suggest
from verify.engine.nodal import NodalEngine
from verify.verdict.judging import judge

pytest_plugins = ["small_catalogue"]


@pytest.fixture(scope="module")
def found(database: Path) -> Suggestion:
    """What is proposed for two locations."""
    with closing(sqlite3.connect(database)) as connection:
        return suggest(connection, [2], shipped_circuit)


@st.composite
def families(draw: st.DrawFn) -> list[Candidate]:
    """Some candidates, each showing one behaviour, one kind and some hazards."""
    shown = draw(
        st.lists(
            st.tuples(
                st.integers(0, 3), st.sampled_from("abc"), st.frozensets(st.sampled_from("xyz"))
            ),
            min_size=1,
            max_size=9,
        )
    )
    return [
        Candidate(
            number,
            frozenset(
                {("behaviour", behaviour), ("kind", kind), *(("hazard", h) for h in hazards)}
            ),
        )
        for number, (behaviour, kind, hazards) in enumerate(shown)
    ]


@given(families())
def test_the_cover_is_as_small_as_trying_everything_finds(choices: list[Candidate]) -> None:
    """On small problems every subset is tried: none that shows everything is smaller, and of those
    as small none has its faults earlier in the order."""
    everything = frozenset().union(*(choice.shows for choice in choices))
    chosen = fewest(choices)
    assert frozenset().union(*(choice.shows for choice in chosen)) == everything
    covers = [
        subset
        for size in range(1, len(chosen) + 1)
        for subset in itertools.combinations(choices, size)
        if frozenset().union(*(choice.shows for choice in subset)) == everything
    ]
    assert min(map(len, covers)) == len(chosen)
    assert sum(c.fault for c in chosen) == min(sum(c.fault for c in subset) for subset in covers)


def test_of_nothing_nothing_is_chosen() -> None:
    """A catalogue without layouts has nothing to propose."""
    assert fewest([]) == []


def test_the_set_shows_everything_that_the_catalogue_has(database: Path, found: Suggestion) -> None:
    """Every behaviour, hazard and kind of the layouts of two locations, by their own verdicts."""
    with closing(sqlite3.connect(database)) as connection:
        behaviours = connection.execute(
            "select count(distinct signature_id) from profile where locations = 2"
        ).fetchone()[0]
        kinds = {
            row[0]
            for row in connection.execute(
                "select distinct fault_kind.name from profile join fault_kind on kind_id ="
                " fault_kind.id where locations = 2"
            )
        }
        hazards = {
            row[0]
            for row in connection.execute(
                "select distinct hazard.name from profile join hazard on"
                " hazard_set >> (hazard.id - 1) & 1 where locations = 2"
            )
        }
    assert found.shown == {"behaviour": behaviours, "hazard": len(hazards), "kind": len(kinds)}
    assert len(found.faults) >= found.least == behaviours
    assert {fault.label.split("/")[1] for fault in found.faults} == kinds
    assert {h for fault in found.faults for h in fault.hazards} == hazards
    seen = set()
    for fault in found.faults:
        circuit, mistake = locate(_case(fault.label))
        judged = judge(mistake.apply(circuit), NodalEngine())
        assert (judged.verdict, judged.hazards) == (fault.verdict, fault.hazards)
        seen.add(judged.signature)
    assert len(seen) == behaviours


def _case(label: str) -> Case:
    return Case(label, "", "", "", (), "", "", "")


def test_the_easiest_come_first(found: Suggestion) -> None:
    """Cost of the plan, then its checks, then the suspects at first sight, as a sheet has them."""
    order = [(fault.cost, fault.checks, fault.suspects) for fault in found.faults]
    assert order == sorted(order)
    assert order[0] < order[-1]
    for fault in found.faults[::6]:
        sheet = work_out(_case(fault.label))
        assert sheet.difficulty == (fault.cost, fault.checks, fault.suspects)


def test_what_shows_less_than_another_is_no_candidate(database: Path) -> None:
    """Candidates are few: none shows a part of what another shows, and none shows the same."""
    with closing(sqlite3.connect(database)) as connection:
        found = candidates(connection, [2])
    shown = [candidate.shows for candidate in found]
    assert len(set(shown)) == len(shown)
    assert not any(one < other for one in shown for other in shown)


def test_the_command_prints_text_json_and_entries(database: Path, found: Suggestion) -> None:
    """The same faults in each form; entries are TOML, and lack what only a person can write."""
    labels = [fault.label for fault in found.faults]
    told = run("curate", str(database), "--locations", "2")
    assert told.exit_code == 0, told.output
    assert f"{len(labels)} faults show all there is" in words(told.output)
    form = json.loads(run("curate", str(database), "--locations", "2", "--json").output)
    assert [fault["label"] for fault in form["faults"]] == labels
    entries = tomllib.loads(run("curate", str(database), "--locations", "2", "--toml").output)
    assert [entry["label"] for entry in entries["case"]] == labels


def test_a_size_that_is_not_there_is_refused(database: Path) -> None:
    """With the command that builds it; wrong options are told together."""
    result = run("curate", str(database), "--locations", "2,3")
    assert result.exit_code == 2
    assert "--locations=3" in result.stderr
    assert "--locations 3" in result.stderr
    result = run("curate", str(database), "--locations", "9", "--json", "--toml")
    assert result.exit_code == 2
    assert "'9' must be" in result.stderr
    assert "--toml: cannot go with --json" in result.stderr
