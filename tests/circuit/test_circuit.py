"""`Circuit`: what it derives from its parts, and what it refuses."""

from collections.abc import Callable
from dataclasses import FrozenInstanceError, replace

import pytest

from verify.base.problems import CircuitError
from verify.circuit.colours import GROUND_COLOURS, PALETTES
from verify.circuit.devices import ALIASES, KINDS, POSITIONS
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, End, Failure, Join, is_ground_colour

CIRCUIT = Circuit(
    name="Slipway light",
    boxes=(Box("slipway", "metal"), Box("workshop")),
    devices=(
        Device("feed", "feed", "slipway"),
        Device("workshop-switch", "two-way", "workshop"),
        Device("lamp", "lamp", "slipway"),
        Device("slipway-switch", "three-way", "slipway"),
    ),
    cables=(Cable("run", ("workshop", "slipway"), ("black", "white", "bare")),),
    joins=(
        Join("workshop", ("run.bare", "workshop-switch.ground")),
        Join("slipway", ("box.slipway", "run.bare", "feed.ground")),
        Join("slipway", ("lamp.shell", "feed.neutral"), fixed=True),
    ),
)


def test_ends_are_listed_box_by_box() -> None:
    """Every terminal, conductor end and metal box is an end: in box order, devices first."""
    assert [f"{end.box}: {end.name}" for end in CIRCUIT.ends] == [
        "slipway: feed.line",
        "slipway: feed.neutral",
        "slipway: feed.ground",
        "slipway: lamp.contact",
        "slipway: lamp.shell",
        "slipway: lamp.ground",
        "slipway: slipway-switch.common",
        "slipway: slipway-switch.traveler-1",
        "slipway: slipway-switch.traveler-2",
        "slipway: slipway-switch.ground",
        "slipway: run.black",
        "slipway: run.white",
        "slipway: run.bare",
        "slipway: box.slipway",
        "workshop: workshop-switch.common",
        "workshop: workshop-switch.traveler-1",
        "workshop: workshop-switch.traveler-2",
        "workshop: workshop-switch.ground",
        "workshop: run.black",
        "workshop: run.white",
        "workshop: run.bare",
    ]
    assert [CIRCUIT.end_index[end] for end in CIRCUIT.ends] == list(range(21))


def test_an_end_knows_its_owner_and_part() -> None:
    """The two halves of an end's name are its device or cable, and the terminal or colour."""
    end = End("slipway", "slipway-switch.traveler-1")
    assert (end.owner, end.part) == ("slipway-switch", "traveler-1")
    assert End("slipway", "box.slipway").owner == "box"


def test_every_end_is_in_exactly_one_group() -> None:
    """Joins and unconnected ends together part the ends of a circuit, in the order of its ends."""
    groups = CIRCUIT.grouped_ends
    assert sorted(end for group in groups for end in group) == sorted(CIRCUIT.ends)
    assert [group for group in groups if len(group) > 1] == [
        (End("slipway", "feed.neutral"), End("slipway", "lamp.shell")),
        (
            End("slipway", "feed.ground"),
            End("slipway", "run.bare"),
            End("slipway", "box.slipway"),
        ),
        (End("workshop", "workshop-switch.ground"), End("workshop", "run.bare")),
    ]
    firsts = [CIRCUIT.end_index[group[0]] for group in groups]
    assert firsts == sorted(firsts)


def test_joins_are_kept_in_the_order_of_the_ends() -> None:
    """However joins and their ends were listed, they are kept in one order."""
    assert CIRCUIT.joins == (
        Join("slipway", ("feed.neutral", "lamp.shell"), fixed=True),
        Join("slipway", ("feed.ground", "run.bare", "box.slipway")),
        Join("workshop", ("workshop-switch.ground", "run.bare")),
    )


def test_listing_order_means_nothing_and_fixed_does() -> None:
    """Circuits are equal, and hash alike, when they mean the same; `fixed` is part of that."""
    backwards = [replace(join, ends=join.ends[::-1]) for join in reversed(CIRCUIT.joins)]
    unconnected = Join("workshop", ("run.black",))
    same = replace(CIRCUIT, joins=(*backwards, unconnected))
    assert same == CIRCUIT
    assert hash(same) == hash(CIRCUIT)
    loose = tuple(replace(join, fixed=False) for join in CIRCUIT.joins)
    assert replace(CIRCUIT, joins=loose) != CIRCUIT


def test_a_fixed_end_alone_is_kept() -> None:
    """An end that is fixed to stay unconnected is not among those that may be rearranged."""
    capped = Join("workshop", ("run.white",), fixed=True)
    assert capped in replace(CIRCUIT, joins=(*CIRCUIT.joins, capped)).joins


def test_failures_are_sorted_and_listed_once() -> None:
    """The order of failures, and of the two parts that one names, means nothing."""
    welded = Failure("contact-welded", ("slipway-switch.traveler-1", "slipway-switch.common"))
    stuck = Failure("switch-stuck", ("workshop-switch",), "down")
    again = replace(welded, at=welded.at[::-1])
    assert replace(CIRCUIT, failures=(stuck, welded, again)).failures == (again, stuck)


def test_devices_get_their_defaults() -> None:
    """A lamp has 60 watts and a feed 15 amperes unless the circuit says otherwise; no other has."""
    assert [(d.name, d.watts, d.breaker_amps) for d in CIRCUIT.devices] == [
        ("feed", None, 15.0),
        ("workshop-switch", None, None),
        ("lamp", 60.0, None),
        ("slipway-switch", None, None),
    ]


@pytest.mark.parametrize(("alias", "kind"), ALIASES.items())
def test_a_kind_has_one_name_inside(alias: str, kind: str) -> None:
    """The IEC names are read and the North American ones kept, so equal circuits are equal."""
    devices = tuple(
        replace(device, kind=alias) if device.name == "slipway-switch" else device
        for device in CIRCUIT.devices
    )
    assert replace(CIRCUIT, devices=devices).device("slipway-switch").kind == kind


def test_switches_are_numbered_in_file_order() -> None:
    """Switch i is the i-th switch among the devices as listed: bit i of a state's number."""
    assert [switch.name for switch in CIRCUIT.switches] == ["workshop-switch", "slipway-switch"]
    assert [lamp.name for lamp in CIRCUIT.lamps] == ["lamp"]
    assert CIRCUIT.feed.name == "feed"


def test_a_device_is_found_by_name() -> None:
    """A device and its terminals are found by name; an unknown name is a KeyError."""
    lamp = CIRCUIT.device("lamp")
    assert CIRCUIT.terminal(lamp, "shell") == End("slipway", "lamp.shell")
    with pytest.raises(KeyError, match="mast-light"):
        CIRCUIT.device("mast-light")


def test_a_circuit_cannot_be_changed() -> None:
    """What was proved of a circuit stays true: its parts cannot be replaced in place."""
    with pytest.raises(FrozenInstanceError):
        CIRCUIT.volts = 230.0  # type: ignore[misc]


def test_switches_close_as_the_trade_says() -> None:
    """In each position a switch connects the terminals that its kind connects.

    Positions of patterns 6 and 7 of IEC 60669-1 (from memory, not checked against the document).
    """
    closed = {
        (name, position): {
            frozenset((contact.a, contact.b))
            for contact in kind.contacts
            if getattr(contact, position)
        }
        for name, kind in KINDS.items()
        if kind.is_switch
        for position in POSITIONS
    }
    assert closed == {
        ("single-pole", "up"): {frozenset(("s1", "s2"))},
        ("single-pole", "down"): set(),
        ("three-way", "up"): {frozenset(("common", "traveler-1"))},
        ("three-way", "down"): {frozenset(("common", "traveler-2"))},
        ("four-way", "up"): {frozenset(("a1", "b1")), frozenset(("a2", "b2"))},
        ("four-way", "down"): {frozenset(("a1", "b2")), frozenset(("a2", "b1"))},
    }


def test_every_device_has_a_ground_terminal_that_no_contact_touches() -> None:
    """Ground never depends on the position of a switch."""
    for kind in KINDS.values():
        assert kind.terminals[-1] == "ground"
        assert set(kind.switched_terminals) == set(kind.terminals) - {"ground"}
        assert all("ground" not in (contact.a, contact.b) for contact in kind.contacts)


def test_ground_colours_are_those_of_the_palettes() -> None:
    """Bare, green and green-yellow are the grounds, and no line or neutral conductor is."""
    assert {colour for p in PALETTES.values() for colour in p.ground} == GROUND_COLOURS
    for palette in PALETTES.values():
        assert not any(map(is_ground_colour, (*palette.line, palette.neutral)))
        assert all(map(palette.knows, (*palette.line, palette.neutral, *palette.ground)))


def test_line_colours_run_out_or_are_numbered() -> None:
    """North American line colours end after the eighth; IEC ones go on as black-1, black-2, …"""
    us, iec = PALETTES["us"], PALETTES["iec"]
    assert [us.line_colour(index) for index in range(3)] == ["black", "red", "blue"]
    with pytest.raises(IndexError, match="palette us has no line colour 8"):
        us.line_colour(8)
    assert [iec.line_colour(index) for index in (0, 2, 3, 101)] == [
        "brown",
        "grey",
        "black-1",
        "black-99",
    ]
    assert iec.knows("black-99")
    assert not any(map(iec.knows, ("black-0", "black-100", "black-01", "black-1٣", "black-1\n")))


# What no file can say, since the keys of a table differ; the rest is in test_circuitfile.py.
@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda: replace(CIRCUIT, boxes=(*CIRCUIT.boxes, Box("workshop"))),
            "box 'workshop': is there 2 times; rename all but one",
        ),
        (
            lambda: replace(CIRCUIT, devices=(*CIRCUIT.devices, CIRCUIT.devices[2])),
            "device 'lamp': is there 2 times; rename all but one",
        ),
        (
            lambda: replace(CIRCUIT, cables=CIRCUIT.cables * 3),
            "cable 'run': is there 3 times; rename all but one",
        ),
        (
            lambda: replace(CIRCUIT, name="\ud800"),
            "top of the file: name='\\ud800' must be one line of 1 to 200 printable characters; "
            "write a short title",
        ),
    ],
)
def test_what_only_a_program_can_get_wrong(change: Callable[[], Circuit], message: str) -> None:
    """A program that builds a circuit is held to the same rules as a file."""
    with pytest.raises(CircuitError) as refusal:
        change()
    assert message in str(refusal.value).split("\n")


def test_a_wrong_circuit_reports_every_mistake() -> None:
    """The constructor reports all mistakes together, not the first one."""
    with pytest.raises(CircuitError) as refusal:
        replace(CIRCUIT, name="", boxes=(Box("slipway"), Box("loft")), volts=-1.0)
    places = [problem.place for problem in refusal.value.problems]
    assert places == [
        "top of the file",
        "top of the file",
        "device 'workshop-switch'",
        "cable 'run'",
        "join 2, ends[2]",
        "join 3",
    ]
