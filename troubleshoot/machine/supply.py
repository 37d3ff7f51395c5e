"""The same machine behind another supply of the plant."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, cast

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
        return circuit
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


def _on_neutral(circuit: Circuit) -> bool:
    """Whether anything but the supply's own bar hangs on the neutral of the incoming supply."""
    supplies = [d.tag for d in circuit.devices.values() if _three_phase(d)]
    return any(Pin(tag, "N") in (h.a, h.b) for tag in supplies for h in circuit.hops)
