"""The tables of studies beyond single faults are described here: flips, pairs, claims, counts."""

from typing import Final

from catalogue.store.columns import ID, Column, Table

STUDY_TABLES: Final[tuple[Table, ...]] = (
    Table(
        "detection",
        "How to test each circuit by flipping: the fewest states that show all that can show.",
        (
            Column("circuit_id", int, "The circuit as intended.", refers="circuit"),
            Column(
                "positions",
                str,
                "Whether who flips knows which position is which: known or unknown.",
            ),
            Column("states", int, "How many states have to be looked at, at least."),
            Column(
                "state_set", str, "A smallest set of states; bit i is set when switch i is down."
            ),
            Column("flips", int, "How many flips lead through them."),
            Column("walk", str, "The states passed, in order, each one flip from the one before."),
            Column("is_best", int, "1 if no walk through any set as small has fewer flips."),
            Column(
                "changing", int, "Single faults that change what the light does: all are shown."
            ),
            Column("mimics", int, "Single faults with a hazard that no flipping can show."),
            Column("harmless", int, "Single faults without one that no flipping can show."),
        ),
        key=("circuit_id", "positions"),
        facets=("positions", "states", "flips"),
        since=3,
    ),
    Table(
        "pair_set",
        "Circuits of which pairs of mistakes were judged, by connections alone; not all are.",
        (
            Column("id", int, "The circuit as intended.", refers="circuit"),
            Column("faults", int, "Single faults of the kinds of which pairs are made."),
            Column("existing", int, "Pairs there are: the order of the two does not matter."),
            Column("judged", int, "Pairs judged: all of them, or a sample."),
            Column("states_one", int, "States that show every one of those faults, at least."),
            Column("states_two", int, "States that show every pair judged, at least."),
        ),
        since=3,
    ),
    Table(
        "pair_count",
        "Pairs of mistakes counted by their kinds and by what becomes of the two together.",
        (
            Column("circuit_id", int, "The circuit as intended.", refers="circuit"),
            Column("kind_id", int, "Kind of the mistake listed first.", refers="fault_kind"),
            Column("other_id", int, "Kind of the other mistake.", refers="fault_kind"),
            Column(
                "outcome",
                str,
                "One of hides-both, hides-one, makes-mimic, breaks, shows and stays.",
            ),
            Column("pairs", int, "How many pairs."),
        ),
        key=("circuit_id", "kind_id", "other_id", "outcome"),
        indexes=(("outcome",),),
        facets=("outcome", "kind_id", "other_id"),
        since=3,
    ),
    Table(
        "pair_state",
        "How much each state shows: single mistakes, and pairs of them.",
        (
            Column("circuit_id", int, "The circuit as intended.", refers="circuit"),
            Column("state", int, "The state; bit i is set when switch i is down."),
            Column("faults", int, "Single faults, of those in pairs, that show in it."),
            Column("pairs", int, "Pairs, of those judged, that show in it."),
        ),
        key=("circuit_id", "state"),
        since=3,
    ),
    Table(
        "pair",
        "Pairs of mistakes of which one hides the other, or which do together what neither does.",
        (
            Column("fault_id", int, "The mistake listed first.", refers="fault"),
            Column("other_id", int, "The other mistake.", refers="fault"),
            Column("outcome", str, "One of hides-both, hides-one, makes-mimic and breaks."),
            Column("verdict_id", int, "Verdict on both together.", refers="verdict"),
            Column("hazard_set", int, "Hazards of both together: bit i is that of hazard i + 1."),
        ),
        key=("fault_id", "other_id"),
        indexes=(("outcome",), ("other_id",)),
        facets=("outcome", "verdict_id"),
        since=6,
    ),
    Table(
        "claim",
        "What is said about such lights, as properties: proved, sampled, depending or refuted.",
        (
            ID,
            Column("name", str, "Short name, to quote."),
            Column("theme", str, "What it is about."),
            Column("saying", str, "What people say, in our words."),
            Column("statement", str, "The property that was decided."),
            Column("scope", str, "Which circuits, and which mistakes in them, it was decided for."),
            Column("status", str, "Either proved, holds-in-samples, depends or refuted."),
            Column("decided_by", str, "How it was decided, with the numbers."),
            Column("cases", int, "Cases that the statement speaks about."),
            Column("against", int, "Cases that are against it."),
            Column("circuit", str, "Counterexample: the circuit file as intended.", optional=True),
            Column("label", str, "Counterexample: how the circuit is called.", optional=True),
            Column("fault", str, "Counterexample: the mistake; empty for none.", optional=True),
            Column("why", str, "Counterexample: what it does and why.", optional=True),
            Column("locations", int, "Counterexample: its locations, the fewest.", optional=True),
            Column("boxes", int, "Counterexample: its boxes, then the fewest.", optional=True),
            Column("faults", int, "Counterexample: its mistakes, then the fewest.", optional=True),
            Column("decided", str, "When it was decided, in UTC."),
            Column("version", str, "Version of Miswire that decided it."),
        ),
        label="name",
        unique=(("name",),),
        since=4,
    ),
    Table(
        "summary",
        "Faults counted in place of rows: what `miswire build --summary` keeps of large sizes.",
        (
            ID,
            Column("locations", int, "Number of switches."),
            Column("lamps", int, "Number of lamps."),
            Column("scheme", str, "Scheme of the circuits as intended."),
            Column("kind_id", int, "Kind of mistake.", refers="fault_kind"),
            Column("family_id", int, "What one would call it, wherever it is.", refers="family"),
            Column("verdict_id", int, "Verdict with the mistake.", refers="verdict"),
            Column("signature_id", int, "What the light then does.", refers="signature"),
            Column("hazard_set", int, "The hazards that hold: bit i is that of hazard i + 1."),
            Column("faults", int, "How many faults are alike in all this."),
            Column("circuits", int, "In how many circuits."),
            Column("example", str, "The first of them by label: circuit, kind and site."),
        ),
        unique=(
            (
                *("locations", "lamps", "scheme", "kind_id", "family_id"),
                *("verdict_id", "signature_id", "hazard_set"),
            ),
        ),
        facets=("locations", "scheme", "verdict_id", "kind_id"),
        since=5,
    ),
)
