"""The texts of faults are rendered when they are shown: a row stores only the place of its site.

A circuit of a layout is wired again from its label, which is quicker than reading its file.
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
#: Pairs of ends in one box, in both orders: of 1,200 circuits drawn at random none had 7,000.
_MOST_PAIRS: Final = 20_000

T = TypeVar("T")


@lru_cache(maxsize=_CIRCUITS)
def circuit_of_row(label: str, file: str) -> NumberedCircuit:
    """Return the circuit of a row, given its label and its file. Raises CircuitError."""
    scheme, _, code = label.partition("-")
    if scheme in SOUND_SCHEMES:
        try:
            return NumberedCircuit(Layout.parse(code).circuit(scheme))
        except ValueError:
            pass  # the label is that of a drawn circuit
    return NumberedCircuit(loads(file))


@lru_cache(maxsize=_LISTS)
def _sites(label: str, file: str, kind: str) -> list[Site]:
    return sites_of(fault_kind(kind), circuit_of_row(label, file))


def _site(label: str, file: str, kind: str, site: int) -> Site | None:
    """Return the site, or None where somebody changed a row and the circuit has no such site."""
    sites = _sites(label, file, kind)
    return sites[site] if 0 <= site < len(sites) else None


def site_text(label: str, file: str, kind: str, site: int) -> str:
    """Return the site of a fault as it stands in labels."""
    return ",".join(_site(label, file, kind, site) or (f"{site}",))


def fault_text(label: str, file: str, kind: str, site: int) -> str:
    """Return the mistake as a sentence."""
    found = _site(label, file, kind, site)
    return fault_kind(kind).in_words(found) if found else f"This circuit has no site {site}."


def site_place(label: str, file: str, kind: str, text: str) -> int | None:
    """Return the place of a site that is given as in labels; None if the circuit has no such site.

    If the result of the site is listed under another one, it is the place of that one.
    """
    places: dict[Site, int] = {}
    for place, (site, fault) in enumerate(fault_kind(kind).sites(circuit_of_row(label, file))):
        places[site] = place
        if ",".join(site) == text:
            return places[fault.site]
    return None


def register_text_functions(connection: Connection) -> None:
    """Give a connection SQL functions that render texts of faults.

    ``fault_at(circuit.label, circuit.file, kind.name, fault.site)`` is the site as it stands in
    labels, ``fault_text`` of the same arguments is the sentence. ``fault_site`` takes that text in
    place of the number and gives the number, or null.
    """

    def bounded(function: Callable[[str, str, str, Any], T]) -> Callable[[str, str, str, Any], T]:
        def call(label: str, file: str, kind: str, site: Any) -> T:
            _require_size(label, file)
            return function(label, file, kind, site)

        return call

    for name, function in (
        ("fault_at", bounded(site_text)),
        ("fault_text", bounded(fault_text)),
        ("fault_site", bounded(site_place)),
    ):
        connection.create_function(name, 4, function, deterministic=True)


def _require_size(label: str, file: str) -> None:
    """Raise ValueError for a circuit that would take longer than people wait.

    Whoever may write a query may give these functions any text, and no time limit of SQL ends one
    of them. A wide join can be parted in more ways than there is time for, and so can the ends of a
    large box be landed.
    """
    if len(label) > _LONGEST_LABEL or len(file) > _LONGEST_FILE:
        raise ValueError("this circuit is too large for its faults to be put in words")
    wired = circuit_of_row(label, file)
    if sum(len(ends) ** 2 for ends in wired.boxes.values()) > _MOST_PAIRS:
        raise ValueError("this circuit has too many ends for its faults to be put in words")
    if max(map(len, wired.joins), default=0) > _WIDEST_JOIN:
        raise ValueError("this circuit has too wide a join for its faults to be put in words")
