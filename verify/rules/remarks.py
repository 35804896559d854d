"""Goes through a rulebook and collects what each of its rules finds in a circuit."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, TypedDict

from verify.circuit.model import Circuit
from verify.rules import boxes, colouring, grounding, switching, together
from verify.rules.book import Rule, Rulebook, Text, note
from verify.rules.premises import MOST_SWITCHES, STANDINGS, Finding, Premises, Standing

Look = Callable[[Premises, Text], Iterator[Finding]]

#: The function that looks for each rule of `data/rules.toml`, by its id.
LOOKS: Final[Mapping[str, Look]] = {
    "switching-ungrounded": switching.switching_ungrounded,
    "no-switch-in-neutral": switching.no_switch_in_neutral,
    "neutral-at-switch": switching.neutral_at_switch,
    "neutral-colour-on-line": colouring.neutral_colour_on_line,
    "supply-not-return": colouring.supply_not_return,
    "shell-on-neutral": switching.shell_on_neutral,
    "polarity": switching.polarity,
    "conductors-together": together.conductors_together,
    "induced-heating": together.induced_heating,
    "separate-circuits": together.separate_circuits,
    "ground-continuous": grounding.ground_continuous,
    "yoke-grounded": grounding.yoke_grounded,
    "neutral-ground-tied": grounding.neutral_ground_tied,
    "objectionable-current": grounding.objectionable_current,
    "one-conductor-a-terminal": boxes.one_conductor_a_terminal,
    "size-against-breaker": boxes.size_against_breaker,
    "box-fill": boxes.box_fill,
    "free-conductor": boxes.free_conductor,
}


@dataclass(frozen=True, slots=True)
class Remark:
    """What one rule of a rulebook finds; `raised_by` names parts as the circuit file does."""

    book: Rulebook
    rule: Rule
    text: Text
    finding: Finding

    @property
    def section(self) -> str:
        """The section in which the edition says it."""
        return self.text.section(self.book.edition)

    @property
    def how_known(self) -> str:
        """How the text of the rule is known, in words."""
        return self.text.how_known(self.book.edition)


class RemarkForm(TypedDict):
    """A remark as JSON; `known` is ``read`` or ``memory``."""

    id: str
    section: str
    jurisdiction: str
    edition: int
    title: str
    says: str
    known: str
    how_known: str
    standing: Standing
    raised_by: list[str]
    because: str


class RuleForm(TypedDict):
    """A rule as JSON, with the section that says it."""

    id: str
    section: str
    title: str


class BookForm(TypedDict):
    """A rulebook as JSON; `looked_for` has all its rules, whether anything raised them or not.

    `note` is to be shown with all of it; `standings` explains the standings of remarks.
    """

    jurisdiction: str
    edition: int
    title: str
    document: str
    note: str
    standings: dict[Standing, str]
    looked_for: list[RuleForm]


def remarks(circuit: Circuit, book: Rulebook) -> tuple[Remark, ...]:
    """Return what the rules of a rulebook find in a circuit, in their order."""
    at = Premises(circuit)
    found = []
    for rule, text in book.rules:
        if len(circuit.switches) > MOST_SWITCHES:
            findings = iter((_too_many(len(circuit.switches)),))
        else:
            findings = LOOKS[rule.id](at, text)
        found += [Remark(book, rule, text, finding) for finding in findings]
    return tuple(found)


def _too_many(switches: int) -> Finding:
    return Finding(
        "open",
        (),
        f"Not looked for: {switches} switches are more than the {MOST_SWITCHES} whose states are "
        "gone through.",
    )


def remark_form(remark: Remark) -> RemarkForm:
    """Return a remark as JSON."""
    return RemarkForm(
        id=remark.rule.id,
        section=remark.section,
        jurisdiction=remark.book.jurisdiction.name,
        edition=remark.book.edition,
        title=remark.rule.title,
        says=remark.text.says,
        known=remark.text.known_in(remark.book.edition),
        how_known=remark.how_known,
        standing=remark.finding.standing,
        raised_by=list(remark.finding.raised_by),
        because=remark.finding.because,
    )


def book_form(book: Rulebook) -> BookForm:
    """Return a rulebook as JSON."""
    return BookForm(
        jurisdiction=book.jurisdiction.name,
        edition=book.edition,
        title=book.title,
        document=book.jurisdiction.document,
        note=note(),
        standings=dict(STANDINGS),
        looked_for=[
            RuleForm(id=rule.id, section=text.section(book.edition), title=rule.title)
            for rule, text in book.rules
        ],
    )
