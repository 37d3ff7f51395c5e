"""Places and devices of a circuit file: ratings, terminals, and in what state a device can be."""

from __future__ import annotations

from troubleshoot.circuit import written
from troubleshoot.circuit.acts import positions_of
from troubleshoot.circuit.model import Device, Pin, Place
from troubleshoot.circuit.reading import Reading, comma, joined_commas, keys_of, known_of, map_of, near_key
from troubleshoot.circuit.rows import COMMON_NAMES, DEVICE, PLACE
from troubleshoot.text.problem import Problem, nearest
from troubleshoot.text.showing import a_or_an
from troubleshoot.text.yamlnodes import Map, Node, Seq, Text


def read_places(node: Node | None, to: Reading) -> None:
    if node is None:
        to.places["panel"] = Place("panel", "panel")
        return
    section = map_of(node, "places", to)
    if section is not None and not section.entries:
        to.wrong(section.at, "there is no place; leave 'places' out for one panel")
    for key, value in section or ():
        to.places[key.value] = Place(key.value, key.value)  # named, so nothing that refers to it is wrong as well
        spec = map_of(value, key.value, to)
        if spec is None:
            continue
        found = keys_of(spec, PLACE, f"place {key.value!r}", to)
        out = to.problems
        to.places[key.value] = Place(
            name=key.value,
            words=(written.words(found["words"], "words", out) if "words" in found else None) or key.value,
            walk_s=(written.quantity(found["walk"], "walk", "seconds", out) if "walk" in found else None) or 0.0,
            door=bool(written.yes_or_no(found["door"], "door", out)) if "door" in found else False,
            needs=(written.texts(found["needs"], "needs", out) if "needs" in found else None) or (),
            danger=(written.words(found["danger"], "danger", out) if "danger" in found else None) or "",
        )


def read_devices(node: Node | None, to: Reading) -> None:
    section = map_of(node, "devices", to)
    if section is not None and not section.entries:
        to.wrong(section.at, "the machine is empty: no device is described")
    for key, value in section or ():
        before = len(to.problems)
        if ";" in key.value:
            to.wrong(key.at, f"the tag {key.value!r} holds a semicolon, which parts one act from the next")
        spec = map_of(value, key.value, to)
        spec = None if spec is None else joined_commas(spec)
        device = None if spec is None else _device(key, spec, to)
        if spec is not None and device is not None and len(to.problems) == before:
            _settle_in(key, spec, device, to)
        if device is None or len(to.problems) > before:
            to.doubtful.add(key.value)
    if section is not None:
        _partners(section, to)


def _partners(section: Map, to: Reading) -> None:
    """A device that names another one must name one of its own kind, and not itself."""
    for key, spec in section:
        device = to.devices.get(key.value)
        if device is None or not isinstance(spec, Map):
            continue
        others = [tag for tag, other in to.devices.items() if other.kind == device.kind and tag != key.value]
        for row in to.kinds[device.kind].ratings:
            node = spec.get(row.name)
            if row.type != "device" or not isinstance(node, Text) or node.value in to.doubtful:
                continue
            if node.value not in others:
                what = f"{key.value} is {row.name} {node.value!r}, which is no other {device.kind} of this file"
                to.wrong(node.at, what, nearest(node.value, others))


def _device(key: Text, spec: Map, to: Reading) -> Device | None:
    """The device with all ratings filled in; whether a problem was added decides if it can be trusted."""
    out = to.problems
    tag = key.value
    place = _at(tag, spec, to)
    said = spec.get("kind")
    if said is None:
        slips = [name for name, _ in spec if nearest(name.value, ("kind",)) and name.value != "kind"]
        for slip in slips:
            to.wrong(slip.at, f"{tag} has no key {slip.value!r}", "kind")
        if not slips:
            to.wrong(key.at, f"{tag} must have 'kind': what it is")
        return None
    kind_name = _kind_of(said, to)
    if kind_name is None:
        return None
    kind = to.kinds[kind_name]
    rows = {row.name: row for row in kind.ratings}
    common = {row.name for row in DEVICE}
    ratings: dict[str, object] = {}
    meant: set[str | None] = set()
    for name, node in spec:
        if name.value in rows:
            value = written.rating(node, rows[name.value], out)
            if value is not None:
                ratings[name.value] = value
        elif name.value not in common:
            near = near_key(name.value, [k for k in (*rows, *common) if spec.key(k) is None], (*rows, *common))
            meant.add(near)
            to.wrong(name.at, f"{tag} is {a_or_an(kind.name)}, which has no key {name.value!r}{comma(node)}", near)
    for row in kind.ratings:
        if spec.key(row.name) is None:
            if row.name in meant:
                continue  # said already, by the slip
            if row.default is None:
                example = written.EXAMPLES[row.type] if row.type != "choice" else " or ".join(row.choices)
                to.wrong(
                    key.at, f"{tag} is {a_or_an(kind.name)} and must have '{row.name}': {row.words}, like {example}"
                )
            else:
                ratings[row.name] = row.default
    found = {name.value: node for name, node in spec if name.value in common}
    words = (written.words(found["words"], "words", out) if "words" in found else None) or kind.words
    return Device(tag, kind.name, place, words, ratings, known_of(found, "seen", to))


def _kind_of(said: Node, to: Reading) -> str | None:
    """The kind that is written there; what people call it elsewhere is told by our name, and what nobody knows by the list."""
    text = written.scalar(said, "kind", to.problems)
    if text is None or text.value in to.kinds:
        return None if text is None else text.value
    meant = COMMON_NAMES.get(" ".join(text.value.casefold().replace("-", " ").split()))
    near = meant if meant in to.kinds else nearest(text.value, to.kinds)
    among = "" if near else f": write one of {', '.join(to.kinds)}"
    to.wrong(text.at, f"'kind' cannot be {text.value!r}{among}", near)
    return None


def _at(tag: str, spec: Map, to: Reading) -> str:
    node = spec.get("at")
    if node is None:
        if len(to.places) == 1:
            return next(iter(to.places))
        to.wrong(spec.at, f"{tag} must have 'at': one of the places {', '.join(to.places)}")
        return ""
    place = written.name(node, "at", to.problems)
    if place is None:
        return ""
    if to.places and place not in to.places:
        to.wrong(node.at, f"no place {place!r} in this file", nearest(place, to.places))
    return place


def _settle_in(key: Text, spec: Map, device: Device, to: Reading) -> None:
    """Ask the kind for terminals and positions; only a device without a mistake can be asked."""
    kind = to.kinds[device.kind]
    if flaws := kind.flaws(device):
        to.problems.extend(Problem(key.at, f"{device.tag}: {flaw}") for flaw in flaws)
        return  # its terminals and positions cannot be asked for either
    controls = kind.controls(device)
    positions = tuple(position for control in controls for position in control.positions)
    for control in controls:
        if control.usual not in control.positions:
            said = (node for _, node in spec if isinstance(node, Text) and node.value == control.usual)
            near = nearest(control.usual, control.positions)
            what = f"{device.tag} is normally in {control.usual!r}, which is not one of its positions"
            to.wrong(next(said, key).at, what, near)
    for row in kind.ratings if controls else ():
        contacts = spec.get(row.name)
        if row.type == "blocks" and isinstance(contacts, Map):
            for pair, closed in contacts:
                for item in closed.items if isinstance(closed, Seq) else ():
                    if isinstance(item, Text) and item.value not in positions:
                        what = f"{device.tag} has no position {item.value!r} for contact {pair.value} to close in"
                        to.wrong(item.at, what, nearest(item.value, positions))
    for position in positions:
        if ";" in position:
            to.wrong(key.at, f"{device.tag} position {position!r} holds a semicolon, which parts one act from the next")
    to.devices[device.tag] = device
    to.pins[device.tag] = {pin: Pin(device.tag, pin) for pin in kind.pins(device)}
    to.can[device.tag] = positions_of(device, kind)


def read_pin(node: Node, to: Reading) -> Pin | None:
    """The terminal that is written there; None with a problem, or without one where its device is doubtful."""
    text = written.name(node, "run", to.problems)
    if text is None:
        return None
    cuts = [(text[:i], text[i + 1 :]) for i, char in enumerate(text) if char == ":"]
    if not cuts:
        to.wrong(node.at, f"a terminal is written device:mark, like K1:14, not {text!r}", nearest(text, all_pins(to)))
        return None
    # Tags and marks may hold a colon themselves: the first cut that names a terminal is meant.
    for tag, mark in cuts:
        if mark in to.pins.get(tag, ()):
            return to.pins[tag][mark]
    for tag, mark in cuts:
        if tag in to.doubtful:
            return None
        if tag in to.pins:
            # Marks are printed in pairs of digits: for 34 a 24 is meant rather than a 3.
            alike = [pin for pin in to.pins[tag] if len(pin) == len(mark) <= 3]
            if mark.isdecimal():
                alike.sort(key=lambda pin: abs(int(pin) - int(mark)) if pin.isdecimal() else 1000)
            near = nearest(mark, alike) or nearest(mark, to.pins[tag])
            has = (
                f"it has {', '.join(to.pins[tag])}" if len(to.pins[tag]) <= 12 else f"it has {len(to.pins[tag])} others"
            )
            to.wrong(node.at, f"{tag} has no terminal {mark!r}; {has}", f"{tag}:{near}" if near else None)
            return None
    tag, mark = cuts[0]
    near = nearest(text, all_pins(to)) or nearest(tag, (*to.pins, *to.doubtful))
    to.wrong(node.at, f"no device {tag!r} in this file", near)
    return None


def all_pins(to: Reading) -> list[str]:
    return [str(pin) for pins in to.pins.values() for pin in pins.values()]
