"""What the process moves, and plain loads: limit, float and pressure switches, heaters."""

from __future__ import annotations

import cmath
import math

from troubleshoot.circuit.kinds.base import (
    Branch,
    Control,
    Kind,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    number,
)
from troubleshoot.circuit.kinds.hands import block_faces, block_modes, block_parts, block_pins, positions_of, usual_of
from troubleshoot.circuit.model import Device


def stands_at(d: Device) -> tuple[Mode, ...]:
    """Conditions: the process is where it should not be."""
    others = tuple(p for p in positions_of(d) if p != usual_of(d))
    return tuple(
        Mode(f"at {p}", f"{d.words or d.tag} stands at {p}", 0.08 / len(others), (ModeEdit("left", d.tag, p),),
             "see to the process", d.tag, broken=False)
        for p in others
    )  # fmt: skip


def _modes(d: Device) -> tuple[Mode, ...]:
    modes = [
        Mode(f"stuck at {p}", f"{d.tag} stays at {p}", 0.65 / len(positions_of(d)), (ModeEdit("stuck", d.tag, p),),
             "set or replace", d.tag)
        for p in positions_of(d)
    ]  # fmt: skip
    return (*stands_at(d), *modes, *block_modes(d, 0.20, 0.10, 0.05, called="contact"))


PROCESS_SWITCH = Kind(
    name="process switch",
    words="limit, float or pressure switch",
    ratings=(
        Rating("positions", "list", "what the process can be, unactuated first: [low, high]"),
        Rating("usual", "text", "what it is when the machine may run", ""),
        Rating("blocks", "blocks", "contacts: 13-14: no (closed when actuated), 11-12: nc, or a list of positions"),
    ),
    pins=block_pins,
    parts=lambda d: block_parts(d, positions_of(d)),
    controls=lambda d: (Control(d.tag, positions_of(d), usual_of(d)),),
    signs=lambda d: (Sign(d.tag, d.words or d.tag, "look", d.tag, {p: p for p in positions_of(d)}),),
    modes=_modes,
    faces=block_faces,
    weight=2.0,
)


def _load_parts(d: Device) -> tuple[Part, ...]:
    ohms = number(d, "ohms")
    return (Branch("load", "1", "2", cmath.rect(ohms, math.acos(number(d, "pf"))), ohms * number(d, "pf")),)


LOAD = Kind(
    name="load",
    words="load: heater, bleeder, leakage path",
    ratings=(
        Rating("ohms", "ohms", "impedance at supply frequency"),
        Rating("pf", "fraction", "power factor", 1.0),
    ),
    pins=lambda _: ("1", "2"),
    parts=_load_parts,
    modes=lambda d: (
        Mode("open", f"{d.tag} open", 0.8, (ModeEdit("siemens", "load", 0.0),), "replace", d.tag),
        Mode("short", f"{d.tag} shorted", 0.2, (ModeEdit("siemens", "load", 10.0),), "replace", d.tag),
    ),
    faces=lambda _: {"load": ("1", "2")},
    weight=0.3,
)
