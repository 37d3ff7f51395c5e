"""Pilot lights."""

from __future__ import annotations

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    coil_of,
    number,
)
from troubleshoot.circuit.model import Device


def _parts(d: Device) -> tuple[Part, ...]:
    volts, _ = coil_of(d, "lamp")
    ohms = volts / number(d, "amps")
    return (Branch("lamp", "X1", "X2", complex(ohms), ohms),)


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    volts, current = coil_of(d, "lamp")
    # People call a lamp lit somewhere between a third and a half of its volts. Common practice.
    glow = Band(0.35 * volts, 0.50 * volts)
    return (Law(d.tag, "X1", "X2", current, "off", "on", glow, glow, same=True),)


LAMP = Kind(
    name="lamp",
    words="pilot light",
    ratings=(
        Rating("lamp", "coil", "lamp volts and kind of current: 24 V DC"),
        Rating("amps", "amps", "current when lit (LED about 20 mA)", 0.020),
        Rating("colour", "text", "colour of the lens", ""),
    ),
    pins=lambda _: ("X1", "X2"),
    parts=_parts,
    laws=_laws,
    signs=lambda d: (Sign(d.tag, d.words, "light", d.tag, {"on": "on", "off": "off"}),),
    modes=lambda d: (
        Mode("open", f"{d.words} {d.tag} is dead", 0.95, (ModeEdit("siemens", "lamp", 0.0),), "replace", d.tag),
        Mode("short", f"{d.words} {d.tag} is shorted", 0.05, (ModeEdit("siemens", "lamp", 2.0),), "replace", d.tag),
    ),
    faces=lambda _: {"lamp": ("X1", "X2")},
    weight=0.5,
)
