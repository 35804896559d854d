"""All tables of a catalogue: each column is described once, for the schema, pages and help alike.

Tables are STRICT with foreign keys; a table comes before those that refer to it.
"""

from typing import Final

from catalogue.store.columns import ID, Column, Table
from catalogue.store.fault_tables import FAULT_TABLES
from catalogue.store.study_tables import STUDY_TABLES

_WORDS: Final = (
    Table(
        "run",
        "Every build of this file: what was computed by which version.",
        (
            ID,
            Column("started", str, "When the build began, in UTC."),
            Column(
                "finished", str, "When it ended, in UTC; empty while unfinished.", optional=True
            ),
            Column("version", str, "Version of Miswire."),
            Column("engine", str, "Engine that proved the verdicts, with its version."),
            Column("fault_kinds", str, "Every fault kind with its version."),
            Column("locations", str, "Numbers of locations of which all layouts were wired."),
            Column("drawn", int, "How many random circuits were drawn."),
            Column("seed", int, "Seed of the random circuits."),
            Column("plan", str, "Hash of the whole plan: equal plans give equal content."),
            Column("self_check", str, "What the harness showed before it started."),
            Column("digest", str, "Hash over all rows in order, when finished.", optional=True),
            Column("schemes", str, "Schemes by which these layouts were wired.", since=6),
            Column("versions", str, "Every version that can change a row, as JSON.", since=6),
        ),
        label="started",
        unique=(("plan",),),
    ),
    Table(
        "work",
        "The batches of a run; each is written whole or not at all.",
        (
            Column("id", str, "Hash of the batch: its circuits and all versions that matter."),
            Column("run_id", int, "The run that planned it.", refers="run"),
            Column("place", int, "Its place in the plan, 0 first."),
            Column("circuits", int, "Circuits in the batch."),
            Column("done", int, "1 when its rows are stored."),
        ),
        indexes=(("run_id", "place"),),
    ),
    Table(
        "verdict",
        "What can be said of a circuit: the first of these that applies.",
        (
            ID,
            Column("name", str, "The word."),
            Column("meaning", str, "What it means."),
        ),
        label="name",
        unique=(("name",),),
    ),
    Table(
        "signature",
        "What lamps and protection do in every state, up to renaming each switch's positions.",
        (
            ID,
            Column("word", str, "One symbol a state: - dark, d dim, L lit, O over, T trips."),
            Column("name", str, "The same in plain words."),
            Column("locations", int, "Number of switches."),
            Column("lamps", int, "Number of lamps."),
            Column("any_location", int, "1 if every flip of every switch changes every lamp."),
            Column("lit_states", int, "States in which some lamp is lit, dim or over."),
            Column("trip_states", int, "States in which protection trips."),
        ),
        label="name",
        unique=(("word",),),
        facets=("locations", "any_location"),
    ),
    Table(
        "hazard",
        "What can be wrong with a light that nobody notices by using it.",
        (
            ID,
            Column("name", str, "Short name."),
            Column("title", str, "The hazard in a few words."),
            Column("condition", str, "When it holds, over the states in which protection holds."),
            Column("danger", str, "What can happen to a person."),
        ),
        label="title",
        unique=(("name",),),
    ),
    Table(
        "fault_kind",
        "The kinds of single mistakes.",
        (
            ID,
            Column("name", str, "Short name, part of every label."),
            Column("title", str, "The kind in a few words."),
            Column("description", str, "What was done wrong or failed."),
            Column("version", int, "Raised when its sites or results change."),
        ),
        label="title",
        unique=(("name",),),
    ),
    Table(
        "family",
        "Faults that a person would give one name, whatever the boxes and colours.",
        (
            ID,
            Column("name", str, "What was mistaken, by its role in the intended circuit."),
            Column("place", str, "Box, cable or device where it can be found; empty: everywhere."),
        ),
        label="name",
        unique=(("name", "place"),),
        search=("name",),
    ),
)
_ABOUT: Final = (
    Table(
        "scope",
        "What this file covers: none found is said only where the search was complete.",
        (
            ID,
            Column("locations", int, "Number of switches."),
            Column("scheme", str, "Scheme of the circuits as intended."),
            Column("kind_id", int, "Kind of mistake.", refers="fault_kind"),
            Column("coverage", str, "Either complete (all layouts, all sites) or sampled."),
            Column("circuits", int, "Circuits searched."),
            Column("faults", int, "Faults judged."),
        ),
        unique=(("locations", "scheme", "kind_id", "coverage"),),
        facets=("coverage", "locations", "scheme"),
    ),
    Table(
        "term",
        "The words used here, in North American and IEC/UK usage.",
        (
            ID,
            Column("word", str, "The word as used here."),
            Column("iec", str, "IEC or UK word; empty where it is the same.", optional=True),
            Column("meaning", str, "What it means."),
        ),
        label="word",
        unique=(("word",),),
        search=("word", "meaning"),
    ),
    Table(
        "audit",
        "Every audit of this file by the independent engine.",
        (
            ID,
            Column("finished", str, "When it ended, in UTC."),
            Column("engine", str, "Engine that re-proved, with its version."),
            Column("seed", int, "Seed of the sample."),
            Column("digest", str, "Digest of the content that was audited."),
            Column("faults", int, "Faults re-proved."),
            Column("disagreements", int, "Faults on which the engines disagree."),
        ),
        label="finished",
    ),
)
TABLES: Final[tuple[Table, ...]] = (*_WORDS, *FAULT_TABLES, *_ABOUT, *STUDY_TABLES)
TABLE: Final = {table.name: table for table in TABLES}
