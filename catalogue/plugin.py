"""The Datasette plugin that shows the pages of a catalogue, its labels and its column help.

It does nothing where none of the databases is a catalogue.
"""

from collections.abc import Awaitable, Callable, Generator
from functools import wraps
from importlib.resources import files
from sqlite3 import Connection
from traceback import print_exception
from typing import Any, Final
from urllib.parse import parse_qs

from datasette import Response, hookimpl
from datasette.utils import tilde_decode
from jinja2 import ChoiceLoader, Environment, FileSystemLoader
from markupsafe import Markup

from catalogue.pages.cells import Cell, cell
from catalogue.pages.contract import RefusalError
from catalogue.pages.datasette_errors import failure_of, no_sql, refusal_of
from catalogue.pages.gate import (
    App,
    Scope,
    parse_queries_once,
    refuse,
    require_short,
    whole_responses,
)
from catalogue.pages.response import (
    Datasette,
    Request,
    failed,
    find_catalogue,
    frame,
    is_catalogue,
    known_catalogue,
    refusal,
    static_version,
)
from catalogue.pages.routes import Route, routes
from catalogue.store.bounds import bound
from catalogue.store.fault_tables import VIEWS
from catalogue.store.rendering import register_text_functions
from catalogue.store.tables import TABLE, TABLES

_OURS: Final = "miswire"
_VIEWS: Final = frozenset(view.name for view in VIEWS)
_UNCOUNTED: Final = b"_nocount=1"
#: Tables of the programs that write and read the file, which say nothing about circuits.
_NOT_OURS: Final = ("_sqlite_migrations", "dbstat")
#: Columns with an index: by these, few of many millions of faults are found and ordered at once.
_FAULTS_BY: Final = frozenset({"id", *(index[0] for index in TABLE["fault"].indexes)})


@hookimpl
def startup(datasette: Datasette) -> Callable[[], Awaitable[None]]:
    """Find the catalogue before the first request, for the hooks that cannot wait."""

    async def find() -> None:
        if await find_catalogue(datasette) is not None:
            parse_queries_once()

    return find


@hookimpl
def prepare_connection(conn: Connection) -> None:
    """Register the text functions for queries of a catalogue, and bound what queries take.

    Both hold for our queries and for those that somebody types.
    """
    register_text_functions(conn)
    if is_catalogue(row[0] for row in conn.execute("select name from sqlite_master")):
        bound(conn)


@hookimpl
def asgi_wrapper(datasette: Datasette) -> Callable[[App], App]:
    """Refuse requests that are too long to be read, and skip counts of faults that take long.

    Counting takes long where Datasette has to go through all of many millions of rows.
    """

    def wrapped(app: App) -> App:
        @wraps(app)
        async def answer(scope: Scope, receive: Any, send: Any) -> None:
            if scope["type"] == "http" and known_catalogue(datasette) is not None:
                try:
                    require_short(scope)
                    _require_short_stream(datasette, scope)
                except RefusalError as error:
                    await refuse(scope, send, error)
                    return
                if _is_long_to_count(datasette, scope):
                    query = b"&".join(filter(None, (scope["query_string"], _UNCOUNTED)))
                    scope = {**scope, "query_string": query}
                send = whole_responses(send)
            await app(scope, receive, send)

        return answer

    return wrapped


def _require_short_stream(datasette: Datasette, scope: Scope) -> None:
    """Raise RefusalError for all rows of a view at once.

    Datasette works the view out anew for every part that it sends, and sends on when nobody reads.
    """
    database, _, name = scope["path"].rpartition("/")
    if not parse_qs(scope["query_string"].decode("latin-1")).get("_stream"):
        return
    is_ours = tilde_decode(database.rpartition("/")[2]) == known_catalogue(datasette)
    if is_ours and tilde_decode(name.removesuffix(".csv")) in _VIEWS:
        raise RefusalError(
            "The rows of a view are not sent all at once. Leave out _stream to have them page by "
            "page; whoever has the file writes all of its tables with miswire export."
        )


def _is_long_to_count(datasette: Datasette, scope: Scope) -> bool:
    """Return whether Datasette is asked for rows of a view, or of faults without an index."""
    database, _, name = scope["path"].removesuffix(".json").rpartition("/")
    if tilde_decode(database.rpartition("/")[2]) != known_catalogue(datasette):
        return False
    asked = parse_qs(scope["query_string"].decode("latin-1"), keep_blank_values=True)
    if "_nocount" in asked:
        return False
    columns = {key.partition("__")[0] for key in asked if not key.startswith("_")}
    return name in _VIEWS or (name == "fault" and bool(columns) and not columns & _FAULTS_BY)


@hookimpl
def forbidden(
    datasette: Datasette, request: Request, message: str
) -> Callable[[], Awaitable[Response]] | None:
    """Refuse in our words: the only thing that is forbidden here is SQL, if it is turned off."""
    if known_catalogue(datasette) is None or datasette.setting("default_allow_sql"):
        return None
    return lambda: refusal(datasette, request, no_sql(), as_json=_is_json(request))


@hookimpl(wrapper=True)
def handle_exception(
    datasette: Datasette, request: Request, exception: Exception
) -> Generator[None, list[object], list[object]]:
    """Answer addresses that Datasette cannot read with a refusal, not as a failure."""
    others = yield
    if known_catalogue(datasette) is None:
        return others
    error = refusal_of(exception, allow_sql=datasette.setting("default_allow_sql"))
    if error is None:
        failure = failure_of(exception)
        if failure is None:
            return others
        print_exception(exception)
        return [failed(failure, as_json=_is_json(request))]
    return [refusal(datasette, request, error, as_json=_is_json(request))]


def _is_json(request: Request) -> bool:
    return str(request.path).endswith(".json")


@hookimpl
def prepare_jinja2_environment(env: Environment) -> None:
    """Make Jinja search our templates before Datasette's."""
    ours = FileSystemLoader(str(files("catalogue") / "templates"))
    env.loader = ChoiceLoader([ours, *([env.loader] if env.loader else [])])
    env.filters["coded"] = _coded
    env.filters["few"] = _few
    env.filters["share"] = _share


def _coded(text: str) -> Markup:
    """Return text in which the parts between back-quotes are marked as code."""
    parts = text.split("`")
    return Markup("").join(
        Markup("<code>{}</code>").format(part) if number % 2 else part
        for number, part in enumerate(parts)
    )


def _few(number: float) -> str:
    """Return a number with one digit after the point, if that digit says anything."""
    return f"{number:,.1f}".removesuffix(".0")


def _share(share: float) -> str:
    """Return a share in percent."""
    return "under 1 %" if 0 < share < 0.01 else f"{share:.0%}".replace("%", " %")


@hookimpl
def register_routes() -> list[Route]:
    """Return our pages, the home page among them."""
    return routes()


@hookimpl
def extra_template_vars(datasette: Datasette) -> Callable[[], Awaitable[dict[str, object]]]:
    """Return the frame around our pages, and around Datasette's own."""

    async def variables() -> dict[str, object]:
        return {"miswire": await frame(datasette), "static_version": static_version}

    return variables


@hookimpl
def extra_css_urls(datasette: Datasette, view_name: str) -> list[str]:
    """Return the style sheets of Datasette's own pages."""
    if view_name == _OURS or known_catalogue(datasette) is None:
        return []
    name = "tables.css"
    return [f"/-/miswire/static/{name}?v={static_version(name)}"]


@hookimpl
def get_metadata(datasette: Datasette) -> dict[str, object]:
    """Return titles, help and facets of the tables."""
    name = known_catalogue(datasette)
    if name is None:
        return {}
    return {"title": "Miswire", "databases": {name: _table_metadata()}}


def _table_metadata() -> dict[str, object]:
    return {
        "description": "The tables of the catalogue. Every column is explained above its table.",
        "tables": {
            **{
                table.name: {
                    "description": table.help,
                    "columns": {column.name: column.help for column in table.columns},
                    "facets": list(table.facets),
                    **({"sortable_columns": sorted(_FAULTS_BY)} if table.name == "fault" else {}),
                    **({"label_column": table.label} if table.label else {}),
                }
                for table in TABLES
            },
            **{
                view.name: {"description": view.help, "columns": dict(view.helps)} for view in VIEWS
            },
            **{name: {"hidden": True} for name in _NOT_OURS},
        },
    }


@hookimpl
def render_cell(
    row: Any, value: Any, column: str, table: str | None, database: str, datasette: Datasette
) -> Markup | Cell | None:
    """Return labels that lead to our pages, and states in words."""
    if table is None or database != known_catalogue(datasette):
        return None
    return cell(datasette, row, value, column, table)
