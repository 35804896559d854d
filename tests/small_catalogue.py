"""A small real catalogue to visit, as fixtures: name this module in `pytest_plugins`."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from boathouse import stair
from browser import HOSTILE, Browser, visiting

from catalogue.build.sweep import build
from catalogue.pages.contract import Visit
from catalogue.prove.build_plan import CircuitBatch, DrawnSpec, PlannedCircuit, make_plan
from catalogue.prove.proving import prove
from catalogue.store.rendering import register_text_functions
from catalogue.store.writing import Store
from verify.circuit.file import dump, loads


class Own(DrawnSpec):
    """A circuit of a boathouse abroad, with a name that nobody should trust."""

    def build(self) -> PlannedCircuit:
        """The circuit as a build would plan it."""
        switch = "bootsrampe-schalter-süd"
        text = dump(stair()).replace("[device.slipway-switch]", f'[device."{switch}"]')
        text = text.replace("slipway-switch", switch)
        text = text.replace('"Boathouse stair"', json.dumps(HOSTILE))
        return PlannedCircuit("boathouse-süd", "drawn", "chain", loads(text))


@pytest.fixture(scope="session")
def database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All layouts of two locations, two drawn circuits, and one of our own with hostile names."""
    path = tmp_path_factory.mktemp("pages") / "boat house.2.db"
    build(path, [2], drawn=2, seed=1)
    plan = make_plan([2], 2, 1)
    with closing(Store(path)) as store:
        store.write(CircuitBatch(plan.batches[-1].id, ()), prove([Own(0, 0)]))
        store.finish(store.begin(plan, ""))
    return path


@pytest.fixture(scope="session")
def browser(database: Path) -> Iterator[Browser]:
    """A visitor to that catalogue."""
    with visiting(database) as browser:
        yield browser


@pytest.fixture(scope="session")
def visit(database: Path) -> Iterator[Visit]:
    """A visit to the same catalogue without a browser."""
    with closing(sqlite3.connect(database)) as connection:
        connection.row_factory = sqlite3.Row
        register_text_functions(connection)
        yield Visit(connection, {}, {})
