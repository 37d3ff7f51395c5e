"""What turns and what holds it: three-phase motor, spring-applied brake."""

from __future__ import annotations

import cmath
import math

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Kind,
    Law,
    Mode,
    ModeEdit,
    MotorLaw,
    Part,
    Rating,
    Sign,
    Variable,
    coil_of,
    number,
)
from troubleshoot.circuit.kinds.magnets import from_va
from troubleshoot.circuit.model import Device

WINDINGS = (("U", "U1"), ("V", "V1"), ("W", "W1"))
LOCKED_PF = 0.6
"""Power factor at standstill of a small motor. Common practice."""
R1_PU, COLD = 0.065, 1 / 1.25
"""Stator resistance of a 1.5 kW four-pole motor in per unit (equivalent circuit table), and cold against hot."""


def _rated(d: Device) -> tuple[float, float, float]:
    volts, amps, ratio = (number(d, k) for k in ("volts", "amps", "locked ratio"))
    return volts / math.sqrt(3), amps, ratio


def _motor_parts(d: Device) -> tuple[Part, ...]:
    phase, amps, ratio = _rated(d)
    run = cmath.rect(phase / amps, math.acos(number(d, "pf")))
    locked = cmath.rect(phase / (amps * ratio), math.acos(LOCKED_PF))
    cold = R1_PU * phase / amps * COLD
    ac = {"still": locked, "humming": locked, "turning": run, "turning backward": run}
    return tuple(Variable(name, pin, "@star", d.tag, ac, dict.fromkeys(ac, cold)) for name, pin in WINDINGS)


def _motor_laws(d: Device) -> tuple[AnyLaw, ...]:
    _, amps, ratio = _rated(d)
    return (MotorLaw(d.tag, ("U", "V", "W"), amps * ratio, amps),)


def _motor_signs(d: Device) -> tuple[Sign, ...]:
    shows = {
        "still": "still",
        "humming": "hums, does not turn",
        "turning": "turns",
        "turning backward": "turns backward",
    }
    return (Sign(d.tag, d.words, "look", d.tag, shows),)


MOTOR = Kind(
    name="motor",
    words="three-phase motor",
    ratings=(
        Rating("power", "watts", "rated shaft power"),
        Rating("volts", "volts", "rated line-to-line volts"),
        Rating("amps", "amps", "rated line current (nameplate)"),
        Rating("pf", "fraction", "power factor at rated load", 0.79),
        Rating("locked ratio", "fraction", "locked-rotor current over rated current", 5.8),
        Rating("load", "text", "what it drives, and whether the load can run by itself", ""),
    ),
    pins=lambda _: ("U1", "V1", "W1", "PE"),
    parts=_motor_parts,
    laws=_motor_laws,
    signs=_motor_signs,
    modes=lambda d: (
        Mode("jammed", f"{d.tag} or its load is jammed", 0.55, (ModeEdit("stuck", f"{d.tag} shaft", "held"),),
             "free", f"{d.tag} shaft and load"),
        *(
            Mode(f"winding {name} open", f"{d.tag} winding {name} open", 0.15, (ModeEdit("siemens", name, 0.0),),
                 "replace", d.tag)
            for name, _ in WINDINGS
        ),
    ),
    rows=lambda _: (("U1", "V1", "W1"),),
    faces=lambda _: {"U-V": ("U1", "V1"), "V-W": ("V1", "W1"), "W-U": ("W1", "U1")},
    weight=1.0,
)  # fmt: skip


DC_RELEASE, DC_HOLD = Band(0.67, 0.83), Band(0.20, 0.40)
"""DC brake, normal gap: releases at 0.75 +- 0.08 of rated volts, holds down to 0.30 +- 0.10. Common practice."""


def _brake_parts(d: Device) -> tuple[Part, ...]:
    volts, current = coil_of(d)
    states = ("set", "released")
    if current == "dc":
        # One resistance whether the armature is in or out. On AC the coil is mostly reactance; thrice the ohms stands
        # for it, as for any DC coil here: nothing but a wrong connection puts AC on it.
        ohms = volts**2 / number(d, "coil watts")
        return (Variable("coil", "1", "2", d.tag, dict.fromkeys(states, 3 * ohms + 0j), dict.fromkeys(states, ohms)),)
    inrush = from_va(volts, number(d, "inrush va"), 0.6)
    sealed = from_va(volts, number(d, "sealed va"), 0.3)
    return (
        Variable("coil", "1", "2", d.tag, {"set": inrush, "released": sealed},
                 dict.fromkeys(states, inrush.real)),
    )  # fmt: skip


def _brake_laws(d: Device) -> tuple[AnyLaw, ...]:
    volts, current = coil_of(d)
    # AC solenoid brake: releases at 0.85, holds to 0.50 of rated volts. Common practice.
    release, hold = (DC_RELEASE, DC_HOLD) if current == "dc" else (Band(0.70, 0.85), Band(0.40, 0.60))
    return (
        Law(
            d.tag, "1", "2", current, "set", "released",
            Band(release.low * volts, release.high * volts), Band(hold.low * volts, hold.high * volts),
        ),
    )  # fmt: skip


def _brake_modes(d: Device) -> tuple[Mode, ...]:
    # With a rectifier of its own, the rectifier's share of what breaks (0.30) is a device beside this one.
    return (
        # Volts across a coil that carries no current lift nothing.
        Mode("coil open", f"{d.tag} coil open", 0.35,
             (ModeEdit("siemens", "coil", 0.0), ModeEdit("stuck", d.tag, "set")), "replace", f"{d.tag} coil"),
        Mode("coil short", f"{d.tag} coil shorted", 0.10,
             (ModeEdit("siemens", "coil", 2.0), ModeEdit("stuck", d.tag, "set")), "replace", f"{d.tag} coil"),
        Mode("gap worn", f"{d.tag} air gap worn, does not release", 0.35, (ModeEdit("threshold", d.tag, 1.6),), "set",
             f"{d.tag} air gap"),
        Mode("does not set", f"{d.tag} does not set", 0.20, (ModeEdit("stuck", d.tag, "released"),), "mend",
             f"{d.tag} mechanism"),
    )  # fmt: skip


BRAKE = Kind(
    name="brake",
    words="spring-applied brake",
    ratings=(
        Rating("coil", "coil", "coil volts and kind of current: 208 V AC; 205 V DC behind a rectifier"),
        Rating("holds", "text", "tag of the motor whose shaft it holds"),
        Rating("coil watts", "watts", "power of a DC coil", 50.0),
        Rating("inrush va", "watts", "volt-amperes with the armature open", 300.0),
        Rating("sealed va", "watts", "volt-amperes with the armature closed", 50.0),
    ),
    pins=lambda _: ("1", "2"),
    parts=_brake_parts,
    laws=_brake_laws,
    signs=lambda d: (Sign(d.tag, d.words, "look", d.tag, {"set": "set", "released": "released"}),),
    modes=_brake_modes,
    faces=lambda _: {"coil": ("1", "2")},
    weight=1.0,
)
