"""Pilot lights and horns: what tells people something."""

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

GLOWS = Band(0.35, 0.50)
"""People call a lamp lit somewhere between a third and a half of its volts. Common practice."""
SOUNDS = Band(0.50, 0.75)
"""A horn is heard somewhere between half and three quarters of its volts. Common practice."""


def _parts(d: Device, name: str) -> tuple[Part, ...]:
    volts, _ = coil_of(d, name)
    ohms = volts / number(d, "amps")
    return (Branch(name, "X1", "X2", complex(ohms), ohms),)


def _laws(d: Device, name: str, least: Band) -> tuple[AnyLaw, ...]:
    volts, current = coil_of(d, name)
    band = Band(least.low * volts, least.high * volts)
    return (Law(d.tag, "X1", "X2", current, "off", "on", band, band, same=True),)


def _dead(d: Device, name: str) -> tuple[ModeEdit, ...]:
    # The law asks for volts; what carries no current shows nothing, whatever they are.
    return (ModeEdit("siemens", name, 0.0), ModeEdit("stuck", d.tag, "off"))


LAMP = Kind(
    name="lamp",
    words="pilot light",
    ratings=(
        Rating("lamp", "coil", "lamp volts and kind of current: 24 V DC"),
        Rating("amps", "amps", "current when lit (LED about 20 mA)", 0.020),
        Rating("colour", "text", "colour of the lens", ""),
    ),
    pins=lambda _: ("X1", "X2"),
    parts=lambda d: _parts(d, "lamp"),
    laws=lambda d: _laws(d, "lamp", GLOWS),
    signs=lambda d: (Sign(d.tag, d.words, "light", d.tag, {"on": "on", "off": "off"}),),
    modes=lambda d: (
        Mode("open", f"{d.words} {d.tag} is dead", 0.95, _dead(d, "lamp"), "replace", d.tag),
        Mode("short", f"{d.words} {d.tag} is shorted", 0.05, (ModeEdit("siemens", "lamp", 2.0),), "replace", d.tag),
    ),
    faces=lambda _: {"lamp": ("X1", "X2")},
    weight=0.5,
)


HORN = Kind(
    name="horn",
    words="horn",
    ratings=(
        Rating("horn", "coil", "horn volts and kind of current: 24 V DC"),
        Rating("amps", "amps", "current while it sounds", 0.050),
    ),
    pins=lambda _: ("X1", "X2"),
    parts=lambda d: _parts(d, "horn"),
    laws=lambda d: _laws(d, "horn", SOUNDS),
    signs=lambda d: (Sign(d.tag, d.words, "look", d.tag, {"on": "sounds", "off": "silent"}),),
    # Shares as for a solenoid that wears and a winding that burns through. Common practice.
    modes=lambda d: (
        Mode("open", f"{d.words} {d.tag} is dead", 0.90, _dead(d, "horn"), "replace", d.tag),
        Mode("short", f"{d.words} {d.tag} is shorted", 0.10, (ModeEdit("siemens", "horn", 2.0),), "replace", d.tag),
    ),
    faces=lambda _: {"horn": ("X1", "X2")},
    weight=0.5,
)
