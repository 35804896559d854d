"""The tables of a catalogue: one description of each column feeds them, their pages and help.

Tables are STRICT with foreign keys.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `refers`: the table whose id it holds; `since`: the migration that adds it."""

    name: str
    type: type
    help: str
    refers: str = ""
    optional: bool = False
    since: int = 1


@dataclass(frozen=True, slots=True)
class Table:
    """One table. `label` is the column that stands for a row where other tables refer to it.

    `spelled` are columns that are not stored but made when a row is shown or exported.
    """

    name: str
    help: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ("id",)
    label: str = ""
    unique: tuple[tuple[str, ...], ...] = ()
    indexes: tuple[tuple[str, ...], ...] = ()
    facets: tuple[str, ...] = ()
    search: tuple[str, ...] = ()
    since: int = 1
    spelled: tuple[Column, ...] = ()


_ID: Final = Column("id", int, "Number of the row within this file; labels are what to quote.")

TABLES: Final[tuple[Table, ...]] = (
    Table(
        "run",
        "Every build of this file: what was computed by which version.",
        (
            _ID,
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
            _ID,
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
            _ID,
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
            _ID,
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
            _ID,
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
            _ID,
            Column("name", str, "What was mistaken, by its role in the intended circuit."),
            Column("place", str, "Box, cable or device where it can be found; empty: everywhere."),
        ),
        label="name",
        unique=(("name", "place"),),
        search=("name",),
    ),
    Table(
        "circuit",
        "Sound circuits as intended: every layout of some sizes, and circuits drawn at random.",
        (
            _ID,
            Column("label", str, "Public and stable: scheme and layout, or a hash of the wiring."),
            Column("name", str, "What it is, in words."),
            Column("origin", str, "Whence: layout (all of a size are here) or drawn (at random)."),
            Column("scheme", str, "Wired as chain (traveler chain) or tied (tied commons)."),
            Column("locations", int, "Number of switches."),
            Column("lamps", int, "Number of lamps."),
            Column("boxes", int, "Number of boxes."),
            Column("verdict_id", int, "Verdict as intended.", refers="verdict"),
            Column("signature_id", int, "Signature as intended.", refers="signature"),
            Column("faults", int, "How many single faults it has."),
            Column("file", str, "The circuit file."),
            Column("work_id", str, "The batch that proved it.", refers="work"),
            Column(
                "engine",
                str,
                "Who judged it: volts, or words, which knows connections only; then hazards of "
                "volts and amperes were not looked for.",
                since=2,
            ),
            Column("sound", int, "How many of its faults are harmless.", since=6),
            Column("mimics", int, "How many are mimics.", since=6),
            Column("misbehaving", int, "How many misbehave.", since=6),
            Column("tripping", int, "How many trip.", since=6),
            Column("digest", str, "Hash over all that is stored of its faults.", since=6),
        ),
        label="label",
        unique=(("label",),),
        indexes=(("locations",), ("scheme",), ("origin",), ("work_id",)),
        facets=("origin", "scheme", "locations"),
        search=("name",),
    ),
    Table(
        "outcome",
        "All that is found of faults: those of which the same is found have one row here.",
        (
            _ID,
            Column("mark", str, "The row in one text, by which builds tell outcomes apart."),
            Column("verdict_id", int, "Verdict on the circuit with the mistake.", refers="verdict"),
            Column("signature_id", int, "What the light then does.", refers="signature"),
            Column("hazards", int, "How many hazards hold in some state."),
            Column("hazard_set", int, "Which: bit i is that of hazard i + 1."),
            Column(
                "state",
                int,
                "State that shows a bad verdict; bit i is set when switch i is down.",
                optional=True,
            ),
            Column(
                "switch", int, "Switch, 0 first, that does nothing in that state.", optional=True
            ),
            Column("lamp", int, "Lamp, 0 first, that shows it.", optional=True),
            Column(
                "by_volts",
                int,
                "1 where volts and amperes decided: connections alone would say otherwise.",
            ),
        ),
        unique=(("mark",),),
        indexes=(("signature_id",), ("verdict_id",)),
        facets=("verdict_id",),
        since=6,
    ),
    Table(
        "fault",
        "Every single mistake in every circuit, with its verdict.",
        (
            _ID,
            Column("circuit_id", int, "The circuit as intended.", refers="circuit"),
            Column("kind_id", int, "Kind of mistake.", refers="fault_kind"),
            Column("family_id", int, "What one would call it.", refers="family"),
            Column("site", int, "Where: its place among the sites of its kind in the circuit."),
            Column("outcome_id", int, "All that was found of it.", refers="outcome"),
        ),
        indexes=(("circuit_id",), ("family_id",), ("outcome_id",)),
        since=6,
        spelled=(
            Column("at", str, "The site as labels have it: names, first the box or part."),
            Column("description", str, "The mistake as a sentence."),
        ),
    ),
    Table(
        "evidence",
        "Every hazard of every outcome, with the first state that shows it.",
        (
            Column("outcome_id", int, "The outcome.", refers="outcome"),
            Column("hazard_id", int, "The hazard.", refers="hazard"),
            Column("state", int, "State that shows it; bit i is set when switch i is down."),
        ),
        key=("outcome_id", "hazard_id"),
        indexes=(("hazard_id",),),
        facets=("hazard_id",),
        since=6,
    ),
    Table(
        "profile",
        "Faults counted by all that a person can see of them: what pages and the desk count by.",
        (
            _ID,
            Column("origin", str, "Of circuits that are a layout, or drawn."),
            Column("locations", int, "Number of switches."),
            Column("scheme", str, "Scheme of the circuits as intended."),
            Column("kind_id", int, "Kind of mistake.", refers="fault_kind"),
            Column("family_id", int, "What one would call it.", refers="family"),
            Column("verdict_id", int, "Verdict with the mistake.", refers="verdict"),
            Column("signature_id", int, "What the light does.", refers="signature"),
            Column("hazard_set", int, "The hazards that hold: bit i is that of hazard i + 1."),
            Column("faults", int, "How many faults."),
            Column("circuits", int, "In how many circuits."),
            Column("example_id", int, "The first of them.", refers="fault"),
        ),
        unique=(
            (
                *("origin", "locations", "scheme", "kind_id", "family_id"),
                *("verdict_id", "signature_id", "hazard_set"),
            ),
        ),
        indexes=(("locations", "scheme"), ("signature_id",), ("family_id",), ("kind_id",)),
        facets=("origin", "locations", "scheme", "verdict_id", "kind_id"),
        since=6,
    ),
    Table(
        "scope",
        "What this file covers: none found is said only where the search was complete.",
        (
            _ID,
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
            _ID,
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
            _ID,
            Column("finished", str, "When it ended, in UTC."),
            Column("engine", str, "Engine that re-proved, with its version."),
            Column("seed", int, "Seed of the sample."),
            Column("digest", str, "Digest of the content that was audited."),
            Column("faults", int, "Faults re-proved."),
            Column("disagreements", int, "Faults on which the engines disagree."),
        ),
        label="finished",
    ),
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
            _ID,
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
            _ID,
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


@dataclass(frozen=True, slots=True)
class View:
    """Rows of tables put together for reading; `helps` says what its columns hold.

    They are joined to the left: rows come in the order of faults, and where a name is asked for
    SQLite may begin with it.
    """

    name: str
    help: str
    helps: Mapping[str, str]
    query: str
    since: int


VIEWS: Final[tuple[View, ...]] = (
    View(
        "judged_fault",
        "Every single mistake with all that was found of it, by numbers.",
        {
            "verdict_id": "Verdict on the circuit with the mistake.",
            "signature_id": "What the light then does.",
            "hazards": "How many hazards hold in some state.",
            "hazard_set": "Which: bit i is that of hazard i + 1.",
        },
        """
select fault.id, circuit_id, kind_id, family_id, site, outcome_id, verdict_id, signature_id,
       hazards, hazard_set, state, switch, lamp, by_volts
from fault left join outcome on outcome.id = outcome_id
""",
        since=6,
    ),
    View(
        "fault_in_words",
        "Every single mistake with what was found of it, by names.",
        {
            "circuit": "Label of the circuit as intended.",
            "kind": "Kind of mistake.",
            "mistake": "What one would call it.",
            "place": "Box, cable or device where it can be found.",
            "verdict": "Verdict on the circuit with the mistake.",
            "what_the_light_does": "The signature in plain words.",
            "hazards": "How many hazards hold in some state.",
        },
        """
select fault.id, circuit.label as circuit, kind.name as kind, family.name as mistake, place,
       verdict.name as verdict, signature.name as what_the_light_does, hazards
from fault left join circuit on circuit.id = circuit_id
left join fault_kind as kind on kind.id = kind_id
left join family on family.id = family_id left join outcome on outcome.id = outcome_id
left join verdict on verdict.id = outcome.verdict_id
left join signature on signature.id = outcome.signature_id
""",
        since=6,
    ),
)
TABLE: Final = {table.name: table for table in TABLES}
