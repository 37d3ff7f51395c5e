"""Where power comes from: the incoming supply, three-phase or single-phase, and the DC supply."""

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


LINES = ("L1", "L2", "L3")
STRAY_FARADS = 0.1e-6
"""Capacitance of each line of a small unearthed plant to earth. Judgement; a few hundred metres of cable."""


THREE, THREE_WIRE, TWO_WIRE = "three-phase", "single-phase three-wire", "single-phase two-wire"


def _lines(d: Device) -> tuple[str, ...]:
    return LINES[: {THREE: 3, THREE_WIRE: 2, TWO_WIRE: 1}[str(d.ratings["phases"])]]


def _supply_parts(d: Device) -> tuple[Part, ...]:
    line_volts, phase_volts = system_of(d, "volts")
    live = When(d.tag, ("on",))
    earthing = str(d.ratings["earthing"])
    # Phase sequence L1-L2-L3, L1 at angle zero.
    phasors = {line: cmath.rect(phase_volts, -2 * math.pi * k / 3) for k, line in enumerate(LINES)}
    if d.ratings["phases"] == THREE_WIRE:
        # One winding with its middle brought out: L2 is the other half of the same wave.
        phasors["L2"] = -phasors["L1"]
    if earthing == "high leg":
        # A delta whose N is the middle of L1-L3: L2 stands a half line volt times the root of three away from it.
        half = line_volts / 2
        phasors = {"L1": complex(half), "L2": complex(0.0, -half * math.sqrt(3)), "L3": complex(-half)}
    phases = tuple(Source(line, line, "N", "ac", phasors[line], SUPPLY_OHMS, live) for line in _lines(d))
    earth = Branch("earth", "PE", "@earth", 1e-3, 1e-3)
    if earthing in ("star point", "high leg"):
        return (*phases, Branch("bond", "N", "PE", 1e-3, 1e-3), earth)
    if earthing in _lines(d):
        return (*phases, Branch("bond", earthing, "PE", 1e-3, 1e-3), earth)
    omega_c = 2 * math.pi * number(d, "frequency") * number(d, "line to earth")
    if not omega_c:
        return (*phases, earth)
    wires = LINES if d.ratings["phases"] == THREE else (*_lines(d), "N")
    stray = tuple(Branch(f"{wire} to earth", wire, "@earth", complex(0.0, -1 / omega_c), 1e9) for wire in wires)
    return (*phases, *stray, earth)


def _supply_modes(d: Device) -> tuple[Mode, ...]:
    lost = tuple(
        Mode(f"{line} lost", f"phase {line} missing upstream of the panel", 1 / len(_lines(d)), (ModeEdit("siemens", line, 0.0),),
             "restore", f"phase {line} upstream")
        for line in _lines(d)
    )  # fmt: skip
    return lost


SUPPLY = Kind(
    name="supply",
    words="incoming supply",
    ratings=(
        Rating("volts", "system", "line to line / line to neutral volts"),
        Rating(
            "phases",
            "choice",
            "three-phase (L1 L2 L3 N), single-phase three-wire (L1 L2 N) or two-wire (L1 N)",
            THREE,
            (THREE, THREE_WIRE, TWO_WIRE),
        ),
        Rating("frequency", "hertz", "supply frequency", 60.0),
        Rating(
            "earthing",
            "choice",
            "what is earthed: the star point (or N), one line of a delta, the middle of L1-L3, nothing",
            "star point",
            ("star point", *LINES, "high leg", "none"),
        ),
        Rating(
            "line to earth",
            "farads",
            "capacitance of each line to earth upstream, where nothing is earthed",
            STRAY_FARADS,
        ),
    ),
    pins=lambda d: (*_lines(d), "N", "PE"),
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


def discharge_seconds(d: Device, to_volts: float) -> float | None:
    """How long after switching off a DC supply's input capacitor holds more than `to_volts`; None where it is not known.

    R C ln(U / to), from the peak of the rated AC input, by its bleeder alone: a load only makes it shorter.
    """
    farads, peak = number(d, "stores"), math.sqrt(2) * number(d, "in")
    if not farads:
        return None
    return number(d, "bleeder") * farads * math.log(max(peak / to_volts, 1.0))


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
        Rating("stores", "farads", "its input capacitor, charged to the peak of the AC; 0: not known", 0.0),
        Rating("bleeder", "ohms", "what discharges that capacitor while it is off", 100e3),
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


def _transformer_parts(d: Device) -> tuple[Part, ...]:
    """Two windings as the six branches of their lattice: nothing but the windings joins the two sides.

    With turns ratio n and the short-circuit impedance seen from the secondary, y = 1/Z: the primary pair has n2 y, the
    secondary pair y, and between the sides stand +n y and -n y crosswise, so that what flows into one side is what the
    other side's volts ask for, and no net current crosses. Source: lattice equivalent of a two-winding transformer,
    e.g. Seshu and Balabanian, Linear Network Analysis (1959), from memory.
    """
    high, low, va = number(d, "in"), number(d, "out"), number(d, "power")
    share = complex(number(d, "resistance"), number(d, "reactance"))
    z = low**2 / va * share
    n = low / high
    magnetising = high**2 / (0.25 * va) * complex(0.2, 0.98)
    high_dc, low_dc = 0.5 * share.real * high**2 / va, 0.5 * share.real * low**2 / va
    return (
        Branch("primary", "H1", "H2", 1 / (n**2 / z + 1 / magnetising), high_dc),
        Branch("secondary", "X1", "X2", z, low_dc),
        *(
            Branch(f"{a}-{b}", a, b, sign * z / n, math.inf)
            for a, b, sign in (("H1", "X1", 1), ("H2", "X2", 1), ("H1", "X2", -1), ("H2", "X1", -1))
        ),
    )


def _transformer_modes(d: Device) -> tuple[Mode, ...]:
    open_primary = tuple(
        ModeEdit("siemens", name, 0.0) for name in ("primary", "secondary", "H1-X1", "H2-X2", "H1-X2", "H2-X1")
    )
    return (
        Mode("open", f"{d.tag} winding open", 0.50, open_primary, "replace", d.tag),
        Mode("shorted", f"{d.tag} secondary shorted inside", 0.50, (ModeEdit("siemens", "secondary", 10.0),), "replace",
             d.tag),
    )  # fmt: skip


TRANSFORMER = Kind(
    name="control transformer",
    words="control transformer",
    ratings=(
        Rating("in", "volts", "rated primary volts"),
        Rating("out", "volts", "rated secondary volts at rated load"),
        Rating("power", "watts", "rated volt-amperes"),
        # 50 to 150 VA; 250 to 500 VA take 0.04 and 0.03. Common practice.
        Rating("resistance", "fraction", "resistive share of the short-circuit impedance", 0.06),
        Rating("reactance", "fraction", "reactive share of the short-circuit impedance", 0.04),
    ),
    pins=lambda _: ("H1", "H2", "X1", "X2"),
    parts=_transformer_parts,
    modes=_transformer_modes,
    faces=lambda _: {"primary": ("H1", "H2"), "secondary": ("X1", "X2")},
    gives=lambda _: (("X1", "X2"),),
    weight=0.3,
)
