"""A picture is described in words, for whoever cannot see it: what is where and joined to what."""

from collections.abc import Iterator

from catalogue.drawing.state_view import StateView
from verify.base.sentences import capital, with_and
from verify.circuit.model import Circuit
from verify.circuit.parts import End
from verify.circuit.wording import box_words, conductor_words
from verify.engine.paths import WireGraph


def described(circuit: Circuit, view: StateView, *, with_failures: bool) -> str:
    """Describe boxes, cables, joins, failed parts and the state in sentences."""
    sentences = [*_boxes(circuit), *_cables(circuit), *_joins(circuit)]
    if with_failures:
        sentences += [
            f"Failed: {failure.kind} of {with_and(map(conductor_words, failure.at))}"
            f"{f', {failure.position}' if failure.position else ''}"
            f"{f' in {box_words(failure.box)}' if failure.box else ''}."
            for failure in circuit.failures
        ]
    if view.positions:
        sentences += _state_sentences(circuit, view)
    return " ".join(sentences)


def ladder_described(circuit: Circuit, view: StateView) -> str:
    """Describe in sentences what conductors alone connect, and the state."""
    wiring = WireGraph(circuit)
    nets: dict[int, list[str]] = {}
    for device in circuit.devices:
        for name in device.form.switched_terminals:
            net = wiring.component(circuit.terminal(device, name))
            nets.setdefault(net, []).append(f"{device.name} {name}")
    sentences = [
        f"Connected by conductors: {with_and(places)}."
        for places in nets.values()
        if len(places) > 1
    ]
    alone = [place for places in nets.values() if len(places) == 1 for place in places]
    if alone:
        sentences.append(f"Connected to nothing else: {with_and(alone)}.")
    if view.positions:
        sentences += _state_sentences(circuit, view)
    return " ".join(sentences)


def _boxes(circuit: Circuit) -> Iterator[str]:
    for box in circuit.boxes:
        inside = [
            f"{device.name} ({device.form.title})"
            for device in circuit.devices
            if device.box == box.name
        ]
        holds = with_and(inside) if inside else "no device"
        metal = ", of metal," if box.is_metal else ""
        yield f"{capital(box_words(box.name))}{metal} holds {holds}."


def _cables(circuit: Circuit) -> Iterator[str]:
    for cable in circuit.cables:
        here, there = map(box_words, cable.between)
        yield (
            f"Cable {cable.name} runs between {here} and {there} with {with_and(cable.conductors)}."
        )


def _joins(circuit: Circuit) -> Iterator[str]:
    for box in circuit.boxes:
        groups = [group for group in circuit.grouped_ends if group[0].box == box.name]
        where = capital(f"in {box_words(box.name)}")
        joined = [group for group in groups if len(group) > 1]
        for group in joined:
            yield f"{where} {with_and([*map(_place, group)])} are joined."
        alone = [_place(group[0]) for group in groups if len(group) == 1]
        if alone:
            verb = "is" if len(alone) == 1 else "are"
            yield f"{where} {with_and(alone)} {verb} unconnected."


def _state_sentences(circuit: Circuit, view: StateView) -> Iterator[str]:
    yield f"State shown: {view.words}."
    if not view.trips:
        for lamp in circuit.lamps:
            yield f"{capital(lamp.name)} is {'lit' if lamp.name in view.lit else 'dark'}."
    live = dict.fromkeys(
        conductor_words(end.name)
        for end in circuit.ends
        if end in view.live and end.owner in {cable.name for cable in circuit.cables}
    )
    if live:
        yield f"Connected to line: {with_and([*live])}."


def _place(end: End) -> str:
    return "the metal of the box" if end.owner == "box" else end.name.replace(".", " ")
