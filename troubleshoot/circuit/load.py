"""Turning the text of a circuit file into a `Circuit`, or into everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import cast

from troubleshoot.circuit import written
from troubleshoot.circuit.acts import Reach, held, positions_of, read_acts
from troubleshoot.circuit.kinds.base import Kind
from troubleshoot.circuit.model import (
    Act,
    Circuit,
    Complaint,
    Device,
    Hop,
    Known,
    NamedSituation,
    Origin,
    Pin,
    Place,
    Program,
    Run,
    Situation,
    Variant,
)
from troubleshoot.circuit.rows import (
    BY_ROLE,
    COMPLAINT,
    DEVICE,
    KNOWN,
    LAST,
    METRES_BETWEEN,
    METRES_WITHIN,
    ORIGINS,
    PLACE,
    PROGRAM,
    ROLES,
    RUN,
    SITUATION,
    TOP,
    VARIANT,
    WIRE,
    Row,
)
from troubleshoot.circuit.runs import USUAL
from troubleshoot.text.problem import Position, Problem, in_file_order, nearest
from troubleshoot.text.yamlnodes import Map, Node, Seq, Text, compose


def load_circuit(
    source: str | bytes, file: str, kinds: Mapping[str, Kind] | None = None
) -> Circuit | tuple[Problem, ...]:
    """The circuit that `source` describes, or all that is wrong with it, in file order, at most 50 and never none.

    file: its name, for messages; nothing is read from disk. kinds: the table of device kinds, by default the real one.
    Raises nothing whatever the text holds.
    """
    if kinds is None:
        from troubleshoot.circuit.kinds import KINDS

        kinds = KINDS
    composed = compose(source, file)
    if not isinstance(composed.root, Map):
        wrong = composed.problems
        if composed.root is not None:
            wrong += (Problem(composed.root.at, "a circuit file starts with a key, like machine: belt-7"),)
        return in_file_order(wrong)
    reading = _Reading(kinds, list(composed.problems))
    circuit = _circuit(composed.root, file, reading)
    if reading.problems or circuit is None:
        return in_file_order(reading.problems)
    return circuit


@dataclass(slots=True)
class _Reading:
    """What is known so far while a file is read; problems are added, never thrown."""

    kinds: Mapping[str, Kind]
    problems: list[Problem]
    places: dict[str, Place] = field(default_factory=dict)
    devices: dict[str, Device] = field(default_factory=dict)
    pins: dict[str, dict[str, Pin]] = field(default_factory=dict)
    """Of devices that were read without a mistake: terminals by their mark."""
    doubtful: set[str] = field(default_factory=set)
    """Devices with a mistake in them: what is said about their terminals cannot be judged."""
    can: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def wrong(self, at: Position, what: str, near: str | None = None) -> None:
        self.problems.append(Problem(at, what, near))


def _circuit(root: Map, file: str, to: _Reading) -> Circuit | None:
    parts = _keys(root, TOP, "a circuit file", to)
    _order(root, to)
    name = written.name(parts["machine"], "machine", to.problems) if "machine" in parts else None
    if name is not None and ("/" in name or "\\" in name or name.startswith(".")):
        to.wrong(parts["machine"].at, f"the machine's name {name!r} is also a folder's: no / or \\, no leading dot")
    title = written.words(parts["title"], "title", to.problems) if "title" in parts else name
    _places(parts.get("places"), to)
    _devices(parts.get("devices"), to)
    hops = _wires(parts.get("wires"), to)
    runs = _runs(parts.get("runs"), hops, _unread(parts.get("wires"), hops), to)
    variants = _variants(parts.get("variants"), hops, to)
    program = _program(parts.get("program"), to)
    roles = _roles(parts.get("roles"), to)
    situations = _situations(parts.get("situations"), to)
    complaints = _complaints(parts.get("complaints"), _named(parts.get("situations")), to)
    priors = _priors(parts.get("priors"), to)
    if to.problems or name is None:
        return None
    # Plain dicts behind the read-only types: a circuit must pickle, so that many rehearsals can run in many processes.
    return Circuit(
        name=name,
        title=title or name,
        source=file,
        places=to.places,
        devices=to.devices,
        hops=hops,
        program=program,
        roles=roles,
        situations=situations,
        complaints=complaints,
        priors=priors,
        runs=runs,
        variants=variants,
    )


# -- shapes -----------------------------------------------------------------------------------------------------------


def _keys(node: Map, rows: tuple[Row, ...], what: str, to: _Reading) -> dict[str, Node]:
    """The values of the known keys; unknown and missing ones become problems."""
    known = [row.name for row in rows]
    found: dict[str, Node] = {}
    meant: set[str | None] = set()
    for key, value in node:
        if key.value in known:
            found[key.value] = value
        else:
            near = _near_key(key.value, [name for name in known if node.key(name) is None], known)
            meant.add(near)
            to.wrong(key.at, f"{what} has no key {key.value!r}{_comma(value)}", near)
    for row in rows:
        if row.must and row.name not in found and row.name not in meant:
            to.wrong(node.at, f"{what} must have '{row.name}': {row.words}")
    return found


def _near_key(key: str, left: Iterable[str], known: Iterable[str]) -> str | None:
    """A key that is not there yet is meant rather than one that is."""
    return nearest(key, left) or nearest(key, known)


def _comma(value: Node) -> str:
    """Words inside braces end at a comma; the rest then reads as a key with nothing behind it."""
    return "; put quotes around text that holds a comma" if _missing(value) else ""


def _map(node: Node | None, what: str, to: _Reading) -> Map | None:
    if node is None or isinstance(node, Map):
        return node
    to.wrong(node.at, f"'{what}' must be a map of keys" + ("; nothing is written after it" if _missing(node) else ""))
    return None


def _missing(node: Node) -> bool:
    return isinstance(node, Text) and node.missing


def _named(node: Node | None) -> tuple[str, ...]:
    return node.keys() if isinstance(node, Map) else ()


def _known(found: Mapping[str, Node], default: Known, to: _Reading) -> Known:
    if "known" not in found:
        return default
    return cast("Known | None", written.choice(found["known"], "known", KNOWN, to.problems)) or default


def _order(root: Map, to: _Reading) -> None:
    last: str | None = None
    for key, _ in root:
        if key.value in LAST:
            last = last or key.value
        elif last is not None and any(key.value == row.name for row in TOP):
            to.wrong(key.at, f"'{key.value}' must come before '{last}', so that a file cut off half-way is noticed")


# -- sections ---------------------------------------------------------------------------------------------------------


def _places(node: Node | None, to: _Reading) -> None:
    if node is None:
        to.places["panel"] = Place("panel", "panel")
        return
    section = _map(node, "places", to)
    if section is not None and not section.entries:
        to.wrong(section.at, "there is no place; leave 'places' out for one panel")
    for key, value in section or ():
        to.places[key.value] = Place(key.value, key.value)  # named, so nothing that refers to it is wrong as well
        spec = _map(value, key.value, to)
        if spec is None:
            continue
        found = _keys(spec, PLACE, f"place {key.value!r}", to)
        out = to.problems
        to.places[key.value] = Place(
            name=key.value,
            words=(written.words(found["words"], "words", out) if "words" in found else None) or key.value,
            walk_s=(written.quantity(found["walk"], "walk", "seconds", out) if "walk" in found else None) or 0.0,
            door=bool(written.yes_or_no(found["door"], "door", out)) if "door" in found else False,
            needs=(written.texts(found["needs"], "needs", out) if "needs" in found else None) or (),
        )


def _devices(node: Node | None, to: _Reading) -> None:
    section = _map(node, "devices", to)
    if section is not None and not section.entries:
        to.wrong(section.at, "the machine is empty: no device is described")
    for key, value in section or ():
        before = len(to.problems)
        if ";" in key.value:
            to.wrong(key.at, f"the tag {key.value!r} holds a semicolon, which parts one act from the next")
        spec = _map(value, key.value, to)
        device = None if spec is None else _device(key, spec, to)
        if spec is not None and device is not None and len(to.problems) == before:
            _settle_in(key, spec, device, to)
        if device is None or len(to.problems) > before:
            to.doubtful.add(key.value)
    if section is not None:
        _partners(section, to)


def _partners(section: Map, to: _Reading) -> None:
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


def _device(key: Text, spec: Map, to: _Reading) -> Device | None:
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
    kind_name = written.choice(said, "kind", to.kinds, out)
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
            near = _near_key(name.value, [k for k in (*rows, *common) if spec.key(k) is None], (*rows, *common))
            meant.add(near)
            to.wrong(name.at, f"{tag} is a {kind.name}, which has no key {name.value!r}{_comma(node)}", near)
    for row in kind.ratings:
        if spec.key(row.name) is None:
            if row.name in meant:
                continue  # said already, by the slip
            if row.default is None:
                example = written.EXAMPLES[row.type] if row.type != "choice" else " or ".join(row.choices)
                to.wrong(key.at, f"{tag} is a {kind.name} and must have '{row.name}': {row.words}, like {example}")
            else:
                ratings[row.name] = row.default
    found = {name.value: node for name, node in spec if name.value in common}
    words = (written.words(found["words"], "words", out) if "words" in found else None) or kind.words
    return Device(tag, kind.name, place, words, ratings, _known(found, "seen", to))


def _at(tag: str, spec: Map, to: _Reading) -> str:
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


def _settle_in(key: Text, spec: Map, device: Device, to: _Reading) -> None:
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


def _pin(node: Node, to: _Reading) -> Pin | None:
    """The terminal that is written there; None with a problem, or without one where its device is doubtful."""
    text = written.name(node, "run", to.problems)
    if text is None:
        return None
    cuts = [(text[:i], text[i + 1 :]) for i, char in enumerate(text) if char == ":"]
    if not cuts:
        to.wrong(node.at, f"a terminal is written device:mark, like K1:14, not {text!r}", nearest(text, _all_pins(to)))
        return None
    # Tags and marks may hold a colon themselves: the first cut that names a terminal is meant.
    for tag, mark in cuts:
        if mark in to.pins.get(tag, ()):
            return to.pins[tag][mark]
    for tag, mark in cuts:
        if tag in to.doubtful:
            return None
        if tag in to.pins:
            near = nearest(mark, to.pins[tag])
            has = (
                f"it has {', '.join(to.pins[tag])}" if len(to.pins[tag]) <= 12 else f"it has {len(to.pins[tag])} others"
            )
            to.wrong(node.at, f"{tag} has no terminal {mark!r}; {has}", f"{tag}:{near}" if near else None)
            return None
    tag, mark = cuts[0]
    near = nearest(text, _all_pins(to)) or nearest(tag, (*to.pins, *to.doubtful))
    to.wrong(node.at, f"no device {tag!r} in this file", near)
    return None


def _all_pins(to: _Reading) -> list[str]:
    return [str(pin) for pins in to.pins.values() for pin in pins.values()]


def _wires(node: Node | None, to: _Reading) -> tuple[Hop, ...]:
    if node is None:
        return ()
    if not isinstance(node, Seq):
        to.wrong(node.at, "'wires' must be a list, each line like - {number: '12', run: [K1:14, FR1:95]}")
        return ()
    if not node.items:
        to.wrong(node.at, "the machine is empty: no wire is described")
    hops: list[Hop] = []
    laid: dict[frozenset[Pin], Position] = {}
    number_of: dict[Pin, tuple[str, Position]] = {}
    for item in node.items:
        if not isinstance(item, Map):
            to.wrong(item.at, "a wire is written like {number: '12', run: [K1:14, FR1:95]}")
            continue
        found = _keys(item, WIRE, "a wire", to)
        number = written.name(found["number"], "wire number", to.problems) if "number" in found else None
        length = written.quantity(found["length"], "length", "metres", to.problems) if "length" in found else None
        known = _known(found, "seen", to)
        run = found.get("run")
        if run is None:
            continue
        if not isinstance(run, Seq) or len(run.items) < 2:
            to.wrong(run.at, "'run' must list at least two terminals, like [K1:14, FR1:95]")
            continue
        pins = [(_pin(node, to), node.at) for node in run.items]
        if number is not None:
            _one_number(number, pins, number_of, to)
        for (a, _), (b, at) in pairwise(pins):
            if a is None or b is None:
                continue
            if a == b:
                to.wrong(at, f"the wire runs from {a} to itself")
                continue
            if first := laid.get(frozenset((a, b))):
                to.wrong(at, f"{a} to {b} is already laid on line {first.line}")
                continue
            laid[frozenset((a, b))] = at
            leaves = to.devices[a.device].place != to.devices[b.device].place
            metres = length if length is not None else METRES_BETWEEN if leaves else METRES_WITHIN
            hops.append(Hop(number or "", a, b, metres, leaves, known))
    return tuple(hops)


def _one_number(
    number: str,
    pins: list[tuple[Pin | None, Position]],
    number_of: dict[Pin, tuple[str, Position]],
    to: _Reading,
) -> None:
    for pin, at in pins:
        if pin is None:
            continue
        other, first = number_of.setdefault(pin, (number, at))
        if other != number:
            to.wrong(
                at, f"{pin} is on wire {number} here and on wire {other} on line {first.line}; it can be on one only"
            )


def _unread(wires: Node | None, hops: tuple[Hop, ...]) -> tuple[str, ...]:
    """Wire numbers that are written and gave no hop, for a mistake in them."""
    lines = [item.get("number") for item in wires.items if isinstance(item, Map)] if isinstance(wires, Seq) else []
    laid = {hop.number for hop in hops}
    return tuple(line.value for line in lines if isinstance(line, Text) and line.value not in laid)


def _runs(node: Node | None, hops: tuple[Hop, ...], unread: tuple[str, ...], to: _Reading) -> tuple[Run, ...]:
    if node is None:
        return ()
    example = "like - {conductors: ['11', '12'], in: conduit, length: 30 m}"
    if not isinstance(node, Seq):
        to.wrong(node.at, f"'runs' must be a list, each line {example}")
        return ()
    runs: list[Run] = []
    for item in node.items:
        if not isinstance(item, Map):
            to.wrong(item.at, f"a run is written {example}")
            continue
        found = _keys(item, RUN, "a run", to)
        out = to.problems
        inside = written.choice(found["in"], "in", USUAL, out) if "in" in found else None
        metres = written.quantity(found["length"], "length", "metres", out) if "length" in found else None
        near, earth = (
            written.quantity(found[key], key, "farads per metre", out) if key in found else None
            for key in ("to neighbour", "to earth")
        )
        laid = _conductors(found["conductors"], hops, unread, to) if "conductors" in found else ()
        if metres == 0:
            to.wrong(found["length"].at, "'length' must be above zero")
        if inside is None or metres is None:
            continue
        usual = USUAL[inside]
        runs.append(
            Run(laid, metres, usual.to_neighbour if near is None else near, usual.to_earth if earth is None else earth)
        )
    return tuple(runs)


def _conductors(node: Node, hops: tuple[Hop, ...], unread: tuple[str, ...], to: _Reading) -> tuple[str, ...]:
    """Ids of the hops that are meant: a wire number stands for its hops that leave their place, or else for all of them."""
    names = written.texts(node, "conductors", to.problems, names=True) or ()
    items = node.items if isinstance(node, Seq) else (node,)
    ids = {hop.id for hop in hops}
    numbers: dict[str, list[Hop]] = {}
    for hop in hops:
        numbers.setdefault(hop.number, []).append(hop)
    laid: dict[str, None] = {}
    for name, item in zip(names, items, strict=False):
        if name in numbers:
            meant = [h.id for h in numbers[name] if h.field] or [h.id for h in numbers[name]]
        elif name in ids:
            meant = [name]
        else:
            # A wire with a mistake in it is missing here for that reason, which is told already.
            if name not in unread and not name.startswith(tuple(f"{number}:" for number in unread)):
                what = f"no wire number and no hop {name!r} in this file"
                to.wrong(item.at, what, nearest(name, (*numbers, *ids)))
            continue
        for one in meant:
            if one in laid:
                to.wrong(item.at, f"{one} is in 'conductors' twice, by its number or by itself")
            laid[one] = None
    return tuple(laid)


def _variants(node: Node | None, hops: tuple[Hop, ...], to: _Reading) -> dict[str, Variant]:
    variants: dict[str, Variant] = {}
    ids = {hop.id for hop in hops}
    for key, value in _map(node, "variants", to) or ():
        spec = _map(value, key.value, to)
        if spec is None:
            continue
        found = _keys(spec, VARIANT, f"variant {key.value!r}", to)
        out = to.problems
        words = written.words(found["words"], "words", out) if "words" in found else None
        chance = written.fraction(found["chance"], "chance", out) if "chance" in found else None
        if chance is not None and not 0 < chance < 1:
            to.wrong(found["chance"].at, "'chance' must be above 0 and below 1, like 0.3 or 30 %")
        cut = (written.texts(found["cut"], "cut", out, names=True) if "cut" in found else None) or ()
        for hop in () if to.doubtful else cut:
            if hop not in ids:
                to.wrong(found["cut"].at, f"no hop {hop!r} in this file", nearest(hop, ids))
        join = _joins(found["join"], to) if "join" in found else ()
        stands = []
        for var, state in (_map(found.get("stands"), "stands", to) or ()) if "stands" in found else ():
            text = written.name(state, f"state of {var.value}", out)
            tag = var.value if var.value in to.devices else var.value.split(" ")[0]
            if _is_device(tag, var.at, to) and text is not None:
                stands.append((var.value, text))
        if not (cut or join or stands):
            to.wrong(key.at, f"variant {key.value!r} changes nothing: give 'cut', 'join' or 'stands'")
        if words is not None and chance is not None:
            variants[key.value] = Variant(key.value, words, chance, cut, join, tuple(stands))
    total = sum(v.chance for v in variants.values())
    if node is not None and total >= 1:
        to.wrong(node.at, f"the chances of the variants sum to {total:.3g}; together they must stay under 1")
    return variants


def _joins(node: Node, to: _Reading) -> tuple[tuple[Pin, Pin], ...]:
    example = "a list of pairs of terminals, like [[K1:14, KM1:A1]]"
    if not isinstance(node, Seq):
        to.wrong(node.at, f"'join' must be {example}")
        return ()
    pairs = []
    for item in node.items:
        if not isinstance(item, Seq) or len(item.items) != 2:
            to.wrong(item.at, f"'join' must be {example}")
            continue
        a, b = (_pin(end, to) for end in item.items)
        if a is not None and a == b:
            to.wrong(item.at, f"{a} cannot be joined to itself")
        elif a is not None and b is not None:
            pairs.append((a, b))
    return tuple(pairs)


def _program(node: Node | None, to: _Reading) -> Program | None:
    spec = _map(node, "program", to)
    if spec is None:
        return None
    found = _keys(spec, PROGRAM, "the program", to)
    lang = written.choice(found["lang"], "lang", PROGRAM[0].choices, to.problems) if "lang" in found else None
    text = written.scalar(found["text"], "text", to.problems) if "text" in found else None
    file = written.name(found["file"], "file", to.problems) if "file" in found else None
    if ("text" in found) is ("file" in found):
        what = "'text' and 'file' are both given" if "text" in found else "the program must have 'text' or 'file'"
        to.wrong(spec.at, f"{what}: the program itself, or the file beside this one that holds it")
    if file is not None and (flaw := _flaw_in_path(file)):
        to.wrong(found["file"].at, f"file {file!r} {flaw}")
    known = _known(found, "told", to)
    edges = (
        written.yes_or_no(found["first scan edges"], "first scan edges", to.problems)
        if "first scan edges" in found
        else None
    )
    if lang is None or (text is None and file is None):
        return None
    value, line = (text.value, text.first_line) if text is not None else ("", 1)
    return Program(lang, value, line, known, file or "", edges is not False)


def _flaw_in_path(path: str) -> str | None:
    """Why a file may not be named so: a circuit file is copied from elsewhere and must not reach out of its own folder."""
    if "\\" in path or ":" in path:
        return "must be parted by /, with no \\ and no :"
    if path.startswith("/") or any(part in ("", ".", "..") for part in path.split("/")):
        return "must lie beside this file or in a folder below it"
    return None


def _roles(node: Node | None, to: _Reading) -> dict[str, tuple[str, ...]]:
    roles: dict[str, tuple[str, ...]] = {}
    for key, value in _map(node, "roles", to) or ():
        if key.value not in ROLES:
            to.wrong(key.at, f"{key.value!r} is not a role", nearest(key.value, ROLES))
        tags = written.texts(value, key.value, to.problems, names=True)
        items = value.items if isinstance(value, Seq) else (value,)
        for item, tag in zip(items, tags or (), strict=False):
            _is_device(tag, item.at, to)
        if tags is not None:
            roles[key.value] = tags
    return roles


def _is_device(tag: str, at: Position, to: _Reading) -> bool:
    if tag in to.devices:
        return True
    if tag not in to.doubtful:
        to.wrong(at, f"no device {tag!r} in this file", nearest(tag, (*to.devices, *to.doubtful)))
    return False


def _situations(node: Node | None, to: _Reading) -> dict[str, NamedSituation]:
    situations: dict[str, NamedSituation] = {}
    # A device with a mistake in it may have any position.
    can: Reach = to.can if not to.doubtful else {**to.can, **dict.fromkeys(to.doubtful, _ANY)}
    for key, value in _map(node, "situations", to) or ():
        spec = _map(value, key.value, to)
        if spec is None:
            continue
        found = _keys(spec, SITUATION, f"situation {key.value!r}", to)
        out = to.problems
        words = written.words(found["words"], "words", out) if "words" in found else None
        origin = written.choice(found["from"], "from", ORIGINS, out) if "from" in found else None
        hands = written.integer(found["hands"], "hands", out, least=1) if "hands" in found else None
        acts = _after(found["after"], can, to) if "after" in found else ()
        hold = _hold(found["hold"], can, to) if "hold" in found else frozenset()
        situation = Situation(cast("Origin | None", origin) or "rest", acts, hold)
        situations[key.value] = NamedSituation(key.value, words or key.value, situation, hands or 1)
    return situations


class _AnyPosition(tuple[str, ...]):
    """Stands for the unknown positions of a device that could not be read: holds every one."""

    __slots__ = ()

    def __contains__(self, position: object) -> bool:
        return True


_ANY = _AnyPosition(("free", "pressed", "pulled", "on", "off", "set", "tripped", "whole", "blown"))


def _after(node: Node, can: Reach, to: _Reading) -> tuple[Act, ...]:
    if isinstance(node, Text) and node.value == "":
        return ()
    text = written.scalar(node, "after", to.problems)
    if text is None:
        return ()
    at = Position(text.at.file, text.first_line, text.at.column + (text.style == "quoted"))
    acts, problems = read_acts(text.value, can, at)
    to.problems.extend(problems)
    return acts


def _hold(node: Node, can: Reach, to: _Reading) -> frozenset[tuple[str, str]]:
    hold: set[tuple[str, str]] = set()
    for key, value in _map(node, "hold", to) or ():
        position = written.name(value, f"position of {key.value}", to.problems)
        if key.value not in can:
            to.wrong(key.at, f"no device {key.value!r} in this file", nearest(key.value, can))
        elif position is not None:
            if wrong := held(key.value, position, can, value.at):
                to.problems.append(wrong)
            hold.add((key.value, position))
    return frozenset(hold)


def _complaints(node: Node | None, situations: tuple[str, ...], to: _Reading) -> dict[str, Complaint]:
    complaints: dict[str, Complaint] = {}
    for key, value in _map(node, "complaints", to) or ():
        spec = _map(value, key.value, to)
        if spec is None:
            continue
        found = _keys(spec, COMPLAINT, f"complaint {key.value!r}", to)
        words = written.texts(found["words"], "words", to.problems) if "words" in found else None
        shows = written.name(found["shows"], "shows", to.problems) if "shows" in found else None
        if shows is not None and shows not in situations and shows not in BY_ROLE:
            to.wrong(found["shows"].at, f"no situation {shows!r} in this file", nearest(shows, situations))
        about = written.texts(found["about"], "about", to.problems) if "about" in found else None
        for item in about or ():
            if not any(item == role or item.startswith(f"{role} ") for role in ROLES):
                to.wrong(found["about"].at, f"{item!r} begins with no role", nearest(item, ROLES))
        complaints[key.value] = Complaint(key.value, words or (), shows or "", about or ())
    return complaints


def _priors(node: Node | None, to: _Reading) -> dict[str, float]:
    # Which suspects there are is known further up (faults); here only the numbers are read.
    priors: dict[str, float] = {}
    for key, value in _map(node, "priors", to) or ():
        weight = written.number(value, f"the weight of {key.value!r}", to.problems)
        if weight is not None:
            priors[key.value] = weight
    return priors
