"""The trainee's meter: knob, range, jack and leads are chosen by hand, and it shows what a real one so set would show.

It shows the truth about what was asked of it: AC on a DC range is nothing, what only couples stands there until a low
impedance loads it, a small value comes in millivolts, a tip that does not touch reads as an open end.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from typing import Final

from troubleshoot.solve.meters import BEEPS_BELOW_OHMS, COUNTS, RANGES, Mode, digit, over_range, unit_of

KNOB: Final[tuple[Mode, ...]] = (
    "ac volts", "dc volts", "low-impedance volts", "ohms", "continuity", "insulation", "amps", "ac+dc volts",
)  # fmt: skip
"""Positions of the knob, in the order in which it turns."""
WORDS: Final = {
    "ac": "ac volts", "dc": "dc volts", "low": "low-impedance volts", "ohms": "ohms", "beep": "continuity",
    "insulation": "insulation", "clamp": "amps", "both": "ac+dc volts",
}  # fmt: skip
"""What is typed for each of them."""
LEADS_OHMS: Final = 0.2
"""Two test leads with their tips. Common practice: 0.1 to 0.5 ohm."""
MILLIVOLTS_BELOW: Final = 0.6
"""Volts under which an automatic range shows millivolts."""
SWIMS: Final = 0.15
"""How often an automatic range is read before it stands. Judgement."""
MISSES: Final = 0.04
"""How often a tip is not on metal. Judgement."""
WANDERS: Final = (0.25, 0.45)
"""Where a high-impedance meter stands between the least and the most that can couple in. Judgement: the most takes every
live wire beside it for the whole length."""
PROVING_VOLTS: Final = 120.0
"""What a proving unit gives, AC or DC as the knob asks for. Common practice."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How the meter stands."""

    mode: Mode = "ac volts"
    full: float = 0.0
    """Full scale of the range chosen by hand, in the unit of the mode; 0: it chooses by itself."""
    amps_jack: bool = False
    """The red lead is in the jack for amperes."""
    lead_broken: bool = False
    fuse_blown: bool = False
    """The fuse of the jack for amperes."""

    @property
    def words(self) -> str:
        """As the meter lies there: knob, range, jack."""
        held = f"range {plain(self.full)}" if self.full else "automatic range"
        jack = "red lead in the A JACK" if self.amps_jack else "leads in V and COM"
        return f"{RANGES[self.mode].words}, {held}, {jack}"

    def turned(self, mode: Mode) -> Setting:
        """The knob in another position; a range chosen by hand does not go along."""
        return replace(self, mode=mode, full=0.0)

    @property
    def ranges(self) -> tuple[float, ...]:
        """Full scales to choose from by hand, smallest first."""
        of = RANGES[self.mode]
        out = [of.lowest]
        while out[-1] * 10 <= of.top:
            out.append(out[-1] * 10)
        return tuple(out) if out[-1] >= of.top else (*out, of.top)


@dataclass(frozen=True, slots=True)
class Truth:
    """What the panel really has between two points, as one position of the knob would meet it."""

    low: float
    high: float
    """Equal where it stands still. Volts, ohms or amperes; DC signed; `inf` over range."""
    floats: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """What stands on the display."""

    text: str
    """As it is read, with its unit as the display has it."""
    value: float | None
    """In volts, ohms or amperes; None where no number stands there for long."""
    stands: bool = True
    """False: look again, it has not come to rest."""
    beeps: bool = False
    wanders: bool = False
    """It is another figure at every look: nothing holds the point."""


def plain(value: float) -> str:
    """A full scale without needless zeros: ``600``, ``6k``, ``40M``."""
    for over, letter in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if value >= over:
            return f"{value / over:g}{letter}"
    return f"{value:g}"


def display(setting: Setting, truth: Truth, dice: random.Random, *, first: bool) -> Shown:
    """What the meter shows. first: it was just laid there, so that it may swim or a tip may miss."""
    mode = setting.mode
    if mode != "amps" and (setting.amps_jack or setting.lead_broken or (first and dice.random() < MISSES)):
        return _open_ended(setting, dice)
    if truth.low != truth.high:
        if truth.floats:
            value = truth.low + (truth.high - truth.low) * dice.uniform(*WANDERS)
            return Shown(f"{_figure(setting, value)[0]}, wandering", value, wanders=True)
        return Shown(f"jumps between {_figure(setting, truth.low)[0]} and {_figure(setting, truth.high)[0]}", None)
    value = _off(mode, truth.low, dice)
    if first and not setting.full and abs(value) > 1 and math.isfinite(value) and dice.random() < SWIMS:
        between = value * dice.uniform(0.02, 0.6)
        return Shown(f"{_figure(setting, between)[0]} and still moving", None, stands=False)
    text, over = _figure(setting, value)
    beeps = mode == "continuity" and value < BEEPS_BELOW_OHMS
    return Shown(text + (", it beeps" if beeps else ""), math.inf if over else value, beeps=beeps)


def _off(mode: Mode, value: float, dice: random.Random) -> float:
    """A good meter is off by a third of what its data sheet allows, or less; leads add their ohms."""
    if not math.isfinite(value):
        return value
    if unit_of(mode) == "ohm":
        value += LEADS_OHMS
    return value * (1 + RANGES[mode].share * dice.uniform(-0.33, 0.33))


def _open_ended(setting: Setting, dice: random.Random) -> Shown:
    """Nothing between the jacks but air."""
    if unit_of(setting.mode) == "ohm":
        return Shown("OL", math.inf)
    value = dice.uniform(0.0, 0.004)
    return Shown(_figure(setting, value)[0], value)


def _figure(setting: Setting, value: float) -> tuple[str, bool]:
    """The digits with their unit; and whether it is over range."""
    mode, unit = setting.mode, {"V": "V", "ohm": "ohm", "A": "A"}[unit_of(setting.mode)]
    if not math.isfinite(value) or over_range(mode, value) or (setting.full and abs(value) > setting.full):
        return "OL", True
    if unit == "V" and not setting.full and mode != "low-impedance volts" and abs(value) < MILLIVOLTS_BELOW:
        return f"{round(value * 1000, 1) + 0.0:.1f} mV", False  # no minus before nothing
    last = setting.full / COUNTS if setting.full else digit(mode, value)
    full = last * COUNTS
    scale, letter = next(((s, w) for s, w in ((1e9, "G"), (1e6, "M"), (1e3, "k")) if full >= 6 * s), (1.0, ""))
    if unit == "V":
        scale, letter = 1.0, ""
    places = max(0, min(3, round(-math.log10(last / scale))))
    shown = f"{value / scale:.{places}f}"
    if float(shown) == 0:
        shown = shown.removeprefix("-")
    return f"{shown} {letter}{unit}", False


def proving(setting: Setting, dice: random.Random) -> Shown:
    """What it shows on a proving unit, which gives DC to a knob on DC and AC to every other on volts."""
    volts = unit_of(setting.mode) == "V"
    return display(setting, Truth(PROVING_VOLTS, PROVING_VOLTS) if volts else Truth(0.0, 0.0), dice, first=False)
