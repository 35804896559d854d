"""The texts of faults, made when they are shown: a row knows only the place of its site.

A circuit of a layout is wired anew from its label, which is quicker than to read its file.
"""

from collections.abc import Callable
from functools import lru_cache
from sqlite3 import Connection
from typing import Any, Final, TypeVar

from verify.circuit.file import loads
from verify.fault.change import NumberedCircuit
from verify.fault.contract import Site
from verify.fault.registry import fault_kind
from verify.layout.enumeration import Layout
from verify.layout.schemes import SOUND_SCHEMES
from verify.sweep.listing import sites_of

_CIRCUITS: Final = 256
_LISTS: Final = 2048
_LONGEST_LABEL: Final = 100
_LONGEST_FILE: Final = 100_000
_WIDEST_JOIN: Final = 18
#: Of ends in one box, in both orders: of 1,200 circuits drawn at random none had 7,000.
_MOST_PAIRS: Final = 20_000

T = TypeVar("T")


@lru_cache(maxsize=_CIRCUITS)
def wiring(label: str, file: str) -> NumberedCircuit:
    """The circuit of a row, by its label and its file. Raises CircuitError."""
    scheme, _, code = label.partition("-")
    if scheme in SOUND_SCHEMES:
        try:
            return NumberedCircuit(Layout.parse(code).circuit(scheme))
        except ValueError:
            pass  # no layout, but drawn
    return NumberedCircuit(loads(file))


@lru_cache(maxsize=_LISTS)
def _sites(label: str, file: str, kind: str) -> list[Site]:
    return sites_of(fault_kind(kind), wiring(label, file))


def _site(label: str, file: str, kind: str, site: int) -> Site | None:
    """The site, or None for a row that was changed by hand: the circuit has none at that place."""
    sites = _sites(label, file, kind)
    return sites[site] if 0 <= site < len(sites) else None


def site_text(label: str, file: str, kind: str, site: int) -> str:
    """The site of a fault as labels have it."""
    return ",".join(_site(label, file, kind, site) or (f"{site}",))


def fault_text(label: str, file: str, kind: str, site: int) -> str:
    """The mistake as a sentence."""
    found = _site(label, file, kind, site)
    return fault_kind(kind).in_words(found) if found else f"This circuit has no site {site}."


def site_number(label: str, file: str, kind: str, text: str) -> int | None:
    """The place of a site, given as labels have it; None if the circuit has no such site.

    Of a site whose result is listed under another one it is the place of that one.
    """
    places: dict[Site, int] = {}
    for place, (site, fault) in enumerate(fault_kind(kind).sites(wiring(label, file))):
        places[site] = place
        if ",".join(site) == text:
            return places[fault.site]
    return None


def teach_texts(connection: Connection) -> None:
    """Let queries of a connection make texts.

    ``fault_at(circuit.label, circuit.file, kind.name, fault.site)`` is the site as labels have it,
    ``fault_text`` of the same the sentence, and ``fault_site`` with a text in place of the number
    the number, or null.
    """

    def bounded(function: Callable[[str, str, str, Any], T]) -> Callable[[str, str, str, Any], T]:
        def call(label: str, file: str, kind: str, site: Any) -> T:
            _require_size(label, file)
            return function(label, file, kind, site)

        return call

    for name, function in (
        ("fault_at", bounded(site_text)),
        ("fault_text", bounded(fault_text)),
        ("fault_site", bounded(site_number)),
    ):
        connection.create_function(name, 4, function, deterministic=True)


def _require_size(label: str, file: str) -> None:
    """Raise ValueError for a circuit that takes longer than people wait.

    Whoever may ask a query may give these functions any text, and no time limit of SQL ends one of
    them. Of a join there are more ways to part it than there is time, if it is wide, and of a box
    with many ends more ways to land these.
    """
    if len(label) > _LONGEST_LABEL or len(file) > _LONGEST_FILE:
        raise ValueError("this circuit is too large for its faults to be put in words")
    wired = wiring(label, file)
    if sum(len(ends) ** 2 for ends in wired.boxes.values()) > _MOST_PAIRS:
        raise ValueError("this circuit has too many ends for its faults to be put in words")
    if max(map(len, wired.joins), default=0) > _WIDEST_JOIN:
        raise ValueError("this circuit has too wide a join for its faults to be put in words")
