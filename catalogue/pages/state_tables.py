"""Tables of states: what the switches, the protection and the lamps do, state by state."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from catalogue.pages.contract import Facts
from catalogue.report.json_forms import StateForm, state_forms
from verify.behaviour.findings import Observation, position
from verify.behaviour.signature import OUTCOMES, Signature
from verify.circuit.model import Circuit

#: A table of more states helps nobody; for larger circuits only some states are shown.
MOST_STATES: Final = 64
_FIRST_OF_MANY: Final = 16


def shown_states(switches: int, witnesses: Iterable[int]) -> list[int]:
    """Return the states to show: all of a small circuit, else the first and the evidence's."""
    total = 1 << switches
    if total <= MOST_STATES:
        return list(range(total))
    return sorted({*range(_FIRST_OF_MANY), *witnesses})[:MOST_STATES]


def forms_of(circuit: Circuit, seen: Observation, states: Sequence[int]) -> Mapping[int, StateForm]:
    """Return what a circuit does in some of its states, by number."""
    wanted = set(states)
    numbered = zip(range(max(states) + 1), state_forms(circuit, seen), strict=False)
    return {number: form for number, form in numbered if number in wanted}


def state_facts(circuit: Circuit, seen: Observation, states: Sequence[int]) -> list[Facts]:
    """Return the rows of a circuit's table of states."""
    forms = forms_of(circuit, seen, states)
    return [{"state": number, **form} for number, form in forms.items()]


def compared_facts(
    intended: Mapping[int, StateForm], faulted: Mapping[int, StateForm]
) -> list[Facts]:
    """Return the rows of a table that compares a circuit with the same after a mistake.

    `differs` says in words what is different, and is empty where nothing is.
    """
    return [
        {
            "state": number,
            "positions": form["positions"],
            "intended": _doings(form),
            "with_fault": _doings(faulted[number]),
            "differs": list(_differences(form, faulted[number])),
        }
        for number, form in intended.items()
    ]


def _doings(form: StateForm) -> Facts:
    return {"protection": form["protection"], "lamps": form["lamps"]}


def _differences(intended: StateForm, faulted: StateForm) -> Iterable[str]:
    if intended["protection"] != faulted["protection"]:
        trips = faulted["protection"] == "trips"
        yield f"protection {'trips instead of holding' if trips else 'holds instead of tripping'}"
        return
    for lamp, does in intended["lamps"].items():
        if faulted["lamps"][lamp] != does:
            yield f"{lamp} {faulted['lamps'][lamp]} instead of {does}"


def signature_facts(signature: Signature) -> list[Facts]:
    """Return the rows of a signature's table.

    Positions are A and B, since a signature does not say which of them is up.
    """
    total = 1 << signature.switches
    return [
        {
            "state": state,
            "positions": {
                f"switch {number + 1}": "B" if state >> number & 1 else "A"
                for number in range(signature.switches)
            },
            "lamps": {
                f"lamp {number}" if signature.lamps > 1 else "lamp": OUTCOMES[outcome]
                for number, outcome in enumerate(signature.outcomes(state), 1)
            },
        }
        for state in range(min(total, MOST_STATES))
    ]


def state_words(state: int, locations: int) -> str:
    """Return a state in words: ``3: switch 1 down, switch 2 down, switch 3 up``."""
    positions = (f"switch {number + 1} {position(state, number)}" for number in range(locations))
    return f"{state}: {', '.join(positions)}"
