"""Where the text of a circuit comes from: a file by its path, or one that is open for reading."""

from os import PathLike
from pathlib import Path
from typing import Protocol, runtime_checkable

from verify.base.problems import CircuitError, Problem, require, shown


@runtime_checkable
class Readable(Protocol):
    """A file that is open for reading, as text or as bytes."""

    def read(self, size: int, /) -> str | bytes:
        """At most `size` characters or bytes."""
        ...


Source = str | PathLike[str] | Readable


def require_source(source: object) -> None:
    """Raise UserError unless `source` is a path or an open file; a text is for `loads`."""
    require(source, str | PathLike | Readable, "source", "give a path or an open file")
    if isinstance(source, str) and "\n" in source:
        remedy = "give the path of a file; loads takes its text"
        raise CircuitError([Problem("", f"source={shown(source)} is a text; {remedy}")])


def content_of(source: Source, most: int) -> str | bytes:
    """At most so many bytes, or characters, of a file; raises `CircuitError` if there is none."""
    remedy = "check the path"
    try:
        if isinstance(source, str | PathLike):
            with Path(source).open("rb") as file:
                return file.read(most)
        remedy = "open it for reading"
        return source.read(most)
    except UnicodeDecodeError as error:
        raise not_utf_8(error) from error
    except (OSError, ValueError) as error:  # ValueError: a null character, or a closed file
        reason = getattr(error, "strerror", None) or str(error)
        raise CircuitError([Problem("", f"cannot be read ({reason}); {remedy}")]) from error


def source_name(source: Source) -> str:
    """The path of a file, fit for a message; empty for an open one that has none."""
    name = source if isinstance(source, str | PathLike) else getattr(source, "name", "")
    return shown(str(name), 400) if isinstance(name, str | PathLike) else ""


def not_utf_8(error: UnicodeDecodeError) -> CircuitError:
    """The error about bytes that are no text."""
    return unfit(
        f"is not UTF-8 (byte {error.start}); a circuit file is a TOML text, save it as UTF-8"
    )


def unfit(message: str) -> CircuitError:
    """The error about a file as a whole."""
    return CircuitError([Problem("", f"the file {message}")])
