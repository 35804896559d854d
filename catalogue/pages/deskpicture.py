"""The picture of one mistake, beside the wiring as intended, which several pages show."""

from catalogue.drawing.pictures import wiring_picture
from catalogue.pages.contract import MissingError, Page, RefusalError, Visit
from catalogue.pages.deskask import asked
from catalogue.pages.deskwiring import OneCircuit
from catalogue.pages.pictures import MOST_BOXES
from verify.base.problems import BugError
from verify.fault.registry import find_fault


def picture(visit: Visit) -> Page:
    """Show a circuit's wiring beside the same with one fault, by ``circuit`` and ``fault``."""
    question = asked(visit)
    if question is None or not isinstance(question.wiring, OneCircuit):
        raise RefusalError("A picture is of one circuit; take its address from a page.")
    intended = question.wiring.circuit
    try:
        fault = find_fault(intended, visit.query.get("fault", ""))
    except KeyError as error:
        raise MissingError(
            "The circuit has no such fault; take the address of a picture from a page."
        ) from error
    if len(intended.boxes) > MOST_BOXES:
        raise MissingError("This circuit is too large for a picture on a page.")
    try:
        svg = wiring_picture(fault.apply(intended), intended=intended)
    except BugError as error:
        raise MissingError("There is no picture of this fault.") from error
    return Page(fault.label, "refusal", {"fault": fault.label}, svg=svg)
