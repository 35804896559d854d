"""A command loads the circuit that it is about."""

from pathlib import Path

import click

from catalogue.report.terminal import complain, file_name
from verify.base.problems import UserError
from verify.circuit.file import read
from verify.circuit.model import Circuit


def load_or_exit(ctx: click.Context, file: Path) -> Circuit:
    """Return the circuit in a file, or report every mistake in it and exit with status 2."""
    try:
        return read(file)
    except UserError as error:
        complain(error.problems, file_name(file))
        ctx.exit(2)
