"""Wires of a circuit file, where they run side by side, and the variants that join or lift some of them."""

from __future__ import annotations

from itertools import pairwise

from troubleshoot.circuit import written
from troubleshoot.circuit.load_devices import read_pin
from troubleshoot.circuit.model import Hop, Pin, Run, Variant
from troubleshoot.circuit.reading import Reading, is_device, keys_of, known_of, map_of
from troubleshoot.circuit.rows import METRES_BETWEEN, METRES_WITHIN, RUN, VARIANT, WIRE
from troubleshoot.circuit.runs import USUAL
from troubleshoot.text.problem import Position, nearest
from troubleshoot.text.yamlnodes import Map, Node, Seq, Text


def read_wires(node: Node | None, to: Reading) -> tuple[Hop, ...]:
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
        found = keys_of(item, WIRE, "a wire", to)
        number = written.name(found["number"], "wire number", to.problems) if "number" in found else None
        length = written.quantity(found["length"], "length", "metres", to.problems) if "length" in found else None
        known = known_of(found, "seen", to)
        run = found.get("run")
        if run is None:
            continue
        if not isinstance(run, Seq) or len(run.items) < 2:
            to.wrong(run.at, "'run' must list at least two terminals, like [K1:14, FR1:95]")
            continue
        pins = [(read_pin(node, to), node.at) for node in run.items]
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
    to: Reading,
) -> None:
    for pin, at in pins:
        if pin is None:
            continue
        other, first = number_of.setdefault(pin, (number, at))
        if other != number:
            to.wrong(
                at, f"{pin} is on wire {number} here and on wire {other} on line {first.line}; it can be on one only"
            )


def unread(wires: Node | None, hops: tuple[Hop, ...]) -> tuple[str, ...]:
    """Wire numbers that are written and gave no hop, for a mistake in them."""
    lines = [item.get("number") for item in wires.items if isinstance(item, Map)] if isinstance(wires, Seq) else []
    laid = {hop.number for hop in hops}
    return tuple(line.value for line in lines if isinstance(line, Text) and line.value not in laid)


def read_runs(node: Node | None, hops: tuple[Hop, ...], unread: tuple[str, ...], to: Reading) -> tuple[Run, ...]:
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
        found = keys_of(item, RUN, "a run", to)
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


def _conductors(node: Node, hops: tuple[Hop, ...], unread: tuple[str, ...], to: Reading) -> tuple[str, ...]:
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


def read_variants(node: Node | None, hops: tuple[Hop, ...], to: Reading) -> dict[str, Variant]:
    variants: dict[str, Variant] = {}
    ids = {hop.id for hop in hops}
    for key, value in map_of(node, "variants", to) or ():
        spec = map_of(value, key.value, to)
        if spec is None:
            continue
        found = keys_of(spec, VARIANT, f"variant {key.value!r}", to)
        out, before = to.problems, len(to.problems)
        words = written.words(found["words"], "words", out) if "words" in found else None
        chance = written.fraction(found["chance"], "chance", out) if "chance" in found else None
        if chance is not None and not 0 < chance < 1:
            to.wrong(found["chance"].at, "'chance' must be above 0 and below 1, like 0.3 or 30 %")
            chance = None
        cut = (written.texts(found["cut"], "cut", out, names=True) if "cut" in found else None) or ()
        for hop in () if to.doubtful else cut:
            if hop not in ids:
                to.wrong(found["cut"].at, f"no hop {hop!r} in this file", nearest(hop, ids))
        join = _joins(found["join"], to) if "join" in found else ()
        stands = []
        for var, state in (map_of(found.get("stands"), "stands", to) or ()) if "stands" in found else ():
            text = written.name(state, f"state of {var.value}", out)
            tag = var.value if var.value in to.devices else var.value.split(" ")[0]
            if is_device(tag, var.at, to) and text is not None:
                stands.append((var.value, text))
        if not (cut or join or stands) and len(out) == before:  # or else it would, without the mistake in it
            to.wrong(key.at, f"variant {key.value!r} changes nothing: give 'cut', 'join' or 'stands'")
        if words is not None and chance is not None:
            variants[key.value] = Variant(key.value, words, chance, cut, join, tuple(stands))
    total = sum(v.chance for v in variants.values())
    if node is not None and total >= 1:
        to.wrong(node.at, f"the chances of the variants sum to {total:.3g}; together they must stay under 1")
    return variants


def _joins(node: Node, to: Reading) -> tuple[tuple[Pin, Pin], ...]:
    example = "a list of pairs of terminals, like [[K1:14, KM1:A1]]"
    if not isinstance(node, Seq):
        to.wrong(node.at, f"'join' must be {example}")
        return ()
    pairs = []
    for item in node.items:
        if not isinstance(item, Seq) or len(item.items) != 2:
            to.wrong(item.at, f"'join' must be {example}")
            continue
        a, b = (read_pin(end, to) for end in item.items)
        if a is not None and a == b:
            to.wrong(item.at, f"{a} cannot be joined to itself")
        elif a is not None and b is not None:
            pairs.append((a, b))
    return tuple(pairs)
