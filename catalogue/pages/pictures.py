"""Pictures on pages show the wiring or the schematic, in a state that plain links choose."""

from collections.abc import Iterator, Mapping
from typing import Final
from urllib.parse import urlencode

from markupsafe import Markup

from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.state_view import parse_state
from catalogue.pages.contract import Facts, RefusalError, Visit
from verify.base.problems import UserError
from verify.behaviour.findings import position
from verify.circuit.model import Circuit
from verify.verdict.evidence import Evidence

#: A drawing of more boxes helps nobody on a page; `miswire draw` makes it all the same.
MOST_BOXES: Final = 24

_VIEWS: Final = {
    "wiring": "wiring",
    "found": "as found, unmarked",
    "schematic": "schematic",
}


def picture(
    visit: Visit,
    circuit: Circuit,
    evidence: Mapping[str, object],
    *,
    intended: Circuit | None = None,
) -> Facts:
    """Return the picture of a circuit for a page, with the links that change it.

    The query chooses: ``view`` one of wiring, found and schematic, ``state`` a position for every
    switch, ``path`` the claim whose evidence is shown along its path, in its own state.
    Raises RefusalError for a query that cannot be shown.
    """
    view = visit.query.get("view") or "wiring"
    if view not in _VIEWS or (view == "found" and intended is None):
        raise RefusalError(
            f"view must be one of {', '.join(_views(intended))}; leave it out to see the wiring."
        )
    shown = _evidence(visit, evidence)
    state = _asked_state(visit, circuit) if shown is None else shown.state
    return {
        "svg": _picture_or_none(circuit, view, state, shown, intended),
        "state": None if state is None else _positions_text(circuit, state),
        "views": [
            {"title": _VIEWS[name], "link": _link(name, circuit, state), "is_shown": name == view}
            for name in _views(intended)
        ],
        "handles": list(_handles(view, circuit, state)),
        "without_state": _link(view, circuit, None),
        "paths": [
            {
                "claim": claim,
                "link": _picture_query(view=view, path=claim),
                "is_shown": shown is item,
            }
            for claim, item in evidence.items()
            if isinstance(item, Evidence) and item.walks
        ],
    }


def _views(intended: Circuit | None) -> list[str]:
    return [name for name in _VIEWS if name != "found" or intended is not None]


def _evidence(visit: Visit, evidence: Mapping[str, object]) -> Evidence | None:
    claim = visit.query.get("path")
    if not claim:
        return None
    item = evidence.get(claim)
    if not isinstance(item, Evidence):
        raise RefusalError("path names nothing that is shown on this page; follow a link of it.")
    return item


def _asked_state(visit: Visit, circuit: Circuit) -> int | None:
    text = visit.query.get("state")
    if not text:
        return None
    try:
        return parse_state(circuit, text)
    except UserError as error:
        raise RefusalError(" ".join(f"{problem}." for problem in error.problems)) from error


def _picture_or_none(
    circuit: Circuit,
    view: str,
    state: int | None,
    evidence: Evidence | None,
    intended: Circuit | None,
) -> Markup | None:
    """Return the picture, or None where the circuit is too large for one on a page."""
    if len(circuit.boxes) > MOST_BOXES:
        return None
    if view == "schematic":
        return Markup(schematic_picture(circuit, state=state))  # drawn and escaped by us
    svg = wiring_picture(
        circuit,
        state=state,
        evidence=None if view == "found" else evidence,
        intended=intended,
        marked=view != "found",
    )
    return Markup(svg)  # drawn and escaped by us


def _handles(view: str, circuit: Circuit, state: int | None) -> Iterator[Facts]:
    """Yield for each switch its position, and the link that moves it."""
    for number, switch in enumerate(circuit.switches):
        moved = 0 if state is None else state ^ 1 << number
        yield {
            "switch": switch.name,
            "position": None if state is None else position(state, number),
            "link": _link(view, circuit, moved),
        }


def _positions_text(circuit: Circuit, state: int) -> str:
    return ",".join(
        f"{switch.name}={position(state, number)}" for number, switch in enumerate(circuit.switches)
    )


def _link(view: str, circuit: Circuit, state: int | None) -> str:
    return _picture_query(view=view, state="" if state is None else _positions_text(circuit, state))


def _picture_query(**parameters: str) -> str:
    given = {k: v for k, v in parameters.items() if v and (k, v) != ("view", "wiring")}
    return "?" + urlencode(given, safe=",=") + "#picture"
