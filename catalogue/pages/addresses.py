"""The pages have public addresses made of labels, so that they can be quoted for good."""

import hashlib
from collections.abc import Callable, Mapping
from typing import Final
from urllib.parse import quote, urlencode

from catalogue.report.terms import anchor

ROOT: Final = "/-/miswire"

#: Addresses have a hash in place of a longer word, because browsers and servers bound their length.
LONGEST_WORD: Final = 256
HASHED: Final = "hash-"

# These two characters join the names of a site; neither needs quoting within a path.
_LEGIBLE: Final = ",+"

Parameter = str | int | None


def signature_label(word: str) -> str:
    """Return how addresses name a signature: by its word, if it is not too long."""
    if len(word) <= LONGEST_WORD:
        return word
    return HASHED + hashlib.sha256(word.encode()).hexdigest()[:32]


class Addresses:
    """The addresses of all pages; `path` puts the server's own base address before a path."""

    def __init__(self, path: Callable[[str], str], table: Callable[[str], str]) -> None:
        self._path = path
        self._table = table

    def _page(self, *parts: str) -> str:
        return self._path("/".join((ROOT, *(quote(part, safe=_LEGIBLE) for part in parts))))

    def home(self, fragment: str = "") -> str:
        """Return the address of the home page."""
        return self._path("/") + (fragment and f"#{fragment}")

    def circuit(self, label: str) -> str:
        """Return the address of the page of a circuit."""
        return self._page("circuit", label)

    def fault(self, circuit: str, kind: str, site: str) -> str:
        """Return the address of the page of a fault."""
        return self._page("fault", circuit, kind, site)

    def signature(self, word: str) -> str:
        """Return the address of the page of a signature."""
        return self._page("signature", signature_label(word))

    def hazard(self, name: str) -> str:
        """Return the address of the page of a hazard."""
        return self._page("hazard", name)

    def kind(self, name: str) -> str:
        """Return the address of the page of a fault kind."""
        return self._page("kind", name)

    def faults(self, **filters: Parameter) -> str:
        """Return the address of the list of faults that pass the filters."""
        word = filters.get("signature")
        label = signature_label(str(word)) if word else None
        return self._page("faults") + _query({**filters, "signature": label})

    def circuits(self, **filters: Parameter) -> str:
        """Return the address of the list of circuits that pass the filters."""
        return self._page("circuits") + _query(filters)

    def signatures(self, **filters: Parameter) -> str:
        """Return the address of the list of signatures that pass the filters."""
        return self._page("signatures") + _query(filters)

    def desk(self, **query: Parameter) -> str:
        """Return the address of the symptom desk, with what is asked of it."""
        return self._page("desk") + _query(query)

    def plan(self, **query: Parameter) -> str:
        """Return the address of the plan of checks for what is asked of the symptom desk."""
        return self._page("desk", "plan") + _query(query)

    def picture(self, **query: Parameter) -> str:
        """Return the address of the picture of a fault in a circuit."""
        return self._page("desk", "picture") + _query(query)

    def pairs(self, **filters: Parameter) -> str:
        """Return the address of the list of pairs of mistakes that pass the filters."""
        return self._page("pairs") + _query(filters)

    def pair(self, circuit: str, kind: str, site: str, other_kind: str, other_site: str) -> str:
        """Return the address of the page of a pair of mistakes."""
        return self._page("pair", circuit, kind, site, other_kind, other_site)

    def pair_picture(
        self, circuit: str, kind: str, site: str, other_kind: str, other_site: str
    ) -> str:
        """Return the address of the picture of a pair of mistakes."""
        return self._page("pair", circuit, kind, site, other_kind, other_site, "picture")

    def flipping(self) -> str:
        """Return the address of the page on testing by flipping."""
        return self._page("flipping")

    def findings(self) -> str:
        """Return the address of the page of findings, in numbers."""
        return self._page("findings")

    def mimics(self, **filters: Parameter) -> str:
        """Return the address of the page of mistakes that pass every flip."""
        return self._page("mimics") + _query(filters)

    def claims(self) -> str:
        """Return the address of the register of claims."""
        return self._page("claims")

    def claim(self, name: str) -> str:
        """Return the address of the page of a claim."""
        return self._page("claim", name)

    def claim_picture(self, name: str) -> str:
        """Return the address of the picture of a claim's counterexample."""
        return self._page("claim", name, "picture")

    def practice(self) -> str:
        """Return the address of a case to practise on."""
        return self._page("practice")

    def terms(self, word: str = "") -> str:
        """Return the address of the page of terms, at the definition of `word`."""
        return self._page("terms") + (word and f"#{anchor(word)}")

    def from_python(self) -> str:
        """Return the address of the page on using Miswire from programs and notebooks."""
        return self._page("from-python")

    def scope(self) -> str:
        """Return the address of the page that says what the catalogue covers."""
        return self._page("scope")

    def cautions(self) -> str:
        """Return the address of the cautions in full."""
        return self._page("cautions")

    def changes(self) -> str:
        """Return the address of the changes from version to version."""
        return self._page("changes")

    def licences(self) -> str:
        """Return the address of the licences in full."""
        return self._page("licences")

    def static(self, name: str, version: str) -> str:
        """Return the address of a static file; `version` changes with its content."""
        return self._page("static", name) + _query({"v": version})

    def table(self, name: str, **filters: Parameter) -> str:
        """Return the address of the rows of a table that pass the filters."""
        return self._table(name) + _query(filters)


def _query(parameters: Mapping[str, Parameter]) -> str:
    given = {key: value for key, value in parameters.items() if value not in (None, "")}
    return f"?{urlencode(given)}" if given else ""
