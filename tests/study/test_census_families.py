"""Families of the census: what symmetries turn into each other, with names that say what it is."""

import tomllib
from functools import cache

import pytest

from catalogue.build.census import take_census
from verify.base.problems import BugError
from verify.base.resources import data_path
from verify.engine.words import WordsEngine
from verify.layout.schemes import FEED, LAMPS, SCHEMES, Landing, switch_kinds
from verify.study.census.search import run_of, search_batches
from verify.study.census.terminals import (
    FEWEST_LOCATIONS,
    CensusParts,
    Wiring,
    growth_string,
    parts_of,
)
from verify.study.census.wiring_families import (
    Family,
    closed_form,
    families_of,
    orbit,
    structure,
    symmetries,
)
from verify.verdict.judging import judge

WORDS = WordsEngine()
SIZES = (2, 3)
NAMES_OF_SCHEMES = {
    "chain": "traveler chain in the line",
    "tied": "tied commons in the line",
    "chain-in-neutral": "traveler chain in the neutral",
    "tied-in-neutral": "tied commons in the neutral",
    "both-poles": "both poles on the travelers",
}


@cache
def found(locations: int) -> list[Wiring]:
    """Every wiring with any-location control."""
    results = search_batches(run_of(locations).batches)
    return [wiring for _, part in results for wiring in part.wirings]


@cache
def families(locations: int) -> tuple[Family, ...]:
    """All families of so many locations."""
    return families_of(parts_of(locations), found(locations))


def members(family: Family) -> list[Wiring]:
    """Every wiring of a family."""
    return [wiring for variant in family.variants for wiring in variant.wirings]


def check_whole(locations: int) -> None:
    """The families of so many locations are all wirings once, and each is closed and connected."""
    parts = parts_of(locations)
    everything = [wiring for family in families(locations) for wiring in members(family)]
    assert sorted(everything) == found(locations)
    for family in families(locations):
        for wiring in (members(family)[0], members(family)[-1]):
            assert list(orbit(wiring, symmetries(parts))) == sorted(members(family))
        assert family.wirings == len(members(family))


@pytest.mark.parametrize("locations", SIZES)
def test_families_are_the_orbits_of_all_symmetries(locations: int) -> None:
    """The sizes of the families add up to the number of wirings; no wiring is in two."""
    check_whole(locations)


def group_size(parts: CensusParts) -> int:
    """How many permutations the symmetries generate, each counted."""
    identity = tuple(range(len(parts.terminals)))
    reached, fresh = {identity}, [identity]
    while fresh:
        old = fresh.pop()
        for symmetry in symmetries(parts):
            new = tuple(old[terminal] for terminal in symmetry.permutation)
            if new not in reached:
                reached.add(new)
                fresh.append(new)
    return len(reached)


@pytest.mark.parametrize(("locations", "size"), [(2, 16), (3, 128), (4, 2048)])
def test_the_symmetries_are_those_of_the_devices(locations: int, size: int) -> None:
    """2 for the lamp, 2 a three-way, 8 a four-way, and the order of those of a kind: 2 (n − 2)!.

    By Lagrange's theorem each family's size divides that of the group.
    """
    assert group_size(parts_of(locations)) == size
    if locations in SIZES:
        assert all(size % family.wirings == 0 for family in families(locations))


@pytest.mark.parametrize("locations", range(2, 6))
def test_symmetries_keep_every_contact(locations: int) -> None:
    """A symmetry of switches maps contacts to contacts, and those of one position to one."""
    parts = parts_of(locations)
    names = parts.terminals
    sets = {
        frozenset(
            frozenset((f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}"))
            for contact in switch.form.contacts
            if getattr(contact, position)
        )
        for switch in parts.switches
        for position in ("up", "down")
    }
    for symmetry in symmetries(parts):
        goes = {name: names[to] for name, to in zip(names, symmetry.permutation, strict=True)}
        mapped = {frozenset(frozenset(goes[end] for end in pair) for pair in one) for one in sets}
        assert mapped == sets
        assert {goes["feed.line"], goes["feed.neutral"]} == {"feed.line", "feed.neutral"}


@pytest.mark.parametrize("locations", SIZES)
def test_every_wiring_has_the_hazards_of_its_variant(locations: int) -> None:
    """One wiring is judged for many, so every one of them is judged here."""
    parts = parts_of(locations)
    for family in families(locations):
        for variant in family.variants:
            for wiring in variant.wirings:
                judged = judge(parts.circuit(wiring), WORDS)
                assert judged.any_location
                assert judged.hazards == variant.hazards
        assert family.hazards_of_all == tuple(
            name
            for name in family.hazards
            if all(name in variant.hazards for variant in family.variants)
        )


def wired(parts: CensusParts, scheme: str) -> Wiring:
    """The nets of a scheme as a wiring."""
    kinds = switch_kinds(parts.locations)
    three_ways = iter(s.name for s in parts.switches if s.kind == "three-way")
    four_ways = iter(s.name for s in parts.switches if s.kind == "four-way")
    names = [next(three_ways if kind == "three-way" else four_ways) for kind in kinds]

    def name(landing: Landing) -> str:
        devices = {FEED: "feed", LAMPS: "lamp"}
        return f"{devices.get(landing.place) or names[landing.place]}.{landing.terminal}"

    net_of = {
        name(landing): number
        for number, net in enumerate(SCHEMES[scheme].plan(parts.locations).nets)
        for landing in net.landings
    }
    return growth_string(net_of[terminal] for terminal in parts.terminals)


@pytest.mark.parametrize("locations", range(2, 6))
@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_scheme_is_recognised(scheme: str, locations: int) -> None:
    """A scheme that is wired on purpose gets the name of its structure, at its first pair."""
    parts = parts_of(locations)
    shape = structure(parts, wired(parts, scheme))
    assert shape.title == NAMES_OF_SCHEMES[scheme]
    assert shape.pair == (0 if "chain" in scheme else 1)


def test_families_are_the_schemes() -> None:
    """For two and three locations there are no other families than the five known schemes."""
    for locations in SIZES:
        by_name = {family.name: family for family in families(locations)}
        assert sorted(by_name) == sorted(NAMES_OF_SCHEMES.values())
        for scheme, name in NAMES_OF_SCHEMES.items():
            assert wired(parts_of(locations), scheme) in members(by_name[name])
            assert (by_name[name].sound > 0) == SCHEMES[scheme].is_sound
            best = judge(parts_of(locations).circuit(by_name[name].example), WORDS)
            assert (best.verdict == "sound") == SCHEMES[scheme].is_sound


def test_the_lamp_in_a_sound_family_may_be_reversed() -> None:
    """In half of the wirings of a sound scheme the shell is on the switched line, and no more."""
    for family in families(3):
        if family.sound:
            assert family.hazards == ("lamp-reversed",)
            assert family.hazards_of_all == ()
            assert 2 * family.sound == family.wirings


def test_a_structure_without_a_name_is_told() -> None:
    """What is no chain of switches, or feeds it in another way, gets no name by mistake."""
    parts = parts_of(3)
    everything_apart = tuple(range(14))
    with pytest.raises(BugError, match="no chain"):
        structure(parts, everything_apart)
    chain = list(wired(parts, "chain"))
    chain[0] = max(chain) + 1
    with pytest.raises(BugError, match="no name"):
        structure(parts, growth_string(chain))


def test_wirings_that_are_not_all_are_told() -> None:
    """Families are of complete lists: one wiring missing is noticed."""
    with pytest.raises(BugError, match="not closed"):
        families_of(parts_of(2), found(2)[1:])


@pytest.mark.parametrize("locations", SIZES)
def test_the_closed_form(locations: int) -> None:
    """(3n − 1)(n − 2)! 2^(2n − 1) is what the search finds."""
    assert len(found(locations)) == closed_form(locations)


def test_values_of_the_closed_form() -> None:
    """By hand: 5 · 1 · 8, 8 · 1 · 32, 11 · 2 · 128, 14 · 6 · 512."""
    values = [closed_form(locations) for locations in range(FEWEST_LOCATIONS, 6)]
    assert values == [40, 256, 2816, 43008]


@pytest.mark.slow
def test_four_locations() -> None:
    """All 682,076,806,159 wirings: as many as the closed form says, in eight families.

    With three pairs of travelers it matters on which feed and lamp ride: on a pair at an end, of
    which there are two, or on the middle one.
    """
    check_whole(4)
    assert len(found(4)) == closed_form(4)
    sizes = {family.name: family.wirings for family in families(4)}
    riding = [name for name in NAMES_OF_SCHEMES.values() if "chain" not in name]
    assert sizes == {
        "traveler chain in the line": 256,
        "traveler chain in the neutral": 256,
        **{f"{name}, at traveler pair 1 of 3": 512 for name in riding},
        **{f"{name}, at traveler pair 2 of 3": 256 for name in riding},
    }


@pytest.mark.parametrize(
    "row", tomllib.loads(data_path("census.toml").read_text("utf-8"))["census"]
)
def test_what_pages_show_is_what_a_census_counts(row: dict[str, int]) -> None:
    """`data/census.toml` holds what the command finds; five locations would take too long here."""
    locations = row["locations"]
    assert row["wirings"] == parts_of(locations).wirings
    assert row["any_location"] == closed_form(locations)
    if locations <= 4:
        taken = take_census(locations)
        sound = sum(family.sound for family in taken.families)
        assert (taken.any_location, sound) == (row["any_location"], row["sound"])
        assert len(taken.families) == row["families"]
