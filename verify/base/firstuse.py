"""Names of a package that are loaded at first use, so that importing the package is quick.

See PEP 562, and `verify/__init__.py` for how it is used.
"""

import sys
from collections.abc import Callable, Mapping
from importlib import import_module


def loader(package: str, places: Mapping[str, str]) -> Callable[[str], object]:
    """Return the ``__getattr__`` of a package: `places` maps its names to ``module:name``."""

    def load(name: str) -> object:
        if name not in places:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        module, _, inner = places[name].partition(":")
        found: object = getattr(import_module(module), inner)
        setattr(sys.modules[package], name, found)  # from now on it is found without this function
        return found

    return load
