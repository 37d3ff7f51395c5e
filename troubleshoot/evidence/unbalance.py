"""How uneven three readings of one system are: line volts, or the currents of a motor's three leads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

DERATING: Final = (
    (1.0, 1.00), (1.5, 0.97), (2.0, 0.95), (2.5, 0.93), (3.0, 0.89), (3.5, 0.85), (4.0, 0.82), (4.5, 0.78), (5.0, 0.76),
)  # fmt: skip
"""Unbalance of the line volts in percent, and the share of its rated power that a motor may then give: the curve of NEMA
MG 1 as an engineering reference tabulates it. MG 1 advises against running above 5 %."""
AMPS_PER_VOLT: Final = (6.0, 10.0)
"""Unbalance of the currents over that of the volts, near full load (NEMA MG 1, 14.36, from memory)."""
VOLTS_AS_THEY_ARE: Final = 1.0
"""Percent of unbalance of the line volts up to which MG 1 lets a motor give all its power (14.36, from memory)."""
MUCH_AMPS: Final = VOLTS_AS_THEY_ARE * AMPS_PER_VOLT[1]
"""Percent of current that line volts as they may be can explain at most: 10. Above it the motor, a joint, a contact or the
supply is not as it should be, and a proof run does not pass."""


def unbalance(readings: Sequence[float]) -> float:
    """Percent by which the farthest of three readings lies off their mean (NEMA MG 1): the farthest to either side.

    Of amperes or volts, in any one unit; all nothing is even. Raises ValueError for any other number of readings.
    """
    if len(readings) != 3:
        raise ValueError(f"unbalance is of three readings, not {len(readings)}")
    mean = sum(readings) / 3
    return 100 * max(abs(one - mean) for one in readings) / mean if mean else 0.0


def derating(percent: float) -> float | None:
    """Share of its rated power that a motor may give on line volts so uneven; None above 5 %, where it should not run."""
    if percent > DERATING[-1][0]:
        return None
    before = (0.0, 1.0)
    for upto in DERATING:
        if percent <= upto[0]:
            (low, a), (high, b) = before, upto
            return a + (b - a) * (percent - low) / (high - low)
        before = upto
    return DERATING[-1][1]


def too_uneven(amps: Sequence[float]) -> float | None:
    """Percent by which three currents are uneven, where that is more than `MUCH_AMPS`; None else. Raises as `unbalance`."""
    percent = unbalance(amps)
    return percent if percent > MUCH_AMPS else None


def evenness(amps: Sequence[float]) -> str:
    """What three currents say, in words; empty where nothing flows. Raises as `unbalance`."""
    percent = unbalance(amps)
    if not any(amps):
        return ""
    said = f"Currents {percent:.0f} % uneven"
    if percent < MUCH_AMPS:
        return f"{said}."
    low, high = (percent / factor for factor in reversed(AMPS_PER_VOLT))
    return f"{said}: read the three line volts ({low:.1f} to {high:.1f} % off would do that), else joint, contact, winding."


__all__ = ["derating", "evenness", "too_uneven", "unbalance"]
