"""Parts of one build, made apart and put together: as if they had never been apart."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from commandline import run, words

from catalogue.build.merge import merge
from catalogue.build.sweep import build, build_plan
from catalogue.prove.build_plan import Shard, make_plan
from catalogue.store.tables import TABLES
from verify.base.problems import UserError

DRAWN = 3
SEED = 1


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """A build of two locations and some drawn circuits in three parts."""
    folder = tmp_path_factory.mktemp("parts")
    paths = [folder / f"part-{number}.db" for number in (1, 2, 3)]
    for number, path in enumerate(paths, 1):
        build_plan(path, make_plan([2], DRAWN, SEED, Shard(number, 3)))
    return paths


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The same build in one, and its digest."""
    path = tmp_path_factory.mktemp("whole") / "whole.db"
    return path, build(path, [2], DRAWN, SEED).digest


def counts(path: Path) -> dict[str, int]:
    """How many rows each table of content has."""
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("pragma foreign_key_check").fetchall() == []
        return {
            table.name: connection.execute(f"select count(*) from {table.name}").fetchone()[0]
            for table in TABLES
            if table.name not in ("run", "work", "audit")
        }


def test_shards_are_a_partition_of_the_plan() -> None:
    """Every batch is in exactly one part, whatever the number of parts."""
    every = [batch.id for batch in make_plan([2, 3], 5).batches]
    for count in (1, 2, 5, len(every) + 1):
        shards = [make_plan([2, 3], 5, shard=Shard(n, count)) for n in range(1, count + 1)]
        assert sorted(b.id for plan in shards for b in plan.batches) == sorted(every)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_merged_parts_are_one_build(
    parts: list[Path], whole: tuple[Path, str], tmp_path: Path, order: tuple[int, ...]
) -> None:
    """Digest and numbers of rows are those of the build in one, in whatever order parts come."""
    path = tmp_path / "merged.db"
    merged = merge(path, [parts[number] for number in order])
    assert (merged.missing, merged.digest) == (0, whole[1])
    assert counts(path) == counts(whole[0])


def test_what_is_missing_can_come_later(
    parts: list[Path], whole: tuple[Path, str], tmp_path: Path
) -> None:
    """Parts come one by one, some twice; the build can compute what no part has."""
    path = tmp_path / "merged.db"
    first = merge(path, parts[:1])
    assert first.missing > 0
    assert first.digest is None
    again = merge(path, parts[:2])
    assert again.circuits < first.planned - first.missing + again.circuits
    assert again.missing < first.missing
    built = build(path, [2], DRAWN, SEED)
    assert built.proved == again.missing
    assert built.digest == whole[1]
    assert merge(path, parts).circuits == 0


def test_parts_of_different_builds_are_refused(parts: list[Path], tmp_path: Path) -> None:
    """All mistakes at once: what is no catalogue, and what was asked for otherwise."""
    other = tmp_path / "other.db"
    build(other, [], 1, SEED)
    with pytest.raises(UserError) as refused:
        merge(tmp_path / "merged.db", [parts[0], other, tmp_path / "none.db"])
    told = [str(problem) for problem in refused.value.problems]
    assert len(told) == 2
    assert "merge parts of one build" in told[0]
    assert "there is no such file" in told[1]
    assert not (tmp_path / "merged.db").exists()


def test_commands(parts: list[Path], tmp_path: Path) -> None:
    """`build --shard` and `merge`, with what they say and their statuses."""
    path = str(tmp_path / "merged.db")
    some = run("merge", path, str(parts[0]))
    assert some.exit_code == 1
    assert "The catalogue is not finished." in words(some.stdout)
    whole = run("merge", path, *map(str, parts))
    assert whole.exit_code == 0
    assert "digest" in whole.stdout
    for wrong in ("3/2", "0/2", "x", "1/2/3", "2"):
        refused = run("build", str(tmp_path / "a.db"), "--locations", "2", f"--shard={wrong}")
        assert refused.exit_code == 2
        assert "must be a part and how many there are" in words(refused.stderr)
