"""The gate refuses requests before any work is done for them, such as overlong addresses."""

from collections.abc import Awaitable, Callable, Collection, Iterable
from functools import cache, cached_property
from importlib.resources import files
from typing import Any, Final

from datasette.utils.asgi import Request

from catalogue.pages.contract import (
    MissingError,
    NotAllowedError,
    NotOursError,
    RefusalError,
    TooLongError,
)
from catalogue.pages.response import HEADERS
from verify.base.problems import shown

#: In bytes, of path and query: a pasted circuit file of 8,000 characters has room, even where each
#: is written as three.
LONGEST_ADDRESS: Final = 40_000
#: No form of ours has so many; nobody tries two hundred combinations of positions.
MOST_KEYS: Final = 200

#: Names of this machine itself, which no name server on the way can redirect.
OWN_NAMES: Final = ("localhost", "127.0.0.1", "[::1]")

_METHODS: Final = ("GET", "HEAD")
#: All of Datasette's pages under this prefix but these are for debugging a server.
_SYSTEM: Final = "/-/"
_STATIC: Final = "/-/static/"
_OPEN: Final = ("/-/miswire", _STATIC)

#: For pages of Datasette, which have scripts and styles within them.
_FOREIGN_HEADERS: Final = {
    **HEADERS,
    "content-security-policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; font-src 'self'; frame-ancestors 'none'; base-uri 'none'; "
        "object-src 'none'; form-action 'self'"
    ),
}

Scope = dict[str, Any]
App = Callable[[Scope, Any, Any], Awaitable[None]]


def require_short(scope: Scope) -> None:
    """Raise RefusalError for an address that is too long, or has too many keys, to be read."""
    query: bytes = scope.get("query_string") or b""
    length = len(scope.get("raw_path") or scope["path"]) + len(query)
    if length > LONGEST_ADDRESS:
        raise TooLongError(
            f"This address has {length:,} characters; at most {LONGEST_ADDRESS:,} are read. "
            "Take the address from a page, or leave out part of it."
        )
    keys = query.count(b"&") + 1
    if keys > MOST_KEYS:
        raise RefusalError(
            f"This address gives {keys:,} values; at most {MOST_KEYS} are read. Take the address "
            "from a page, or leave out some of them."
        )


def parse_queries_once() -> None:
    """Make Datasette parse the query of a request once.

    Datasette 0.65 parses it at each of its many reads, several times for every key, on the thread
    that serves everybody: for an address within the bounds above that took seconds.
    """
    if isinstance(Request.__dict__["args"], property):
        parsed: Any = cached_property(Request.args.fget)
        parsed.__set_name__(Request, "args")
        Request.args = parsed


def whole_responses(send: Any) -> Any:
    """Wrap `send` so that the status waits for the first part of the body, and every response says
    what a browser may load for it.

    A response that fails while its body is made can then still become a refusal.
    """
    start: dict[str, Any] | None = None

    async def later(message: dict[str, Any]) -> None:
        nonlocal start
        if message["type"] == "http.response.start":
            start = {**message, "headers": _with_headers(message.get("headers", ()))}
            return
        if start is not None:
            await send(start)
            start = None
        await send(message)

    return later


def _with_headers(given: Iterable[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Return headers and, of those that protect a page, the ones that it has not set itself."""
    headers = list(given)
    names = {bytes(name).lower() for name, _ in headers}
    more = [(name.encode(), value.encode()) for name, value in _FOREIGN_HEADERS.items()]
    return [*headers, *(header for header in more if header[0] not in names)]


async def refuse(scope: Scope, send: Any, error: RefusalError) -> None:
    """Answer with the sentence of a refusal alone, without asking the catalogue anything."""
    body = f"{error.title}. {error}\n".encode()
    headers = {
        **HEADERS,
        "content-type": "text/plain; charset=utf-8",
        "content-length": str(len(body)),
        **({"allow": ", ".join(_METHODS)} if isinstance(error, NotAllowedError) else {}),
    }
    await send(
        {
            "type": "http.response.start",
            "status": error.status,
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
        }
    )
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})


class Gate:
    """The gate of `miswire serve` checks the name it is asked for and which page of Datasette.

    A foreign page whose name server says that its name is this machine's could read a catalogue
    through a visitor's browser; the name that the browser then sends is not one of `names`.
    """

    def __init__(self, app: App, names: Collection[str] = ()) -> None:
        self._app = app
        self._names = frozenset(name.lower() for name in (*OWN_NAMES, *names))

    async def __call__(self, scope: Scope, receive: Any, send: Any) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "http":
            try:
                self._require_name(scope)
                _require_reading(scope)
                _require_open(scope)
            except RefusalError as error:
                await refuse(scope, send, error)
                return
        await self._app(scope, receive, send)

    def _require_name(self, scope: Scope) -> None:
        given = [value.decode("latin-1") for name, value in scope["headers"] if name == b"host"]
        if len(given) != 1:
            raise RefusalError(
                f"A request names the server once, in Host; this one does so {len(given)} times."
            )
        if host_name(given[0]) not in self._names:
            raise NotOursError(
                f"{shown(given[0])} is not a name under which this catalogue is served; open it as "
                "localhost, or serve it with --allowed-host and the name."
            )


def host_name(host: str) -> str | None:
    """Return the name in a Host header, without its port; None if the header is malformed."""
    name, mark, port = host.rpartition(":") if not host.endswith("]") else (host, "", "")
    if not mark:
        return host.lower()
    return name.lower() if port.isascii() and port.isdigit() else None


def _require_reading(scope: Scope) -> None:
    if scope["method"] not in _METHODS:
        raise NotAllowedError("Nothing here can be changed; open the address in a browser.")


def _require_open(scope: Scope) -> None:
    """Refuse the pages for debugging, which reveal the machine and the path of the file.

    Files that Datasette does not have are refused too, since it says where it looked for them, and
    so are paths that a browser takes for the name of another server when it is sent back to them.
    """
    raw: str = (scope.get("raw_path") or scope["path"].encode()).decode("latin-1")
    path = raw.partition("?")[0]
    is_closed = path.startswith(_SYSTEM) and not path.startswith(_OPEN)
    is_no_file = path.startswith(_STATIC) and path.removeprefix(_STATIC) not in _static_names()
    if is_closed or is_no_file or path.startswith("//") or "\\" in path:
        raise MissingError("There is no such page; the home page has the ways in.")


@cache
def _static_names() -> frozenset[str]:
    """Return the names of Datasette's own scripts, style sheets and pictures."""
    return frozenset(file.name for file in (files("datasette") / "static").iterdir())
