"""The circuit file: what is written is what is read, and every mistake gets its message.

Every message is pinned in full: a person acts on it.
"""

import random
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from verify.base.problems import CircuitError
from verify.base.resources import data_path
from verify.circuit.colours import PALETTES
from verify.circuit.devices import ALIASES, KINDS, POSITIONS
from verify.circuit.file import LARGEST_BYTES, dump, load, loads
from verify.circuit.model import Circuit
from verify.circuit.parts import Box, Cable, Device, Failure, Join

BASE = """\
format = 1
name = "Slipway light"
volts = 120

[box.slipway]
[box.workshop]
material = "metal"

[device.feed]
kind = "feed"
box = "slipway"
breaker_amps = 20
[device.lamp]
kind = "lamp"
box = "slipway"
watts = 40
[device.slipway-switch]
kind = "three-way"
box = "slipway"
[device.workshop-switch]
kind = "two-way"
box = "workshop"

[cable.run]
between = ["slipway", "workshop"]
conductors = ["black", "red", "white", "bare"]
size = "14 AWG"
length_m = 6.5

[[join]]
box = "slipway"
ends = ["feed.line", "run.black"]
[[join]]
box = "slipway"
ends = ["feed.ground", "run.bare"]
fixed = true
[[join]]
box = "workshop"
ends = ["box.workshop", "run.bare"]

[[failure]]
kind = "switch-stuck"
at = ["slipway-switch"]
position = "up"
"""
SHIPPED = sorted(data_path("circuits").glob("*.toml"))


def mistakes(content: bytes | str) -> list[str]:
    """The messages about a file, each fit to be printed on a line; none if it is a circuit."""
    try:
        loads(content)
    except CircuitError as error:
        refusal = error
    else:
        return []
    lines = [str(problem) for problem in refusal.problems]
    assert lines
    assert str(refusal).split("\n") == lines
    for line in lines:
        assert line.isprintable()
        assert len(line) < 1000
    return lines


def changed(*edits: tuple[str, str]) -> str:
    """The base file with texts replaced, each of which it has once."""
    text = BASE
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_the_base_file_is_a_circuit() -> None:
    """The file that the tests below spoil is right, and says what it seems to say."""
    assert loads(BASE) == Circuit(
        "Slipway light",
        (Box("slipway"), Box("workshop", "metal")),
        (
            Device("feed", "feed", "slipway", None, 20.0),
            Device("lamp", "lamp", "slipway", 40.0),
            Device("slipway-switch", "three-way", "slipway"),
            Device("workshop-switch", "three-way", "workshop"),
        ),
        (Cable("run", ("slipway", "workshop"), ("black", "red", "white", "bare"), "14 AWG", 6.5),),
        (
            Join("slipway", ("feed.line", "run.black")),
            Join("slipway", ("feed.ground", "run.bare"), fixed=True),
            Join("workshop", ("run.bare", "box.workshop")),
        ),
        (Failure("switch-stuck", ("slipway-switch",), "up"),),
        120.0,
        "us",
    )


def test_what_is_left_out_has_its_default() -> None:
    """The defaults are those of the format: 120 V, us, plastic, 60 W, 15 A, not fixed."""
    left_out = ('name = "Slipway light"\n', "volts = 120\n", "breaker_amps = 20\n", "watts = 40\n")
    circuit = loads(changed(*((line, "") for line in left_out)))
    assert (circuit.name, circuit.volts, circuit.palette) == ("unnamed", 120.0, "us")
    assert circuit.boxes[0].material == "plastic"
    assert circuit.lamps[0].watts == 60.0
    assert circuit.feed.breaker_amps == 15.0
    assert [join.fixed for join in circuit.joins] == [False, True, False]
    assert replace(circuit, name="Slipway light") == loads(
        changed(("breaker_amps = 20", "breaker_amps = 15.0"), ("watts = 40", "watts = 60"))
    )


NAME_RULE = (
    "a name is made of letters, digits, - and _, begins with a letter or digit, "
    "and has at most 60 characters; rename it"
)
KINDS_LISTED = (
    "feed, lamp, receptacle, single-pole, three-way, four-way, two-way, intermediate, one-way"
)
FAILURES_LISTED = (
    "conductor-open, conductors-shorted, contact-open, contact-welded, switch-stuck, lamp-open, "
    "lamp-shorted, loose-join"
)
US_LISTED = "black, red, blue, yellow, orange, brown, violet, pink, white, bare, green"
FAILURE = 'kind = "switch-stuck"\nat = ["slipway-switch"]\nposition = "up"\n'

# What replaces what in the base file, and all that is said about it.
ONE_MISTAKE: dict[str, tuple[str, str, str]] = {
    # The whole.
    "no format": (
        "format = 1\n",
        "",
        "top of the file: format is missing; write format = 1 on the first line",
    ),
    "another format": (
        "format = 1",
        "format = 2",
        "top of the file: format=2 is not known; this program reads format = 1",
    ),
    "format as text": (
        "format = 1",
        'format = "1"',
        'top of the file: format="1" is not known; this program reads format = 1',
    ),
    "format as truth": (
        "format = 1",
        "format = true",
        "top of the file: format=true is not known; this program reads format = 1",
    ),
    "format as table": (
        "format = 1",
        "format = {a = 1}",
        "top of the file: format={…} is not known; this program reads format = 1",
    ),
    "unknown key": (
        "volts = 120",
        "voltage = 120",
        "top of the file: key 'voltage' is not known; known keys are box, cable, device, failure, "
        "format, join, name, palette, volts",
    ),
    "name as number": (
        '"Slipway light"',
        "7",
        "top of the file: name=7 must be a text in quotes",
    ),
    "empty name": (
        '"Slipway light"',
        '" "',
        "top of the file: name=' ' must be one line of 1 to 200 printable characters; "
        "write a short title",
    ),
    "long name": (
        "Slipway light",
        "x" * 201,
        f"top of the file: name='{'x' * 59}…' must be one line of 1 to 200 printable characters; "
        "write a short title",
    ),
    "name of two lines": (
        "Slipway light",
        r"Slipway\nlight",
        r"top of the file: name='Slipway\nlight' must be one line of 1 to 200 printable "
        "characters; write a short title",
    ),
    "volts as text": (
        "volts = 120",
        'volts = "120"',
        'top of the file: volts="120" must be a number',
    ),
    "volts as truth": (
        "volts = 120",
        "volts = false",
        "top of the file: volts=false must be a number",
    ),
    "no volts": (
        "volts = 120",
        "volts = 0",
        "top of the file: volts=0.0 must be a number above 0, such as 120",
    ),
    "endless volts": (
        "volts = 120",
        "volts = inf",
        "top of the file: volts=inf must be a number above 0, such as 120",
    ),
    "volts that are no number": (
        "volts = 120",
        "volts = nan",
        "top of the file: volts=nan must be a number above 0, such as 120",
    ),
    "volts beyond all numbers": (
        "volts = 120",
        f"volts = 0x{'f' * 6000}",
        "top of the file: volts is far too large; write a number of the usual size",
    ),
    "unknown palette": (
        "volts = 120",
        'palette = "uk"',
        "top of the file: palette='uk' is not known; write one of us, iec",
    ),
    "palette as list": (
        "volts = 120",
        'palette = ["us", ["iec"], 3, true, {}]',
        'top of the file: palette=["us", […], 3, true, …] must be a text in quotes',
    ),
    # Boxes.
    "unknown material": (
        '"metal"',
        '"steel"',
        "box 'workshop': material='steel' is not known; write one of plastic, metal",
    ),
    "material as date": (
        '"metal"',
        "2024-05-01",
        "box 'workshop': material=2024-05-01 must be a text in quotes",
    ),
    "unknown key of a box": (
        "[box.slipway]",
        "[box.slipway]\ncolour = 1",
        "box 'slipway': key 'colour' is not known; known keys are material",
    ),
    "box that is no table": (
        "[box.slipway]",
        '[box]\nslipway = "metal"',
        "box 'slipway': must be a table; write [box.slipway] and its keys below",
    ),
    "name of a box": ("[box.slipway]", '[box.slipway]\n[box."a b"]', f"box 'a b': {NAME_RULE}"),
    "long name of a box": (
        "[box.slipway]",
        f"[box.slipway]\n[box.{'b' * 10_000}]",
        f"box '{'b' * 59}…': {NAME_RULE}",
    ),
    "markup as a name": (
        "[box.slipway]",
        "[box.slipway]\n[box.\"<script>alert('1')</script>\"]",
        f"box '<script>alert('1')</script>': {NAME_RULE}",
    ),
    "mark that turns the direction of writing": (
        "[box.slipway]",
        '[box.slipway]\n[box."quay\\u202e"]',
        f"box 'quay\\u202e': {NAME_RULE}",
    ),
    # Devices.
    "unknown kind": (
        '"two-way"',
        '"2-way"',
        f"device 'workshop-switch': kind='2-way' is not known; write one of {KINDS_LISTED}",
    ),
    "no kind": (
        'kind = "two-way"\n',
        "",
        "device 'workshop-switch': kind is missing; write for example kind = \"three-way\"",
    ),
    "kind as number": (
        '"two-way"',
        "2",
        "device 'workshop-switch': kind=2 must be a text in quotes",
    ),
    "unknown box of a device": (
        'box = "slipway"\nbreaker_amps',
        'box = "slip"\nbreaker_amps',
        "device 'feed': box='slip' is not among the boxes; they are slipway, workshop",
    ),
    "no box of a device": (
        'box = "slipway"\nbreaker_amps',
        "breaker_amps",
        "device 'feed': box is missing; write for example box = \"landing\"",
    ),
    "unknown key of a device": (
        "breaker_amps",
        "breaker",
        "device 'feed': key 'breaker' is not known; known keys are box, "
        "breaker_amps, kind, leg, length_m, loads, size, watts",
    ),
    "watts of a feed": (
        "breaker_amps = 20",
        "watts = 20",
        "device 'feed': watts belongs to a lamp; remove it from this feed",
    ),
    "breaker of a lamp": (
        "watts = 40",
        "breaker_amps = 40",
        "device 'lamp': breaker_amps belongs to a feed; remove it from this lamp",
    ),
    "negative watts": (
        "watts = 40",
        "watts = -40",
        "device 'lamp': watts=-40.0 must be a number above 0",
    ),
    "breaker as text": (
        "breaker_amps = 20",
        'breaker_amps = "20 A"',
        "device 'feed': breaker_amps=\"20 A\" must be a number",
    ),
    "device that is no table": (
        "[device.feed]",
        "[device]\nspare = 1\n[device.feed]",
        "device 'spare': must be a table; write [device.spare] and its keys below",
    ),
    "device called box": (
        "[cable.run]",
        '[device.box]\nkind = "lamp"\nbox = "slipway"\n[cable.run]',
        "device 'box': the name 'box' is kept for metal boxes; rename it",
    ),
    "leg of a lamp": (
        "watts = 40",
        'watts = 40\nleg = "B"',
        "device 'lamp': leg belongs to a feed; remove it from this lamp",
    ),
    "unknown leg": (
        "breaker_amps = 20",
        'breaker_amps = 20\nleg = "C"',
        "device 'feed': leg='C' must be A or B",
    ),
    "loads of a lamp": (
        "watts = 40",
        "watts = 40\nloads = [10]",
        "device 'lamp': loads belongs to a receptacle; remove it from this lamp",
    ),
    "loads as a text": (
        "watts = 40",
        'watts = 40\nloads = ["10"]',
        "device 'lamp': loads=[\"10\"] must be a list of numbers",
    ),
    "load of nothing": (
        "[cable.run]",
        '[device.outlet]\nkind = "receptacle"\nbox = "slipway"\nloads = [10, 0]\n[cable.run]',
        "device 'outlet': loads=[10.0, 0.0] must be numbers above 0, in watts",
    ),
    "negative length of a feed": (
        "breaker_amps = 20",
        "breaker_amps = 20\nlength_m = -3",
        "device 'feed': length_m=-3.0 must be a number above 0",
    ),
    "blank size of a feed": (
        "breaker_amps = 20",
        'breaker_amps = 20\nsize = " "',
        "device 'feed': size=' ' must have 1 to 60 printable characters, such as '14 AWG'",
    ),
    "no lamp": (
        'kind = "lamp"\nbox = "slipway"\nwatts = 40',
        'kind = "receptacle"\nbox = "slipway"',
        "device: there is no lamp; add a device of kind 'lamp'",
    ),
    # Cables.
    "no between": (
        'between = ["slipway", "workshop"]\n',
        "",
        'cable \'run\': between is missing; write for example between = ["landing", "slipway"]',
    ),
    "cable between three": (
        '["slipway", "workshop"]',
        '["slipway", "workshop", "slipway"]',
        'cable \'run\': between must name two boxes, such as between = ["landing", "slipway"]',
    ),
    "between as numbers": (
        '["slipway", "workshop"]',
        "[1, 2]",
        "cable 'run': between=[1, 2] must be a list of texts in quotes",
    ),
    "unknown box of a cable": (
        '["slipway", "workshop"]',
        '["slipway", "loft"]',
        "cable 'run': between names box 'loft', which is not among the boxes; "
        "they are slipway, workshop",
    ),
    "no conductors": (
        'conductors = ["black", "red", "white", "bare"]\n',
        "",
        "cable 'run': conductors is missing; write for example "
        'conductors = ["black", "white", "bare"]',
    ),
    "conductors as text": (
        'conductors = ["black", "red", "white", "bare"]',
        'conductors = "black"',
        "cable 'run': conductors=\"black\" must be a list of texts in quotes",
    ),
    "two conductors alike": (
        '"red", "white"',
        '"red", "red", "white"',
        "cable 'run': has 2 conductors 'red'; the conductors of a cable have different colours, "
        "so use two cables or another colour",
    ),
    "unknown colour": (
        '"red", "white"',
        '"red", "white", "grey"',
        f"cable 'run': colour 'grey' is not in palette 'us'; it has {US_LISTED}",
    ),
    "blank size": (
        '"14 AWG"',
        '""',
        "cable 'run': size='' must have 1 to 60 printable characters, such as '14 AWG'",
    ),
    "size with a control character": (
        '"14 AWG"',
        r'"14\u007fAWG"',
        r"cable 'run': size='14\x7fAWG' must have 1 to 60 printable characters, such as '14 AWG'",
    ),
    "size as number": ('"14 AWG"', "14", "cable 'run': size=14 must be a text in quotes"),
    "no length": (
        "length_m = 6.5",
        "length_m = 0.0",
        "cable 'run': length_m=0.0 must be a number above 0",
    ),
    "length as text": (
        "length_m = 6.5",
        'length_m = "6.5 m"',
        "cable 'run': length_m=\"6.5 m\" must be a number",
    ),
    "unknown key of a cable": (
        "length_m = 6.5",
        "length_ft = 20",
        "cable 'run': key 'length_ft' is not known; known keys are between, conductors, length_m, "
        "size",
    ),
    "cable called like a device": (
        "[cable.run]",
        '[cable.lamp]\nbetween = ["slipway", "workshop"]\nconductors = ["black"]\n[cable.run]',
        "cable 'lamp': a device has this name too; rename one of the two",
    ),
    "cable called box": (
        "[cable.run]",
        '[cable.box]\nbetween = ["slipway", "workshop"]\nconductors = ["black"]\n[cable.run]',
        "cable 'box': the name 'box' is kept for metal boxes; rename it",
    ),
    "cable that is no table": (
        "[cable.run]",
        "[cable]\nspare = []\n[cable.run]",
        "cable 'spare': must be a table; write [cable.spare] and its keys below",
    ),
    "cable to its own box": (
        "[[failure]]",
        '[cable.loop]\nbetween = ["slipway", "slipway"]\nconductors = ["black"]\n[[failure]]',
        "cable 'loop': begins and ends in box 'slipway'; a cable joins two boxes, "
        "so name the other one",
    ),
    # Joins.
    "no box of a join": (
        'box = "slipway"\nends = ["feed.line"',
        'ends = ["feed.line"',
        'join 1: box is missing; write for example box = "landing"',
    ),
    "unknown box of a join": (
        'box = "slipway"\nends = ["feed.line"',
        'box = "slip"\nends = ["feed.line"',
        "join 1: box='slip' is not among the boxes; they are slipway, workshop",
    ),
    "no ends": (
        'ends = ["feed.line", "run.black"]\n',
        "",
        'join 1: ends is missing; write for example ends = ["feed.line", "slipway-run.black"]',
    ),
    "empty ends": (
        '["feed.line", "run.black"]',
        "[]",
        "join 1: has no ends; list what is connected here, or remove it",
    ),
    "ends as numbers": (
        '["feed.line", "run.black"]',
        '["feed.line", 3]',
        'join 1: ends=["feed.line", 3] must be a list of texts in quotes',
    ),
    "unknown key of a join": (
        'ends = ["feed.line", "run.black"]',
        'ends = ["feed.line", "run.black"]\ncolour = "red"',
        "join 1: key 'colour' is not known; known keys are box, ends, fixed",
    ),
    "fixed as number": ("fixed = true", "fixed = 1", "join 2: fixed=1 must be true or false"),
    "end without a dot": (
        '"feed.line"',
        '"feed"',
        "join 1, ends[0]: 'feed' is not an end; write device.terminal, cable.colour or box.NAME",
    ),
    "end of nothing": (
        '"feed.line"',
        '".line"',
        "join 1, ends[0]: '.line' is not an end; write device.terminal, cable.colour or box.NAME",
    ),
    "unknown owner": (
        '"run.black"',
        '"rum.black"',
        "join 1, ends[1]: there is no device or cable 'rum'; devices are feed, lamp, "
        "slipway-switch, workshop-switch; cables are run",
    ),
    "unknown terminal": (
        '"feed.line"',
        '"feed.hot"',
        "join 1, ends[0]: device 'feed' has no terminal 'hot'; it has line, neutral, ground",
    ),
    "unknown conductor": (
        '"run.black"',
        '"run.blue"',
        "join 1, ends[1]: cable 'run' has no conductor 'blue'; it has black, red, white, bare",
    ),
    "device in another box": (
        '["box.workshop", "run.bare"]',
        '["box.workshop", "run.bare", "lamp.ground"]',
        "join 3, ends[2]: device 'lamp' is in box 'slipway', not in 'workshop'; a join is within "
        "one box, so move the end to a join there",
    ),
    "cable that does not come here": (
        "[[failure]]",
        '[box.loft]\n[[join]]\nbox = "loft"\nends = ["run.red"]\n[[failure]]',
        "join 4, ends[0]: cable 'run' runs between 'slipway' and 'workshop' and does not enter box "
        "'loft'; move the end to a join in one of them",
    ),
    "another box": (
        '"box.workshop"',
        '"box.slipway"',
        "join 3, ends[0]: 'box.slipway' does not stand in box 'workshop'; write 'box.workshop'",
    ),
    "plastic box": (
        '"metal"',
        '"plastic"',
        "join 3, ends[0]: box 'workshop' is plastic and cannot be connected; remove it or give the "
        'box material = "metal"',
    ),
    "end in two joins": (
        '["feed.ground", "run.bare"]',
        '["feed.ground", "run.bare", "feed.line"]',
        "join 2, ends[2]: 'feed.line' in box 'slipway' is in join 1 already; an end is in one "
        "join, so merge the two or remove it from one",
    ),
    "end listed twice": (
        '["feed.ground", "run.bare"]',
        '["feed.ground", "run.bare", "run.bare"]',
        "join 2: 'run.bare' is listed 2 times; keep one of them",
    ),
    "end of 10,000 characters": (
        '"feed.line"',
        f'"feed.{"l" * 10_000}"',
        f"join 1, ends[0]: device 'feed' has no terminal '{'l' * 59}…'; "
        "it has line, neutral, ground",
    ),
    # Failures.
    "no kind of a failure": (
        'kind = "switch-stuck"\n',
        "",
        'failure 1: kind is missing; write for example kind = "conductor-open"',
    ),
    "unknown failure": (
        '"switch-stuck"',
        '"switch-loose"',
        f"failure 1: kind='switch-loose' is not known; write one of {FAILURES_LISTED}",
    ),
    "failure of nothing": (
        'at = ["slipway-switch"]\n',
        "",
        'failure 1: at is missing; write for example at = ["slipway-run.red"]',
    ),
    "no position": (
        'position = "up"\n',
        "",
        "failure 1: position='' must be 'up' or 'down' for switch-stuck; write where it stays",
    ),
    "unknown position": (
        'position = "up"',
        'position = "left"',
        "failure 1: position='left' must be 'up' or 'down' for switch-stuck; write where it stays",
    ),
    "position as number": (
        'position = "up"',
        "position = 1",
        "failure 1: position=1 must be a text in quotes",
    ),
    "position of a lamp": (
        FAILURE,
        'kind = "lamp-open"\nat = ["lamp"]\nposition = "up"\n',
        "failure 1: position belongs to switch-stuck; remove it from lamp-open",
    ),
    "loose nowhere": (
        'kind = "switch-stuck"\nat = ["slipway-switch"]\nposition = "up"',
        'kind = "loose-join"\nat = ["feed.line"]',
        "failure 1: box='' must name the box of the loose connection; boxes are slipway, workshop",
    ),
    "loose where nothing is joined": (
        'kind = "switch-stuck"\nat = ["slipway-switch"]\nposition = "up"',
        'kind = "loose-join"\nbox = "workshop"\nat = ["feed.line"]',
        "failure 1: 'feed.line' is in no join of box 'workshop', so nothing can be loose there; "
        "write one of box.workshop, run.bare",
    ),
    "box of another failure": (
        'position = "up"',
        'position = "up"\nbox = "slipway"',
        "failure 1: box belongs to loose-join; remove it from switch-stuck",
    ),
    "unknown key of a failure": (
        'position = "up"',
        'position = "up"\nohms = 5',
        "failure 1: key 'ohms' is not known; known keys are at, box, kind, position",
    ),
    "stuck lamp": (
        '["slipway-switch"]',
        '["lamp"]',
        "failure 1: 'lamp' is not a switch; write one of slipway-switch, workshop-switch",
    ),
    "open switch": (
        FAILURE,
        'kind = "lamp-open"\nat = ["workshop-switch"]\n',
        "failure 1: 'workshop-switch' is not a lamp; write one of lamp",
    ),
    "two parts for one": (
        '["slipway-switch"]',
        '["slipway-switch", "workshop-switch"]',
        "failure 1: at names slipway-switch, workshop-switch; it must name one part for "
        "switch-stuck",
    ),
    "one part for two": (
        FAILURE,
        'kind = "conductors-shorted"\nat = ["run.red", "run.red"]\n',
        "failure 1: at names run.red, run.red; it must name two different parts for "
        "conductors-shorted",
    ),
    "no part": (
        FAILURE,
        'kind = "conductor-open"\nat = []\n',
        "failure 1: at names none; it must name one part for conductor-open",
    ),
    "conductor of no cable": (
        FAILURE,
        'kind = "conductor-open"\nat = ["lamp.shell"]\n',
        "failure 1: 'lamp.shell' names no cable; write cable.colour, cables are run",
    ),
    "conductor that is not there": (
        FAILURE,
        'kind = "conductor-open"\nat = ["run.blue"]\n',
        "failure 1: cable 'run' has no conductor 'blue'; it has black, red, white, bare",
    ),
    "conductors of two cables": (
        "[[failure]]\n" + FAILURE,
        '[cable.other]\nbetween = ["slipway", "workshop"]\nconductors = ["black"]\n'
        '[[failure]]\nkind = "conductors-shorted"\nat = ["run.red", "other.black"]\n',
        "failure 1: run.red and other.black are in different cables; conductors short within one "
        "cable, so name two of the same",
    ),
    "contact between two switches": (
        FAILURE,
        'kind = "contact-open"\nat = ["slipway-switch.common", "workshop-switch.common"]\n',
        "failure 1: slipway-switch.common and workshop-switch.common are not two terminals of one "
        "switch; write them as switch.terminal",
    ),
    "contact that no switch has": (
        FAILURE,
        'kind = "contact-welded"\n'
        'at = ["slipway-switch.traveler-1", "slipway-switch.traveler-2"]\n',
        "failure 1: slipway-switch.traveler-1 and slipway-switch.traveler-2 are not a contact of a "
        "three-way; its contacts are common–traveler-1, common–traveler-2",
    ),
    "stuck up and down": (
        FAILURE,
        FAILURE + "[[failure]]\n" + FAILURE.replace("up", "down"),
        "failure 2: contradicts an earlier failure of slipway-switch (switch-stuck up); "
        "keep one of the two",
    ),
    "open and welded": (
        FAILURE,
        'kind = "contact-welded"\nat = ["slipway-switch.common", "slipway-switch.traveler-1"]\n'
        "[[failure]]\n"
        'kind = "contact-open"\nat = ["slipway-switch.traveler-1", "slipway-switch.common"]\n',
        "failure 2: contradicts an earlier failure of slipway-switch.traveler-1 and "
        "slipway-switch.common (contact-welded); keep one of the two",
    ),
}


@pytest.mark.parametrize(("old", "new", "message"), ONE_MISTAKE.values(), ids=ONE_MISTAKE)
def test_one_mistake_gets_one_message(old: str, new: str, message: str) -> None:
    """A message names the place, the value, the rule and the remedy; what follows is not said."""
    assert mistakes(changed((old, new))) == [message]


def test_nothing_but_a_format() -> None:
    """A file that describes nothing is told all that a circuit needs."""
    assert mistakes("format = 1") == [
        "device: there is no feed; add a device of kind 'feed'",
        "device: there is no lamp; add a device of kind 'lamp'",
        "device: there is no switch; add a device of kind 'three-way', 'four-way' or 'single-pole'",
    ]


def test_all_mistakes_are_reported_together_and_in_order() -> None:
    """A file with many mistakes is mended in one go: each is there, in the order of the format."""
    assert mistakes(
        changed(
            ("volts = 120", 'volts = "120"\ncolour = 1'),
            ('"metal"', '"steel"'),
            ("watts = 40", "watts = -1\nlumens = 800"),
            ('"two-way"', '"2-way"'),
            ('"red", "white"', '"grey", "white"'),
            ("length_m = 6.5", "length_m = []"),
            ('"feed.line"', '"feed.hot"'),
            ('"run.black"]', '"run.red"]'),
            ("fixed = true", 'fixed = "yes"'),
            ("\nat =", "\non ="),
        )
    ) == [
        'top of the file: volts="120" must be a number',
        "top of the file: key 'colour' is not known; known keys are box, cable, device, failure, "
        "format, join, name, palette, volts",
        "box 'workshop': material='steel' is not known; write one of plastic, metal",
        "device 'lamp': key 'lumens' is not known; known keys are box, "
        "breaker_amps, kind, leg, length_m, loads, size, watts",
        "device 'lamp': watts=-1.0 must be a number above 0",
        f"device 'workshop-switch': kind='2-way' is not known; write one of {KINDS_LISTED}",
        "cable 'run': length_m=[] must be a number",
        f"cable 'run': colour 'grey' is not in palette 'us'; it has {US_LISTED}",
        "join 1, ends[0]: device 'feed' has no terminal 'hot'; it has line, neutral, ground",
        "join 1, ends[1]: cable 'run' has no conductor 'red'; it has black, grey, white, bare",
        'join 2: fixed="yes" must be true or false',
        'failure 1: at is missing; write for example at = ["slipway-run.red"]',
        "failure 1: key 'on' is not known; known keys are at, box, kind, position",
    ]


SECTIONS_LOST = {
    "box": (
        [("[box.slipway]\n", ""), ('[box.workshop]\nmaterial = "metal"', "[[box]]")],
        "box: must be written as tables: [box.NAME], one for each box",
    ),
    "device": (
        [("[device.feed]", "[[device]]"), ("[device.lamp]", "[[device]]")]
        + [(f"[device.{name}-switch]", "[[device]]") for name in ("slipway", "workshop")],
        "device: must be written as tables: [device.NAME], one for each device",
    ),
    "cable": (
        [("[cable.run]", "[[cable]]")],
        "cable: must be written as tables: [cable.NAME], one for each cable",
    ),
}


@pytest.mark.parametrize(("edits", "message"), SECTIONS_LOST.values(), ids=SECTIONS_LOST)
def test_a_lost_section_is_one_mistake(edits: list[tuple[str, str]], message: str) -> None:
    """Double brackets where single ones belong are one mistake, and hide no other."""
    assert mistakes(changed(*edits)) == [message]
    length = ("length_m = 6.5", "length_m = -1")
    elsewhere = "join 2: fixed=1 must be true or false"
    assert mistakes(changed(*edits, length, ("fixed = true", "fixed = 1")))[-1] == elsewhere


@pytest.mark.parametrize("key", ["join", "failure"])
def test_single_brackets_where_double_ones_belong(key: str) -> None:
    """A join or failure written as a named table is one mistake with its remedy."""
    text = BASE[: BASE.index("[[join]]")] + f"[{key}.first]\n"
    assert mistakes(text) == [
        f"{key}: must be written with double brackets: [[{key}]], once for each"
    ]


def test_what_is_not_a_table_keeps_its_number() -> None:
    """A join that is no table is counted, so the numbers after it are those of the file."""
    text = "join = [3, {box = 'slip', ends = ['feed.line']}]\n" + BASE[: BASE.index("[[join]]")]
    assert mistakes(text) == [
        "join 1: must be a table; write [[join]] and its keys below",
        "join 2: box='slip' is not among the boxes; they are slipway, workshop",
    ]


def test_long_lists_of_names_are_cut() -> None:
    """A message lists twelve names at most, so that it stays a sentence."""
    boxes = "".join(f"[box.b{number}]\n" for number in range(100))
    (message,) = mistakes(
        changed(
            ("[box.slipway]", f"{boxes}[box.slipway]"),
            ('"two-way"\nbox = "workshop"', '"two-way"\nbox = "loft"'),
        )
    )
    assert message == (
        "device 'workshop-switch': box='loft' is not among the boxes; they are "
        "b0, b1, b2, b3, b4, b5, b6, b7, b8, b9, b10, b11, …"
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "the file is empty; a circuit file begins with: format = 1"),
        (b" \n\t\n", "the file is empty; a circuit file begins with: format = 1"),
        (
            b"\x89PNG\r\n\x1a\n\x00\x00",
            "the file is not UTF-8 (byte 0); a circuit file is a TOML text, save it as UTF-8",
        ),
        (
            BASE.encode("utf-16"),
            "the file is not UTF-8 (byte 0); a circuit file is a TOML text, save it as UTF-8",
        ),
        (
            b"#" * (LARGEST_BYTES + 1),
            "the file has more than 1,000,000 bytes, so it is not one circuit; split it",
        ),
        (
            b"a" + b".a" * 200_000 + b" = 1",
            "the file has a key of more than 100 parts; write tables such as [device.feed]",
        ),
        (
            b"[" + b'"a" . ' * 200 + b"a]",
            "the file has a key of more than 100 parts; write tables such as [device.feed]",
        ),
        (
            'name = "\ud800"',
            "the file is not UTF-8 (byte 8); a circuit file is a TOML text, save it as UTF-8",
        ),
    ],
    ids=["empty", "blank", "binary", "UTF-16", "too large", "key", "header", "lone surrogate"],
)
def test_what_is_no_circuit_file_at_all(content: bytes | str, message: str) -> None:
    """What is no text of a circuit gets one message about the file."""
    assert mistakes(content) == [message]


@pytest.mark.parametrize(
    "content",
    [
        "format =",
        "format = 1\nformat = 1",
        "[box.a]\n[box.a]",
        "x = 2024-13-45",
        "\x00",
        "name = 'a\u202e",
        BASE.replace("\n", "\r"),
    ],
    ids=range(7),
)
def test_what_is_not_toml(content: str) -> None:
    """Broken, contradictory or absurd TOML is one message that says where and what to do."""
    (message,) = mistakes(content)
    assert message.startswith("the file is not TOML (")
    assert message.endswith("); mend the text there, or fetch it again if it is cut short")


@pytest.mark.parametrize(
    ("content", "rule"),
    [
        ("x = " + "[" * 100_000, "has lists or tables within each other, deeper than any circuit"),
        ("x = " + "{a = " * 100_000, "has lists or tables within each other"),
        ("x = " + "9" * 5_000, "has a number of more digits than any measure"),
    ],
    ids=range(3),
)
def test_absurd_toml_is_refused_in_plain_words(content: str, rule: str) -> None:
    """What is too deep or too long for Python gets our sentence, not one for programmers."""
    (message,) = mistakes(content)
    assert message.startswith(f"the file {rule}")
    assert "; write " in message
    assert "recursion" not in message
    assert "sys." not in message


def test_toml_mistakes_are_located() -> None:
    """The line and column of a slip in the TOML are in the message."""
    (message,) = mistakes(changed(('kind = "lamp"', 'kind = lamp"')))
    line = BASE[: BASE.index('kind = "lamp"')].count("\n") + 1
    assert f"(at line {line}, column " in message


def test_a_byte_order_mark_is_no_mistake() -> None:
    """Some editors put a byte order mark before a text or end its lines with two characters."""
    for content in (BASE.encode("utf-8-sig"), BASE.replace("\n", "\r\n").encode()):
        assert loads(content) == loads(BASE)


def test_loading_a_file(tmp_path: Path) -> None:
    """A file is read as its bytes are parsed."""
    path = tmp_path / "slipway light ☼.toml"
    path.write_text(BASE, "utf-8")
    assert load(path) == load(str(path)) == loads(BASE)


UNREADABLE = r"slipway\.toml: cannot be read \(.+\); open it for reading$"


@pytest.mark.parametrize("mode", ["r", "rb"])
def test_loading_an_open_file(tmp_path: Path, mode: str) -> None:
    """A file that is open already is read as text or as bytes, byte order mark or not."""
    path = tmp_path / "slipway light ☼.toml"
    for mark in ("", "\ufeff"):
        path.write_text(mark + BASE, "utf-8")
        with path.open(mode, encoding=None if "b" in mode else "utf-8") as file:
            assert load(file) == loads(BASE)


def test_an_open_file_that_cannot_be_read(tmp_path: Path) -> None:
    """A closed file, one open for writing, and one that is no UTF-8 are messages with its name."""
    path = tmp_path / "slipway.toml"
    path.write_bytes(b"name = '\xff'")
    with (
        path.open(encoding="utf-8") as file,
        pytest.raises(CircuitError, match=r"slipway\.toml: the file is not UTF-8 \(byte 8\)"),
    ):
        load(file)
    with pytest.raises(CircuitError, match=UNREADABLE):
        load(file)
    with (
        path.open("w", encoding="utf-8") as written,
        pytest.raises(CircuitError, match=UNREADABLE),
    ):
        load(written)


@pytest.mark.parametrize("name", ["absent.toml", "", "x" * 300, "a\0b"])
def test_what_cannot_be_read(tmp_path: Path, name: str) -> None:
    """An absent file, a folder and an impossible name are messages too."""
    with pytest.raises(CircuitError, match=r": cannot be read \(.+\); check the path$"):
        load(tmp_path / name)


def test_a_large_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    """A file of 5 MB, and one without end, are refused for their size."""
    path = tmp_path / "large.toml"
    path.write_bytes(BASE.encode() + b"#" * 5_000_000)
    for large in (path, Path("/dev/zero")):
        if large.exists():
            with pytest.raises(CircuitError, match="more than 1,000,000 bytes"):
                load(large)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_truncated_file_never_breaks_the_reader(path: Path) -> None:
    """A file that is cut short anywhere is a smaller circuit or a list of mistakes."""
    content = path.read_bytes()
    outcomes = [bool(mistakes(content[:length])) for length in range(0, len(content), 7)]
    assert any(outcomes)


NAMES = st.text(st.sampled_from("abz09-_éßאあ"), min_size=1, max_size=8).filter(
    lambda name: name[0] not in "-_" and name != "box"
)
TITLES = st.text(max_size=30).map(lambda text: f"Quay {text}").filter(str.isprintable)
NUMBERS = st.floats(1e-3, 1e6) | st.integers(1, 10**6) | st.sampled_from([5e-324, 1.7e308])


@st.composite
def circuits(draw: st.DrawFn) -> Circuit:
    """Any circuit that the format can hold, sensible or not."""
    names = draw(st.lists(NAMES, min_size=5, max_size=14, unique=True))
    boxes = tuple(
        Box(name, draw(st.sampled_from(("plastic", "metal"))))
        for name in names[: draw(st.integers(1, 3))]
    )
    in_box = st.sampled_from([box.name for box in boxes])
    palette = draw(st.sampled_from(tuple(PALETTES.values())))
    colours = [*map(palette.line_colour, range(4)), palette.neutral, *palette.ground]
    kinds = ["feed", "lamp", draw(st.sampled_from([k for k, v in KINDS.items() if v.is_switch]))]
    devices, cables = [], []
    for number, name in enumerate(names):
        if number < len(kinds) or len(boxes) == 1 or draw(st.booleans()):
            others = st.sampled_from([kind for kind in (*KINDS, *ALIASES) if kind != "feed"])
            kind = kinds[number] if number < len(kinds) else draw(others)
            devices.append(
                Device(
                    name,
                    kind,
                    draw(in_box),
                    draw(st.none() | NUMBERS) if kind == "lamp" else None,
                    draw(st.none() | NUMBERS) if kind == "feed" else None,
                )
            )
        else:
            first, second = draw(st.permutations([box.name for box in boxes]))[:2]
            conductors = draw(st.lists(st.sampled_from(colours), min_size=1, unique=True))
            size = draw(st.none() | TITLES)
            cables.append(
                Cable(name, (first, second), tuple(conductors), size, draw(st.none() | NUMBERS))
            )
    bare = Circuit(
        draw(TITLES),
        boxes,
        tuple(devices),
        tuple(cables),
        (),
        (),
        draw(NUMBERS),
        palette.name,
    )
    return replace(bare, joins=draw(joins(bare)), failures=draw(failures(bare)))


@st.composite
def joins(draw: st.DrawFn, circuit: Circuit) -> tuple[Join, ...]:
    """The ends of each box, parted in any way."""
    found = []
    for box in circuit.boxes:
        groups: dict[int, list[str]] = {}
        for end in circuit.ends:
            if end.box == box.name:
                groups.setdefault(draw(st.integers(0, 5)), []).append(end.name)
        found += [Join(box.name, tuple(ends), draw(st.booleans())) for ends in groups.values()]
    return tuple(found)


def failures(circuit: Circuit) -> st.SearchStrategy[tuple[Failure, ...]]:
    """Some failed parts, none of which contradicts another."""
    options = [Failure("lamp-open", (lamp.name,)) for lamp in circuit.lamps]
    options += [
        Failure("conductor-open", (f"{cable.name}.{cable.conductors[0]}",))
        for cable in circuit.cables
    ]
    for switch in circuit.switches:
        contact = switch.form.contacts[0]
        pair = (f"{switch.name}.{contact.a}", f"{switch.name}.{contact.b}")
        options += [
            Failure("contact-welded", pair),
            Failure("switch-stuck", (switch.name,), "down"),
        ]
    return st.lists(st.sampled_from(options), max_size=4).map(tuple)


@given(circuits())
def test_round_trip_is_identity(circuit: Circuit) -> None:
    """What is dumped and read again is the same circuit, and dumped again the same text."""
    text = dump(circuit)
    assert loads(text) == circuit
    assert loads(text.encode()) == circuit
    assert dump(loads(text)) == text
    assert text.endswith("\n")


@given(circuits(), st.randoms(use_true_random=False))
def test_order_of_joins_and_ends_means_nothing(circuit: Circuit, rng: random.Random) -> None:
    """However joins, their ends, and failures are listed in a file, it is the same circuit."""
    shuffled = [
        replace(join, ends=tuple(rng.sample(join.ends, len(join.ends)))) for join in circuit.joins
    ]
    rng.shuffle(shuffled)
    failed = [replace(failure, at=failure.at[::-1]) for failure in circuit.failures]
    rng.shuffle(failed)
    document = tomllib.loads(dump(circuit))
    document["join"] = [
        {"box": join.box, "ends": list(join.ends), "fixed": join.fixed} for join in shuffled
    ]
    document["failure"] = [
        {"kind": f.kind, "at": list(f.at)} | ({"position": f.position} if f.position else {})
        for f in failed
    ]
    again = loads(written(document))
    assert again == circuit
    assert dump(again) == dump(circuit)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_circuits_survive_the_round_trip(path: Path) -> None:
    """The circuits that people read say the same after a round trip."""
    circuit = load(path)
    assert loads(dump(circuit)) == circuit


def test_the_dump_reads_like_a_file_written_by_hand() -> None:
    """The dump has the order and the look of a file that a person writes, without the defaults."""
    assert (
        dump(loads(BASE))
        == """\
format = 1
name = "Slipway light"

[box.slipway]
[box.workshop]
material = "metal"

[device.feed]
kind = "feed"
box = "slipway"
breaker_amps = 20.0

[device.lamp]
kind = "lamp"
box = "slipway"
watts = 40.0

[device.slipway-switch]
kind = "three-way"
box = "slipway"

[device.workshop-switch]
kind = "three-way"
box = "workshop"

[cable.run]
between = ["slipway", "workshop"]
conductors = ["black", "red", "white", "bare"]
size = "14 AWG"
length_m = 6.5

[[join]]
box = "slipway"
ends = ["feed.line", "run.black"]

[[join]]
box = "slipway"
ends = ["feed.ground", "run.bare"]
fixed = true

[[join]]
box = "workshop"
ends = ["run.bare", "box.workshop"]

[[failure]]
kind = "switch-stuck"
at = ["slipway-switch"]
position = "up"
"""
    )


def written(value: object, *, top: bool = True) -> str:
    """A document as TOML text, tables inline but for the top."""
    if isinstance(value, Mapping):
        pairs = [
            f"{written(key, top=False)} = {written(item, top=False)}" for key, item in value.items()
        ]
        return "\n".join(pairs) if top else f"{{{', '.join(pairs)}}}"
    if isinstance(value, list):
        return f"[{', '.join(written(item, top=False) for item in value)}]"
    if isinstance(value, str):
        escaped = (c if c.isalnum() else f"\\U{ord(c):08x}" for c in value)
        return f'"{"".join(escaped)}"'
    if isinstance(value, int) and value >= 10**18:
        return hex(value)  # Python refuses to write thousands of decimal digits.
    return str(value).lower()


WORDS = (
    st.sampled_from(
        (
            *KINDS,
            *ALIASES,
            *POSITIONS,
            "us",
            "iec",
            "metal",
            "black",
            "white",
            "bare",
            "run",
            "feed",
        )
    )
    | st.sampled_from(
        (
            "feed.line",
            "lamp.shell",
            "run.black",
            "run.bare",
            "box.slipway",
            "a.b",
            ".",
            "a.",
            "x" * 80,
        )
    )
    | st.sampled_from(
        (
            "conductor-open",
            "conductors-shorted",
            "contact-welded",
            "switch-stuck",
            "lamp-open",
            "box",
        )
    )
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=5)
)
SCALARS = (
    WORDS
    | st.booleans()
    | st.integers(-3, 3)
    | st.integers(-(10**30), 10**30)
    | st.floats()
    | st.integers(0, 20_000).map(lambda bits: 1 << bits)
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=4,
)


def tables(*keys: str) -> st.SearchStrategy[dict[str, object]]:
    """Tables with some of these keys, and now and then another, each with any value."""
    texts: st.SearchStrategy[object] = st.lists(WORDS, max_size=3)
    return st.dictionaries(st.sampled_from(keys) | WORDS, WORDS | texts | VALUES, max_size=4)


DOCUMENTS = st.fixed_dictionaries(
    {},
    optional={
        "format": st.just(1) | VALUES,
        "name": WORDS | VALUES,
        "volts": VALUES,
        "palette": st.sampled_from(["us", "iec"]) | VALUES,
        "box": st.dictionaries(WORDS, tables("material") | VALUES, max_size=3) | VALUES,
        "device": st.dictionaries(
            WORDS, tables("kind", "box", "watts", "breaker_amps") | VALUES, max_size=4
        )
        | VALUES,
        "cable": st.dictionaries(
            WORDS, tables("between", "conductors", "size", "length_m") | VALUES, max_size=3
        )
        | VALUES,
        "join": st.lists(tables("box", "ends", "fixed") | VALUES, max_size=4) | VALUES,
        "failure": st.lists(tables("kind", "at", "position") | VALUES, max_size=4) | VALUES,
    },
)


@given(DOCUMENTS)
@example({"format": 1 << 20_000, "name": [{"a": {"b": [[[]]]}}]})
@example({"box": "metal", "device": {"feed": {}, "lamp": {"box": "a b"}}})
@example({"box": {"a, ends[0]": {}, "a.b": {"material": 1}}})
def test_any_document_is_a_circuit_or_a_list_of_mistakes(document: dict[str, object]) -> None:
    """Whatever a TOML document holds, the reader answers with messages and never breaks."""
    mistakes(written(document))


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace")))
@example(b"format = 1\xff")
def test_any_bytes_are_refused_with_messages(content: bytes) -> None:
    """Bytes at random are no circuit, and the reader says so without breaking."""
    assert mistakes(content)


@given(st.data())
def test_a_damaged_file_never_breaks_the_reader(data: st.DataObject) -> None:
    """A file in which pieces are lost, repeated or overwritten is a circuit or has mistakes."""
    text = BASE
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        stop = data.draw(st.integers(start, min(len(text), start + 40)))
        piece = data.draw(st.sampled_from(("", text[start:stop] * 2)) | WORDS)
        text = text[:start] + piece + text[stop:]
    mistakes(text)


@given(st.text(max_size=40).filter(lambda name: not name.isprintable()))
@example("\x1b[31mred")
@example("quay\u200f\u202e")
def test_no_control_character_gets_into_a_message(name: str) -> None:
    """Names with control characters or marks are shown as escapes, on one line."""
    document = tomllib.loads(BASE)
    document["box"][name] = {"material": name}
    document["device"][name] = {"kind": name, "box": name, name: 1}
    document["join"].append({"box": "slipway", "ends": [name, f"{name}.{name}", f"feed.{name}"]})
    document["failure"].append({"kind": "lamp-open", "at": [name]})
    assert len(mistakes(written(document))) >= 5
