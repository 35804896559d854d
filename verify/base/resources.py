"""Finds the files of `data/`, wherever Miswire runs from.

A checkout has them at its top, an installed wheel carries them as `verify/_data`.
"""

from pathlib import Path
from typing import Final

_PACKAGE: Final = Path(__file__).resolve().parents[1]
# The wheel's place comes first: `data` beside an installed package would be somebody else's.
_PLACES: Final = (_PACKAGE / "_data", _PACKAGE.parent / "data")


def data_path(name: str) -> Path:
    """Return the path of the file or folder `name` of `data/`, such as ``"circuits"``.

    The path is a real one, so it can be handed to other programs. Raises `FileNotFoundError` if
    there is no such file or folder.
    """
    folder = next((place for place in _PLACES if place.is_dir()), _PLACES[0])
    path = folder / name
    if not path.exists():
        raise FileNotFoundError(f"data={name!r}: not in {folder}; install Miswire again")
    return path
