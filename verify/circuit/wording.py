"""The parts of a circuit as a sentence calls them."""

from verify.circuit.model import Circuit
from verify.circuit.parts import End


def owner_words(circuit: Circuit, end: End) -> str:
    """A device as it is called in the middle of a sentence: the only feed needs no name."""
    return "the feed" if [end.owner] == [feed.name for feed in circuit.feeds] else end.owner


def box_words(box: str) -> str:
    """A box as it is called in the middle of a sentence."""
    return box if "box" in box.split("-") else f"the {box} box"


def conductor_words(name: str) -> str:
    """A conductor, ``cable.colour``, as it is called in the middle of a sentence."""
    return name.replace(".", " ")


def spoken(name: str) -> str:
    """An end as a person says it: ``slipway-run.red`` is "slipway-run red"."""
    owner, _, part = name.partition(".")
    return f"the metal of box {part}" if owner == "box" else f"{owner} {part}"
