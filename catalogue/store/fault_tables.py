"""The tables of circuits and their faults are described here, with the views that join them."""

from typing import Final

from catalogue.store.columns import ID, Column, Table, View

FAULT_TABLES: Final[tuple[Table, ...]] = (
    Table(
        "circuit",
        "Sound circuits as intended: every layout of some sizes, and circuits drawn at random.",
        (
            ID,
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
            ID,
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
            ID,
            Column("circuit_id", int, "The circuit as intended.", refers="circuit"),
            Column("kind_id", int, "Kind of mistake.", refers="fault_kind"),
            Column("family_id", int, "What one would call it.", refers="family"),
            Column("site", int, "Where: its place among the sites of its kind in the circuit."),
            Column("outcome_id", int, "All that was found of it.", refers="outcome"),
        ),
        indexes=(("circuit_id",), ("family_id",), ("outcome_id",)),
        since=6,
        rendered=(
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
            ID,
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
)
VIEWS: Final[tuple[View, ...]] = (
    View(
        "judged_fault",
        "Every single mistake with all that was found of it, by numbers.",
        {
            "id": "The fault by its number; shown as a sentence that leads to its page.",
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
            "id": "The fault by its number; shown as a sentence that leads to its page.",
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
