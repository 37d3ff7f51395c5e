"""Where wires meet: terminal strips and bars."""

from __future__ import annotations

from troubleshoot.circuit.kinds.base import Branch, Kind, Rating, texts
from troubleshoot.circuit.model import Device


def _pins(d: Device) -> tuple[str, ...]:
    return texts(d, "pins")


TERMINALS = Kind(
    name="terminals",
    words="terminal strip",
    ratings=(Rating("pins", "list", "terminal marks in order"),),
    pins=_pins,
    parts=lambda _: (),
)

BAR = Kind(
    name="bar",
    words="common bar (neutral, protective earth, 0 V)",
    ratings=(Rating("pins", "list", "terminal marks in order; all are one piece of metal"),),
    pins=_pins,
    parts=lambda d: tuple(Branch(p, p, "@bar", 1e-3, 1e-3) for p in _pins(d)),
)
