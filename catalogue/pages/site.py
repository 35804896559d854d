"""From a request to a response: finds the catalogue, reads the page, draws it or writes JSON."""

import hashlib
import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from sqlite3 import Connection
from typing import Any, Final
from urllib.parse import unquote
from weakref import WeakKeyDictionary

from datasette import Response

from catalogue.pages.addresses import Addresses
from catalogue.pages.provenance import last_run
from catalogue.pages.visit import (
    LONGEST_PART,
    Facts,
    MissingError,
    NotAllowedError,
    Page,
    Reader,
    RefusalError,
    Visit,
)
from catalogue.report.forms import FORMAT, short_cautions
from catalogue.store.coverage import scope_line
from catalogue.store.tables import TABLE
from verify.base.cautions import summary
from verify.base.problems import shown
from verify.base.version import version

#: Nothing but our own style sheet and pictures is loaded, and nothing frames or runs a page.
HEADERS: Final = {
    "content-security-policy": (
        "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
_TYPES: Final = {
    "miswire.css": "text/css",
    "desk.css": "text/css",
    "practice.css": "text/css",
    "tables.css": "text/css",
    "miswire.svg": "image/svg+xml",
}
_A_DAY: Final = 86_400

# Datasette comes without types.
Datasette = Any
Request = Any

_names: "WeakKeyDictionary[Datasette, str]" = WeakKeyDictionary()


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands around every page: where things are, the cautions, what is covered, by whom."""

    at: Addresses
    cautions: str
    covers: str
    version: str
    digest: str | None
    has_catalogue: bool


async def find_catalogue(datasette: Datasette) -> str | None:
    """The name of the catalogue among the databases, the first that has all of its tables."""
    if datasette not in _names:
        for name, database in datasette.databases.items():
            if TABLE.keys() <= set(await database.table_names()):
                _names[datasette] = name
                break
    return known_catalogue(datasette)


def known_catalogue(datasette: Datasette) -> str | None:
    """The name that `find_catalogue` has found earlier, for hooks that cannot wait."""
    return _names.get(datasette)


def addresses(datasette: Datasette) -> Addresses:
    """Where the pages and tables of a Datasette are."""
    return Addresses(
        datasette.urls.path, lambda table: str(datasette.urls.table(_names[datasette], table))
    )


async def frame(datasette: Datasette) -> Frame:
    """What stands around the pages of a Datasette."""
    name = await find_catalogue(datasette)

    def read(connection: Connection) -> tuple[str, Facts | None]:
        return scope_line(connection), last_run(Visit(connection, {}, {}))

    covers, run = "No catalogue is served here.", None
    if name is not None:
        covers, run = await datasette.get_database(name).execute_fn(read)
    return Frame(
        addresses(datasette),
        summary(),
        covers,
        version(),
        str(run["digest"]) if run and run["digest"] else None,
        name is not None,
    )


def view(reader: Reader) -> Callable[..., Awaitable[Response]]:
    """The Datasette view that answers with the pages of a reader."""

    async def answer(request: Request, datasette: Datasette) -> Response:
        try:
            as_json = _wants_json(request.args)
        except RefusalError as refusal:
            return await _response(datasette, request, _refused(refusal), as_json=False)
        try:
            page = await _read(reader, request, datasette)
        except RefusalError as refusal:
            page = _refused(refusal)
        return await _response(datasette, request, page, as_json=as_json)

    return answer


async def _read(reader: Reader, request: Request, datasette: Datasette) -> Page:
    if request.method not in ("GET", "HEAD"):
        raise NotAllowedError("Nothing here can be changed; open the address in a browser.")
    name = await find_catalogue(datasette)
    if name is None:
        raise MissingError(
            "None of the databases served here is a catalogue that this version of Miswire can "
            "read; build one with: miswire build"
        )
    parts = {key: _decoded(part) for key, part in request.url_vars.items()}
    for key in request.args:
        if len(request.args.getlist(key)) > 1:
            raise RefusalError(f"{shown(key)} is given more than once; keep one of them.")
    query = {key: str(request.args[key]) for key in request.args}
    page: Page = await datasette.get_database(name).execute_fn(
        lambda connection: reader(Visit(connection, parts, query))
    )
    return page


def _decoded(part: str) -> str:
    try:
        text = unquote(part, errors="strict")
    except UnicodeDecodeError as error:
        raise MissingError("The address is not UTF-8 text; copy it again from a page.") from error
    if len(text) > LONGEST_PART:
        raise MissingError("The address is longer than any label; copy it again from a page.")
    return text


def _wants_json(query: Mapping[str, str]) -> bool:
    form = query.get("format") or "html"
    if form not in ("html", "json"):
        raise RefusalError("format must be html or json; leave it out to see the page.")
    return form == "json"


def _refused(refusal: RefusalError) -> Page:
    return Page(refusal.title, "refusal", {"sentence": str(refusal)}, refusal.status)


async def _response(
    datasette: Datasette, request: Request, page: Page, *, as_json: bool
) -> Response:
    headers = (
        {**HEADERS, "allow": "GET, HEAD"} if page.status == NotAllowedError.status else HEADERS
    )
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
            page.svg,
            status=page.status,
            headers=headers,
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
    """The query that leads from this page to its JSON."""
    query = [part for part in request.query_string.split("&") if part]
    return "?" + "&".join([*query, "format=json"])


async def static_file(request: Request) -> Response:
    """A style sheet or picture of the pages."""
    name = request.url_vars["name"]
    return Response(
        _static_text(name),
        headers={**HEADERS, "cache-control": f"max-age={_A_DAY}"},
        content_type=f"{_TYPES[name]}; charset=utf-8",
    )


@cache
def _static_text(name: str) -> str:
    return (files("catalogue") / "static" / name).read_text("utf-8")


@cache
def static_version(name: str) -> str:
    """What changes with the content of a static file."""
    return hashlib.sha256(_static_text(name).encode()).hexdigest()[:12]


STATIC_NAMES: Final = tuple(_TYPES)
