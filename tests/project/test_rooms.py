"""The folders say in which order a circuit passes them, and no import runs back."""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import networkx as nx

ROOT = Path(__file__).parents[2]

#: The rooms in the order of the flow: one may import those before it, and itself.
ROOMS: Final = (
    "verify.base",
    "verify.circuit",
    "verify.layout",
    "verify.fault",
    "verify.hazard",
    "verify.behaviour",
    "verify.electric",
    "verify.engine",
    "verify.verdict",
    "verify.sweep",
    "verify.rules",
    "verify.study",
    "verify.strategies",
    "verify",
    "catalogue.report",
    "catalogue.drawing",
    "catalogue.prove",
    "catalogue.store",
    "catalogue.build",
    "catalogue.desk",
    "catalogue.lessons",
    "catalogue.pages",
    "catalogue.commands",
    "catalogue.plugin",
    "catalogue.cli",
    "catalogue",
)


def modules() -> dict[str, Path]:
    """Every module of both packages by its dotted name."""
    found = {}
    for package in ("verify", "catalogue"):
        for path in (ROOT / package).rglob("*.py"):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            found[name.removesuffix(".__init__")] = path
    return found


def imported(name: str, path: Path, known: dict[str, Path]) -> Iterator[str]:
    """The modules of ours that a module imports, at its top or inside a function."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module in known:
            for alias in node.names:
                part = f"{node.module}.{alias.name}"
                yield part if part in known else str(node.module)
        elif isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in known)


def arrows() -> list[tuple[str, str]]:
    """Which module imports which."""
    known = modules()
    return [
        (name, other)
        for name, path in known.items()
        for other in imported(name, path, known)
        if other != name
    ]


def room(module: str) -> str:
    """The room that a module lies in."""
    return ".".join(module.split(".")[:2])


def test_every_module_lies_in_a_room() -> None:
    """No module lies beside the rooms because nobody knew where to put it."""
    assert {room(name) for name in modules()} == set(ROOMS)


def test_no_import_runs_back() -> None:
    """A room imports only those that come before it."""
    place = {name: number for number, name in enumerate(ROOMS)}
    assert [
        f"{one} imports {other}" for one, other in arrows() if place[room(one)] < place[room(other)]
    ] == []


def test_no_imports_run_in_a_circle() -> None:
    """Each module can be understood after those that it imports."""
    graph = nx.DiGraph(arrows())
    assert [sorted(c) for c in nx.strongly_connected_components(graph) if len(c) > 1] == []


def test_every_room_has_a_sentence_on_its_door() -> None:
    """Who opens a folder reads first what it holds."""
    doors = [path for path in modules().values() if path.name == "__init__.py"]
    bare = [path for path in doors if not ast.get_docstring(ast.parse(path.read_text("utf-8")))]
    assert bare == []
