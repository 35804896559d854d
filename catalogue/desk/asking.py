"""The desk is asked here which faults fit what was seen, in one circuit or in every layout."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from os import PathLike
from pathlib import Path
from typing import Final

from catalogue.desk.answer import Answer, parse_results
from catalogue.desk.checks import check_kinds
from catalogue.desk.priors import load_priors
from catalogue.desk.suspect_pool import (
    SuspectPool,
    pool_of_catalogue,
    pool_of_circuit,
    require_judgeable,
)
from catalogue.desk.symptoms import Symptoms, named_switches, parse_saw, parse_signs
from catalogue.store.reading import Catalogue, open_catalogue
from verify.base.problems import Problem, UserError, require, shown
from verify.circuit.file import load
from verify.circuit.model import Circuit

_DATABASE_MARK: Final = b"SQLite format 3\0"
MOST_SWITCHES: Final = 10

Texts = str | Iterable[str]
_SOURCES: Final = Circuit | Catalogue | str | PathLike


def suspects(  # noqa: PLR0913 - all that a person can say, by name
    source: Circuit | Catalogue | str | PathLike[str],
    saw: Texts = (),
    *,
    signs: Texts = (),
    results: Texts = (),
    as_found: bool = False,
    locations: int | None = None,
    priors: str | PathLike[str] | None = None,
    costs: str | PathLike[str] | None = None,
) -> Answer:
    """Who fits what was seen of a light, and what to check next.

    `source` is a circuit, a circuit file, a catalogue, or the file of one. Of a circuit every
    single fault is a suspect, and up and down are its own unless `as_found` says that they are only
    names; of a catalogue every fault of every layout of that many switches, in any order.

    `saw` are texts such as ``slipway-switch=up,workshop-switch=down: dark``, one for each
    combination that was tried; `signs` and `results` are what else was noticed and what checks
    showed, by the words that an answer gives. `locations` is the number of switches where nothing
    was seen. `priors` and `costs` are files with weights of kinds and costs of checks; without the
    former all faults count alike, since no published figures say how often each occurs.

    Raises UserError with all mistakes of the texts, or for a source that cannot be searched.
    """
    require(source, _SOURCES, "source", "give a Circuit, a Catalogue, or the path of a file of one")
    saw, signs, results = _texts(saw, "saw"), _texts(signs, "signs"), _texts(results, "results")
    if isinstance(source, str | PathLike):
        path = Path(source)
        if _is_database(path):
            with closing(open_catalogue(path)) as catalogue:
                pool, any_order = _pool_of_catalogue(catalogue, saw, locations), True
        else:
            pool, any_order = _pool_of_file(path), False
    elif isinstance(source, Catalogue):
        pool, any_order = _pool_of_catalogue(source, saw, locations), True
    else:
        pool, any_order = _pool_of_circuit(source, source.name), False
    symptoms = Symptoms(
        pool.switches,
        parse_saw(saw, pool.switch_names),
        parse_signs(signs),
        as_found or any_order,
    )
    weights: Mapping[str, float] = {} if priors is None else load_priors(Path(priors))
    kinds = check_kinds(None if costs is None else Path(costs))
    return Answer(pool, symptoms, weights, kinds, any_order, parse_results(results))


def _texts(texts: Texts, name: str) -> Sequence[str]:
    remedy = "give a text, or a list of texts"
    require(texts, Iterable, name, remedy)
    listed = [texts] if isinstance(texts, str) else list(texts)
    for number, text in enumerate(listed):
        require(text, str, f"{name}[{number}]", remedy)
    return listed


def _is_database(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(_DATABASE_MARK)) == _DATABASE_MARK
    except (OSError, ValueError) as error:  # ValueError: a path with a null character
        reason = getattr(error, "strerror", None) or type(error).__name__
        raise UserError(
            [Problem(shown(str(path), 400), f"cannot be read ({reason}); check the path")]
        ) from error


def _pool_of_file(path: Path) -> SuspectPool:
    return _pool_of_circuit(load(path), str(path))


def _pool_of_circuit(circuit: Circuit, called: str) -> SuspectPool:
    try:
        require_judgeable(circuit)
    except UserError as error:
        raise error.within(shown(called, 400)) from error
    if len(circuit.switches) > MOST_SWITCHES:
        raise UserError(
            [
                Problem(
                    shown(called, 400),
                    f"has {len(circuit.switches)} switches; suspects are judged for up to "
                    f"{MOST_SWITCHES}",
                )
            ]
        )
    return pool_of_circuit(circuit)


def _pool_of_catalogue(
    catalogue: Catalogue, saw: Sequence[str], locations: int | None
) -> SuspectPool:
    names = named_switches(saw) or tuple(f"switch-{i}" for i in range(1, (locations or 0) + 1))
    if not names:
        raise UserError([Problem("--saw", "say what you saw, or how many switches: --locations 2")])
    if locations not in (None, len(names)):
        raise UserError(
            [Problem(f"--locations={locations}", f"but --saw names {len(names)} switches")]
        )
    try:
        return pool_of_catalogue(catalogue.connection.execute, len(names), names=names)
    except UserError as error:
        given = f"--locations={locations}" if locations else f"--saw names {len(names)} switches"
        remedy = "for another light give its circuit file in place of the catalogue"
        raise UserError(
            [Problem(given, f"{problem.message}; {remedy}") for problem in error.problems]
        ) from error
