"""Commands write a file only if it is new or Miswire wrote it before."""

from pathlib import Path

from catalogue.report.terminal import file_name
from verify.base.problems import Problem


def output_problems(out: Path, beginning: str, what: str, example: str) -> list[Problem]:
    """Return why `out` must not be written: there is no such folder, or the file is not ours.

    A file of ours is empty or begins with `beginning`; `what` names such a file, ``a netlist``.
    """
    place = file_name(out)
    if not out.parent.is_dir():
        return [Problem(place, "its folder does not exist; make it, or write another path")]
    if out.is_dir():
        return [Problem(place, f"is a folder; write the name of a file, such as {example}")]
    if out.exists():
        start = beginning.encode()
        with out.open("rb") as held:
            if held.read(len(start)) not in (b"", start):
                return [
                    Problem(
                        place, f"is there and is not {what}; it is left alone, write another name"
                    )
                ]
    return []
