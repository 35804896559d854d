"""A sweep on a cluster: the same content, whatever happens to the workers."""

import os
import signal
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner
from distributed import LocalCluster

from catalogue.build.sweep import build
from catalogue.build.workforce import cluster
from catalogue.cli import main
from catalogue.prove.build_plan import batch_versions, make_plan
from catalogue.prove.proving import prove_as
from verify.base.problems import UserError

#: Two locations are one batch; every circuit drawn is one more.
DRAWN = 5


@pytest.fixture(scope="module")
def workers() -> Iterator[LocalCluster]:
    """Two processes, each of two threads as `dask worker` makes them, with their own scheduler."""
    with LocalCluster(
        n_workers=2, threads_per_worker=2, processes=True, dashboard_address=None
    ) as made:
        yield made


def test_a_killed_worker_loses_nothing(workers: LocalCluster, tmp_path: Path) -> None:
    """One worker is killed while it works; the digest is that of a build without a cluster."""
    killed: list[int] = []

    def kill(done: int, total: int) -> None:
        if done and not killed:
            victim = next(iter(workers.workers.values())).pid
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    spread = build(
        tmp_path / "spread.db",
        [2],
        DRAWN,
        hire=partial(cluster, workers.scheduler_address),
        progress=kill,
    )
    assert killed
    assert spread.digest == build(tmp_path / "alone.db", [2], DRAWN).digest


def test_a_worker_of_another_version_is_refused() -> None:
    """Its rows might differ, so it computes none and says which versions meet."""
    rows_version, *rest = batch_versions()
    with pytest.raises(UserError, match="install the same Miswire everywhere"):
        prove_as((rows_version + 1, *rest), make_plan([2]).batches[0])  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--executor", "dask"], "give it with --executor dask"),
        (["--scheduler", "tcp://127.0.0.1:1"], "give it with --executor dask"),
        (["--executor", "cloud"], "write one of processes, dask"),
    ],
)
def test_wrong_options_are_told(arguments: list[str], told: str, tmp_path: Path) -> None:
    """What does not fit together is said before anything starts."""
    path = str(tmp_path / "a.db")
    result = CliRunner().invoke(main, ["build", path, "--locations", "2", *arguments])
    assert result.exit_code == 2
    assert told in " ".join(result.output.split())
    assert not (tmp_path / "a.db").exists()


def test_a_scheduler_that_does_not_answer_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing listens there: the message names the address and what to write."""
    monkeypatch.setattr("catalogue.build.workforce._SECONDS_TO_CONNECT", 1)
    options = ["--random", "3", "--executor", "dask", "--scheduler", "tcp://127.0.0.1:9"]
    result = CliRunner().invoke(main, ["build", str(tmp_path / "a.db"), *options])
    assert result.exit_code == 2
    assert "no Dask scheduler answers there" in " ".join(result.output.split())
