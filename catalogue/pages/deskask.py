"""A question to the symptom desk: the address holds all of it, so that it can be passed on."""

import base64
import binascii
import re
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import count
from typing import Final

from catalogue.desk.searchable import covered_sizes, why_not_searched
from catalogue.desk.suspect_pool import require_judgeable
from catalogue.desk.symptoms import SIGHTS, SIGNS, Symptoms
from catalogue.pages.contract import RefusalError, Visit
from catalogue.pages.desksketch import letters, shapes
from catalogue.pages.deskwiring import ORDINALS, AnyLayout, KnownWiring, OneCircuit, OneLayout
from catalogue.pages.lookup import circuit_row
from catalogue.pages.paging import whole_number
from verify.base.problems import shown
from verify.circuit.file import dump, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.layout.schemes import SOUND_SCHEMES

#: An address holds no more characters; a circuit of eight switches fits.
LONGEST_FILE: Final = 8_000
MOST_SWITCHES: Final = 8
#: With more switches there are too many ways to read positions that nobody knows.
MOST_AS_FOUND: Final = 6
#: No more faults, roughly, are judged while somebody waits.
_MOST_FAULTS: Final = 4_000
_LONGEST_NAME: Final = 40
_LONGEST_STEP: Final = 400
_MOST_STEPS: Final = 60
_STATE: Final = re.compile(r"at-([ud]+)")


class NotSearchedError(RefusalError):
    """This is raised where nothing was searched, so that nobody reads it as "none found"."""


@dataclass(frozen=True)
class DeskQuestion:
    """A question: what is known of the wiring, what was seen, and the checks made since then.

    `as_found`: up and down are only names that were given to the positions.
    """

    wiring: KnownWiring
    seen: Mapping[int, int] = field(default_factory=dict)
    signs: frozenset[str] = frozenset()
    steps: tuple[tuple[str, str], ...] = ()
    as_found: bool = True

    @property
    def is_blank(self) -> bool:
        """True if nothing was seen yet."""
        return not (self.seen or self.signs or self.steps)

    @property
    def symptoms(self) -> Symptoms:
        """The symptoms for the desk."""
        return Symptoms(self.wiring.switches, self.seen, self.signs, self.as_found)

    def query(
        self, seen: Mapping[int, int] | None = None, steps: int | None = None
    ) -> dict[str, str]:
        """Return the query of this question, with other things seen or only the first steps."""
        words = {outcome: word for word, outcome in SIGHTS.items()}
        given = dict(self.wiring.query)
        if not self.as_found:
            given["positions"] = "file"
        for state, outcome in sorted((self.seen if seen is None else seen).items()):
            given[state_key(state, self.wiring.switches)] = words[outcome]
        given |= {sign_key(sign.name): "yes" for sign in SIGNS if sign.name in self.signs}
        for number, (key, word) in enumerate(self.steps[:steps], 1):
            given[f"step{number}"] = f"{key}={word}"
        return given


def state_key(state: int, switches: int) -> str:
    """Return how an address names a state: ``at-ud`` for the first switch up, the second down."""
    return "at-" + "".join("d" if state >> bit & 1 else "u" for bit in range(switches))


def sign_key(name: str) -> str:
    """Return how an address names a sign."""
    return f"sign-{name}"


def asked(visit: Visit) -> DeskQuestion | None:
    """Return the question of an address, or None. Raises RefusalError, CircuitError."""
    wiring = _wiring(visit)
    if wiring is None:
        return None
    query = visit.query
    return DeskQuestion(
        wiring,
        dict(_seen(query, wiring.switches)),
        frozenset(_signs(query)),
        tuple(_steps(query)),
        _as_found(query, wiring),
    )


def _wiring(visit: Visit) -> KnownWiring | None:
    query = visit.query
    ways = [key for key in ("locations", "circuit", "file", "packed") if query.get(key)]
    if len(ways) > 1:
        raise RefusalError(f"{' and '.join(ways)} are two questions; keep one of them.")
    if not ways:
        return None
    if ways == ["locations"]:
        return _wiring_of_layouts(visit)
    if ways == ["circuit"]:
        row = circuit_row(visit, query["circuit"])
        return _circuit(loads(row["file"]), {"circuit": row["label"]}, row["label"])
    text = _unpacked(query["packed"]) if ways == ["packed"] else _pasted(query["file"])
    circuit = loads(text)
    return _circuit(circuit, {"packed": packed(dump(circuit))})


def _wiring_of_layouts(visit: Visit) -> KnownWiring:
    locations = whole_number(visit.query, "locations") or 0
    there = covered_sizes(visit.catalogue.execute).get(locations, ())
    if not there:
        raise _not_searched(visit, locations, SOUND_SCHEMES)
    if locations not in ORDINALS:
        raise NotSearchedError(
            f"With {locations} switches there are too many layouts to search while somebody waits. "
            "The command miswire suspects, on your own machine, takes its time; or paste its "
            "circuit file at the symptom desk."
        )
    names = tuple(_given_names(visit.query, locations))
    query = {"locations": str(locations)}
    scheme = visit.query.get("scheme", "")
    if scheme not in ("", *SOUND_SCHEMES):
        raise RefusalError(
            f"scheme must be {' or '.join(SOUND_SCHEMES)}; leave it out if you do not know."
        )
    code = visit.query.get("layout", "")
    shape = next((shape for shape in shapes(locations) if shape.layout.code == code), None)
    if code and not shape:
        raise RefusalError(
            "layout must be one of the pictures at the symptom desk; leave it out if you do not "
            "know how the cables run."
        )
    query |= {"layout": code} if code else {}
    query |= {"scheme": scheme} if scheme else {}
    for number, (name, letter) in enumerate(zip(names, letters(locations), strict=True), 1):
        query |= {f"name{number}": name} if name != letter else {}
    schemes = (scheme,) if scheme else there
    if scheme and scheme not in there:
        raise _not_searched(visit, locations, schemes)
    if shape:
        return OneLayout(visit, shape, schemes, names, query)
    return AnyLayout(visit, locations, schemes, names, query)


def _not_searched(visit: Visit, locations: int, schemes: Sequence[str]) -> NotSearchedError:
    why = why_not_searched(visit.catalogue.execute, locations, schemes)
    return NotSearchedError(
        f"locations={locations}: {why}. For another light paste its circuit file at the symptom "
        "desk."
    )


def _given_names(query: Mapping[str, str], switches: int) -> Iterator[str]:
    taken: set[str] = set()
    for number, letter in enumerate(letters(switches), 1):
        name = " ".join(query.get(f"name{number}", "").split()) or letter
        if len(name) > _LONGEST_NAME:
            raise RefusalError(
                f"The name of switch {letter} has {len(name):,} characters; {_LONGEST_NAME} are "
                "enough."
            )
        if not name.isprintable():
            raise RefusalError(
                f"The name of switch {letter} has characters that cannot be seen, such as marks "
                "that turn the direction of writing; type it again."
            )
        if name in taken:
            raise RefusalError(f"Two switches are called {name}; give each a name of its own.")
        taken.add(name)
        yield name


def _circuit(circuit: Circuit, query: Mapping[str, str], label: str | None = None) -> OneCircuit:
    switches = len(circuit.switches)
    if switches > MOST_SWITCHES:
        raise RefusalError(
            f"This circuit has {switches} switches; here suspects are judged for up to "
            f"{MOST_SWITCHES}. The command miswire suspects, on your own machine, takes more."
        )
    require_judgeable(circuit)
    # Nearly all mistakes within a box are pairs of ends, or ways to part a join.
    pairs = sum(len(ends) ** 2 for ends in _ends_by_box(circuit))
    if pairs + sum(1 << (len(join.ends) - 1) for join in circuit.joins) > _MOST_FAULTS:
        raise RefusalError(
            "This circuit has boxes with so many ends that judging every single fault takes too "
            "long here. The command miswire suspects, on your own machine, takes its time."
        )
    names = tuple(switch.name for switch in circuit.switches)
    return OneCircuit(circuit, names, query, label)


def _ends_by_box(circuit: Circuit) -> Iterable[list[End]]:
    by_box: dict[str, list[End]] = {}
    for end in circuit.ends:
        by_box.setdefault(end.box, []).append(end)
    return by_box.values()


def _pasted(text: str) -> str:
    if len(text) > LONGEST_FILE:
        raise RefusalError(
            f"A circuit file that is pasted may have {LONGEST_FILE:,} characters; this one has "
            f"{len(text):,}. The command miswire suspects, on your own machine, takes longer ones."
        )
    return text.replace("\r\n", "\n")


def packed(text: str) -> str:
    """Return a circuit file for an address: compressed, in letters, digits, - and _."""
    return base64.urlsafe_b64encode(zlib.compress(text.encode(), 9)).decode().rstrip("=")


def _unpacked(text: str) -> str:
    try:
        content = base64.b64decode(text + "=" * (-len(text) % 4), b"-_", validate=True)
        unpacking = zlib.decompressobj()
        # A little text can unpack to an endless one, so unpacking ends at what is accepted.
        plain = unpacking.decompress(content, 4 * LONGEST_FILE)
        if not unpacking.eof:
            raise ValueError("more than is taken")
        return plain.decode()
    except (ValueError, binascii.Error, zlib.error) as error:
        raise RefusalError(
            "The circuit in this address is not complete; paste the circuit file again at the "
            "symptom desk."
        ) from error


def _seen(query: Mapping[str, str], switches: int) -> Iterator[tuple[int, int]]:
    for key, sight in query.items():
        if not key.startswith("at-") or not sight:
            continue
        match = _STATE.fullmatch(key)
        if match is None or len(match[1]) != switches:
            example = "ud" * switches
            raise RefusalError(
                f"{shown(key)} names no positions of {switches} switches; write u or d for each, "
                f"such as at-{example[:switches]}=dark."
            )
        if sight not in SIGHTS:
            raise RefusalError(
                f"{key} must be one of {', '.join(SIGHTS)}; leave out what was not tried."
            )
        yield sum(1 << bit for bit, way in enumerate(match[1]) if way == "d"), SIGHTS[sight]


def _signs(query: Mapping[str, str]) -> Iterator[str]:
    known = {sign_key(sign.name): sign.name for sign in SIGNS}
    for key, value in query.items():
        if key.startswith("sign-") and value:
            if key not in known:
                raise RefusalError(f"{shown(key)} is not known; the signs are {', '.join(known)}.")
            yield known[key]


def _steps(query: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for number in count(1):
        text = query.get(f"step{number}", "")
        if not text:
            break
        key, mark, word = text.rpartition("=")
        if not mark or number > _MOST_STEPS or len(text) > _LONGEST_STEP:
            raise RefusalError(
                f"step{number} is no finding; write a check and what it showed, such as "
                "look:box-1=clear, or take the steps from the pages."
            )
        yield key, word


def _as_found(query: Mapping[str, str], wiring: KnownWiring) -> bool:
    positions = query.get("positions", "")
    if positions not in ("", "found", "file"):
        raise RefusalError("positions must be found or file; leave it out if up is only a name.")
    if positions == "file":
        if not isinstance(wiring, OneCircuit):
            raise RefusalError("positions=file needs a circuit; leave it out.")
        return False
    return wiring.switches <= MOST_AS_FOUND
