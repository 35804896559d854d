"""Each address is routed here to the page that it shows."""

import re
from collections.abc import Awaitable, Callable
from typing import Any, Final

from catalogue.pages import coverage, project, terms_and_cautions
from catalogue.pages.addresses import ROOT
from catalogue.pages.circuit import circuit, circuits
from catalogue.pages.claims import claim, claim_picture, claims
from catalogue.pages.contract import MissingError, Page, Reader, Visit
from catalogue.pages.desk import desk
from catalogue.pages.deskpicture import picture
from catalogue.pages.deskplan import plan
from catalogue.pages.fault import fault
from catalogue.pages.faultlist import faults
from catalogue.pages.findings import findings
from catalogue.pages.flipping import flipping
from catalogue.pages.frompython import from_python
from catalogue.pages.hazard import hazard
from catalogue.pages.home import home
from catalogue.pages.kind import kind
from catalogue.pages.mimics import mimics
from catalogue.pages.pairs import pair, pair_picture, pairs
from catalogue.pages.practice import practice
from catalogue.pages.response import STATIC_NAMES, static_file, view
from catalogue.pages.signature import signature, signatures

Route = tuple[str, Callable[..., Awaitable[Any]]]

_READERS: Final[dict[str, Reader]] = {
    "/": home,
    f"{ROOT}/desk": desk,
    f"{ROOT}/desk/plan": plan,
    f"{ROOT}/desk/picture": picture,
    f"{ROOT}/mimics": mimics,
    f"{ROOT}/pairs": pairs,
    f"{ROOT}/pair/<circuit>/<kind>/<site>/<other_kind>/<other_site>": pair,
    f"{ROOT}/pair/<circuit>/<kind>/<site>/<other_kind>/<other_site>/picture": pair_picture,
    f"{ROOT}/flipping": flipping,
    f"{ROOT}/findings": findings,
    f"{ROOT}/claims": claims,
    f"{ROOT}/claim/<claim>": claim,
    f"{ROOT}/claim/<claim>/picture": claim_picture,
    f"{ROOT}/circuits": circuits,
    f"{ROOT}/circuit/<circuit>": circuit,
    f"{ROOT}/faults": faults,
    f"{ROOT}/fault/<circuit>/<kind>/<site>": fault,
    f"{ROOT}/signatures": signatures,
    f"{ROOT}/signature/<signature>": signature,
    f"{ROOT}/hazard/<hazard>": hazard,
    f"{ROOT}/kind/<kind>": kind,
    f"{ROOT}/practice": practice,
    f"{ROOT}/from-python": from_python,
    f"{ROOT}/terms": terms_and_cautions.terms,
    f"{ROOT}/scope": coverage.scope,
    f"{ROOT}/cautions": terms_and_cautions.cautions,
    f"{ROOT}/changes": project.changes,
    f"{ROOT}/licences": project.licences,
}

#: These pages judge a circuit of the visitor's, or compare every suspect with what was seen.
_COMPUTING: Final[frozenset[Reader]] = frozenset({desk, plan, picture})


def routes() -> list[Route]:
    """Return pairs of a pattern and a view; the first pattern that matches decides."""
    names = "|".join(map(re.escape, STATIC_NAMES))
    static: Route = (rf"^{ROOT}/static/(?P<name>{names})$", static_file)
    pages: list[Route] = [
        (_pattern(path), view(reader, computes=reader in _COMPUTING))
        for path, reader in _READERS.items()
    ]
    return [static, *pages, (rf"^{ROOT}(?:/.*)?$", view(_nowhere))]


def _pattern(path: str) -> str:
    """Return the regular expression of a path whose parts in angle brackets may be anything."""
    pattern = path.rstrip("/").replace("<", "(?P<").replace(">", ">[^/]+)")
    return rf"^{pattern}/?$"


def _nowhere(visit: Visit) -> Page:
    raise MissingError("There is no such page; the home page has the ways in.")
