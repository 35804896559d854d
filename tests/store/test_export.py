"""`miswire export`: what comes out is what the catalogue holds, described and checksummed."""

import csv
import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from commandline import run, words

from catalogue.report.json_forms import short_cautions
from catalogue.store.export import FORMATS
from catalogue.store.tables import TABLE, TABLES
from verify.circuit.file import loads
from verify.fault.registry import fault_kind, find_fault

pytest_plugins = ["small_catalogue"]


@pytest.fixture(scope="module")
def whole(database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The whole catalogue as a data package."""
    out = tmp_path_factory.mktemp("export") / "data"
    result = run("export", str(database), str(out))
    assert result.exit_code == 0, result.output
    return out


@pytest.fixture
def connection(database: Path) -> Iterator[sqlite3.Connection]:
    """The catalogue itself."""
    with closing(sqlite3.connect(database)) as opened:
        yield opened


def rows_of(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def descriptor(out: Path) -> dict[str, Any]:
    """The descriptor of a package."""
    found: dict[str, Any] = json.loads((out / "datapackage.json").read_text("utf-8"))
    return found


def test_every_row_comes_out(whole: Path, connection: sqlite3.Connection) -> None:
    """Each table with every row and value, whatever is in the texts."""
    for table in TABLES:
        names = [column.name for column in table.columns]
        quoted = ", ".join(f'"{name}"' for name in names)
        stored = connection.execute(
            f"select {quoted} from {table.name} order by {', '.join(table.key)}"
        ).fetchall()
        written = rows_of(whole / f"{table.name}.csv")
        assert len(written) == len(stored), table.name
        for row, values in zip(written, stored, strict=True):
            assert list(row) == [*names, *(column.name for column in table.rendered)]
            assert list(row.values())[: len(names)] == ["" if v is None else str(v) for v in values]


def test_texts_that_are_not_stored_come_out(whole: Path, connection: sqlite3.Connection) -> None:
    """Each fault with its site as labels have it and its sentence: those of the fault itself."""
    labels = dict(connection.execute("select id, label from circuit"))
    kinds = dict(connection.execute("select id, name from fault_kind"))
    files = dict(connection.execute("select id, file from circuit"))
    written = rows_of(whole / "fault.csv")
    assert len(written) > 1000
    for row in written[:: len(written) // 40]:
        kind = kinds[int(row["kind_id"])]
        fault = find_fault(loads(files[int(row["circuit_id"])]), f"{kind}/{row['at']}")
        assert fault.site_text == row["at"], labels[int(row["circuit_id"])]
        assert row["description"] == fault_kind(kind).in_words(fault.site)


def test_the_descriptor_describes_every_column(whole: Path) -> None:
    """A resource a table, with the help of each column, types, keys, and references that lead to a
    resource of the package."""
    package = descriptor(whole)
    assert package["profile"] == "tabular-data-package"
    resources = {resource["name"]: resource for resource in package["resources"]}
    assert set(resources) == set(TABLE)
    for name, resource in resources.items():
        table = TABLE[name]
        assert resource["profile"] == "tabular-data-resource"
        fields = resource["schema"]["fields"]
        columns = [*table.columns, *table.rendered]
        assert [f["name"] for f in fields] == [c.name for c in columns]
        assert [f["description"] for f in fields] == [c.help for c in columns]
        assert resource["schema"]["primaryKey"] == list(table.key)
        for key in resource["schema"]["foreignKeys"]:
            assert key["reference"]["resource"] in resources
        known = {"integer": int, "number": float, "string": str}
        required = {f["name"] for f in fields if f.get("constraints", {}).get("required")}
        for row in rows_of(whole / resource["path"]):
            for field in fields:
                if row[field["name"]]:
                    known[field["type"]](row[field["name"]])
                else:
                    assert field["name"] not in required


def test_references_resolve(whole: Path) -> None:
    """Every id that a row refers to is that of a row."""
    for resource in descriptor(whole)["resources"]:
        for key in resource["schema"]["foreignKeys"]:
            (field,) = key["fields"]
            there = {row["id"] for row in rows_of(whole / f"{key['reference']['resource']}.csv")}
            used = {row[field] for row in rows_of(whole / resource["path"])} - {""}
            assert used <= there, f"{resource['name']}.{field}"


def test_checksums_are_those_of_the_files(whole: Path) -> None:
    """`SHA256SUMS` names every file but itself and the list of what is ours; the descriptor says
    the same of each table, with its size."""
    lines = (whole / "SHA256SUMS").read_text("utf-8").splitlines()
    told = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    here = {path.name for path in whole.iterdir()}
    assert set(told) == here - {"SHA256SUMS", "miswire-files.json"}
    for name, digest in told.items():
        assert hashlib.sha256((whole / name).read_bytes()).hexdigest() == digest
    for resource in descriptor(whole)["resources"]:
        assert resource["hash"] == f"sha256:{told[resource['path']]}"
        assert resource["bytes"] == (whole / resource["path"]).stat().st_size


def test_what_is_covered_goes_with_it(whole: Path) -> None:
    """The scope statement, the part, the digest and the cautions stand beside the data."""
    about = json.loads((whole / "about.json").read_text("utf-8"))
    assert about["scope"].startswith("Complete for all layouts of 2 locations")
    assert about["scope"].endswith("Anything else was not computed.")
    assert about["part"] == "The whole catalogue."
    assert about["cautions"] == short_cautions()
    assert len(about["content_digest"]) == 64
    assert about["scope"] in descriptor(whole)["description"]


@pytest.mark.parametrize("form", FORMATS)
def test_equal_wishes_give_equal_bytes(database: Path, tmp_path: Path, form: str) -> None:
    """Written twice, in two places, every file is the same; what another format left is gone."""
    found = []
    for name in ("one", "two"):
        assert run("export", str(database), str(tmp_path / name)).exit_code == 0
        result = run("export", str(database), str(tmp_path / name), "--format", form)
        assert result.exit_code == 0, result.output
        found.append({p.name: p.read_bytes() for p in (tmp_path / name).iterdir()})
    assert found[0] == found[1]
    assert ("catalogue.json" in found[0]) == (form == "json")
    assert ("datapackage.json" in found[0]) == (form == "datapackage")
    assert ("fault.csv" in found[0]) == (form != "json")


def test_json_holds_the_same_rows(database: Path, whole: Path, tmp_path: Path) -> None:
    """One file with every table; numbers are numbers."""
    assert run("export", str(database), str(tmp_path / "out"), "--format", "json").exit_code == 0
    form = json.loads((tmp_path / "out" / "catalogue.json").read_text("utf-8"))
    assert set(form["tables"]) == set(TABLE)
    assert form["about"]["part"] == "The whole catalogue."
    for name, rows in form["tables"].items():
        texts = [{k: "" if v is None else str(v) for k, v in row.items()} for row in rows]
        assert texts == rows_of(whole / f"{name}.csv")


def test_a_part_is_that_part(
    database: Path, connection: sqlite3.Connection, tmp_path: Path
) -> None:
    """Faults of the kinds, verdicts and sizes asked for and no other, with their evidence and
    circuits; counts of the whole are left out, and it says that it is a part."""
    out = tmp_path / "part"
    result = run(
        *("export", str(database), str(out), "--kind", "moved", "--kind", "left-off"),
        *("--verdict", "mimic", "--locations", "2"),
    )
    assert result.exit_code == 0, result.output
    wanted = {
        str(row[0])
        for row in connection.execute(
            "select fault.id from judged_fault as fault join circuit on circuit.id = circuit_id"
            " join fault_kind on fault_kind.id = kind_id"
            " join verdict on verdict.id = fault.verdict_id where"
            " fault_kind.name in ('moved', 'left-off') and verdict.name = 'mimic' and"
            " circuit.locations = 2"
        )
    }
    assert {row["id"] for row in rows_of(out / "fault.csv")} == wanted
    assert wanted
    outcomes = {row["outcome_id"] for row in rows_of(out / "fault.csv")}
    assert {row["id"] for row in rows_of(out / "outcome.csv")} == outcomes
    assert {row["outcome_id"] for row in rows_of(out / "evidence.csv")} == outcomes
    assert {row["locations"] for row in rows_of(out / "circuit.csv")} == {"2"}
    assert not (out / "profile.csv").exists()
    about = json.loads((out / "about.json").read_text("utf-8"))
    assert about["faults"] == len(wanted)
    assert "kind moved, left-off; verdict mimic; locations 2" in about["part"]
    assert f"{len(wanted):,} faults" in words(result.output)


def test_wrong_wishes_are_told_at_once(database: Path, tmp_path: Path) -> None:
    """Each with what it may be, and nothing is written."""
    result = run(
        *("export", str(database), str(tmp_path / "out"), "--format", "xml"),
        *("--kind", "dropped", "--verdict", "fine", "--locations", "two"),
    )
    assert result.exit_code == 2
    for told in ("--format=xml", "--kind=dropped", "--verdict=fine", "--locations=two"):
        assert told in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_folder_of_another_command_is_left_alone(database: Path, tmp_path: Path) -> None:
    """What `miswire lessons` filled is not taken over, nor a file that is somebody else's."""
    out = tmp_path / "out"
    assert run("export", str(database), str(out)).exit_code == 0
    result = run("lessons", str(database), str(out))
    assert result.exit_code == 2
    assert "is no list of `miswire lessons`" in result.stderr
    (tmp_path / "file").write_text("mine", "utf-8")
    result = run("export", str(database), str(tmp_path / "file"))
    assert result.exit_code == 2
    assert "is a file" in result.stderr
    assert not list(tmp_path.glob(".miswire-*"))
