"""The version of Miswire."""

from importlib import metadata


def version() -> str:
    """The version of the installed distribution, which `pyproject.toml` states and nothing else."""
    return metadata.version("miswire")
