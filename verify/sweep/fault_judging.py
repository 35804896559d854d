"""Judges all single faults of a circuit, each different network once.

There are far fewer different networks than faults, since most of a circuit is as it was. All that
*words* would look at is written into a key, and a network with a known key is not judged again, in
whatever circuit it comes up. What the engine *volts* adds depends on the conductors; here it
follows from the path of the lamp's current, which connections determine as long as the current does
not divide in ways that only resistances decide. Where it may, and in circuits that are not simple
(`verify.sweep.simple`), *volts* itself is asked. Tests hold the answers to those of *volts*.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Final

import numpy as np
import numpy.typing as npt

from verify.base.problems import BugError
from verify.circuit.model import Circuit
from verify.engine.contract import Engine
from verify.engine.volts import VoltsEngine, engine_for
from verify.fault.change import NumberedCircuit
from verify.layout.enumeration import Layout
from verify.layout.routing import ROOT
from verify.sweep.fault_outcomes import KnownOutcomes, Outcome, outcome_of, with_hazards
from verify.sweep.listing import Listing
from verify.sweep.networks import UNBALANCED, NetworkRows, Networks
from verify.sweep.simple import bounds_of, stays_simple
from verify.sweep.whole import SchemeCurrents, plain_layout
from verify.verdict.judging import judge_faults, verdicts

__all__ = ["Bulk", "JudgedFaults", "Outcome"]

#: For how many shapes of circuits the networks are cached.
_MOST_SHAPES: Final = 12


@dataclass(frozen=True, slots=True)
class JudgedFaults:
    """All single faults of a circuit: the numbers (F,) of their outcomes.

    `outcomes` are all that `Bulk` has met; `intended` is that of the circuit as it is. The currents
    of `solved` faults had to be computed from the resistances.
    """

    listing: Listing
    outcomes: KnownOutcomes
    which: npt.NDArray[np.intp]
    intended: Outcome
    engine: str
    solved: int = 0


class Bulk:
    """Judges all single faults of circuits, and caches the networks it has met."""

    def __init__(self) -> None:
        self._shapes: dict[tuple[object, ...], Networks] = {}
        self._plain: dict[tuple[str, int], tuple[Outcome, SchemeCurrents]] = {}
        self.outcomes = KnownOutcomes()

    def judge(self, circuit: Circuit) -> JudgedFaults:
        """Return the verdicts on all single faults of `circuit`, as the engine *volts* gives them.

        If a circuit is not simple, and *volts* cannot judge it or would take too long, they are
        those of *words*; see `verify.engine.volts.engine_for`.
        """
        listing = Listing(NumberedCircuit(circuit))
        bounds = bounds_of(circuit)
        if bounds is None:
            engine = engine_for(circuit, len(listing))
            which = self._judge_by(engine, listing, range(len(listing)))
            intended = outcome_of(verdicts(engine.find(circuit)), 0, len(circuit.lamps))
            return JudgedFaults(listing, self.outcomes, which, intended, engine.name)
        engine = VoltsEngine()
        # The circuit as it is comes last.
        which = np.zeros(len(listing) + 1, np.intp)
        shared = np.delete(np.arange(len(listing)), list(listing.rebuilt))
        places = np.append(shared, len(listing))
        which[places], solved = self._judge_rows(NetworkRows.of_listing(listing, shared, bounds))
        for row, scheme in listing.rebuilt.items():
            outcome = self._of_plain(listing, scheme)
            if outcome is not None:
                which[row] = self.outcomes.number(outcome)
                continue
            whole = listing.rewired(scheme)
            # Cables of this layout have the default length; those of the circuit may be shorter.
            bounds = bounds_of(whole)
            if bounds is None:
                which[row] = self._judge_by(engine, listing, [row])[0]
            else:
                (which[row],), more = self._judge_rows(NetworkRows.of_circuit(whole, bounds))
                solved += more
        intended = self.outcomes[int(which[-1])]
        return JudgedFaults(listing, self.outcomes, which[:-1], intended, engine.name, solved)

    def _of_plain(self, listing: Listing, scheme: str) -> Outcome | None:
        """Return the outcome of a circuit wired by another scheme; None if it is not plain."""
        arrangement, circuit = listing.arrangement, listing.wiring.circuit
        where = None if arrangement is None else plain_layout(arrangement)
        if arrangement is None or where is None:
            return None
        if arrangement.switch_names != tuple(switch.name for switch in circuit.switches):
            return None
        key = scheme, where.items
        if key not in self._plain:
            self._plain[key] = self._learn_plain(*key)
        outcome, currents = self._plain[key]
        cuts = currents.cuts(arrangement, where)
        conductors, pairs = sum(cut.conductors for cut in cuts), sum(cut.pairs for cut in cuts)
        if not stays_simple(circuit, conductors, pairs):
            return None
        unbalanced = reduce(or_, (cut.unbalanced for cut in cuts))
        if not unbalanced:
            return outcome
        first = (unbalanced & -unbalanced).bit_length() - 1
        return with_hazards(outcome, [(UNBALANCED, first)])

    def _learn_plain(self, scheme: str, items: int) -> tuple[Outcome, SchemeCurrents]:
        """Return the outcome of a scheme, apart from its cables, and the path of its current."""
        # A cable leads from each location to the next, and one from the first to the lamp.
        circuit = Layout((1, ROOT, *range(1, items - 1))).circuit(scheme)
        bounds = bounds_of(circuit)
        if bounds is None:
            raise BugError(f"{circuit.name} is not simple")
        rows = NetworkRows.of_circuit(circuit, bounds)
        outcome, entering = self._networks(rows).path_of(rows)
        names = (circuit.ends[end].name for end in rows.terminals)
        return outcome, SchemeCurrents(scheme, items, dict(zip(names, entering, strict=True)))

    def _judge_rows(self, rows: NetworkRows) -> tuple[npt.NDArray[np.int64], int]:
        """Return the number of the outcome of each row, and how many had to be solved."""
        return self._networks(rows).outcomes_of(rows)

    def _networks(self, rows: NetworkRows) -> Networks:
        """Return the networks of circuits with the same devices, terminals and contacts."""
        shape = (
            *(switch.kind for switch in rows.circuit.switches),
            len(rows.batch.metal),
            *rows.batch.on_b.tolist(),
        )
        if shape not in self._shapes:
            if len(self._shapes) >= _MOST_SHAPES:
                del self._shapes[next(iter(self._shapes))]
            self._shapes[shape] = Networks(rows.key_width, self.outcomes)
        return self._shapes[shape]

    def _judge_by(
        self, engine: Engine, listing: Listing, rows: Sequence[int]
    ) -> npt.NDArray[np.intp]:
        """Return the numbers of the outcomes of some faults as `engine` gives them."""
        circuit = listing.wiring.circuit
        numbers = [
            self.outcomes.number(outcome_of(found, row, len(circuit.lamps)))
            for faults, _, found in judge_faults(circuit, listing.faults(rows), engine)
            for row in range(len(faults))
        ]
        return np.array(numbers, np.intp)
