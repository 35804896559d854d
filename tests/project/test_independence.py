"""Engines that check share with those that they check what is listed here, and nothing else.

Read from the source. A name is a function, class or constant at the top of a module, or a method,
written `Class.method`. A side reaches all that its modules define and import, and what those names
say in turn. A method is reached once its class is and the side says its name after a dot, of
whatever object: that is more than is ever called, and never less, as long as nobody fetches a
method by `getattr`.
"""

import ast
from collections.abc import Iterator, Mapping, Set
from functools import cache
from pathlib import Path
from typing import Final

import pytest

ROOT = Path(__file__).parents[2]

#: A module, and a name in it; an empty name is the module itself.
Name = tuple[str, str]
Sources = Mapping[str, str]
Side = tuple[str, ...]
#: By reason and module, names.
Table = Mapping[str, Mapping[str, str]]

#: *paths* and *nodal*, the evidence that they find, and the netlists for simulators.
CHECKING: Final[Side] = (
    "verify.engine.paths",
    "verify.engine.nodal",
    "verify.engine.nodal_analysis",
    "verify.engine.copper",
    "verify.engine.netlist",
    "verify.verdict.walk",
    "verify.verdict.evidence",
    "verify.verdict.amounts",
)
#: *words* and *volts*; *bdd* stands on their side too, since it reads the same arrays.
JUDGING: Final[Side] = (
    "verify.engine.words",
    "verify.engine.words_kernel",
    "verify.engine.volts",
    "verify.fault.network",
    "verify.electric.physics",
    "verify.electric.grid",
    "verify.electric.solving_kernel",
    "verify.electric.solve",
    "verify.electric.outcomes",
    "verify.electric.readings",
)
#: All faults of a circuit at once, each different network judged once: on the side of *volts*.
SWEEP: Final[Side] = ("verify.sweep",)
#: The engine *bdd*.
DIAGRAMS: Final[Side] = ("verify.engine.diagrams", "verify.engine.components")

#: By reason and module, the names that *paths* and *nodal* share with *words* and *volts*. What
#: lies behind one is shared with it.
SHARED: Final[Table] = {
    "What is judged: a circuit as a value, made and found valid once for all, and its parts": {
        "verify.circuit.model": "Circuit Circuit.device Circuit.terminal Circuit.switches "
        "Circuit.lamps Circuit.feeds",
        "verify.circuit.parts": "Cable Device Device.form End End.owner Failure",
    },
    "The ends of a circuit listed in file order, so that numbers and texts mean one end": {
        "verify.circuit.model": "Circuit.ends Circuit.end_index",
    },
    "The table of the colours that mean ground": {
        "verify.circuit.parts": "is_ground_colour",
    },
    "The table of device contacts: which terminals each position connects": {
        "verify.circuit.devices": "Contact",
    },
    "A mistake as data, in numbers of ends and joins. One side makes a circuit of it, the other "
    "arrays; the tests of faults hold the two to the same": {
        "verify.fault.contract": "Fault",
        "verify.fault.change": "Change Replacement NumberedCircuit NumberedCircuit.joins "
        "NumberedCircuit.join_of NumberedCircuit.number NumberedCircuit.boxes NumberedCircuit.name",
    },
    "Published and declared numbers, without a formula": {
        "verify.electric.numbers": "Parameters parameters section published_resistances",
    },
    "How the size of a conductor is read, and which texts are refused": {
        "verify.electric.sizes": "read_size check_sizes unreadable_sizes",
    },
    "The result as a value: its fields, and arrays of the right shape with nothing in them": {
        "verify.behaviour.findings": "Observation Findings Findings.arrays Findings.empty Words "
        "word_count",
    },
    "The names of hazards": {
        "verify.hazard.definitions": "HAZARD_NAMES",
    },
    "A type of arrays": {
        "verify.electric.protection": "Reals",
    },
    "What is raised for a mistake in Miswire itself": {
        "verify.base.problems": "BugError",
    },
}
#: What *paths* and *nodal* share with the sweep besides: it lists faults and says what they are.
CHECKING_WITH_SWEEP: Final[Table] = {
    "Parts of a circuit, and how they are written and called in a sentence": {
        "verify.circuit.parts": "Join box_end conductor_name",
        "verify.circuit.wording": "box_words",
        "verify.base.sentences": "with_and",
    },
    "Where `data/` is: kinds of faults name circuits there as examples": {
        "verify.base.resources": "data_path",
    },
    "The positions of a switch": {"verify.circuit.devices": "POSITIONS Position"},
    "Which hazards are matters of volts": {
        "verify.hazard.definitions": "ELECTRICAL",
    },
    "What is raised for a wrong input, such as a circuit that is not that of a fault": {
        "verify.base.problems": "Problem UserError require shown",
    },
    "Nothing: `Numbering.of`, which the sweep calls, has the name of this method": {
        "verify.behaviour.findings": "Findings.of",
    },
}
#: What *paths* and *nodal* share with *bdd* besides, since both judge one circuit at a time.
CHECKING_WITH_DIAGRAMS: Final[Table] = {
    "How a conductor is written": {"verify.circuit.parts": "conductor_name"},
    "The circuit that a mistake makes": {"verify.fault.contract": "Fault.apply"},
    "Observations, one after the other, put into arrays": {
        "verify.behaviour.findings": "Findings.of",
    },
}


def names_in(table: Table) -> set[Name]:
    """All names of such a table."""
    return {
        (module, name)
        for modules in table.values()
        for module, names in modules.items()
        for name in names.split()
    }


class Module:
    """What a module defines at its top, and what each definition says.

    `imports`: the names of ours that it imports, at its top or inside a function.
    `scope`: where the names that it uses come from. `said`: of each definition, the names it uses,
    the attributes of such names, and the attributes of anything else.
    """

    def __init__(self, name: str, text: str, known: Set[str]) -> None:
        self.definitions: dict[str, list[ast.AST]] = {}
        self.scope: dict[str, Name] = {}
        tree = ast.parse(text)
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module in known:
                for alias in node.names:
                    part = f"{node.module}.{alias.name}"
                    origin = (part, "") if part in known else (str(node.module), alias.name)
                    self.scope[alias.asname or alias.name] = origin
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    self.scope[alias.asname or alias.name.partition(".")[0]] = (alias.name, "")
        self.imports = set(self.scope.values())
        for statement in tree.body:
            self._define(statement)
        self.scope |= {local: (name, local) for local in self.definitions}
        self.said = {local: self._said(parts) for local, parts in self.definitions.items()}

    def _define(self, statement: ast.stmt) -> None:
        if isinstance(statement, ast.FunctionDef):
            self.definitions[statement.name] = [statement]
        elif isinstance(statement, ast.ClassDef):
            own: list[ast.AST] = [*statement.bases, *statement.decorator_list]
            for part in statement.body:
                # Nobody says the name of a method such as `__init__`: it comes with the class.
                if isinstance(part, ast.FunctionDef) and not part.name.startswith("__"):
                    member = f"{statement.name}.{part.name}"
                    self.definitions.setdefault(member, []).append(part)
                else:
                    own.append(part)
            self.definitions[statement.name] = own
        elif isinstance(statement, ast.Assign | ast.AnnAssign):
            targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
            for node in (node for target in targets for node in ast.walk(target)):
                if isinstance(node, ast.Name):
                    self.definitions[node.id] = [statement]
        elif isinstance(statement, ast.If):
            for part in (*statement.body, *statement.orelse):
                self._define(part)

    def _said(self, parts: list[ast.AST]) -> tuple[set[Name], set[tuple[Name, str]], set[str]]:
        names: set[Name] = set()
        attributes_of: set[tuple[Name, str]] = set()
        attributes: set[str] = set()
        for node in (node for part in parts for node in _nodes(part)):
            if isinstance(node, ast.Name) and node.id in self.scope:
                names.add(self.scope[node.id])
            elif isinstance(node, ast.Attribute):
                base = node.value.id if isinstance(node.value, ast.Name) else ""
                if base in self.scope:
                    attributes_of.add((self.scope[base], node.attr))
                else:
                    attributes.add(node.attr)
        return names, attributes_of, attributes

    def methods(self, owner: str) -> Iterator[tuple[str, str]]:
        """The methods of a class by their own name, each with that of its definition."""
        for member in self.definitions:
            of, _, method = member.partition(".")
            if method and of == owner:
                yield method, member


def _nodes(part: ast.AST) -> Iterator[ast.AST]:
    """Every node of a tree, those of annotations in quotes too."""
    for node in ast.walk(part):
        yield node
        for field in ("annotation", "returns"):
            for quoted in ast.walk(getattr(node, field, None) or ast.Pass()):
                if isinstance(quoted, ast.Constant) and isinstance(quoted.value, str):
                    yield from ast.walk(ast.parse(quoted.value))


@cache
def parsed(name: str, text: str, known: frozenset[str]) -> Module:
    """A module, read once."""
    return Module(name, text, known)


@cache
def sources() -> Sources:
    """The text of every module of `verify`."""
    found = {}
    for path in (ROOT / "verify").rglob("*.py"):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        found[name.removesuffix(".__init__")] = path.read_text("utf-8")
    return found


def reached(side: Side, texts: Sources, doors: Set[Name]) -> set[Name]:
    """All names that a side reaches; what lies behind one of `doors` is not looked at."""
    modules = {name: parsed(name, text, frozenset(texts)) for name, text in texts.items()}
    own = [name for name in modules if any(f"{name}.".startswith(f"{part}.") for part in side)]
    todo: list[Name] = [(name, "") for name in own]
    todo += [origin for name in own for origin in modules[name].imports]
    found: set[Name] = set()
    attributes: set[str] = set()
    while todo:
        while todo:
            name = todo.pop()
            module, local = modules.get(name[0]), name[1]
            if name in found or module is None:
                continue
            found.add(name)
            if not local:
                todo += [(name[0], definition) for definition in module.definitions]
            elif local not in module.definitions:
                todo += [module.scope[local]] if local in module.scope else []
            elif name not in doors:
                names, attributes_of, of_anything = module.said[local]
                todo += names
                attributes |= of_anything
                for (origin, base), attribute in attributes_of:
                    member = f"{base}.{attribute}" if base else attribute
                    if origin in modules and member in modules[origin].definitions:
                        todo.append((origin, member))
                    elif origin in modules:
                        attributes.add(attribute)
        todo = [
            (module, member)
            for module, owner in found
            for method, member in modules[module].methods(owner)
            if method in attributes and (module, member) not in found
        ]
    return {name for name in found if name[1]}


def shared(one: Side, other: Side, texts: Sources, allowed: Set[Name]) -> set[Name]:
    """The names that two sides both reach, those behind `allowed` ones left out."""
    return reached(one, texts, allowed) & reached(other, texts, allowed)


def test_the_sides_are_there() -> None:
    """No module of a side was renamed away, which would leave nothing to look at."""
    for part in (*CHECKING, *JUDGING, *SWEEP, *DIAGRAMS):
        assert part in sources()


def test_checking_and_judging_share_what_is_listed() -> None:
    """*paths* and *nodal* share with *words* and *volts* exactly what is listed, with its reason.

    So one side cannot decide wrongly because the other does: what is listed is values, names and
    tables.
    """
    allowed = names_in(SHARED)
    assert shared(CHECKING, JUDGING, sources(), allowed) == allowed


@pytest.mark.parametrize(
    ("one", "other", "more"),
    [
        pytest.param(CHECKING, SWEEP, CHECKING_WITH_SWEEP, id="checking and sweep"),
        pytest.param(CHECKING, DIAGRAMS, CHECKING_WITH_DIAGRAMS, id="checking and bdd"),
    ],
)
def test_others_share_no_more(one: Side, other: Side, more: Table) -> None:
    """The sweep and *bdd* share with those that check them only what is listed, all of it."""
    found = shared(one, other, sources(), names_in(SHARED) | names_in(more))
    assert found - names_in(SHARED) == names_in(more)


@pytest.mark.parametrize(
    ("changes", "caught"),
    [
        pytest.param(
            {"verify.engine.nodal": "from verify.electric.physics import ohms_per_metre"},
            ("verify.electric.physics", "ohms_per_metre"),
            id="a formula",
        ),
        pytest.param(
            {"verify.engine.nodal": "def f():\n    from verify.electric.protection import curve"},
            ("verify.electric.protection", "curve"),
            id="inside a function",
        ),
        pytest.param(
            {"verify.engine.nodal": "import verify.electric.grid as g"},
            ("verify.electric.grid", "Grid"),
            id="a whole module",
        ),
        pytest.param(
            {"verify.engine.paths": "def f(circuit: Circuit):\n    return circuit.grouped_ends"},
            ("verify.circuit.model", "Circuit.grouped_ends"),
            id="a method of a shared class",
        ),
        pytest.param(
            {"verify.engine.volts": "def f(fault, circuit):\n    return fault.apply(circuit)"},
            ("verify.fault.contract", "Fault.apply"),
            id="the circuit that a mistake makes",
        ),
        pytest.param(
            {
                "verify.base.spreading": "from verify.electric.grid import Grid\n"
                "def helper():\n    return Grid",
                "verify.verdict.walk": "from verify.base.spreading import helper",
            },
            ("verify.electric.grid", "Grid"),
            id="by way of a third module",
        ),
        pytest.param(
            {
                "verify.base.cautions": "def net_of(join):\n    return join",
                "verify.verdict.walk": "from verify.base.cautions import net_of",
                "verify.electric.grid": "from verify.base.cautions import net_of",
            },
            ("verify.base.cautions", "net_of"),
            id="a new helper of both",
        ),
    ],
)
def test_more_that_is_shared_is_caught(changes: Mapping[str, str], caught: Name) -> None:
    """A line that would make the two sides share one thing more is found, whichever way."""
    texts = {**sources(), **{m: f"{sources()[m]}\n{more}\n" for m, more in changes.items()}}
    assert caught in shared(CHECKING, JUDGING, texts, names_in(SHARED)) - names_in(SHARED)
