"""Pilot lights and horns: what tells people something."""

from __future__ import annotations

from typing import Literal

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


def _signal(
    name: str, words: str, ratings: tuple[Rating, ...], least: Band, sign: tuple[Literal["light", "look"], str, str],
    dead: float,
) -> Kind:  # fmt: skip
    """A kind with two terminals that tells people something. sign: how it is perceived, on and off; dead: that share."""
    how, on, off = sign
    return Kind(
        name=name,
        words=words,
        ratings=(Rating(name, "coil", f"{name} volts and kind of current: 24 V DC"), *ratings),
        pins=lambda _: ("X1", "X2"),
        parts=lambda d: _parts(d, name),
        laws=lambda d: _laws(d, name, least),
        signs=lambda d: (Sign(d.tag, d.words, how, d.tag, {"on": on, "off": off}),),
        modes=lambda d: (
            # The law asks for volts; what carries no current shows nothing, whatever they are.
            Mode("open", f"{d.words} {d.tag} is dead", dead,
                 (ModeEdit("siemens", name, 0.0), ModeEdit("stuck", d.tag, "off")), "replace", d.tag),
            Mode("short", f"{d.words} {d.tag} is shorted", round(1 - dead, 2), (ModeEdit("siemens", name, 2.0),), "replace",
                 d.tag),
        ),
        faces=lambda _: {name: ("X1", "X2")},
        weight=0.5,
    )  # fmt: skip


LAMP = _signal(
    "lamp",
    "pilot light",
    (
        Rating("amps", "amps", "current when lit (LED about 20 mA)", 0.020),
        Rating("colour", "text", "colour of the lens", ""),
    ),
    GLOWS,
    ("light", "on", "off"),
    0.95,
)

# Shares as for a solenoid that wears and a winding that burns through. Common practice.
HORN = _signal(
    "horn",
    "horn",
    (Rating("amps", "amps", "current while it sounds", 0.050),),
    SOUNDS,
    ("look", "sounds", "silent"),
    0.90,
)
