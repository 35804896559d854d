"""All single faults of a circuit at once, as arrays; each different network is judged once."""

from typing import Final

#: Raised whenever outcomes may change; part of what invalidates a stored result.
VERSION: Final = 1
