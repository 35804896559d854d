"""`miswire serve`: a catalogue in the browser, on this machine only and read-only."""

import asyncio
import errno
import os
import re
import socket
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing, suppress
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Final

import click

from catalogue.commands.options import Options
from catalogue.report.terminal import file_name, say
from catalogue.store.writing import require_catalogue
from verify.base.problems import Problem, UserError, shown

if TYPE_CHECKING:
    from datasette.app import Datasette

HOST: Final = "127.0.0.1"
# Datasette opens the file by an address in which these characters mean something else.
_MISREAD_IN_ADDRESSES: Final = frozenset("?#%")
_HOST: Final = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*|\[[0-9A-Fa-f:.]+\]")

SETTINGS: Final = {
    "suggest_facets": False,  # each table names its own facets, whose columns have indexes
    "default_facet_size": 30,
    "facet_time_limit_ms": 1000,
    "sql_time_limit_ms": 3000,
    "default_page_size": 50,
    "truncate_cells_html": 100,  # circuit files are long, so cells show only the beginning
    "max_csv_mb": 0,  # no limit: whoever may see the file may have it
    "allow_download": True,
    "default_cache_ttl": 0,  # browsers must not cache: tomorrow another file may be at this address
}


@click.command()
@click.argument("database", type=click.Path(path_type=Path), metavar="DB")
@click.option(
    "--port",
    default="8001",
    metavar="PORT",
    help="Where to serve; 0 takes any that is free. Default: 8001.",
)
@click.option("--no-sql", is_flag=True, help="Answer no questions that visitors write in SQL.")
@click.option(
    "--allowed-host",
    "hosts",
    multiple=True,
    metavar="NAME",
    help="Another name that the catalogue is served under, as behind a proxy. May be repeated.",
)
def serve(database: Path, port: str, no_sql: bool, hosts: Sequence[str]) -> None:
    """Show a catalogue in the browser.

    Serves DB, as `miswire build` made it, with Datasette on this machine only; nothing can be
    changed through it. Control-C stops it.
    """
    options = Options()
    port_number = options.number("--port", port, 0, 65_535)
    for host in hosts:
        if not _HOST.fullmatch(host):
            options.refuse(
                f"--allowed-host={shown(host)}",
                "must be a name or an address alone, without scheme, port, path or leading dot, "
                "such as boathouse.example or [2001:db8::7]",
            )
    options.check()
    _require_servable(database)
    with closing(_listening(port_number)) as listener:
        _run(database, listener, {**SETTINGS, "default_allow_sql": not no_sql}, hosts)


def _require_servable(database: Path) -> None:
    """Raise UserError unless `database` is a catalogue; warn if its build is not finished."""
    require_catalogue(database)
    place = str(database.resolve())
    if misread := sorted(_MISREAD_IN_ADDRESSES.intersection(place)):
        raise UserError(
            [
                Problem(
                    file_name(place),
                    f"a path with {' or '.join(misread)} in it cannot be served; rename that",
                )
            ]
        )
    with closing(sqlite3.connect(database)) as connection:
        runs = connection.execute("select count(*) from run where digest is null")
        (unfinished,) = runs.fetchone()
    if unfinished:
        click.echo(
            f"{file_name(database)}: its build is not finished, so circuits are missing; "
            "repeat `miswire build` to go on with it",
            err=True,
        )


def _listening(port: int) -> socket.socket:
    """Return a socket that listens on this machine only. Raises UserError if it cannot be had."""
    listener = socket.socket()
    try:
        if os.name == "posix":
            # Without this a server that was just stopped keeps its port for a while.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((HOST, port))
        listener.listen()
    except OSError as error:
        listener.close()
        reasons = {
            errno.EADDRINUSE: "is in use by another program",
            errno.EACCES: "is not for everybody to use",
        }
        reason = reasons.get(error.errno or 0, f"cannot be used ({error.strerror})")
        raise UserError(
            [Problem(f"--port={port}", f"{reason}; name another one, or 0 for any that is free")]
        ) from error
    return listener


def compile_templates(datasette: "Datasette") -> None:
    """Compile the templates, which takes a second and would make first visits slow."""
    for name in datasette.jinja_env.list_templates(extensions=["html"]):
        if not name.startswith(("lessons/", "default:")):
            datasette.jinja_env.get_template(name)


def _run(
    database: Path, listener: socket.socket, settings: Mapping[str, object], hosts: Sequence[str]
) -> None:
    """Serve until somebody stops it."""
    import uvicorn
    from datasette.app import Datasette

    from catalogue.pages.gate import Gate

    # The file is opened for reading, not as immutable: a build or an audit may write meanwhile.
    datasette = Datasette([str(database.resolve())], settings=settings)
    asyncio.run(datasette.invoke_startup())
    Thread(target=compile_templates, args=[datasette], daemon=True).start()
    config = uvicorn.Config(
        Gate(datasette.app(), hosts),
        lifespan="on",
        ws="none",
        log_level="warning",
        access_log=False,
    )
    say(f"Serving {file_name(database)} at http://{HOST}:{listener.getsockname()[1]}/")
    say("Control-C stops it.")
    # The server passes on the signal that stopped it.
    with suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[listener])
    say("Stopped.")
