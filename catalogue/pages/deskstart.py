"""The way into the symptom desk: dangers first, then which light it is."""

from collections.abc import Iterable
from typing import Final

from catalogue.desk.searchable import covered_sizes
from catalogue.desk.stops import (
    Stop,
    named_stops,
    panel_form,
    phrase,
    signs_seen,
    stop_forms,
    stops,
    stops_in_texts,
)
from catalogue.desk.symptoms import SIGN
from catalogue.pages.contract import Facts, Page, Visit
from catalogue.pages.deskask import LONGEST_FILE, MOST_SWITCHES, sign_key
from catalogue.pages.desksketch import shapes
from catalogue.pages.deskwiring import ORDINALS

_SIGN: Final = sign_key("")


def start(visit: Visit, problems: Iterable[str] = (), title: str = "", status: int = 200) -> Page:
    """Show the page that asks for the light; `problems` with their `title` say what was wrong."""
    ticked = dangers_ticked(visit)
    there = covered_sizes(visit.catalogue.execute)
    return Page(
        "Symptom desk",
        "desk",
        {
            **stop_facts(ticked),
            "keep": {sign_key(name): "yes" for name in ticked},
            "sizes": [
                {"locations": size, "layouts": (size + 1) ** size, "shapes": len(shapes(size))}
                for size in there
                if size in ORDINALS
            ],
            "problem_title": title,
            "problems": list(problems),
            "file": visit.query.get("file", ""),
            "longest_file": LONGEST_FILE,
            "most_switches": MOST_SWITCHES,
        },
        status,
    )


def dangers_ticked(visit: Visit) -> list[str]:
    """Return the signs of danger in an address, whatever else is right or wrong with it."""
    return [stop.name for stop in stops_in_query(visit.query.items())]


def stops_in_query(query: Iterable[tuple[str, str]]) -> tuple[Stop, ...]:
    """Return the reasons to stop in an address: in signs, in what was seen and found."""
    given = [(key.lower(), value) for key, value in query if value]
    signs = [key.removeprefix(_SIGN) for key, _ in given if key.startswith(_SIGN)]
    return stops_in_texts(signs, (text for key, text in given if key.startswith(("at-", "step"))))


def stop_facts(ticked: Iterable[str], seen: Iterable[int] = ()) -> Facts:
    """Return the signs of danger as questions, and the panel for those that hold.

    The panel is for the signs that are ticked, and for what was seen of the light.
    """
    known = frozenset(ticked)
    found = named_stops(known | signs_seen(seen))
    return {
        "stop": stop_forms(found),
        "stop_panel": panel_form(found),
        "danger_sentence": phrase("ask"),
        "danger": [
            {"name": name, "question": SIGN[name].question, "is_ticked": name in known}
            for name in stops()
        ],
    }
