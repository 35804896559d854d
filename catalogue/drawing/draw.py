"""A circuit is drawn here for a notebook, a file or a command: one picture with its title."""

from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from catalogue.drawing.pictures import schematic_picture, wiring_picture
from catalogue.drawing.state_view import parse_state, view_of
from catalogue.drawing.typeface import standalone
from verify.base.problems import Problem, UserError, require, shown
from verify.behaviour.states import StateRow
from verify.circuit.model import Circuit, require_circuit
from verify.fault.registry import Labelled, fault_kind, find_fault
from verify.verdict.evidence import Evidence, find_evidence


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as the text of an SVG, in a notebook as what it shows. Cautions are in it."""

    title: str
    svg: str

    def save(self, path: str | PathLike[str]) -> None:
        """Write the SVG into a file, in place of what is there.

        Raises UserError for a path that says that the file is of another kind, and OSError.
        """
        if problems := suffix_problems(path):
            raise UserError(problems)
        Path(path).write_text(self.svg, "utf-8", newline="\n")

    def __repr__(self) -> str:
        return f"<Picture {self.title!r}: save(path) writes it, a notebook shows it>"

    def _repr_svg_(self) -> str:
        return self.svg


def suffix_problems(path: str | PathLike[str]) -> list[Problem]:
    """Why no picture is written there: what the name says of the file would not be true."""
    path = Path(path)
    if path.suffix.lower() in (".svg", ""):
        return []
    remedy = f"write {path.stem}.svg, and let another program convert that"
    place = shown(str(path), 400)
    return [Problem(place, f"a picture is an SVG, not {path.suffix}; {shown(remedy, 100)}")]


def draw(
    circuit: Circuit,
    *,
    state: Mapping[str, str] | StateRow | str | None = None,
    fault: str | Labelled | None = None,
    unmarked: bool = False,
    schematic: bool = False,
) -> Picture:
    """The wiring of a circuit as a picture: boxes, cables, every conductor and where it is landed.

    `state` gives every switch a position, as a mapping, as a row of the states that `examine` gives
    or as ``a=up,b=down``: what is connected to line is shown then, and where the breaker trips the
    path on which it does. `fault` is a row that `faults` gives, a `Fault`, or a label such as
    ``left-off/landing,lamp.shell``: both wirings are beside each other with the differences
    numbered, or with `unmarked` only what somebody finds who opens the boxes. A `schematic` shows
    what is connected to what without boxes.

    Raises UserError with every mistake in what is asked for.
    """
    require_circuit(circuit)
    problems: list[Problem] = []
    mistake = number = None
    try:
        mistake = None if fault is None else find_fault(circuit, fault)
    except UserError as error:
        problems += error.problems
    drawn = circuit if mistake is None else mistake.apply(circuit)
    try:
        number = None if state is None else parse_state(drawn, _written(state))
    except UserError as error:
        problems += error.problems
    problems += _unfit(fault, unmarked=unmarked, schematic=schematic)
    if problems:
        raise UserError(problems)
    if schematic:
        svg = schematic_picture(drawn, state=number)
    else:
        svg = wiring_picture(
            drawn,
            state=number,
            evidence=_tripping(drawn, number),
            intended=None if mistake is None else circuit,
            marked=not unmarked,
        )
    svg = standalone(svg)
    if mistake is None or unmarked:
        return Picture(circuit.name, svg)
    return Picture(fault_kind(mistake.kind).in_words(mistake.site), svg)


def _written(state: Mapping[str, str] | StateRow | str) -> str:
    if isinstance(state, str):
        return state
    if isinstance(state, StateRow):
        state = state.positions
    require(state, Mapping, "state", "give a row of states, a mapping, or a text: a=up,b=down")
    return ",".join(f"{name}={position}" for name, position in state.items())


def _unfit(fault: object, *, unmarked: bool, schematic: bool) -> list[Problem]:
    problems = []
    if unmarked and fault is None:
        problems.append(
            Problem("unmarked", "hides the marks of a fault; add a fault, or leave it out")
        )
    if unmarked and schematic:
        problems.append(
            Problem("unmarked", "a schematic has no marks to hide; leave one of the two out")
        )
    return problems


def _tripping(circuit: Circuit, state: int | None) -> Evidence | None:
    """Return the path on which the breaker trips in a state, if it does."""
    if state is not None and view_of(circuit, state).trips:
        return find_evidence(circuit, "trips", state)
    return None
