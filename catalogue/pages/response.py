"""A request becomes a response here: this finds the catalogue, reads the page, and renders it."""

import hashlib
import json
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from sqlite3 import Connection
from typing import Any, Final
from urllib.parse import unquote
from weakref import WeakKeyDictionary

from datasette import Response

from catalogue.desk.stops import panel_form
from catalogue.drawing.typeface import standalone
from catalogue.pages.addresses import Addresses
from catalogue.pages.contract import (
    LONGEST_PART,
    BusyError,
    Facts,
    FailedError,
    MissingError,
    NotAllowedError,
    Page,
    Reader,
    RefusalError,
    Visit,
)
from catalogue.pages.deskstart import stops_in_query
from catalogue.pages.provenance import last_run
from catalogue.pages.workers import workers
from catalogue.report.json_forms import FORMAT, short_cautions
from catalogue.store.bounds import unbounded_answers
from catalogue.store.coverage import scope_line
from catalogue.store.tables import TABLE
from verify.base.cautions import summary
from verify.base.problems import UserError, shown
from verify.base.version import version

#: Pages load only our own styles, fonts, scripts and pictures, and nothing may frame them.
HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; style-src 'self'; font-src 'self'; script-src 'self'; "
        "img-src 'self' data:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
#: A picture by itself contains its letters, and runs and loads nothing.
PICTURE_HEADERS: Final = {
    **HEADERS,
    "content-security-policy": (
        "default-src 'none'; style-src 'unsafe-inline'; font-src data:; form-action 'none'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
}
_TYPES: Final = {
    "miswire.css": "text/css",
    "desk.css": "text/css",
    "practice.css": "text/css",
    "tables.css": "text/css",
    "miswire.svg": "image/svg+xml",
    "sans-regular.woff2": "font/woff2",
    "sans-bold.woff2": "font/woff2",
    "marks.woff2": "font/woff2",
}
_A_DAY: Final = 86_400
#: The title of a refusal, by its status.
_REFUSAL_HEADERS: Final[Mapping[int, Mapping[str, str]]] = {
    NotAllowedError.status: {"allow": "GET, HEAD"},
    BusyError.status: {"retry-after": "10"},
}

# Datasette has no types.
Datasette = Any
Request = Any
MultiParams = Any

_names: "WeakKeyDictionary[Datasette, str]" = WeakKeyDictionary()


@dataclass(frozen=True, slots=True)
class PageFrame:
    """The frame around every page: addresses, the cautions, what is covered, the version."""

    at: Addresses
    cautions: str
    covers: str
    version: str
    digest: str | None
    has_catalogue: bool


async def find_catalogue(datasette: Datasette) -> str | None:
    """Return the name of the first database that has all tables of a catalogue."""
    if datasette not in _names:
        for name, database in datasette.databases.items():
            if is_catalogue(await database.table_names()):
                _names[datasette] = name
                break
    return known_catalogue(datasette)


def is_catalogue(tables: Iterable[str]) -> bool:
    """Return whether a database with these tables is a catalogue."""
    return TABLE.keys() <= set(tables)


def known_catalogue(datasette: Datasette) -> str | None:
    """Return the name that `find_catalogue` found earlier, for hooks that cannot wait."""
    return _names.get(datasette)


def addresses(datasette: Datasette) -> Addresses:
    """Return the addresses of the pages and tables of a Datasette."""
    return Addresses(
        datasette.urls.path, lambda table: str(datasette.urls.table(_names[datasette], table))
    )


async def frame(datasette: Datasette) -> PageFrame:
    """Return the frame around the pages of a Datasette."""
    name = await find_catalogue(datasette)

    def read(connection: Connection) -> tuple[str, Facts | None]:
        return scope_line(connection), last_run(Visit(connection, {}, {}))

    covers, run = "No catalogue is served here.", None
    if name is not None:
        covers, run = await datasette.get_database(name).execute_fn(read)
    return PageFrame(
        addresses(datasette),
        summary(),
        covers,
        version(),
        str(run["digest"]) if run and run["digest"] else None,
        name is not None,
    )


def view(reader: Reader, *, computes: bool = False) -> Callable[..., Awaitable[Response]]:
    """Return the Datasette view that answers with the pages of a reader.

    A reader that `computes` much has threads of its own, see `catalogue.pages.workers`.
    """

    async def answer(request: Request, datasette: Datasette) -> Response:
        as_json = False
        try:
            given = request.args  # Datasette would parse the query anew each time it is read
            as_json = _wants_json(given)
            page = await _read(reader, request, given, datasette, computes=computes)
        except (RefusalError, UserError) as error:
            return await refusal(datasette, request, error, as_json=as_json)
        return await _response(datasette, request, page, as_json=as_json)

    return answer


async def refusal(
    datasette: Datasette, request: Request, error: RefusalError | UserError, *, as_json: bool
) -> Response:
    """Return the page that says what is wrong with a request and what to do.

    A danger that somebody told in the address comes first, whatever is wrong with the rest.
    """
    if isinstance(error, UserError):
        error = RefusalError(f"{error}.")
    given = request.args
    dangers = stops_in_query((key, text) for key in given for text in given.getlist(key))
    facts: Facts = {"sentence": str(error), "stop_panel": panel_form(dangers)}
    page = Page(error.title, "refusal", facts, error.status)
    return await _response(datasette, request, page, as_json=as_json)


def failed(error: FailedError, *, as_json: bool) -> Response:
    """Return the sentence of a failure alone: the catalogue may be what failed."""
    if as_json:
        body = {"format": FORMAT, "title": error.title, "sentence": str(error)}
        return Response.json(body, status=error.status, headers=dict(HEADERS))
    return Response.text(f"{error.title}. {error}\n", status=error.status, headers=dict(HEADERS))


async def _read(
    reader: Reader,
    request: Request,
    given: MultiParams,
    datasette: Datasette,
    *,
    computes: bool,
) -> Page:
    if request.method not in ("GET", "HEAD"):
        raise NotAllowedError("Nothing here can be changed; open the address in a browser.")
    name = await find_catalogue(datasette)
    if name is None:
        raise MissingError(
            "None of the databases served here is a catalogue that this version of Miswire can "
            "read; build one with: miswire build"
        )
    parts = {key: _decoded(part) for key, part in request.url_vars.items()}
    for key in given:
        if len(given.getlist(key)) > 1:
            raise RefusalError(f"{shown(key)} is given more than once; keep one of them.")
    query = {key: str(given[key]) for key in given}
    database = datasette.get_database(name)

    def read(connection: Connection) -> Page:
        with unbounded_answers(connection):
            return reader(Visit(connection, parts, query))

    if computes:
        return await workers(datasette).run(database, read)
    page: Page = await database.execute_fn(read)
    return page


def _decoded(part: str) -> str:
    try:
        text = unquote(part, errors="strict")
    except UnicodeDecodeError as error:
        raise MissingError("The address is not UTF-8 text; copy it again from a page.") from error
    if len(text) > LONGEST_PART:
        raise MissingError("The address is longer than any label; copy it again from a page.")
    return text


def _wants_json(query: MultiParams) -> bool:
    form = query.get("format") or "html"
    if form not in ("html", "json"):
        raise RefusalError("format must be html or json; leave it out to see the page.")
    return form == "json"


async def _response(
    datasette: Datasette, request: Request, page: Page, *, as_json: bool
) -> Response:
    headers = {**HEADERS, **_REFUSAL_HEADERS.get(page.status, {})}
    if as_json:
        body = {
            "format": FORMAT,
            "title": page.title,
            **page.facts,
            "cautions": short_cautions(),
            "covers": (await frame(datasette)).covers,
        }
        return Response(
            json.dumps(body, indent=1, ensure_ascii=False),
            status=page.status,
            headers=headers,
            content_type="application/json; charset=utf-8",
        )
    if page.svg:
        return Response(
            standalone(page.svg),
            status=page.status,
            headers=PICTURE_HEADERS,
            content_type="image/svg+xml; charset=utf-8",
        )
    text = await datasette.render_template(
        f"miswire/{page.template}.html",
        {
            "page": page,
            "fact": page.facts,
            "drawn": page.drawn,
            "json_address": _json_address(request),
        },
        request=request,
        view_name="miswire",
    )
    return Response.html(text, status=page.status, headers=headers)


def _json_address(request: Request) -> str:
    """Return the query that leads from this page to its JSON."""
    query = [part for part in request.query_string.split("&") if part]
    return "?" + "&".join([*query, "format=json"])


async def static_file(request: Request) -> Response:
    """Return a style sheet, a font or a picture of the pages."""
    name = request.url_vars["name"]
    kind = _TYPES[name]
    return Response(
        _static_content(name),
        headers={**HEADERS, "cache-control": f"max-age={_A_DAY}"},
        content_type=kind if kind.startswith("font/") else f"{kind}; charset=utf-8",
    )


@cache
def _static_content(name: str) -> bytes:
    return (files("catalogue") / "static" / name).read_bytes()


@cache
def static_version(name: str) -> str:
    """Return a text that changes with the content of a static file."""
    return hashlib.sha256(_static_content(name)).hexdigest()[:12]


STATIC_NAMES: Final = tuple(_TYPES)
