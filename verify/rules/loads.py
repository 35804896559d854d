"""What takes current in a circuit, as the rules look at it."""

from typing import NamedTuple

from verify.circuit.parts import End


class Load(NamedTuple):
    """What takes current: `line` and `neutral` are the sides meant for them."""

    name: str
    line: End
    neutral: End

    @property
    def ways(self) -> tuple[tuple[End, End], tuple[End, End]]:
        """The sides as (the one current comes by, the one it leaves by): as meant, then not."""
        return (self.line, self.neutral), (self.neutral, self.line)
