"""The symptom desk on the web: it says what the engine says, and the way leads to the fault."""

import sqlite3
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from browser import ROOT, Browser, check_page
from desking import DESK, LABEL, SAW, at, pool, seen

from catalogue.desk.answer import NOTHING_FITS, Answer
from catalogue.desk.checks import CLEAR, check_kinds
from catalogue.desk.suspect_pool import NO_FAULT, Suspect, pool_of_catalogue, pool_of_circuit
from catalogue.desk.symptoms import SIGN, SIGNS, Symptoms
from catalogue.pages.contract import Visit
from catalogue.pages.deskask import state_key
from catalogue.pages.desksketch import Shape, shapes
from catalogue.pages.deskwiring import AnyLayout, OneLayout
from catalogue.report.terms import terms
from verify.behaviour.signature import DARK, LIT, canonical
from verify.layout.enumeration import Layout, layouts
from verify.layout.schemes import SOUND_SCHEMES

pytest_plugins = ["small_catalogue"]


def test_way_in_from_home(browser: Browser) -> None:
    """The first page leads to the desk, which offers the sizes that the catalogue has in full."""
    assert DESK in browser.read("/").links
    document = check_page(browser.get(DESK), DESK)
    assert f"{DESK}?locations=2" in document.links
    assert f"{DESK}?locations=3" not in document.links
    assert [size["locations"] for size in browser.facts(DESK)["sizes"]] == [2]


def test_form_asks_for_every_combination(browser: Browser) -> None:
    """Every state has a choice for each sight and not tried, which is chosen; a row is one flip."""
    path = at(DESK, locations=2)
    document = check_page(browser.get(path), path)
    radios = [tag for tag in document.all("input") if tag.get("type") == "radio"]
    for state in range(4):
        row = [radio for radio in radios if radio["name"] == state_key(state, 2)]
        assert [radio["value"] for radio in row] == [*("dark", "lit", "dim", "over", "trips"), ""]
        assert [radio["value"] for radio in row if "checked" in radio] == [""]
    rows = [
        [position["position"] for position in row["positions"]]
        for row in browser.facts(path)["states"]
    ]
    assert len(rows) == 4
    for row, following in pairwise(rows):
        assert sum(one != other for one, other in zip(row, following, strict=True)) == 1
    for sign in SIGNS:
        assert sign.question in document.words


def test_terms_of_the_form_are_defined(browser: Browser) -> None:
    """Every term of the form leads to its definition."""
    document = browser.read(at(DESK, locations=2))
    anchors = {term.anchor for term in terms()}
    used = {link.partition("#")[2] for link in document.links if f"{ROOT}/terms#" in link}
    assert {"dim", "trips", "live", "protection", "as-found", "scheme", "feed"} <= used
    assert used <= anchors


@pytest.mark.parametrize(("locations", "count"), [(2, 5), (3, 13)])
def test_shapes_stand_for_every_layout(locations: int, count: int) -> None:
    """The pictures are few, and together their numberings are all (n+1)^n layouts, once each.

    Their number is that of rooted trees on n + 1 boxes with one box marked as the lamp's, up to
    renaming the others (counted by hand for 2 and 3).
    """
    found = [{layout for layout, _ in shape.numbered()} for shape in shapes(locations)]
    assert len(found) == count
    assert set().union(*found) == set(layouts(locations))
    assert sum(map(len, found)) == (locations + 1) ** locations


def test_pictures_of_shapes_show_their_cables(browser: Browser) -> None:
    """Each small picture has a box for every place, and the cables of its words."""
    groups = browser.facts(at(DESK, locations=2))["shapes"]
    drawn = {shape["layout"]: shape["sketch"] for group in groups for shape in group["shapes"]}
    assert len(drawn) == 5
    for code, sketch in drawn.items():
        layout = Layout.parse(code)
        places = {box["name"]: (box["x"], box["y"]) for box in sketch["boxes"]}
        names = ["lamp", "A", "B"]
        cables = {frozenset({(c["x1"], c["y1"]), (c["x2"], c["y2"])}) for c in sketch["cables"]}
        assert cables == {
            frozenset({places[names[box]], places[names[parent]]})
            for box, parent in enumerate(layout.parents)
            if parent >= 0
        }
        root = layout.parents.index(min(layout.parents))
        assert (sketch["feed"]["x"], sketch["feed"]["y"]) == places[names[root]]
    assert drawn["f.L.L"]["words"] == "Feed at the lamp; from the lamp on to A and B"


@pytest.mark.parametrize("behaviour", range(len(pool().codes)))
def test_what_every_fault_does_leads_to_it(browser: Browser, behaviour: int) -> None:
    """Each behaviour of the faults of a circuit, fed to the page, gives the group of all that do
    so and no other, with nothing contradicted and all of the share."""
    codes = pool().codes
    path = at(DESK, circuit=LABEL, positions="file", **seen(codes[behaviour].tolist()))
    facts = browser.facts(path)
    check_page(browser.get(path), path)
    holding = [s for s in pool().suspects if s.codes == behaviour]
    assert facts["fits"]
    assert facts["suspects_left"] == len(holding)
    (group,) = facts["groups"]
    assert group["signature"] == canonical(codes[behaviour], 1).word
    assert (group["matched"], group["contradicted"], group["untested"]) == (4, 0, 0)
    assert group["share"] == pytest.approx(1)
    assert group["faults"] == sum(s.family != NO_FAULT for s in holding)
    assert group["may_be_nothing"] == any(s.family == NO_FAULT for s in holding)


def test_page_and_json_say_the_same(browser: Browser) -> None:
    """Groups, families, hazards, counts, checks and notes of the JSON are on the page."""
    path = at(DESK, locations=2, name1="slipway", at_uu="dark", at_du="lit")
    facts = browser.facts(path)
    document = check_page(browser.get(path), path)
    for group in facts["groups"]:
        assert group["name"][1:] in document.words
        assert (
            f"{group['matched']} matched · {group['contradicted']} contradicted ·"
            f" {group['untested']} untested" in document.words
        )
        assert (
            f"stands for {group['faults']:,} faults in {group['circuits']} circ" in document.words
        )
        for family in group["families"]:
            assert f"{family['name']} {family['faults']:,}" in document.words
        for hazard in group["hazards"]:
            assert f"{hazard['title'].lower()} {hazard['faults']:,}" in document.words
            assert f"{ROOT}/hazard/{hazard['name']}" in document.links
        example = group["example"]
        assert (
            browser.get(
                f"{ROOT}/fault/{example['circuit']}/{example['kind']}/{quote(example['site'])}"
            ).status_code
            == 200
        )
    for note in facts["notes"]:
        assert note in document.words
    for proposal in facts["next"]:
        assert proposal["title"] in document.words
        assert proposal["how"] in document.words
        assert proposal["caution"] in document.words
    assert "every layout" in facts["notes"][0]
    assert "no published figures" in document.words
    assert "--priors" in document.words


def test_any_layout_answers_as_the_engine(browser: Browser, database: Path) -> None:
    """The page for an unknown wiring has the groups and shares of the engine, in its order."""
    saw = {0: LIT, 1: DARK, 2: DARK}
    with closing(sqlite3.connect(database)) as connection:
        symptoms = Symptoms(2, saw)
        every = pool_of_catalogue(connection.execute, 2)
        answer = Answer(every, symptoms, {}, check_kinds(), any_order=True)
    facts = browser.facts(at(DESK, locations=2, **seen(saw)))
    assert facts["groups_total"] == len(answer.groups)
    shown = [(group["signature"], group["share"]) for group in facts["groups"]]
    assert shown == [(g.signature.word, g.share) for g in answer.groups[: len(shown)]]
    assert facts["suspects_left"] == len({h.suspect for h in answer.hypotheses})


@pytest.mark.parametrize("sign", ["", "metal-live", "trips"])
def test_circuits_of_a_group_are_counted(browser: Browser, visit: Visit, sign: str) -> None:
    """A group says in how many circuits of the catalogue its faults are."""
    signs = {f"sign-{sign}": "yes"} if sign else {}
    facts = browser.facts(f"{at(DESK, locations=2, at_uu='dark')}&{urlencode(signs)}")
    masks = SIGN[sign].hazards if sign else ()
    rows = visit.rows(
        "select fault.id, circuit_id, word, group_concat(hazard.name) as hazards"
        " from judged_fault as fault join signature on signature.id = fault.signature_id"
        " join circuit on circuit.id = circuit_id"
        " left join evidence using (outcome_id) left join hazard on hazard.id = hazard_id"
        " where origin = 'layout' group by fault.id"
    )
    assert facts["groups"]
    for group in facts["groups"]:
        holding = [
            row
            for row in rows
            if row["word"] == group["signature"]
            and (not masks or set(masks) & set((row["hazards"] or "").split(",")))
        ]
        assert group["circuits"] == len({row["circuit_id"] for row in holding})
        assert group["faults"] == len(holding)


def test_circuits_of_part_of_a_signature_are_counted(browser: Browser, visit: Visit) -> None:
    """Where signs or findings leave only some faults of a signature, only theirs are counted."""
    query = {"locations": 2, **seen([2, 2, 2, 2]), "sign-metal-live": "yes"}
    missing = browser.facts(at(DESK, **query))["groups"][0]
    assert missing["contradicted"] == 1
    having = (
        "exists (select 1 from evidence"
        " where outcome_id = fault.outcome_id and hazard_id in (5, 7))"
    )
    counted = (
        "select count(distinct circuit_id) from judged_fault as fault"
        " join circuit on circuit.id = circuit_id"
        " join signature on signature.id = fault.signature_id"
        " where origin = 'layout' and word = ? and"
    )
    names = {row["id"]: row["name"] for row in visit.rows("select id, name from hazard")}
    assert (names[5], names[7]) == SIGN["metal-live"].hazards
    assert missing["circuits"] == visit.number(f"{counted} not {having}", "LLLL")
    query = {"locations": 2, **seen([0, 0, 0, 0]), "step1": "look:lamp-box=clear"}
    (left,) = browser.facts(at(DESK, **query))["groups"]
    elsewhere = "family_id in (select id from family where place <> 'lamp-box')"
    elsewhere += " and kind_id not in (select id from fault_kind where name = 'whole-circuit')"
    assert left["circuits"] == visit.number(f"{counted} {elsewhere}", "----")


@pytest.mark.parametrize("shape", shapes(2), ids=lambda shape: shape.layout.code)
def test_known_cables_find_every_fault_by_place(visit: Visit, shape: Shape) -> None:
    """With the cables known, what any fault of any circuit of that shape does, told by the places
    of the switches, leads to a group that has it under the name of its place."""
    wiring = OneLayout(visit, shape, SOUND_SCHEMES, ("A", "B"), {})
    for layout, places in shape.numbered():
        for scheme in SOUND_SCHEMES:
            known = pool_of_circuit(layout.circuit(scheme))
            named = {i: f"switch {'AB'[place - 1]}" for i, place in enumerate(places, 1)}
            for behaviour, codes in enumerate(known.codes.tolist()):
                moved = {
                    sum((state >> i & 1) << (place - 1) for i, place in enumerate(places)): code
                    for state, code in enumerate(codes)
                }
                symptoms = Symptoms(2, moved)
                answer = Answer(wiring.pool, symptoms, {}, check_kinds(), wiring.any_order)
                (group,) = answer.groups
                families = {wiring.told(name) for name, _ in group.families}
                for suspect in known.suspects:
                    if suspect.codes == behaviour and suspect.kind == "switch-stuck":
                        stuck = named[int(suspect.place[-1])]
                        assert f"{stuck} stuck in one position" in families
                kinds = {s.kind for s in known.suspects if s.codes == behaviour}
                assert kinds <= {s.kind for s in group.suspects}


@pytest.mark.parametrize("shape", shapes(2), ids=lambda shape: shape.layout.code)
def test_known_cables_count_every_fault(visit: Visit, shape: Shape) -> None:
    """The suspects of a shape are all faults of its circuits, once for each way to number it."""
    wiring = OneLayout(visit, shape, SOUND_SCHEMES, ("A", "B"), {})
    expected = sum(
        len(pool_of_circuit(layout.circuit(scheme)).suspects)
        for layout, _ in shape.numbered()
        for scheme in SOUND_SCHEMES
    )
    assert sum(suspect.faults for suspect in wiring.pool.suspects) == expected


def test_names_stand_in_for_numbers(visit: Visit) -> None:
    """Texts of the engine call switches and boxes as the person does."""
    shape = shapes(2)[0]
    layout = OneLayout(visit, shape, SOUND_SCHEMES, ("slipway", "B"), {})
    told = layout.told("traveler between switch-1 and switch-2 left off in box-1")
    assert told == "traveler between slipway and switch B left off in the box of slipway"
    assert layout.told("Open the box box-2 and") == "Open the box of switch B and"
    assert layout.told("Test box-1-run-2.") == "Test the second cable to the box of slipway."
    told = layout.told("Test the conductors of lamp-box-run from end to end")
    assert told == "Test the conductors of the cable to the lamp’s box from end to end"
    named = layout.named("with switch 2 one way never lights, the other way switches 1 and 2")
    assert named == "with switch B one way never lights, the other way slipway and switch B"
    unknown = AnyLayout(visit, 2, SOUND_SCHEMES, ("A", "B"), {})
    assert unknown.told("common of switch-2") == "common of the last switch"
    assert unknown.told("in box-1") == "in the first switch’s box"


def test_nothing_fits(browser: Browser) -> None:
    """What no single fault does leads to near misses and the sentence that says so."""
    path = at(
        DESK,
        locations=2,
        at_uu="lit",
        sign_trips="yes",
        sign_metal_live="yes",
        at_du="lit",
        at_ud="lit",
        at_dd="lit",
    )
    facts = browser.facts(path)
    document = check_page(browser.get(path), path)
    assert not facts["fits"]
    assert facts["nothing_fits"] == NOTHING_FITS
    assert NOTHING_FITS in document.words
    assert facts["next"] == []
    assert facts["groups"]
    assert all(group["contradicted"] for group in facts["groups"])


def test_blank_question_is_asked_again(browser: Browser) -> None:
    """Sending the form without anything in it gives the form with a sentence."""
    response = browser.get(at(DESK, locations=2, ask=1))
    assert response.status_code == 400
    assert "Say at least what the light does" in check_page(response, "blank").words


def test_dim_is_computed_and_explained(browser: Browser) -> None:
    """One lamp on one feed is never dim: what was seen contradicts every suspect, and a note says
    for which lamps dimness is known."""
    facts = browser.facts(at(DESK, locations=2, at_uu="dim", at_du="lit"))
    assert any("Dim is computed" in note for note in facts["notes"])
    assert all(group["contradicted"] for group in facts["groups"])


def follow(browser: Browser, query: dict[str, str], truth: Suspect) -> list[dict[str, Any]]:
    """Answer every proposed check as the truth would, to the end; the answers on the way."""
    ways = [browser.facts(at(DESK, **query))]
    for _ in range(40):
        facts = ways[-1]
        if not facts["next"]:
            return ways
        proposal = facts["next"][0]
        query |= {facts["next_step"]: _finding(proposal, truth)}
        ways.append(browser.facts(at(DESK, **query)))
        assert ways[-1]["suspects_left"] < facts["suspects_left"]
    raise AssertionError("no end")


def _finding(proposal: dict[str, Any], truth: Suspect) -> str:
    key = proposal["check"]
    if proposal["kind"] == "flip":
        return f"{key}={SAW[int(pool().codes[truth.codes][int(key.partition(':')[2])])]}"
    steps = [result["step"] for result in proposal["results"]]
    # Whoever looks sees the mistake if it is there, else everything as intended.
    return next((s for s in steps if s == f"{key}={truth.label}"), f"{key}={CLEAR}")


@pytest.mark.parametrize("number", range(1, 273, 12))
def test_truthful_findings_lead_to_the_fault(browser: Browser, number: int) -> None:
    """From one sight, answering each proposed check as the fault would leads to it, and what no
    check tells from it."""
    truth = pool().suspects[number]
    saw = seen({0: int(pool().codes[truth.codes][0])})
    query = {"circuit": LABEL, "positions": "file", **saw}
    *_, last = follow(browser, query, truth)
    (group,) = last["groups"]
    families = [family["name"] for family in group["families"]]
    assert truth.family in families
    assert last["suspects_left"] <= 6


def test_path_can_be_stepped_back(browser: Browser) -> None:
    """The way so far stays on the page, and each step leads back to the answer before it."""
    truth = next(s for s in pool().suspects if s.kind == "left-off")
    query = {"circuit": LABEL, "positions": "file", **seen({0: DARK})}
    ways = follow(browser, dict(query), truth)
    last = ways[-1]
    steps = last["path"]["steps"]
    assert len(steps) == len(ways) - 1 >= 2
    document = browser.read(at(DESK, **last["query"]))
    for step, before in zip(steps, ways, strict=False):
        assert f"{step['title']} Found: {step['found']}" in document.words
        assert browser.facts(at(DESK, **step["before"]))["groups"] == before["groups"]
        assert at(DESK, **step["before"]) in document.links


def test_flips_become_what_was_seen(browser: Browser) -> None:
    """Changing what was seen begins with the flips found since, and drops the other steps."""
    query = {"locations": 2, "at-uu": "dark", "step1": "flip:3=lit", "step2": "look:lamp-box=clear"}
    facts = browser.facts(at(DESK, **query))
    assert len(facts["path"]["steps"]) == 2
    assert facts["before"] == {"locations": "2", "at-uu": "dark", "at-dd": "lit"}
    form = browser.facts(at(DESK, edit=1, **facts["before"]))
    assert {row["key"]: row["saw"] for row in form["states"]} == {
        "at-uu": "dark",
        "at-dd": "lit",
        "at-ud": "",
        "at-du": "",
    }


def test_next_check_is_explained(browser: Browser) -> None:
    """The proposal says how many suspects it leaves on average, what it costs, and what to mind;
    'as intended' comes first among its findings, and 'something else' is there."""
    path = at(DESK, circuit=LABEL, **seen([0, 0, 0, 0]))
    facts = browser.facts(path)
    first = facts["next"][0]
    left = facts["suspects_left"]
    assert first["suspects"] == left
    assert 0 < first["leaves"] < left
    document = check_page(browser.get(path), path)
    assert f"of the {left} suspects" in document.words
    assert "bits for a cost of" in document.words
    for proposal in facts["next"]:
        if proposal["kind"] in ("look", "lamp", "continuity"):
            assert proposal["results"][0]["finding"] == "everything as intended"
            assert proposal["caution"]
    radios = [tag for tag in document.all("input") if tag.get("name") == facts["next_step"]]
    values = {tag["value"] for tag in radios}
    assert {f"{proposal['check']}=other" for proposal in facts["next"]} <= values
    other = browser.facts(at(DESK, **facts["query"], step1=first["other"]))
    assert not other["fits"]


def test_a_finding_that_names_the_mistake_ends_the_way(browser: Browser) -> None:
    """Where all that is left has one name the page says so, and proposes no further check."""
    query = {"locations": 2, **seen([0, 0, 0, 0])}
    looking = next(c for c in browser.facts(at(DESK, **query))["next"] if c["kind"] == "look")
    path = at(DESK, **query, step1=looking["results"][1]["step"])
    facts = browser.facts(path)
    assert facts["names_left"] == 1
    assert facts["next"] == []
    document = check_page(browser.get(path), path)
    assert "One name is left" in document.words
    assert looking["results"][1]["finding"] in document.words
    assert "power off and locked out" in document.words


def test_average_left_is_right(browser: Browser) -> None:
    """The average that a check leaves is the sum of what each finding leaves, each by its share:
    counted by hand where positions are known, so that each suspect predicts one finding."""
    facts = browser.facts(at(DESK, circuit=LABEL, positions="file", **seen({0: DARK})))
    for proposal in facts["next"]:
        left = [result["suspects"] for result in proposal["results"]]
        assert sum(left) == facts["suspects_left"]
        average = sum(number * number for number in left) / sum(left)
        assert proposal["leaves"] == pytest.approx(average, abs=0.051)
