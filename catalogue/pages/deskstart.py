"""The way into the symptom desk: dangers first, then which light it is."""

from collections.abc import Iterable

from catalogue.desk.searchable import covered_sizes
from catalogue.desk.stops import named_stops, panel_form, phrase, signs_seen, stop_forms, stops
from catalogue.desk.symptoms import SIGN
from catalogue.pages.contract import Facts, Page, Visit
from catalogue.pages.deskask import LONGEST_FILE, MOST_SWITCHES, sign_key
from catalogue.pages.desksketch import shapes
from catalogue.pages.deskwiring import ORDINALS


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
    return [name for name in stops() if visit.query.get(sign_key(name))]


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
