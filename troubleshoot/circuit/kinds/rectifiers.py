"""Rectifiers, as they stand before a DC brake coil: half-wave with a freewheel diode, and the full-wave bridge.

Ideal diodes on an inductive load: the mean of a rectified sine is sqrt(2)/pi of its r.m.s. value for half of it and
twice that for all of it; what an AC range still sees is the root of the rest.
"""

from __future__ import annotations

import math

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Converter,
    Given,
    Intake,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Variable,
    When,
)
from troubleshoot.circuit.model import Device

HALF_MEAN, FULL_MEAN = math.sqrt(2) / math.pi, 2 * math.sqrt(2) / math.pi
"""DC volts for one volt r.m.s. of AC: 0.450 and 0.900."""
HALF_RIPPLE, FULL_RIPPLE = math.sqrt(0.5 - HALF_MEAN**2), math.sqrt(1 - FULL_MEAN**2)
"""r.m.s. volts that are left when the mean is taken away: 0.545 and 0.435."""
NO_FREEWHEEL_MEAN = 0.10
"""A coil without its freewheel diode gets much less than 0.45 of the AC, and buzzes; how much lies in its L/R. Practice."""
NO_FREEWHEEL_RIPPLE = 0.70
DIODE_OHMS = 0.05
"""Slope of a small diode, twice for the two that conduct. Its 0.7 V, under 1 % of a brake's volts, is left out."""
LIVE_VOLTS = Band(2.0, 2.0)
"""Two diode drops: below that nothing conducts, and an ohmmeter sees blocking diodes."""
SHORTED_S = 4.0
"""A bridge with a shorted diode is close to a bolted short on every other half wave."""


def _whole_wave(d: Device) -> bool:
    return str(d.ratings["form"]) == "full-wave"


def _flaw(d: Device) -> str:
    return f"{d.tag} diodes"


def _parts(d: Device) -> tuple[Part, ...]:
    on, flaw = When(d.tag, ("on",)), _flaw(d)
    if _whole_wave(d):
        mean, ripple = {"whole": FULL_MEAN, "one open": HALF_MEAN}, {"whole": FULL_RIPPLE, "one open": HALF_RIPPLE}
        # Both DC terminals swing evenly about the middle of the two AC lines: through the diodes an earth fault there
        # is an earth fault on the lines, and so blows their fuse.
        ac, dc = {"off": 1e7 + 0j, "on": 1e7 + 0j}, {"off": 1e9, "on": 2 * DIODE_OHMS}
        return (
            Intake("input", "1", "2", "+", "-", ("upper", "lower")),
            Converter("upper", "+", "@middle", on, flaw, mean, ripple, 0.5, DIODE_OHMS),
            Converter("lower", "@middle", "-", on, flaw, mean, ripple, 0.5, DIODE_OHMS),
            Variable("line 1", "1", "@middle", d.tag, ac, dc),
            Variable("line 2", "2", "@middle", d.tag, ac, dc),
        )
    mean = {"whole": HALF_MEAN, "series open": 0.0, "freewheel open": NO_FREEWHEEL_MEAN}
    ripple = {"whole": HALF_RIPPLE, "series open": 0.0, "freewheel open": NO_FREEWHEEL_RIPPLE}
    return (
        Intake("input", "1", "2", "+", "-", ("output",)),
        Converter("output", "+", "-", on, flaw, mean, ripple, 1.0, 2 * DIODE_OHMS),
        Branch("through", "2", "-", 1e-3, 1e-3),
    )


def _modes(d: Device) -> tuple[Mode, ...]:
    # Rectifier diode: short 0.51, open 0.29, drift 0.20 (MIL-HDBK-338B, from memory); drift shared out to the two.
    short = (ModeEdit("siemens", "input", SHORTED_S), ModeEdit("stuck", d.tag, "off"))

    def lost(value: str) -> tuple[ModeEdit, ...]:
        return (ModeEdit("stuck", _flaw(d), value),)

    if _whole_wave(d):
        return (
            Mode("diode open", f"{d.tag} has one diode open: half its volts", 0.36, lost("one open"), "replace", d.tag),
            Mode("diode short", f"{d.tag} has a diode shorted", 0.64, short, "replace", d.tag),
        )
    return (
        Mode("diode open", f"{d.tag} gives nothing: its diode is open", 0.18, lost("series open"), "replace", d.tag),
        Mode("freewheel open", f"{d.tag} freewheel diode open: the coil buzzes", 0.18, lost("freewheel open"),
             "replace", d.tag),
        Mode("diode short", f"{d.tag} has a diode shorted", 0.64, short, "replace", d.tag),
    )  # fmt: skip


def _laws(d: Device) -> tuple[AnyLaw, ...]:
    return (
        Law(d.tag, "1", "2", "ac", "off", "on", LIVE_VOLTS, LIVE_VOLTS, same=True),
        Given(_flaw(d), "whole"),
    )


RECTIFIER = Kind(
    name="rectifier",
    words="rectifier",
    ratings=(
        Rating("in", "volts", "rated AC input"),
        Rating("form", "choice", "half-wave: 0.45 of the AC as DC; full-wave: 0.90", None, ("half-wave", "full-wave")),
    ),
    # A half-wave unit passes terminal 2 straight through to minus.
    pins=lambda _: ("1", "2", "+", "-"),
    parts=_parts,
    laws=_laws,
    signs=lambda d: (
        Sign(f"{d.tag} coil", f"{d.words}: does its coil buzz", "look", _flaw(d),
             {"freewheel open": "buzzes"}, needs=When(d.tag, ("on",))),
    ) if not _whole_wave(d) else (),
    modes=_modes,
    faces=lambda _: {"input": ("1", "2"), "output": ("+", "-")},
    # 0.30 of "brake coil and rectifier", which weigh 1.0 together. Common practice.
    weight=0.3,
)  # fmt: skip
