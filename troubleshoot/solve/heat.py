"""Heat that current leaves behind over time: when a thermal law moves, and when what it moved has cooled again.

Each part of a `HeatLaw` warms by d(theta)/dt = ((I / amps)^2 - theta) / tau, so that theta = 1 is where its rated current
leads in the end. How fast is a band: `Heat` follows the fastest and the slowest device of that sort side by side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from troubleshoot.circuit.kinds.base import HeatLaw

Heat = tuple[tuple[float, ...], tuple[float, ...]]
"""Theta of each part, of the fastest device and of the slowest."""

_LOOKS = 240
_LONGEST_S = 1e6
"""Longer than any wait; who has not moved by then never does."""


def cold(law: HeatLaw) -> Heat:
    """Everything at the temperature of the room."""
    still = (0.0,) * len(law.parts)
    return still, still


def warmed(law: HeatLaw, heat: Heat, ratios: Sequence[float], seconds: float) -> Heat:
    """After `seconds` with currents of `ratios` times the rated one through the parts."""
    fast, slow = (_after(h, ratios, seconds / tau) for h, tau in zip(heat, _taus(law), strict=True))
    return fast, slow


def _taus(law: HeatLaw) -> tuple[float, float]:
    return law.seconds.low, law.seconds.high


def _after(theta: Sequence[float], ratios: Sequence[float], times: float) -> tuple[float, ...]:
    left = math.exp(-times)
    return tuple(r * r + (t - r * r) * left for t, r in zip(theta, ratios, strict=True))


def level(law: HeatLaw, theta: Sequence[float]) -> float:
    """What the law compares: the hottest part, and how far the coldest stays behind it."""
    return max(theta) + law.spread * (max(theta) - min(theta))


def is_cool(law: HeatLaw, heat: Heat) -> bool:
    """Whether it has surely cooled enough to be reset, fast or slow."""
    return all(level(law, theta) <= law.cools for theta in heat)


@dataclass(frozen=True, slots=True)
class Due:
    """When a law moves its variable if nothing else changes, seconds from now: not before `first`, by `last` surely."""

    law: HeatLaw
    to: str
    first: float
    last: float


def due(law: HeatLaw, state: str, heat: Heat, ratios: Sequence[float]) -> Due | None:
    """What the law does next, None where it does nothing."""
    if state == law.ok:
        to, rises = law.over, True
    elif state == law.over and law.resets_itself:
        to, rises = law.ok, False
    else:
        return None
    both = [_crossing(law, h, ratios, tau, rises) for h, tau in zip(heat, _taus(law), strict=True)]
    if both == [None, None]:
        return None
    first, last = sorted(_LONGEST_S if seconds is None else seconds for seconds in both)
    return Due(law, to, first, last)


def _crossing(law: HeatLaw, theta: Sequence[float], ratios: Sequence[float], tau: float, rises: bool) -> float | None:
    """Seconds until the level first reaches the trip (or, cooling, the reset), None where it never does."""

    def there(seconds: float) -> bool:
        now = level(law, _after(theta, ratios, seconds / tau))
        return now >= law.trips if rises else now <= law.cools

    if there(0.0):
        return 0.0
    low, high = 0.0, tau * 1e-4
    # Twenty-odd time constants in even steps of their logarithm: beyond, nothing moves any more.
    grow = (25 / 1e-4) ** (1 / _LOOKS)
    while not there(high):
        low, high = high, high * grow
        if high > 25 * tau or high > _LONGEST_S:
            return None
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if there(middle) else (middle, high)
    return high


def not_yet(law: HeatLaw, heat: Heat) -> Heat:
    """Of a device that could have tripped by now and has not: its fastest kind is at most just short of it."""
    fast = level(law, heat[0])
    if fast < law.trips:
        return heat
    share = law.trips / fast * (1 - 1e-9)
    return tuple(t * share for t in heat[0]), heat[1]


def tripped(law: HeatLaw, heat: Heat) -> Heat:
    """Of a device that has just tripped: fast or slow, it is as hot as a trip is."""
    fast, slow = (tuple(t * law.trips / level(law, h) for t in h) for h in heat)
    return fast, slow
