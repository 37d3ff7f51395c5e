"""The same machine behind another supply of the plant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, cast

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.supplies import THREE
from troubleshoot.circuit.model import Circuit, Device, Pin
from troubleshoot.describe.taps import SYSTEMS


def main_supply(circuit: Circuit) -> Device | None:
    """The incoming three-phase supply; None where the machine has none."""
    return next((d for d in circuit.devices.values() if _three_phase(d)), None)


def _three_phase(device: Device) -> bool:
    return device.kind == "supply" and device.ratings["phases"] == THREE


_ON_LINES: Final[Mapping[str, str]] = {
    "motor": "volts", "control transformer": "in", "brake": "coil", "rectifier": "in", "dc supply": "in",
}  # fmt: skip
"""Kinds that are bought for the volts between two lines, and the rating that says so."""
_SAME: Final = 0.03
"""Rated volts within this share of each other are the same."""


def supplied(circuit: Circuit, supply: str) -> Circuit:
    """The circuit behind another supply, and what is bought for its lines with it: motors, transformers, brakes.

    supply: one of `SYSTEMS`. Itself where it is that supply already, has none, or has a circuit between one line and the
    neutral that the other supply does not feed: that is another machine, not another supply.
    """
    old, system = main_supply(circuit), SYSTEMS.get(supply)
    if old is None or system is None:
        return circuit
    line, phase = cast("tuple[float, float]", old.ratings["volts"])
    new_line, new_phase = system.phases
    if (line, phase, old.ratings["earthing"]) == (new_line, new_phase, system.earthing):
        return circuit
    # With a high leg the two lines that feed controls have half the line volts to the neutral.
    to_neutral = line / 2 if old.ratings["earthing"] == "high leg" else phase
    if _on_neutral(circuit) and (not system.neutral or abs(float(system.neutral) - to_neutral) > _SAME * to_neutral):
        if abs(new_line - to_neutral) > _SAME * to_neutral:
            return circuit
        # What one line and the neutral gave, two lines give there: the return comes from the second one.
        moved = _returned_to_a_line(circuit)
        if moved is None:
            return circuit
        circuit = moved
    devices = {}
    for tag, d in circuit.devices.items():
        ratings = dict(d.ratings)
        if _three_phase(d):
            ratings |= {"volts": system.phases, "earthing": system.earthing, "frequency": system.hertz}
            devices[tag] = replace(d, ratings=ratings, known="told")
            continue
        name = _ON_LINES.get(d.kind, "")
        rated = ratings.get(name)
        if isinstance(rated, float) and abs(rated - line) <= _SAME * line:
            ratings[name] = new_line
        elif isinstance(rated, tuple) and rated[1] == "ac" and abs(float(rated[0]) - line) <= _SAME * line:
            ratings[name] = (new_line, "ac")
        if d.kind == "motor" and ratings["volts"] != d.ratings["volts"]:
            ratings["amps"] = cast("float", ratings["amps"]) * line / new_line
        if d.kind == "overload":
            ratings["set"] = cast("float", ratings["set"]) * line / new_line
        devices[tag] = replace(d, ratings=ratings) if ratings != d.ratings else d
    return replace(circuit, devices=devices)


def _returned_to_a_line(circuit: Circuit) -> Circuit | None:
    """What hung on the incoming neutral on a line that the controls are not fed from; None where that cannot be told."""
    fuse = next((t for t in circuit.roles.get("control fuse", ()) if t in circuit.devices), None)
    cut = next((d for d in circuit.devices.values() if d.kind == "disconnect"), None)
    source = main_supply(circuit)
    many = [d for d in circuit.devices.values() if d.kind in ("motor", "brake")]
    if fuse is None or cut is None or source is None or len(many) != 1:
        return None  # with more than one consumer nobody can tell which line is free for a return
    lines = [Pin(cut.tag, pin) for pin in KINDS[cut.kind].pins(cut)[1::2]]
    fed = next((line for line in lines if _joined_by_wires(circuit, line, Pin(fuse, "1"))), None)
    other = next((line for line in lines if line != fed), None)
    if fed is None or other is None:
        return None
    neutral = Pin(source.tag, "N")
    number = next((h.number for h in circuit.hops if other in (h.a, h.b)), "1L2")
    hops, ids = [], {}
    for h in circuit.hops:
        new = replace(h, number=number, a=other, b=h.b if h.a == neutral else h.a) if neutral in (h.a, h.b) else h
        ids[h.id] = new.id
        hops.append(new)
    runs = tuple(replace(r, hops=tuple(ids[h] for h in r.hops)) for r in circuit.runs)
    variants = {name: replace(v, cut=tuple(ids[h] for h in v.cut)) for name, v in circuit.variants.items()}
    return replace(circuit, hops=tuple(hops), runs=runs, variants=variants)


def _joined_by_wires(circuit: Circuit, a: Pin, b: Pin) -> bool:
    reached, more = {a}, True
    while more:
        new = {p for h in circuit.hops if h.a in reached or h.b in reached for p in (h.a, h.b)} - reached
        reached |= new
        more = bool(new)
    return b in reached


def _on_neutral(circuit: Circuit) -> bool:
    """Whether anything but the supply's own bar hangs on the neutral of the incoming supply."""
    supplies = [d.tag for d in circuit.devices.values() if _three_phase(d)]
    return any(Pin(tag, "N") in (h.a, h.b) for tag in supplies for h in circuit.hops)
