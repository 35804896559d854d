"""Stop first: after a dangerous sign nobody is sent to a switch or to a live part.

The command, its JSON, the desk's answer and its plans are held to it over every sign, every state
that trips or is too bright, and every finding on the way.
"""

import json
import re
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

import pytest
from browser import Browser, check_page
from commandline import run, words
from desking import DESK, LABEL, PLAN, at, pool
from hypothesis import given, settings
from hypothesis import strategies as st

from catalogue.desk.answer import Answer, parse_results
from catalogue.desk.checks import CLEAR, POWER_OFF_KINDS, check_kinds
from catalogue.desk.planner import CheckPlan
from catalogue.desk.stops import Panel, found_signs, named_stops, phrase, stops
from catalogue.desk.suspect_pool import NO_FAULT, SuspectPool, pool_of_circuit
from catalogue.desk.symptoms import SIGHTS, SIGN, SIGNS, SOME_OVER, Symptoms
from catalogue.desk.telling import stopped_end
from catalogue.pages.deskask import state_key
from verify.base.resources import data_path
from verify.base.telling import plain
from verify.behaviour.signature import DARK, LIT, OVER, TRIP
from verify.circuit.file import load
from verify.hazard.definitions import HAZARD_NAMES

pytest_plugins = ["small_catalogue"]

DANGERS: Final = tuple(stops())
SEEN: Final = {"trips": "trips", "over": "over-bright"}
FILE: Final = str(data_path("circuits") / "slipway-feed-at-first-switch.toml")
SHARED: Final = data_path("circuits") / "net-loft-two-legs.toml"
SWITCHES: Final = ("slipway-switch", "workshop-switch")
#: What asks for a hand at a switch or for a probe at something live.
LIVE: Final = re.compile(
    r"look at the light|Flip and|Flip the|Set .* (?:up|down)|measure .* to a g"
)
NEVER: Final = (phrase("do_not"),)


def proposed(text: str) -> str:
    """A text without the sentence that forbids flipping."""
    for sentence in NEVER:
        text = text.replace(sentence, "")
    return text


@cache
def two_legs() -> SuspectPool:
    """Two legs that share a neutral: without it a lamp is too bright."""
    return pool_of_circuit(load(SHARED))


def answered(
    known: SuspectPool,
    seen: dict[int, int] | None = None,
    signs: Sequence[str] = (),
    results: Sequence[str] = (),
) -> Answer:
    """What the desk says, positions being those of the circuit."""
    symptoms = Symptoms(known.switches, seen or {}, frozenset(signs), as_found=False)
    return Answer(known, symptoms, {}, check_kinds(), False, parse_results(results))


def nodes(plan: CheckPlan) -> Iterator[CheckPlan]:
    """A plan's checks and ends."""
    yield plan
    for _, branch in plan.branches:
        yield from nodes(branch)


def assert_power_off(answer: Answer) -> None:
    """Every check that is proposed, now or later, is made with the power off, and says so."""
    off = "main switch" if Panel(answer.stops).is_main else "breaker"
    checks = [proposal.check for proposal in answer.next_checks]
    checks += [node.check for node in nodes(answer.plan) if node.check]
    for check in checks:
        assert check.kind.name in POWER_OFF_KINDS
        assert f"Off at the {off}, locked, and proved dead" in check.how
        assert "proved dead" in check.kind.caution
    assert all(node.stops for node in nodes(answer.plan))


def test_every_danger_has_a_stop() -> None:
    """Every sign is a reason to stop, but that another outlet goes off; each stop has its sign."""
    assert {sign.name for sign in SIGNS} - set(DANGERS) == {"another-outlet"}
    assert set(DANGERS) <= SIGN.keys()


def test_what_asks_for_a_hand_would_be_found(browser: Browser) -> None:
    """Without a danger the same texts do ask for flips and, of qualified persons, live measurement:
    the pattern that later tests search for finds both."""
    seen = ["--saw", "slipway-switch=up,workshop-switch=up: dark"]
    assert LIVE.search(words(run("suspects", FILE, *seen).output))
    assert LIVE.search(words(run("suspects", FILE, *seen, "--plan").output))
    for page in (DESK, PLAN):
        path = at(page, circuit=LABEL, positions="file", at_uu="dark")
        assert LIVE.search(browser.read(path).words)
        assert not set(kinds_of(browser.facts(path))) <= POWER_OFF_KINDS


def test_power_off_kinds_say_so() -> None:
    """What counts as a check with the power off says off, locked and proved dead; what needs the
    power, or shows nothing without it, as another lamp does, is none."""
    kinds = check_kinds()
    assert set(kinds) - POWER_OFF_KINDS == {"flip", "lamp", "voltage"}
    for name in POWER_OFF_KINDS:
        for word in ("power off", "locked out", "proved dead"):
            assert word in kinds[name].caution


def test_own_costs_keep_the_cautions(tmp_path: Path) -> None:
    """A file that sets costs and says nothing else takes no caution away."""
    path = tmp_path / "costs.toml"
    kinds = check_kinds()
    path.write_text("".join(f"[{name}]\ncost = 2\norder = 1\n" for name in kinds))
    assert {k.name: k.caution for k in check_kinds(path).values()} == {
        kind.name: kind.caution for kind in kinds.values()
    }


@pytest.mark.parametrize("sign", DANGERS)
def test_a_sign_stops_the_plan(sign: str) -> None:
    """With any dangerous sign, whatever was seen besides, nothing proposed needs power."""
    for seen in ({}, {0: DARK}, {0: LIT, 1: DARK}):
        answer = answered(pool(), seen, [sign])
        assert [stop.name for stop in answer.stops] == [sign]
        assert_power_off(answer)
        assert answer.next_checks or answer.ending


@pytest.mark.parametrize("outcome", [TRIP, OVER])
def test_what_is_seen_stops_like_a_sign(outcome: int) -> None:
    """Tripping, or too much light, in any one state is a reason to stop, as a sight and as what a
    flip showed; flips that were made before stay in the way so far."""
    sight = {code: word for word, code in SIGHTS.items()}[outcome]
    known = two_legs()
    for state in range(1 << known.switches):
        answer = answered(known, {state: outcome})
        assert [stop.name for stop in answer.stops] == [SEEN[sight]]
        assert_power_off(answer)


def test_what_a_flip_shows_stops() -> None:
    """A flip that trips, or that makes any lamp too bright, is the last: it stays in the way so
    far, and nothing after it needs power."""
    known = two_legs()
    found = set()
    for proposal in answered(known).next_checks:
        if proposal.check.kind.name != "flip":
            continue
        for word, _ in proposal.check.results:
            after = answered(known, results=[f"{proposal.check.key}={word}"])
            assert bool(after.stops) == (word in ("trips", "over", SOME_OVER))
            assert [step.key for step in after.steps] == [proposal.check.key]
            if after.stops:
                found.add(word)
                assert_power_off(after)
    assert "trips" in found
    assert found & {"over", SOME_OVER}


@pytest.mark.parametrize(
    ("seen", "result", "is_stop"),
    [
        ({2: DARK}, "lamp.shell@2=live", True),
        ({2: LIT}, "lamp.shell@2=part", True),
        ({2: DARK}, "lamp.contact@2=live", True),
        ({}, "lamp.contact@2=live", True),
        ({2: LIT}, "lamp.contact@2=live", False),
        ({2: DARK}, "lamp.shell@2=dead", False),
        ({2: DARK}, "switch-1.common@2=live", False),
    ],
)
def test_a_meter_that_finds_the_lampholder_live_stops(
    seen: dict[int, int], result: str, *, is_stop: bool
) -> None:
    """Line at the shell, or at the contact of a lamp not known to be lit, is the tester's sign;
    line at a switch or at the contact of a lit lamp is as it should be."""
    key, _, word = result.partition("=")
    found = list(found_signs(pool(), seen, f"voltage:{key}", word))
    assert found == (["holder-live"] if is_stop else [])


def test_a_plan_stops_where_it_meets_a_danger() -> None:
    """In plans that begin with flips, whatever follows a trip or too much light is power-off."""
    stopped = 0
    for known, seen in ((pool(), {0: DARK}), (pool(), {}), (two_legs(), {})):
        for node in nodes(answered(known, seen).plan):
            if node.check is None:
                continue
            for found, branch in node.branches:
                flip = node.check.kind.name == "flip"
                if flip and found in ("trips", "over", SOME_OVER):
                    assert {stop.name for stop in branch.stops} >= {SEEN.get(found, "over-bright")}
                if branch.stops:
                    stopped += 1
                    kinds = {n.check.kind.name for n in nodes(branch) if n.check}
                    assert kinds <= POWER_OFF_KINDS
                    assert all(n.stops for n in nodes(branch))
    assert stopped > 1


def test_where_no_check_is_left_the_end_is_a_call() -> None:
    """If checks with the power off tell nothing, that is said, and the next step is to call."""
    start = answered(pool(), {}, ["shock"])
    done = [f"{p.check.key}={CLEAR}" for p in start.next_checks]
    answer = start
    made: list[str] = []
    while answer.next_checks:
        made.append(f"{answer.next_checks[0].check.key}={CLEAR}")
        answer = answered(pool(), {}, ["shock"], made)
    assert 0 < len(made) <= len(done)
    assert answer.ending is not None
    assert "electrician" in answer.ending
    flips = answered(pool(), {}, [], made[:1]).next_checks
    assert any(p.check.kind.name == "flip" for p in flips)


def test_only_what_explains_every_sign_is_switched_on_again() -> None:
    """Where one suspect is left, it is to be switched on again only if it explains each sign; else
    the sign that it leaves open is named."""
    shock, heat = (named_stops([name]) for name in ("shock", "heat-or-smell"))
    live = {"metal-live", "ground-wire-live"}
    found = set()
    for suspect in pool().suspects:
        names = {name for bit, name in enumerate(HAZARD_NAMES) if suspect.hazards >> bit & 1}
        told = stopped_end([suspect], shock)
        found.add(told)
        if suspect.family == NO_FAULT:
            assert told == phrase("as_intended")
        elif not names:
            assert told.startswith("This does not explain the shock:")
        elif names & live:
            assert told == phrase("one_left")
            assert stopped_end([suspect], (*shock, *heat)) != told or "loose-join" in names
    assert len(found) == 3


def test_step_one_sends_nobody_into_a_fire() -> None:
    """Smoke, flame or a hot panel come before the hand at the breaker, with every sign."""
    for sign in DANGERS:
        first, second, *_ = Panel(named_stops([sign])).do
        assert "touch nothing, go out" in first
        assert "Switch" in second


@pytest.mark.parametrize("sign", DANGERS)
def test_every_stop_says_what_is_not_judged(sign: str) -> None:
    """Under every stop it is said that a cable, a device or another circuit may be behind it."""
    assert any("or another circuit may" in note for note in answered(pool(), {}, [sign]).notes)


@settings(max_examples=25)
@given(
    st.dictionaries(st.integers(0, 3), st.sampled_from(sorted(SIGHTS.values())), max_size=4),
    st.sets(st.sampled_from([sign.name for sign in SIGNS])),
)
def test_any_mixture_stops_if_any_part_does(seen: dict[int, int], signs: set[str]) -> None:
    """Any signs with any sights stop if one of them is a danger, and then all that is proposed is
    power-off; the panel has every reason."""
    answer = answered(pool(), seen, sorted(signs))
    expected = signs & set(DANGERS)
    expected |= {"trips"} if TRIP in seen.values() else set()
    expected |= {"over-bright"} if OVER in seen.values() else set()
    assert {stop.name for stop in answer.stops} == expected
    if expected:
        assert_power_off(answer)
    form = answer.to_json()
    assert [entry["sign"] for entry in form["stop"]] == [stop.name for stop in answer.stops]  # type: ignore[attr-defined]
    assert bool(form["stop_panel"]) == bool(expected)


def everything_noticed() -> Iterator[tuple[str, list[str], dict[str, str]]]:
    """Each danger: its stop, the command's options, and what an address has of it."""
    for sign in DANGERS:
        yield sign, ["--sign", sign], {f"sign-{sign}": "yes"}
    for sight, name in SEEN.items():
        for state in range(4):
            places = zip(SWITCHES, (state & 1, state >> 1), strict=True)
            told = ",".join(f"{switch}={'down' if down else 'up'}" for switch, down in places)
            yield name, ["--saw", f"{told}: {sight}"], {state_key(state, 2): sight}


EVERYTHING: Final = list(everything_noticed())
IDS: Final = [f"{name}-{'-'.join(query)}" for name, _, query in EVERYTHING]


@pytest.mark.parametrize(("name", "options", "query"), EVERYTHING, ids=IDS)
def test_the_command_stops_first(
    name: str, options: list[str], query: dict[str, str], database: Path
) -> None:
    """The panel is the first thing that the command says, of a file and of a catalogue, as text,
    with a whole plan and as JSON, and nothing after it is flipped or measured live."""
    title = Panel(named_stops([name])).title
    size = ["--locations", "2"] if "--sign" in options else []
    for source in ([FILE], [str(database), *size]):
        for plan in ([], ["--plan"] if source == [FILE] else []):
            result = run("suspects", *source, *options, *plan)
            assert result.exit_code == 0, result.output
            first, second, *_ = result.output.splitlines()
            assert set(first) == {"!"}
            assert second == f"!!! {title.upper()}"
            told = words(result.output)
            for sentence in (SIGN[name].question, *Panel(named_stops([name])).do_not):
                assert sentence in told
            assert not LIVE.search(proposed(told))
        form = json.loads(run("suspects", *source, *options, "--json").output)
        assert list(form)[1] == "stop"
        assert [entry["sign"] for entry in form["stop"]] == [name]
        assert form["stop"][0]["title"] == title
        assert {check["kind"] for check in form["next"]} <= POWER_OFF_KINDS


@pytest.mark.parametrize("known", ["circuit", "layout", "locations"])
@pytest.mark.parametrize(("name", "options", "query"), EVERYTHING, ids=IDS)
def test_the_pages_stop_first(
    browser: Browser, name: str, options: list[str], query: dict[str, str], known: str
) -> None:
    """The panel is the first heading of answer and plan, whatever is known of the wiring, before
    even the cautions, and nothing after it is flipped or measured live."""
    wirings: dict[str, dict[str, object]] = {
        "circuit": {"circuit": LABEL, "positions": "file"},
        "layout": {"locations": 2, "layout": "f.L.1"},
        "locations": {"locations": 2},
    }
    wiring = wirings[known]
    panel = Panel(named_stops([name]))
    for page in (DESK, PLAN):
        path = at(page, **wiring, **query)
        response = browser.get(path)
        # There may be nothing to plan, or too much of it: the panel stands there all the same.
        assert response.status_code == 200 or page == PLAN
        document = check_page(response, path)
        (section,) = [tag for tag in document.all("section") if tag.get("class") == "stop"]
        assert section["role"] == "alert"
        content = document.words[document.words.index("Scope") :]
        assert content.index(panel.title) < content.index("Before you open a box")
        assert content.index(panel.title) < 20
        for sentence in (*panel.do, *panel.do_not, *panel.call):
            assert sentence in content
        assert not LIVE.search(proposed(content))
        facts = json.loads(browser.get(f"{path}&format=json").text)
        assert facts["stop_panel"]["title"] == panel.title
        assert set(kinds_of(facts)) <= POWER_OFF_KINDS
        assert known != "circuit" or page == DESK or facts["no_plan"] or facts["plan"]


def kinds_of(facts: Any) -> Iterator[str]:
    """The kinds of all checks that a page's facts hold."""
    if isinstance(facts, dict):
        if "kind_title" in facts:
            yield facts["kind"]
        for value in facts.values():
            yield from kinds_of(value)
    elif isinstance(facts, list):
        for value in facts:
            yield from kinds_of(value)


def test_dangers_are_asked_first(browser: Browser) -> None:
    """On the way in and in the form the dangers stand before any combination is asked for, with
    the sentence that says stop; one tick leads to the panel, even before the light is known."""
    for path in (DESK, at(DESK, locations=2), at(DESK, circuit=LABEL)):
        document = check_page(browser.get(path), path)
        told = document.words
        assert phrase("ask") in told
        before = told[: told.index(SIGN["trips"].question)]
        assert "not tried" not in before
        assert "Before you open a box" not in before
    path = at(DESK, sign_shock="yes")
    document = check_page(browser.get(path), path)
    assert phrase("breaker") in document.words
    assert f"{DESK}?locations=2&sign-shock=yes" in document.links


def test_what_was_noticed_can_be_changed_without_flipping(browser: Browser) -> None:
    """After a stop the form asks for what was seen before it, and for nothing to be tried."""
    path = at(DESK, locations=2, edit=1, at_uu="trips")
    document = check_page(browser.get(path), path)
    assert phrase("breaker") in document.words
    assert "try nothing now" in document.words
    assert "one flip from" not in document.words


def test_danger_comes_before_what_is_wrong_with_the_question(
    browser: Browser, database: Path
) -> None:
    """Whoever got a shock and mistypes the rest is told to stop all the same."""
    for query in (
        "locations=9",
        "locations=2&at-ux=dark",
        "circuit=chain-9.9",
        "locations=2&layout=x",
    ):
        response = browser.get(f"{DESK}?{query}&sign-shock=yes")
        assert response.status_code in (400, 404)
        assert phrase("breaker") in check_page(response, query).words
    for query in (
        "locations=2&at-uu=trips&at-ux=dark",
        "locations=2&at-uu=TRIPS",
        "locations=2&SIGN-Shock=yes&sign-banana=yes",
        "locations=2&at-uu=over&at-uu=dark",
        "locations=2&step1=flip:1=trips&layout=x",
    ):
        for page in (DESK, PLAN):
            response = browser.get(f"{page}?{query}")
            assert response.status_code in (400, 404)
            document = check_page(response, query)
            assert phrase("main" if "over" in query else "breaker") in document.words
    result = run("suspects", str(database), "--locations", "4", "--sign", "shock")
    assert result.exit_code == 2
    assert phrase("breaker").upper() in result.stdout
    assert "--locations=4" in result.stderr


@pytest.mark.parametrize(
    "options",
    [
        ["--saw", "a=up,b=up,c=up,d=up: trips"],
        ["--saw", "no-such=up,workshop-switch=up: Trips"],
        ["--saw", "slipway-switch=up trips"],
        ["--sign", "shock", "--sign", "banana"],
        ["--sign", "SHOCK"],
        ["--sign", "shock", "--top", "none"],
        ["--result", "flip:0=trips", "--result", "nothing"],
    ],
)
def test_the_command_stops_whatever_is_wrong(options: list[str], database: Path) -> None:
    """Whatever is wrong with the question, a danger in its words comes first."""
    for source in (FILE, str(database)):
        for form in ([], ["--json"]):
            result = run("suspects", source, *options, *form)
            assert result.exit_code == 2
            told = result.stderr if form else result.stdout
            assert phrase("breaker").upper() in told.split("Error")[0]


def test_a_switch_may_have_any_name() -> None:
    """What is called over is not too bright: only what was seen counts."""
    result = run("suspects", FILE, "--saw", "overhead-trip=up: dark")
    assert result.exit_code == 2
    assert "!!!" not in result.output


def test_what_tells_nothing_apart_has_no_shares() -> None:
    """After a sign that no suspect can be judged by, all of them remain and none is likelier; what
    comes nearest shows something of what was seen, and has no share either."""
    shock = answered(pool(), {}, ["shock"])
    told = str(shock)
    assert "Nothing you noticed tells these apart; all" in told
    assert "%" not in told
    assert not shock.to_json()["nearest"]
    assert "of what fits" in str(answered(pool(), {0: TRIP}))
    impossible = answered(pool(), {0: TRIP, 1: LIT, 2: LIT, 3: DARK}, ["shock"])
    told = str(impossible)
    assert "These come nearest:" in told
    assert "0%" not in told
    assert all(group.matched for group in impossible.nearest)


def test_the_plan_ends_for_those_who_find_nothing() -> None:
    """After a stop every branching of the plan has an end for whatever else is found."""
    answer = answered(pool(), {0: TRIP})
    branchings = [node for node in nodes(answer.plan) if node.check]
    told = " ".join(answer_text(answer).split())
    assert told.count(phrase("otherwise")) == len(branchings) > 0
    assert ".." not in told


def answer_text(answer: Answer) -> str:
    """What the command prints of an answer with its plan."""
    return plain([*answer.told(with_plan=True)])
