"""The version of Miswire."""

from importlib import metadata


def version() -> str:
    """Return the version of the installed distribution, which only `pyproject.toml` states."""
    return metadata.version("miswire")
