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
    Switch,
    When,
    blocks_of,
    number,
)
from troubleshoot.circuit.kinds.hands import CONTACT_OHMS, block_faces, block_modes, block_pins, positions_of, usual_of
from troubleshoot.circuit.model import Device


def _closed_in(d: Device, how: tuple[str, ...]) -> tuple[str, ...]:
    still, moved = positions_of(d)[0], positions_of(d)[1:]
    named: dict[tuple[str, ...], tuple[str, ...]] = {("no",): moved, ("nc",): (still,)}
    return named.get(how, how)


def _parts(d: Device) -> tuple[Part, ...]:
    return tuple(
        Switch(f"{a}-{b}", a, b, (When(d.tag, _closed_in(d, how)),), CONTACT_OHMS)
        for (a, b), how in blocks_of(d).items()
    )


def _modes(d: Device) -> tuple[Mode, ...]:
    others = tuple(p for p in positions_of(d) if p != usual_of(d))
    modes = [
        Mode(f"at {p}", f"{d.words or d.tag} stands at {p}", 0.08 / len(others), (ModeEdit("left", d.tag, p),),
             "see to the process", d.tag, broken=False)
        for p in others
    ] + [
        Mode(f"stuck at {p}", f"{d.tag} stays at {p}", 0.65 / len(positions_of(d)), (ModeEdit("stuck", d.tag, p),),
             "set or replace", d.tag)
        for p in positions_of(d)
    ]  # fmt: skip
    return (*modes, *block_modes(d, 0.20, 0.10, 0.05, called="contact"))


PROCESS_SWITCH = Kind(
    name="process switch",
    words="limit, float or pressure switch",
    ratings=(
        Rating("positions", "list", "what the process can be, unactuated first: [low, high]"),
        Rating("usual", "text", "what it is when the machine may run", ""),
        Rating("blocks", "blocks", "contacts: 13-14: no (closed when actuated), 11-12: nc, or a list of positions"),
    ),
    pins=block_pins,
    parts=_parts,
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
