"""The ranges of a hand-held meter as one table: unit, burden, accuracy, over-range. No numpy: the screen reads it too.

A usual meter of 6000 counts, CAT III 600 V (common practice; accuracy in the form used on every data sheet, share of
the reading and digits). The circuit's own figures are in `meter`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, get_args

Mode = Literal["ac volts", "dc volts", "ac+dc volts", "low-impedance volts", "ohms", "continuity", "insulation", "amps"]
Unit = Literal["V", "ohm", "A"]


@dataclass(frozen=True, slots=True)
class Range:
    """One position of the knob."""

    unit: Unit
    words: str
    """What the knob says, as one would say it."""
    share: float
    """Error as a share of the reading."""
    digits: int
    """and in counts of the last digit."""
    top: float
    """Above this it shows OL, in its unit."""
    lowest: float
    """Full scale of its lowest range; the others are ten times as much each."""
    ohms: float = math.inf
    """What it puts between its leads on a volts range."""
    shows_ac: bool = True
    shows_dc: bool = True
    loads: bool = False
    """Its burden is low enough that what only couples collapses on it."""


INPUT_FARADS: Final = 100e-12
"""Beside the burden of every volts range, leads included. Common practice (under 100 pF on data sheets)."""
COUNTS: Final = 6000
OPEN_OHMS: Final = 40e6
"""Above this an ohmmeter shows OL."""
BEEPS_BELOW_OHMS: Final = 30.0
"""Continuity sounds somewhere below 20 to 50 ohm. Common practice."""
INSULATION_VOLTS: Final = 500.0
"""Test volts, DC, for machines under 1000 V (IEC 60204-1 clause 18.3 asks for 1 megohm at 500 V; from memory)."""

RANGES: Final = MappingProxyType[Mode, Range](
    {
        "ac volts": Range("V", "V AC", 0.010, 3, 1000.0, 6.0, 10e6, shows_dc=False),
        "dc volts": Range("V", "V DC", 0.005, 2, 1000.0, 6.0, 10e6, shows_ac=False),
        "ac+dc volts": Range("V", "V AC+DC", 0.015, 5, 1000.0, 6.0, 10e6),
        "low-impedance volts": Range("V", "V low-imp.", 0.020, 3, 1000.0, 600.0, 3000.0, loads=True),
        "ohms": Range("ohm", "ohms", 0.009, 2, OPEN_OHMS, 600.0),
        "continuity": Range("ohm", "continuity", 0.009, 2, 600.0, 600.0),
        "insulation": Range("ohm", f"insulation {INSULATION_VOLTS:.0f} V", 0.03, 5, 4e9, 6e6),
        "amps": Range("A", "A clamp", 0.020, 5, 600.0, 60.0),
    }
)
"""AC 1.0 % and 3 digits, DC 0.5 % and 2, ohms 0.9 % and 2, clamp 2 % and 5: common practice; the rest likewise."""

VOLTS: Final[frozenset[Mode]] = frozenset(mode for mode, one in RANGES.items() if one.unit == "V")
NEEDS_DEAD: Final[frozenset[Mode]] = frozenset(mode for mode, one in RANGES.items() if one.unit == "ohm")
"""These put volts of their own on what they touch: only on a part proved dead and isolated."""
assert set(RANGES) == set(get_args(Mode))


def unit_of(mode: Mode) -> Unit:
    """``V``, ``ohm`` or ``A``."""
    return RANGES[mode].unit


def digit(mode: Mode, value: float) -> float:
    """The last digit that the meter shows for `value`, in its unit, on the lowest range that holds it."""
    of = RANGES[mode]
    full = of.lowest
    while abs(value) >= full and full < of.top:
        full *= 10
    return full / COUNTS


def error(mode: Mode, value: float) -> float:
    """How far a good meter may be off `value`, either way, in its unit."""
    return abs(value) * RANGES[mode].share + RANGES[mode].digits * digit(mode, value)


def over_range(mode: Mode, value: float) -> bool:
    """Whether it shows OL."""
    return abs(value) > RANGES[mode].top
