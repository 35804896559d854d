"""Running `miswire` in tests."""

import sys
from pathlib import Path

from click.testing import CliRunner, Result

from catalogue.cli import main
from verify.base.resources import data_path
from verify.circuit.file import dump
from verify.circuit.model import Circuit

PROGRAM = [sys.executable, "-c", "from catalogue.cli import main; main(prog_name='miswire')"]
SHIPPED = sorted(map(str, data_path("circuits").glob("*.toml")))
HAZARDOUS = str(data_path("circuits") / "faulty-lampholder-reversed.toml")


def run(*arguments: str) -> Result:
    """Run a command in this process; an exception that escapes fails the test."""
    return CliRunner(catch_exceptions=False).invoke(
        main, arguments, prog_name="miswire", env={"COLUMNS": "80"}
    )


def words(text: str) -> str:
    """Text without its line breaks and indents."""
    return " ".join(text.split())


def write(path: Path, circuit: Circuit) -> str:
    """Write a circuit file; its path."""
    path.write_text(dump(circuit), "utf-8")
    return str(path)
