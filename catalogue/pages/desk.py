"""The page of the symptom desk: from what somebody sees to the suspects and the next check."""

from typing import Final

from catalogue.desk.stops import stops
from catalogue.desk.symptoms import SIGHTS, SIGNS
from catalogue.pages.contract import Facts, Page, RefusalError, Visit
from catalogue.pages.deskanswer import answer_facts, gray, positions
from catalogue.pages.deskask import MOST_AS_FOUND, DeskQuestion, NotSearchedError, asked, state_key
from catalogue.pages.desksketch import Shape, letters, shapes
from catalogue.pages.deskstart import dangers_ticked, start, stop_facts
from catalogue.pages.deskwiring import OneCircuit
from catalogue.store.coverage import scheme_title
from verify.base.problems import CircuitError
from verify.layout.schemes import SCHEMES, SOUND_SCHEMES

#: Up to so many switches every combination has a row, else the first ones and those seen.
_ALL_STATES: Final = 4


def desk(visit: Visit) -> Page:
    """Show the way in, the questions, or the answer, as the address asks."""
    try:
        question = asked(visit)
        if question is None:
            return start(visit)
        is_sent = "ask" in visit.query
        if question.is_blank or "edit" in visit.query:
            nothing = "Say at least what the light does in one combination, or tick a sign."
            return _questions(question, nothing if is_sent and question.is_blank else None)
        return Page("Who fits what you see", "desk_answer", answer_facts(visit, question))
    except CircuitError as error:
        problems = [str(problem) for problem in error.problems]
        return start(visit, problems, "This circuit file cannot be used yet", 400)
    except RefusalError as refusal:
        # A danger that somebody noticed comes first, whatever is wrong with the rest.
        if isinstance(refusal, NotSearchedError) or dangers_ticked(visit):
            return start(visit, [str(refusal)], "That cannot be answered here", refusal.status)
        raise


def _questions(question: DeskQuestion, problem: str | None) -> Page:
    """Show the form for what is seen and what is known of the wiring."""
    wiring = question.wiring
    chosen = wiring.query
    known = isinstance(wiring, OneCircuit)
    seen = {outcome: word for word, outcome in SIGHTS.items()}
    return Page(
        "Say what you see",
        "desk_form",
        {
            **stop_facts(question.signs, question.seen.values()),
            "problem": problem,
            "wiring": wiring.in_words(),
            "is_known": known,
            "circuit": getattr(wiring, "label", None),
            "locations": wiring.switches,
            "lamps": len(wiring.circuit.lamps) if isinstance(wiring, OneCircuit) else 1,
            "keep": {k: v for k, v in chosen.items() if k in ("locations", "circuit", "packed")},
            "names": [] if known else _name_fields(question),
            "states": [
                {
                    "key": state_key(state, wiring.switches),
                    "positions": positions(question, state),
                    "saw": seen[question.seen[state]] if state in question.seen else "",
                }
                for state in _rows(question)
            ],
            "all_states": wiring.switches <= _ALL_STATES,
            "sights": ["dark", "lit", "dim", "over", "trips"],
            "signs": [
                {"name": s.name, "question": s.question, "is_ticked": s.name in question.signs}
                for s in SIGNS
                if s.name not in stops()
            ],
            "as_found": question.as_found,
            "can_be_as_found": wiring.switches <= MOST_AS_FOUND,
            "layout": chosen.get("layout", ""),
            "shapes": [] if known else _shape_groups(wiring.switches),
            "scheme": chosen.get("scheme", ""),
            "schemes": [
                {
                    "name": name,
                    "title": scheme_title(name),
                    "description": SCHEMES[name].description,
                }
                for name in SOUND_SCHEMES
            ],
        },
        400 if problem else 200,
    )


def _name_fields(question: DeskQuestion) -> list[Facts]:
    given = zip(question.wiring.names, letters(question.wiring.switches), strict=True)
    return [
        {"key": f"name{number}", "letter": letter, "name": "" if name == letter else name}
        for number, (name, letter) in enumerate(given, 1)
    ]


def _rows(question: DeskQuestion) -> list[int]:
    """Return the states to ask about; if all are, each is one flip from the one before."""
    switches = question.wiring.switches
    if switches <= _ALL_STATES:
        return gray(switches)
    singles = [0, *(1 << bit for bit in range(switches))]
    return [*singles, *(state for state in sorted(question.seen) if state not in singles)]


def _shape_groups(locations: int) -> list[Facts]:
    groups: dict[str, list[Shape]] = {}
    for shape in shapes(locations):
        at_lamp = shape.in_words().startswith("Feed at the lamp")
        title = "The feed arrives at the lamp" if at_lamp else "The feed arrives at a switch"
        groups.setdefault(title, []).append(shape)
    return [
        {
            "title": title,
            "shapes": [
                {"layout": shape.layout.code, "sketch": shape.sketch()} for shape in members
            ],
        }
        for title, members in groups.items()
    ]
