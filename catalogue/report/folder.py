"""Commands fill folders with this: it replaces only files of ours and leaves none half written.

A list of what was written lies among the files, with checksums. Files that it does not name, or
that somebody has changed since, are left alone and reported.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from verify.base.problems import Problem, UserError, shown

#: The name of the list of what a command wrote.
LIST_NAME: Final = "miswire-files.json"
_MADE_BY: Final = "miswire"

Content = bytes | Path


def write_folder(out: Path, files: Mapping[str, Content], made: str) -> list[str]:
    """Write `files`, by their paths within `out`; return the names of old ones that were removed.

    A content that is a path is a file on the same disk, which is moved. `made` says which command
    fills the folder: one command never takes over the folder of another. Files of an earlier run
    that are not among `files` are removed, so that no answer sheet stays behind. Raises UserError,
    with every file in the way, before anything is written.
    """
    known = require_ours(out, files, made)
    sums = {name: [_sum(content)] for name, content in files.items()}
    out.mkdir(exist_ok=True)
    # While files change, the list allows both contents, so that an interrupted run can be repeated.
    both = {name: [*known.get(name, []), *sums.get(name, [])] for name in {*known, *sums}}
    _replace(out / LIST_NAME, _list(made, both))
    for name, content in files.items():
        path = out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, Path):
            content.replace(path)
        elif not (path.is_file() and path.read_bytes() == content):
            _replace(path, content)
    gone = sorted(known.keys() - files.keys())
    for name in gone:
        (out / name).unlink(missing_ok=True)
        with suppress(OSError):  # a folder that holds something of somebody else stays
            (out / name).parent.rmdir()
    _replace(out / LIST_NAME, _list(made, sums))
    return gone


def require_ours(out: Path, names: Iterable[str], made: str) -> dict[str, list[str]]:
    """Return files and checksums of an earlier run. Raises UserError if a file is in the way."""
    place = shown(str(out), 200)
    if out.exists() and not out.is_dir():
        raise UserError([Problem(place, "is a file; write the name of a folder")])
    if not out.exists() and not out.absolute().parent.is_dir():
        raise UserError([Problem(place, "its folder does not exist; make it, or write another")])
    known = _known(out, made)
    problems = [
        Problem(shown(str(out / name), 200), reason)
        for name in sorted({*names, *known})
        for reason in _in_the_way(out / name, known.get(name))
    ]
    if problems:
        raise UserError(problems)
    return known


def _in_the_way(path: Path, sums: list[str] | None) -> Iterator[str]:
    if not path.exists():
        return
    if sums is None:
        yield "is there and is not ours; it is left alone, write to another folder"
    elif not path.is_file() or _sum(path) not in sums:
        yield "was changed since Miswire wrote it; move it away, or write to another folder"


def _known(out: Path, made: str) -> dict[str, list[str]]:
    path = out / LIST_NAME
    if not path.is_file():
        return {}
    wrong = UserError(
        [Problem(shown(str(path), 200), f"is no list of `miswire {made}`; write to another folder")]
    )
    try:
        found = json.loads(path.read_text("utf-8"))
        files = found["files"]
        if (found["made_by"], found["command"]) != (_MADE_BY, made):
            raise wrong
        # Whoever wrote the list, no name in it may lead out of the folder.
        if any(".." in Path(name).parts or Path(name).is_absolute() for name in files):
            raise wrong
        return {str(name): [str(s) for s in sums] for name, sums in files.items()}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise wrong from error


def _list(made: str, sums: Mapping[str, list[str]]) -> bytes:
    form = {
        "made_by": _MADE_BY,
        "command": made,
        "note": "What Miswire wrote here, with sha256. It replaces and removes these files only.",
        "files": dict(sorted(sums.items())),
    }
    return (json.dumps(form, indent=1) + "\n").encode()


def _sum(content: Content) -> str:
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest()
    with content.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _replace(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".miswire-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        # mkstemp lets only the owner read, but what a teacher makes is for others too.
        mask = os.umask(0)
        os.umask(mask)
        Path(name).chmod(0o666 & ~mask)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
