"""Published rules are applied to a circuit, for its page and the pages of its faults."""

from catalogue.pages.contract import Facts, RefusalError, Visit
from verify.base.problems import UserError
from verify.circuit.model import Circuit
from verify.rules.book import BookChoice, choose, jurisdictions
from verify.rules.remarks import book_form, remark_form, remarks

#: A visitor chooses a rulebook by this key: ``rules=us-2017``.
_KEY = "rules"


def rule_facts(visit: Visit, circuit: Circuit | None, intended: Circuit | None = None) -> Facts:
    """Return a rulebook and its findings in a circuit; nothing where there is no circuit.

    Findings that the circuit as `intended` has too are left out.
    """
    choice = _book_choice(visit.query.get(_KEY, ""))
    if circuit is None:
        return {"rulebook": None, "rulebooks": [], "rules": [], "not_raised": []}
    book = choice.book(circuit.palette)
    form = book_form(book)
    found = remarks(circuit, book)
    raised = {remark.rule.id for remark in found}
    as_intended = remarks(intended, book) if intended else ()
    before = [(remark.rule.id, remark.finding) for remark in as_intended]
    return {
        "rulebook": form,
        "rulebooks": [
            {"title": f"{place.code} {year}", "query": f"{_KEY}={place.name}-{year}"}
            for place in jurisdictions().values()
            for year in place.editions
        ],
        "rules": [
            remark_form(remark)
            for remark in found
            if (remark.rule.id, remark.finding) not in before
        ],
        "not_raised": [rule for rule in form["looked_for"] if rule["id"] not in raised],
    }


def _book_choice(text: str) -> BookChoice:
    if not text:
        return BookChoice()
    place, _, year = text.partition("-")
    try:
        return choose(place, year)
    except UserError as error:
        raise RefusalError(
            "rules must be a jurisdiction and an edition known here, such as rules=us-2023; leave "
            "it out to let the circuit's colours choose."
        ) from error
