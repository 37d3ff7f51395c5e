"""Where power comes from: the incoming three-phase supply and the DC supply."""

from __future__ import annotations

import cmath
import math

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Control,
    Kind,
    Law,
    LimitLaw,
    Mode,
    ModeEdit,
    Part,
    Rating,
    Sign,
    Source,
    When,
    number,
    system_of,
)
from troubleshoot.circuit.model import Device

SUPPLY_OHMS = 0.02 + 0.02j
"""Impedance of a small plant feeder, per phase. Common practice, no published source."""


def _supply_parts(d: Device) -> tuple[Part, ...]:
    _, phase_volts = system_of(d, "volts")
    live = When(d.tag, ("on",))
    # Phase sequence L1-L2-L3, L1 at angle zero.
    phases = tuple(
        Source(line, line, "N", "ac", cmath.rect(phase_volts, -2 * math.pi * k / 3), SUPPLY_OHMS, live)
        for k, line in enumerate(("L1", "L2", "L3"))
    )
    return (*phases, Branch("bond", "N", "PE", 1e-3, 1e-3), Branch("earth", "PE", "@earth", 1e-3, 1e-3))


def _supply_modes(d: Device) -> tuple[Mode, ...]:
    lost = tuple(
        Mode(f"{line} lost", f"phase {line} missing upstream of the panel", 1 / 3, (ModeEdit("siemens", line, 0.0),),
             "restore", f"phase {line} upstream")
        for line in ("L1", "L2", "L3")
    )  # fmt: skip
    return lost


SUPPLY = Kind(
    name="supply",
    words="incoming three-phase supply, star point earthed",
    ratings=(
        Rating("volts", "system", "line to line / line to neutral volts"),
        Rating("frequency", "hertz", "supply frequency", 60.0),
    ),
    pins=lambda _: ("L1", "L2", "L3", "N", "PE"),
    parts=_supply_parts,
    controls=lambda d: (Control(d.tag, ("on", "off"), "on"),),
    modes=_supply_modes,
    weight=0.9,
)


def _dc_parts(d: Device) -> tuple[Part, ...]:
    volts, va, in_volts = (number(d, k) for k in ("out", "power", "in"))
    limit = number(d, "limit")
    z_in = in_volts**2 / va
    return (
        # A switched-mode input draws constant power; at rated volts a fixed impedance is the same current.
        Branch("input", "L", "N", z_in * (0.6 + 0.8j), 1e6),
        Source("output", "+", "-", "dc", volts, 0.02, When(d.tag, ("on", "limiting")), limit=limit),
    )


def _dc_laws(d: Device) -> tuple[AnyLaw, ...]:
    in_volts = number(d, "in")
    # IEC 61204 supplies start at 85 % of rated input and ride a little lower: common practice.
    return (
        Law(
            d.tag, "L", "N", "ac", "off", "on",
            Band(0.70 * in_volts, 0.85 * in_volts), Band(0.60 * in_volts, 0.75 * in_volts),
        ),
        LimitLaw(d.tag, "output", number(d, "limit")),
    )  # fmt: skip


DC_SUPPLY = Kind(
    name="dc supply",
    words="DC supply with current limit",
    ratings=(
        Rating("in", "volts", "rated AC input"),
        Rating("out", "volts", "rated DC output"),
        Rating("limit", "amps", "current at which the output turns into a constant-current source"),
        Rating("power", "watts", "input volt-amperes at the usual load", 60.0),
    ),
    pins=lambda _: ("L", "N", "+", "-"),
    parts=_dc_parts,
    laws=_dc_laws,
    signs=lambda d: (
        Sign(d.tag, f"{d.words} light", "light", d.tag, {"on": "on", "limiting": "dim", "off": "off"}, face=d.tag),
    ),
    modes=lambda d: (
        Mode("no output", f"{d.tag} gives no output", 0.8, (ModeEdit("stuck", d.tag, "off"),), "replace", d.tag),
        Mode(
            "low output", f"{d.tag} output weak", 0.2, (ModeEdit("siemens", "output", 1 / 120),), "replace", d.tag
        ),
    ),
    faces=lambda _: {"input": ("L", "N"), "output": ("+", "-")},
    weight=1.5,
)  # fmt: skip
