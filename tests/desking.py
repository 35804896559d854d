"""What the tests of the symptom desk's pages have in common: its addresses and one circuit."""

from collections.abc import Mapping
from functools import cache
from typing import Final
from urllib.parse import urlencode

from browser import ROOT

from catalogue.desk.suspect_pool import SuspectPool, pool_of_circuit
from catalogue.pages.deskask import state_key
from verify.base.resources import data_path
from verify.behaviour.signature import DARK, LIT, TRIP
from verify.layout.enumeration import Layout

DESK: Final = f"{ROOT}/desk"
PLAN: Final = f"{ROOT}/desk/plan"
MIMICS: Final = f"{ROOT}/mimics"
CODE: Final = "1.f.1"
LABEL: Final = f"chain-{CODE}"
SAW: Final = {DARK: "dark", LIT: "lit", TRIP: "trips"}
STAIR: Final = (data_path("circuits") / "stair-feed-at-lamp.toml").read_text("utf-8")


def at(page: str, **query: object) -> str:
    """An address."""
    return f"{page}?{urlencode({key.replace('_', '-'): value for key, value in query.items()})}"


def seen(codes: Mapping[int, int] | list[int], switches: int = 2) -> dict[str, str]:
    """What was seen as it stands in an address."""
    states = codes.items() if isinstance(codes, Mapping) else enumerate(codes)
    return {state_key(state, switches): SAW[code] for state, code in states}


@cache
def pool() -> SuspectPool:
    """Every single fault of one circuit, by the engine itself."""
    return pool_of_circuit(Layout.parse(CODE).circuit("chain"))
