"""From volts to a class of danger, and the distances and words that belong to it."""

from __future__ import annotations

from typing import Final, Literal

Level = Literal["low", "care", "danger"]

ORDER: Final[tuple[Level, ...]] = ("low", "care", "danger")

CARE_AC, DANGER_AC = 25.0, 50.0
"""Volts r.m.s.: 25 V AC is the limit of PELV without protection against touch in a dry place (IEC 60204-1, 6.4); from
50 V on, live work must be justified (OSHA 29 CFR 1910.333(a)(1))."""
CARE_DC, DANGER_DC = 60.0, 120.0
"""Volts DC: 60 V is the same PELV limit, 120 V ripple-free DC the upper limit of extra-low voltage (IEC 61140)."""
RESIDUAL_VOLTS = 60.0
"""What a stored charge or field must have fallen to before a part is touched (IEC 60204-1, 6.2.4, from memory: within 5 s of
switching off, or a warning)."""
RESTRICTED_AC = 151.0
"""Volts between phases from which NFPA 70E, Table 130.4(E)(a), gives a restricted approach of 0.3 m (1 ft 0 in)."""
DEAD_VOLTS = 3.0
"""What still counts as dead: the threshold of absence-of-voltage testers (UL 1436, from memory)."""


def level_of(ac: float, dc: float) -> Level:
    """Class of a pair of points from its volts r.m.s. AC and its volts DC; the worse of the two counts."""
    ac, dc = abs(ac), abs(dc)
    if ac >= DANGER_AC or dc > DANGER_DC:
        return "danger"
    return "care" if ac >= CARE_AC or dc >= CARE_DC else "low"


def worst(levels: tuple[Level, ...]) -> Level:
    """The worst of several classes; nothing at all is low."""
    return max(levels, key=ORDER.index, default="low")


def approach(ac: float, dc: float) -> str:
    """What to keep away from bare live parts, in words. ac: volts r.m.s. between phases."""
    match level_of(ac, dc):
        case "low":
            return "Low volts still make sparks and starts: keep the probes apart."
        case "care":
            return "Avoid contact with bare live parts."
        case _:
            pass
    if ac >= RESTRICTED_AC:
        return "Keep 0.3 m (1 ft) from bare live parts; only the insulated probe enters."
    return "Avoid all contact with bare live parts; others stay 1.0 m (3 ft 6 in) away."
