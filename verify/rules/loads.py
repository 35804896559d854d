"""The loads of a circuit, as the rules look at them."""

from typing import NamedTuple

from verify.circuit.parts import End


class Load(NamedTuple):
    """A lamp or receptacle, which takes current; `line` and `neutral` are its sides as meant."""

    name: str
    line: End
    neutral: End

    @property
    def ways(self) -> tuple[tuple[End, End], tuple[End, End]]:
        """The sides at which current enters and leaves, as meant, then the other way round."""
        return (self.line, self.neutral), (self.neutral, self.line)
