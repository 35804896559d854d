"""The parts of a circuit as they are called in a sentence."""

from verify.circuit.model import Circuit
from verify.circuit.parts import End


def owner_words(circuit: Circuit, end: End) -> str:
    """Return a device as it is called inside a sentence: the only feed needs no name."""
    return "the feed" if [end.owner] == [feed.name for feed in circuit.feeds] else end.owner


def box_words(box: str) -> str:
    """Return a box as it is called inside a sentence."""
    return box if "box" in box.split("-") else f"the {box} box"


def conductor_words(name: str) -> str:
    """Return a conductor, ``cable.colour``, as it is called inside a sentence."""
    return name.replace(".", " ")


def spoken(name: str) -> str:
    """Return an end as a person says it: ``slipway-run.red`` is "slipway-run red"."""
    owner, _, part = name.partition(".")
    return f"the metal of box {part}" if owner == "box" else f"{owner} {part}"
