"""What sees the machine without touching it: proximity sensors with two wires and with three (IEC 60947-5-2).

A photo-eye is one of them with other words. What is in front of the sensor is a control, as of a process switch.
"""

from __future__ import annotations

from typing import Final

from troubleshoot.circuit.kinds.base import (
    AnyLaw,
    Band,
    Branch,
    Control,
    CurrentLaw,
    Kind,
    Law,
    Mode,
    ModeEdit,
    Net,
    Part,
    Rating,
    Sign,
    Switch,
    When,
    coil_of,
    number,
    texts,
)
from troubleshoot.circuit.kinds.hands import positions_of, usual_of
from troubleshoot.circuit.kinds.process import stands_at
from troubleshoot.circuit.model import Device

ALIVE: Final = Band(0.35, 0.45)
"""Share of its rated volts from which a sensor works: 10 V of 24 V is printed on most. Common practice."""
DYING: Final = Band(0.25, 0.40)
SUPPLY_AMPS: Final = 0.010
"""No-load current of a three-wire sensor. Common practice."""
THREE_WIRE_TRIP_AMPS: Final = 0.3
"""A protected 0.2 A output shuts off above about one and a half times its rating. Common practice."""
LEAK_SHARE: Final = 0.8
"""Residual current hardly depends on the volts. As a resistance it is right where the load leaves this share of the rated
volts on the sensor: at an input that is just off (19 of 24 V)."""

_SIGNAL: Final = "signal"


def _active(d: Device) -> tuple[str, ...]:
    """Positions in which the output is on."""
    positions = positions_of(d)
    return positions[1:] if d.ratings["contact"] == "no" else positions[:1]


def _controls(d: Device) -> tuple[Control, ...]:
    return (Control(d.tag, positions_of(d), usual_of(d)),)


def _signs(d: Device) -> tuple[Sign, ...]:
    lit = {p: "on" if p in _active(d) else "off" for p in positions_of(d)}
    return (
        Sign(f"{d.tag} light", f"{d.words} light", "light", d.tag, lit, needs=When(_power(d), ("on",))),
        Sign(d.tag, f"before {d.words or d.tag}", "look", d.tag, {p: p for p in positions_of(d)}),
    )


def _power(d: Device) -> str:
    return f"{d.tag} power"


def _sight_modes(d: Device) -> tuple[Mode, ...]:
    """Of 10.3's limit or proximity switch: not actuated (misaligned) 0.40, stuck or erratic 0.25. Common practice."""
    positions = positions_of(d)
    seen = positions[1:] or positions
    return (
        *stands_at(d),
        Mode("sees nothing", f"{d.tag} is out of place and sees nothing", 0.40, (ModeEdit("stuck", d.tag, positions[0]),),
             "set", d.tag),
        Mode("sees too much", f"{d.tag} is dirty or too near and always sees something", 0.20,
             (ModeEdit("stuck", d.tag, seen[0]),), "clean or set", d.tag),
    )  # fmt: skip


_SEEN = (
    Rating("positions", "list", "what can be before it, nothing first: [clear, part]", ("clear", "target")),
    Rating("usual", "text", "what it sees when the machine may run", ""),
    Rating("contact", "choice", "no: on when it sees something; nc: on when it sees nothing", "no", ("no", "nc")),
)


def _two_pins(d: Device) -> tuple[str, ...]:
    return texts(d, "pins")[:2]


def _two_values(d: Device) -> tuple[float, Net, float, float, float]:
    """Rated volts, kind of current, ohms while on, ohms while off, least amperes."""
    volts, current = coil_of(d, "supply")
    dc = current == "dc"
    drop, load, leak, least = (number(d, k) for k in ("drop", "load", "leak", "least"))
    # IEC 60947-5-2 (from memory): drop at most 8 V DC, 10 V AC; residual current at most 1.5 mA DC, 3 mA AC; least load
    # current at most 5 mA. A drop that is small beside a coil's volts is held as a resistance at a usual load.
    ohms = (drop or (4.0 if dc else 7.0)) / (load or (0.025 if dc else 0.2))
    off = LEAK_SHARE * volts / (leak or (0.8e-3 if dc else 1.7e-3))
    return volts, current, ohms, off, least


def _two_parts(d: Device) -> tuple[Part, ...]:
    a, b = _two_pins(d)
    _, _, ohms, off, _ = _two_values(d)
    return (Switch(_SIGNAL, a, b, (When(d.tag, _active(d)), When(_power(d), ("on",))), ohms, off),)


def _two_laws(d: Device) -> tuple[AnyLaw, ...]:
    a, b = _two_pins(d)
    volts, current, ohms, _, least = _two_values(d)
    # It lives on what it leaves itself: off, on nearly all the volts; on, on the drop of a current that must be enough.
    # With too little current it goes off and, seeing the volts again, on: that is what a load too small shows.
    keeps = Band(0.6 * ohms * least, ohms * least)
    return (Law(_power(d), a, b, current, "off", "on", Band(ALIVE.low * volts, ALIVE.high * volts), keeps),)


TWO_WIRE = Kind(
    name="two-wire sensor",
    words="proximity sensor",
    ratings=(
        Rating("supply", "coil", "rated volts and kind of current: 24 V DC, 120 V AC"),
        Rating("pins", "list", "its two terminals; on DC the positive first", ("1", "4")),
        *_SEEN,
        Rating("drop", "volts", "volts it keeps while on; 4 V DC, 7 V AC", 0.0),
        Rating("load", "amps", "current at which it keeps them; 25 mA DC, 200 mA AC", 0.0),
        Rating("leak", "amps", "current that it lets through while off; 0.8 mA DC, 1.7 mA AC", 0.0),
        Rating("least", "amps", "current that it needs to stay on", 0.003),
    ),
    pins=_two_pins,
    parts=_two_parts,
    laws=_two_laws,
    controls=_controls,
    signs=_signs,
    modes=lambda d: (
        *_sight_modes(d),
        Mode("open", f"{d.tag} passes nothing", 0.28, (ModeEdit("siemens", _SIGNAL, 0.0),), "replace", d.tag),
        Mode("shorted", f"{d.tag} is shorted inside", 0.12, (ModeEdit("siemens", _SIGNAL, 1.0),), "replace", d.tag),
    ),
    faces=lambda d: {_SIGNAL: (_two_pins(d)[0], _two_pins(d)[1])},
    flaws=lambda d: _pin_count(d, 2),
    weight=2.0,
)


def _pin_count(d: Device, count: int) -> tuple[str, ...]:
    pins, positions = texts(d, "pins"), positions_of(d)
    wrong = [] if len(pins) == count else [f"'pins' must name its {count} terminals, not {len(pins)}"]
    if len(positions) < 2:
        wrong.append("'positions' must be at least two: nothing before it, and something")
    return tuple(wrong)


def _stage(d: Device) -> str:
    return f"{d.tag} stage"


def _three_parts(d: Device) -> tuple[Part, ...]:
    plus, minus, out = texts(d, "pins")
    volts = number(d, "volts")
    rail = plus if d.ratings["output"] == "PNP" else minus
    ends = (rail, out) if rail == plus else (out, rail)
    supply = volts / SUPPLY_AMPS
    on = (When(d.tag, _active(d)), When(_power(d), ("on",)), When(_stage(d), ("ok",)))
    return (
        Branch("supply", plus, minus, complex(supply), supply),
        Switch(_SIGNAL, *ends, on, number(d, "drop") / number(d, "load"), volts / number(d, "leak")),
    )


def _three_laws(d: Device) -> tuple[AnyLaw, ...]:
    plus, minus, _ = texts(d, "pins")
    volts = number(d, "volts")
    rise, fall = (Band(share.low * volts, share.high * volts) for share in (ALIVE, DYING))
    return (
        # A reversed supply is survived and does nothing.
        Law(_power(d), plus, minus, "dc", "off", "on", rise, fall, signed=True),
        CurrentLaw(_stage(d), _SIGNAL, THREE_WIRE_TRIP_AMPS, "ok", "shut", fast=True, again=When(_power(d), ("off",))),
    )


THREE_WIRE = Kind(
    name="three-wire sensor",
    words="proximity sensor",
    ratings=(
        Rating("output", "choice", "PNP switches plus to the output, NPN the output to 0 V", choices=("PNP", "NPN")),
        Rating("volts", "volts", "rated volts, DC", 24.0),
        Rating("pins", "list", "its terminals: plus, 0 V, output (EN 50044: 1, 3, 4)", ("1", "3", "4")),
        *_SEEN,
        # IEC 60947-5-2 (from memory): drop at most 3.5 V, residual current at most 0.5 mA; usual values, common practice.
        Rating("drop", "volts", "volts its output keeps while on", 1.5),
        Rating("load", "amps", "current at which it keeps them", 0.2),
        Rating("leak", "amps", "current that its output lets through while off", 0.05e-3),
    ),
    pins=lambda d: texts(d, "pins"),
    parts=_three_parts,
    laws=_three_laws,
    controls=_controls,
    signs=_signs,
    modes=lambda d: (
        *_sight_modes(d),
        Mode("dead", f"{d.tag} has no life in it", 0.15, (ModeEdit("stuck", _power(d), "off"),), "replace", d.tag),
        Mode("output open", f"{d.tag} output passes nothing", 0.15, (ModeEdit("siemens", _SIGNAL, 0.0),), "replace", d.tag),
        Mode("output shorted", f"{d.tag} output stays on", 0.10, (ModeEdit("siemens", _SIGNAL, 1.0),), "replace", d.tag),
    ),
    faces=lambda d: {"supply": (texts(d, "pins")[0], texts(d, "pins")[1])},
    flaws=lambda d: _pin_count(d, 3),
    weight=2.0,
)  # fmt: skip
