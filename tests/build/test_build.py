"""Building, resuming, digesting and auditing a catalogue."""

import os
import random
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import closing, suppress
from functools import partial
from pathlib import Path

import pytest
from commandline import PROGRAM

from catalogue.build.audit import audit
from catalogue.build.pair_audit import wrong_pairs
from catalogue.build.sweep import build, build_plan, self_check, sweep
from catalogue.build.workforce import processes
from catalogue.pages.contract import Visit
from catalogue.pages.findings import findings
from catalogue.prove import cache as memories
from catalogue.prove.build_plan import CircuitBatch, make_plan
from catalogue.prove.proving import Proved, prove
from catalogue.store.contents import PROFILE, changed_circuits, digest_of
from catalogue.store.rendering import register_text_functions
from catalogue.store.schema import open_for_writing
from catalogue.store.tables import TABLES
from verify.base.problems import UserError
from verify.circuit.file import loads
from verify.fault.registry import all_faults, fault_kinds
from verify.layout import sampler
from verify.layout.enumeration import Layout

DRAWN = 3


class _InterruptedError(Exception):
    """What stops a build, or takes back a change, in a test."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The complete catalogue of two locations and a few drawn circuits, with its digest."""
    path = tmp_path_factory.mktemp("built") / "two.db"
    return path, build(path, [2], DRAWN, seed=1).digest


def test_a_label_of_two_circuits_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A circuit is taken for one that is stored if it is the same, not if its hash is."""
    monkeypatch.setattr(sampler, "_label", lambda circuit: "drawn-alike")
    with pytest.raises(UserError, match="drawn-alike: two circuits that were drawn"):
        build(tmp_path / "alike.db", [], DRAWN, seed=1)


def rows(path: Path, query: str) -> list[tuple[object, ...]]:
    """What a query finds in a catalogue."""
    with closing(sqlite3.connect(path)) as connection:
        register_text_functions(connection)
        return connection.execute(query).fetchall()


def test_every_layout_and_every_fault_is_there(built: tuple[Path, str]) -> None:
    """Nine layouts for each sound scheme, each with all its faults, no fault without a verdict."""
    path, _ = built
    counts = rows(path, "select scheme, count(*) from circuit where origin = 'layout' group by 1")
    assert counts == [("chain", 9), ("tied", 9)]
    stored = rows(
        path,
        "select kind.name || '/' || fault_at(label, file, kind.name, site)"
        " from fault join circuit on circuit.id = circuit_id"
        " join fault_kind as kind on kind.id = kind_id where label = 'tied-1.f.1'"
        " order by fault.id",
    )
    circuit = Layout.parse("1.f.1").circuit("tied")
    assert [label for (label,) in stored] == [fault.label for fault in all_faults(circuit)]


def test_every_bad_verdict_and_every_hazard_has_its_evidence(built: tuple[Path, str]) -> None:
    """A fault that trips or misbehaves names a state, a mimic has a hazard with a state."""
    path, _ = built
    without = rows(
        path,
        "select count(*) from judged_fault as fault join verdict on verdict.id = verdict_id where"
        " (verdict.name in ('trips', 'misbehaves')) != (state is not null)"
        " or (verdict.name = 'misbehaves') != (switch is not null and lamp is not null)"
        " or hazards != (select count(*) from evidence where outcome_id = fault.outcome_id)"
        " or (verdict.name = 'mimic' and hazards = 0) or (verdict.name = 'sound' and hazards > 0)",
    )
    assert without == [(0,)]


def test_scope_says_complete_and_sampled(built: tuple[Path, str]) -> None:
    """Each kind is in the scope of each size, also where a size has no site for it."""
    path, _ = built
    found = rows(
        path,
        "select scheme, count(*), sum(faults) from scope where coverage = 'complete' group by 1",
    )
    assert [(scheme, kinds) for scheme, kinds, _ in found] == [
        ("chain", len(fault_kinds())),
        ("tied", len(fault_kinds())),
    ]
    total = rows(path, "select (select sum(faults) from scope), (select count(*) from fault)")
    assert total[0][0] == total[0][1]
    assert rows(path, "select sum(circuits) from scope where coverage = 'sampled'") != [(None,)]


def test_tables_are_strict_and_references_hold(built: tuple[Path, str]) -> None:
    """Every table is STRICT, every foreign key finds its row, the file is whole."""
    path, _ = built
    strict = rows(path, "select name from pragma_table_list where type = 'table' and strict")
    assert {table.name for table in TABLES} <= {name for (name,) in strict}
    assert rows(path, "pragma foreign_key_check") == []
    assert rows(path, "pragma integrity_check") == [("ok",)]


def test_full_text_search_finds_faults(built: tuple[Path, str]) -> None:
    """What mistakes are called is indexed when the build ends."""
    path, _ = built
    query = "select count(*) > 0 from family_fts where family_fts match 'exchanged'"
    assert rows(path, query) == [(1,)]


def test_what_is_counted_while_building_is_what_is_there(built: tuple[Path, str]) -> None:
    """The profile, and the verdicts of each circuit, are the counts of the faults themselves."""
    path, _ = built
    columns = (
        "origin, locations, scheme, kind_id, family_id, verdict_id, signature_id, hazard_set,"
        " faults, circuits, example_id"
    )
    ordered = f"select {columns} from profile order by 1, 2, 3, 4, 5, 6, 7, 8"
    with closing(open_for_writing(str(path))) as db:
        counted = db.execute(ordered).fetchall()
        assert len(counted) > 1000
        with suppress(_InterruptedError), db.atomic():
            db.execute("delete from profile")
            db.execute(PROFILE)
            assert db.execute(ordered).fetchall() == counted
            raise _InterruptedError
    names = {"sound": "sound", "mimic": "mimics", "misbehaves": "misbehaving", "trips": "tripping"}
    for verdict, column in names.items():
        wrong = rows(
            path,
            f"select count(*) from circuit where {column} <> (select count(*) from judged_fault"
            " join verdict on verdict.id = judged_fault.verdict_id"
            f" where circuit_id = circuit.id and verdict.name = '{verdict}')",
        )
        assert wrong == [(0,)], verdict


def test_a_row_that_is_changed_is_found(built: tuple[Path, str], tmp_path: Path) -> None:
    """Each circuit's digest is that of its faults: another site, name or outcome does not pass."""
    path = tmp_path / "changed.db"
    path.write_bytes(built[0].read_bytes())
    with closing(open_for_writing(str(path))) as db:
        assert list(changed_circuits(db)) == []
        faults = db.execute(
            "select fault.id, label from fault join circuit on circuit.id = circuit_id"
            " order by fault.id"
        ).fetchall()
        for (fault_id, label), change in zip(
            random.Random(1).sample(faults, 4),
            (
                "site = site + 1000",
                "family_id = 1 + family_id % 7",
                "outcome_id = 1 + outcome_id % 7",
                "kind_id = 1 + kind_id % 5",
            ),
            strict=True,
        ):
            with suppress(_InterruptedError), db.atomic():
                db.execute(f"update fault set {change} where id = ?", [fault_id])
                assert list(changed_circuits(db)) == [label], change
                raise _InterruptedError
        with suppress(_InterruptedError), db.atomic():
            db.execute("update evidence set state = state + 1 where rowid = 1")
            assert list(changed_circuits(db))
            raise _InterruptedError
        assert list(changed_circuits(db)) == []


def test_run_is_recorded(built: tuple[Path, str]) -> None:
    """A run knows version, engine, kinds, seed, what the harness showed, and its digest."""
    path, digest = built
    ((engine, kinds, drawn, seed, check, stored),) = rows(
        path, "select engine, fault_kinds, drawn, seed, self_check, digest from run"
    )
    assert str(engine).startswith("volts ")
    assert all(kind.name in str(kinds) for kind in fault_kinds())
    assert (drawn, seed, stored) == (DRAWN, 1, digest)
    assert check == self_check()


def test_two_workers_give_the_same_content(built: tuple[Path, str], tmp_path: Path) -> None:
    """The number of workers cannot be seen in the content."""
    two = build(tmp_path / "two.db", [2], DRAWN, seed=1, hire=partial(processes, 2))
    assert two.digest == built[1]


def test_building_again_changes_nothing(built: tuple[Path, str]) -> None:
    """A finished build has nothing left to do and says the same digest."""
    again = build(built[0], [2], DRAWN, seed=1)
    assert (again.proved, again.digest) == (0, built[1])


def test_growing_a_catalogue_equals_building_it_whole(
    built: tuple[Path, str], tmp_path: Path
) -> None:
    """What is stored first does not show in the digest, which goes by labels."""
    path = tmp_path / "grown.db"
    assert build(path, [2]).digest != built[1]
    grown = build(path, [2], DRAWN, seed=1)
    assert grown.proved == DRAWN
    assert grown.digest == built[1]


def test_another_seed_is_other_content(built: tuple[Path, str], tmp_path: Path) -> None:
    """The digest does tell different content apart."""
    assert build(tmp_path / "other.db", [2], DRAWN, seed=2).digest != built[1]


def test_an_exception_at_any_batch_is_resumed(built: tuple[Path, str], tmp_path: Path) -> None:
    """Stopped after each batch in turn, a build ends with the content of one never stopped."""
    path = tmp_path / "stopped.db"
    total = make_plan([2], DRAWN, 1).circuits

    def stop(done: int, planned: int) -> None:
        assert planned == total
        if done < total and done not in seen:
            seen.add(done)
            raise _InterruptedError

    seen: set[int] = set()
    for _ in range(total):
        try:
            ended = build(path, [2], DRAWN, seed=1, progress=stop)
        except _InterruptedError:
            continue
        break
    assert len(seen) == len(make_plan([2], DRAWN, 1).batches)
    assert ended.digest == built[1]


def _kill_until_done(path: Path, workers: int, kills: int, seed: int) -> int:
    """Build in processes that are killed outright; how many kills hit a running build."""
    chance = random.Random(seed)
    command = [*PROGRAM, "build", str(path)]
    command += ["--locations", "2", "--random", str(DRAWN), "--seed", "1"]
    command += ["--workers", str(workers)]
    hits = 0
    for _ in range(kills):
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        time.sleep(chance.uniform(0.3, 4.0))
        hits += process.poll() is None
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    subprocess.run(command, check=True, capture_output=True)
    return hits


@pytest.mark.parametrize("workers", [1, 2])
def test_killed_outright_it_resumes(built: tuple[Path, str], tmp_path: Path, workers: int) -> None:
    """SIGKILL at random moments: no lost or doubled row, the same digest."""
    path = tmp_path / "killed.db"
    assert _kill_until_done(path, workers, kills=3, seed=workers)
    with closing(open_for_writing(str(path))) as db:
        assert digest_of(db) == built[1]


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_killed_outright_many_times(built: tuple[Path, str], tmp_path: Path, workers: int) -> None:
    """The same with more kills."""
    path = tmp_path / "killed.db"
    assert _kill_until_done(path, workers, kills=15, seed=10 + workers)
    with closing(open_for_writing(str(path))) as db:
        assert digest_of(db) == built[1]


class _Breaking(Executor):
    """An executor that breaks, as a pool does when a worker dies, and then refuses work."""

    def __init__(self, good: int) -> None:
        self.good = good
        self.inner = ThreadPoolExecutor(1)

    def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def] # as Executor
        if self.good < -1:
            raise BrokenExecutor("refused")
        self.good -= 1
        if self.good < 0:
            lost: Future[object] = Future()
            lost.set_exception(BrokenExecutor("a worker died"))
            return lost
        return self.inner.submit(fn, *args, **kwargs)


def told(proved: Proved) -> tuple[object, ...]:
    """What a batch says, fit to be compared."""
    circuits = [(rows.label, rows.digest, rows.flips) for rows in proved.circuits]
    profile = [column.tolist() for column in proved.profile]
    return circuits, proved.families, proved.outcomes, profile


def test_a_broken_pool_loses_nothing() -> None:
    """Batches whose worker died, and those that a broken pool refuses, are computed here."""
    batches = make_plan([2], 6, 1).batches
    executor = _Breaking(good=2)
    with executor.inner:
        swept = list(sweep(batches, executor=executor, window=2))
    assert [batch for batch, _ in swept] == list(batches)
    assert [told(proved) for _, proved in swept] == [told(prove(batch.specs)) for batch in batches]


def test_threads_do_not_mix_what_they_remember() -> None:
    """Workers of a cluster may be threads of one process, each at another batch."""
    batches = make_plan([2], 3, 1).batches
    with ThreadPoolExecutor(4) as pool:
        proved = list(pool.map(prove, [batch.specs for batch in batches] * 2))
    alone = [told(prove(batch.specs)) for batch in batches]
    assert list(map(told, proved)) == alone * 2


def test_what_is_remembered_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for nothing, every batch begins with an empty memory and finds the same."""
    batches = make_plan([2], 2, 1).batches
    wanted = [told(prove(batch.specs)) for batch in batches]
    monkeypatch.setattr(memories, "_MOST_OUTCOMES", 0)
    before = memories.thread_cache()
    assert [told(prove(batch.specs)) for batch in reversed(batches)] == wanted[::-1]
    assert memories.thread_cache() is not before


def test_few_batches_are_out_at_once() -> None:
    """The window bounds what waits in memory, however slow the writer."""
    out = 0
    most = 0

    class Counting(Executor):
        def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def] # as Executor
            nonlocal out, most
            out += 1
            most = max(most, out)
            future: Future[object] = Future()
            future.set_result([])
            return future

    def read() -> Iterator[CircuitBatch]:
        nonlocal out
        for batch, _ in sweep(make_plan([2], 6, 1).batches, executor=Counting(), window=3):
            out -= 1
            yield batch

    assert len(list(read())) == 8
    assert most <= 4


def test_plans_are_named_by_content() -> None:
    """The same request has the same id, in whatever order; another seed or size has another."""
    assert make_plan([3, 2]).id == make_plan([2, 3, 3]).id
    different = {
        make_plan([2]).id,
        make_plan([3]).id,
        make_plan([2], 1).id,
        make_plan([2], 1, 5).id,
        make_plan([2], schemes=["tied"]).id,
    }
    assert len(different) == 5
    assert make_plan([2], schemes=["tied", "chain"]).id == make_plan([2]).id


def test_one_scheme_is_a_part_of_both() -> None:
    """What was built of one scheme need not be built again with both."""
    both = {batch.id for batch in make_plan([2, 3]).batches}
    one = {batch.id for batch in make_plan([2, 3], schemes=["chain"]).batches}
    assert one < both


def test_a_plan_covers_every_layout_of_both_schemes() -> None:
    """(n+1)^n layouts of each scheme, each once."""
    specs = [spec for batch in make_plan([2, 3]).batches for spec in batch.specs]
    assert len(specs) == len(set(specs)) == 2 * (9 + 64)


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"this is not a database" * 40, "cannot be used as a catalogue"),
        (None, "is a database of something else"),
    ],
)
def test_other_files_are_refused_and_left_alone(
    tmp_path: Path, content: bytes | None, sentence: str
) -> None:
    """A build never writes into a file that is something else."""
    path = tmp_path / "other.db"
    if content is None:
        with closing(sqlite3.connect(path)) as connection:
            connection.execute("create table boats (name text)")
    else:
        path.write_bytes(content)
    before = path.read_bytes()
    with pytest.raises(UserError, match=sentence):
        build(path, [2])
    assert path.read_bytes() == before


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """The remedy is to make the folder."""
    with pytest.raises(UserError, match="does not exist; make it"):
        build(tmp_path / "nowhere" / "a.db", [2])


def test_audit_confirms_what_was_built(built: tuple[Path, str]) -> None:
    """The independent engine finds the same verdict, signature, hazards and evidence."""
    done = audit(built[0], sample=40)
    assert done.disagreements == ()
    all_two = rows(built[0], "select sum(faults) from circuit where locations = 2")
    assert done.faults == int(str(all_two[0][0])) + 40
    assert done.pairs == 4
    assert done.stored_pairs == rows(built[0], "select count(*) from pair")[0][0]
    assert rows(built[0], "select faults, disagreements, digest from audit")[-1] == (
        done.faults,
        0,
        built[1],
    )


#: The fault gets an outcome of its own, which begins as a copy of what it had.
OWN_OUTCOME = """
insert into outcome (id, mark, verdict_id, signature_id, hazards, hazard_set, state, switch, lamp,
                     by_volts)
select 1000000, mark || ' altered', verdict_id, signature_id, hazards, hazard_set, state, switch,
       lamp, by_volts from outcome where id = (select outcome_id from fault where id = {id});
insert into evidence (outcome_id, hazard_id, state)
select 1000000, hazard_id, state from evidence
where outcome_id = (select outcome_id from fault where id = {id});
update fault set outcome_id = 1000000 where id = {id};
"""


@pytest.mark.parametrize(
    "tampering",
    [
        "update outcome set verdict_id = 1, state = null where id = 1000000",
        "update outcome set signature_id = (select id from signature where locations = 2"
        " and id != signature_id limit 1) where id = 1000000",
        "update fault set site = site + 10000 where id = {id}",
        "delete from evidence where outcome_id = 1000000",
        "update evidence set state = 3 - state where outcome_id = 1000000",
    ],
)
def test_audit_finds_a_wrong_row(built: tuple[Path, str], tmp_path: Path, tampering: str) -> None:
    """An audit can fail: whatever is altered in one row, that row is named, and its circuit as one
    that is not as it was stored."""
    path = tmp_path / "tampered.db"
    path.write_bytes(built[0].read_bytes())
    with closing(sqlite3.connect(path)) as connection:
        ((fault_id, label),) = connection.execute(
            "select fault.id, circuit.label from judged_fault as fault"
            " join circuit on circuit.id = circuit_id"
            " join verdict on verdict.id = fault.verdict_id where verdict.name = 'misbehaves'"
            " and hazards > 0 and circuit.locations = 2 order by fault.id limit 1 offset 20"
        )
        # A few rows are enough to look among.
        other = f"fault where id not between {fault_id} - 9 and {fault_id} + 9"
        connection.execute(f"delete from {other}")
        connection.executescript(OWN_OUTCOME.format(id=fault_id))
        connection.execute(tampering.format(id=fault_id))
        connection.commit()
    found = [each.label for each in audit(path, sample=0).disagreements]
    assert label in found
    (row,) = (each for each in found if "/" in each)
    assert row.startswith(f"{label}/")


@pytest.mark.parametrize(
    "tampering",
    [
        "update pair set outcome = case outcome when 'breaks' then 'shows' else 'breaks' end",
        "update pair set verdict_id = verdict_id % 4 + 1",
        "update pair set hazard_set = (hazard_set | 4) - (hazard_set & 4)",
    ],
)
def test_audit_finds_wrong_pairs(
    built: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tampering: str
) -> None:
    """Whatever is altered of pairs, each that is proved again is named, with both its mistakes."""
    monkeypatch.setattr("catalogue.build.audit.ALL_UP_TO", 1)
    path = tmp_path / "tampered.db"
    path.write_bytes(built[0].read_bytes())
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(tampering)
    done = audit(path, sample=20)
    assert len(done.disagreements) == done.pairs == 2
    assert all(" with " in each.label and each.stored != each.found for each in done.disagreements)


def test_every_sort_of_pair_is_proved_again(built: tuple[Path, str]) -> None:
    """What becomes of two mistakes is worked out anew for each outcome that is stored."""
    with closing(open_for_writing(str(built[0]))) as db:
        for outcome in ("hides-both", "hides-one", "makes-mimic", "breaks"):
            circuit_id, text, *pair = db.conn.execute(
                "select circuit.id, file, pair.fault_id, pair.other_id from pair"
                " join fault on fault.id = fault_id join circuit on circuit.id = circuit_id"
                " where outcome = ? limit 1",
                [outcome],
            ).fetchone()
            circuit = loads(text)
            faults = {fault.label: fault for fault in all_faults(circuit)}
            assert not list(wrong_pairs(db, circuit, faults, [(pair[0], pair[1])])), circuit_id


def test_audit_refuses_what_is_no_catalogue(tmp_path: Path) -> None:
    """A missing file is not made."""
    with pytest.raises(UserError, match="there is no such file"):
        audit(tmp_path / "none.db")
    assert not (tmp_path / "none.db").exists()


def test_one_scheme_is_built_and_said(tmp_path: Path) -> None:
    """The command that the page of findings gives again names the scheme if it is not both."""
    path = tmp_path / "chain.db"
    build_plan(path, make_plan([2], schemes=["chain"]))
    assert rows(path, "select distinct scheme from circuit") == [("chain",)]
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        told = findings(Visit(connection, {}, {})).facts["build"]
    assert told == "miswire build DB --locations 2 --scheme chain"
