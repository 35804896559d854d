"""Names are interned here: each gets an id in a file once, and rows refer to it by that id."""

from functools import cached_property
from typing import Final

from sqlite_utils import Database

from catalogue.prove.cache import FoundRow
from verify.behaviour.naming import signature_name
from verify.behaviour.signature import Signature

_VOCABULARY: Final = ("verdict", "hazard", "fault_kind")


class InternedIds:
    """The ids of names in a catalogue that is open for writing; a new name gets the next id."""

    def __init__(self, db: Database) -> None:
        self.db = db

    @cached_property
    def of(self) -> dict[str, dict[str, int]]:
        """The ids of verdicts, hazards and fault kinds by table and name."""
        return {
            table: {str(row["name"]): int(row["id"]) for row in self.db.table(table).rows}
            for table in _VOCABULARY
        }

    @cached_property
    def _signatures(self) -> dict[str, int]:
        return {str(row["word"]): int(row["id"]) for row in self.db.table("signature").rows}

    def signature(self, word: str, lamps: int) -> int:
        """Return the id of a signature, given its word."""
        if word not in self._signatures:
            row = self.db.table("signature").insert(_signature_row(word, lamps))
            self._signatures[word] = int(str(row.last_pk))
        return self._signatures[word]

    @cached_property
    def _families(self) -> dict[tuple[str, str], int]:
        rows = self.db.table("family").rows
        return {(str(row["name"]), str(row["place"])): int(row["id"]) for row in rows}

    def family(self, name: str, place: str) -> int:
        """Return the id of a family, given its name and place."""
        if (name, place) not in self._families:
            row = self.db.table("family").insert({"name": name, "place": place})
            self._families[name, place] = int(str(row.last_pk))
        return self._families[name, place]

    @cached_property
    def _outcomes(self) -> dict[str, int]:
        return dict(self.db.conn.execute("select mark, id from outcome").fetchall())

    def outcome(self, mark: str, found: FoundRow) -> int:
        """Return the id of an outcome; a new one is stored with its evidence."""
        if mark not in self._outcomes:
            row = self.db.table("outcome").insert(
                {
                    "mark": mark,
                    "verdict_id": self.of["verdict"][found.verdict],
                    "signature_id": self.signature(found.word, found.lamps),
                    "hazards": len(found.hazards),
                    "hazard_set": found.hazard_set,
                    "state": found.state,
                    "switch": found.switch,
                    "lamp": found.lamp,
                    "by_volts": found.by_volts,
                }
            )
            self._outcomes[mark] = number = int(str(row.last_pk))
            self.db.conn.executemany(
                "insert into evidence (outcome_id, hazard_id, state) values (?,?,?)",
                [(number, self.of["hazard"][hazard], state) for hazard, state in found.hazards],
            )
        return self._outcomes[mark]


def _signature_row(word: str, lamps: int) -> dict[str, object]:
    signature = Signature.parse(word, lamps)
    groups = list(word) if lamps == 1 else word.split(".")
    return {
        "word": word,
        "name": signature_name(signature),
        "locations": signature.switches,
        "lamps": lamps,
        "any_location": int(signature.any_location),
        "lit_states": sum(not set(group) <= set("-T") for group in groups),
        "trip_states": sum("T" in group for group in groups),
    }
