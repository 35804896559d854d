"""The public addresses of the pages, made of labels, so that they can be quoted for good."""

import hashlib
from collections.abc import Callable, Mapping
from typing import Final
from urllib.parse import quote, urlencode

from catalogue.report.terms import anchor

ROOT: Final = "/-/miswire"

#: A longer word stands in addresses as a hash: browsers and servers bound an address's length.
LONGEST_WORD: Final = 256
HASHED: Final = "hash-"

# Sites are lists of names, and these two join them; neither needs quoting within a path.
_LEGIBLE: Final = ",+"

Parameter = str | int | None


def signature_label(word: str) -> str:
    """How addresses name the signature of that word: the word, if it is not too long."""
    if len(word) <= LONGEST_WORD:
        return word
    return HASHED + hashlib.sha256(word.encode()).hexdigest()[:32]


class Addresses:
    """Where every page is. `path` puts the server's own base address before a path."""

    def __init__(self, path: Callable[[str], str], table: Callable[[str], str]) -> None:
        self._path = path
        self._table = table

    def _page(self, *parts: str) -> str:
        return self._path("/".join((ROOT, *(quote(part, safe=_LEGIBLE) for part in parts))))

    def home(self, fragment: str = "") -> str:
        """The home page."""
        return self._path("/") + (fragment and f"#{fragment}")

    def circuit(self, label: str) -> str:
        """The page of a circuit."""
        return self._page("circuit", label)

    def fault(self, circuit: str, kind: str, site: str) -> str:
        """The page of a fault."""
        return self._page("fault", circuit, kind, site)

    def signature(self, word: str) -> str:
        """The page of a signature."""
        return self._page("signature", signature_label(word))

    def hazard(self, name: str) -> str:
        """The page of a hazard."""
        return self._page("hazard", name)

    def kind(self, name: str) -> str:
        """The page of a fault kind."""
        return self._page("kind", name)

    def faults(self, **filters: Parameter) -> str:
        """The list of faults, those that the filters leave."""
        word = filters.get("signature")
        label = signature_label(str(word)) if word else None
        return self._page("faults") + _query({**filters, "signature": label})

    def circuits(self, **filters: Parameter) -> str:
        """The list of circuits, those that the filters leave."""
        return self._page("circuits") + _query(filters)

    def signatures(self, **filters: Parameter) -> str:
        """The list of signatures, those that the filters leave."""
        return self._page("signatures") + _query(filters)

    def desk(self, **query: Parameter) -> str:
        """The symptom desk, with what is asked of it."""
        return self._page("desk") + _query(query)

    def plan(self, **query: Parameter) -> str:
        """The plan of checks for what is asked of the symptom desk."""
        return self._page("desk", "plan") + _query(query)

    def picture(self, **query: Parameter) -> str:
        """The picture of a fault in a circuit."""
        return self._page("desk", "picture") + _query(query)

    def pairs(self, **filters: Parameter) -> str:
        """Two mistakes at once, those that the filters leave."""
        return self._page("pairs") + _query(filters)

    def pair(self, circuit: str, kind: str, site: str, other_kind: str, other_site: str) -> str:
        """The page of a pair of mistakes."""
        return self._page("pair", circuit, kind, site, other_kind, other_site)

    def pair_picture(
        self, circuit: str, kind: str, site: str, other_kind: str, other_site: str
    ) -> str:
        """The picture of a pair of mistakes."""
        return self._page("pair", circuit, kind, site, other_kind, other_site, "picture")

    def flipping(self) -> str:
        """How to test by flipping."""
        return self._page("flipping")

    def findings(self) -> str:
        """What was found, in numbers."""
        return self._page("findings")

    def mimics(self, **filters: Parameter) -> str:
        """Which mistakes pass every flip."""
        return self._page("mimics") + _query(filters)

    def claims(self) -> str:
        """What people say, and what is so."""
        return self._page("claims")

    def claim(self, name: str) -> str:
        """The page of a claim."""
        return self._page("claim", name)

    def claim_picture(self, name: str) -> str:
        """The picture of what stands against a claim."""
        return self._page("claim", name, "picture")

    def practice(self) -> str:
        """A case to practise on."""
        return self._page("practice")

    def terms(self, word: str = "") -> str:
        """The page of terms, at the definition of `word`."""
        return self._page("terms") + (word and f"#{anchor(word)}")

    def from_python(self) -> str:
        """How programs and notebooks use what is here."""
        return self._page("from-python")

    def scope(self) -> str:
        """What the catalogue covers."""
        return self._page("scope")

    def cautions(self) -> str:
        """The cautions in full."""
        return self._page("cautions")

    def changes(self) -> str:
        """What changed from version to version."""
        return self._page("changes")

    def licences(self) -> str:
        """The licences in full."""
        return self._page("licences")

    def static(self, name: str, version: str) -> str:
        """A file that goes with the pages; `version` changes with its content."""
        return self._page("static", name) + _query({"v": version})

    def table(self, name: str, **filters: Parameter) -> str:
        """The rows of a table that the filters leave, as rows."""
        return self._table(name) + _query(filters)


def _query(parameters: Mapping[str, Parameter]) -> str:
    given = {key: value for key, value in parameters.items() if value not in (None, "")}
    return f"?{urlencode(given)}" if given else ""
