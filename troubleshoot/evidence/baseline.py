"""Readings of the machine while it was known to be good, kept for next time: what should be there, and how far it drifted.

One canonical JSON line a reading, as `baseline.jsonl` in the machine's folder. A line that does not read is left out.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, cast

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.seen import Interval, Meter
from troubleshoot.solve.meters import RANGES, Mode, unit_of

DRIFTED: Final = 0.05
"""Share of the good reading from which a difference is said. Plant volts move by 2 or 3 %. Common practice."""


@dataclass(frozen=True, slots=True)
class Good:
    """One reading of a machine after a passed proof."""

    meter: Meter
    situation: str
    """Name of the situation it was taken in."""
    value: float
    """In the unit of the meter's mode."""
    date: str
    """Day, as ``2026-11-25``."""
    tool: str = ""
    """Which meter it was, where that is known."""
    who: str = ""


def line(good: Good) -> str:
    """The reading as one line of the file."""
    meter = good.meter
    data = {
        "mode": meter.mode, "red": [meter.red.device, meter.red.pin], "black": [meter.black.device, meter.black.pin],
        "situation": good.situation, "value": good.value, "unit": unit_of(meter.mode), "date": good.date, "tool": good.tool,
        "who": good.who,
    }  # fmt: skip
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def read_lines(text: str) -> tuple[Good, ...]:
    """Every reading of the file, oldest first."""
    # Only a line feed ends a line: a name may hold what else some take for one.
    return tuple(good for row in text.split("\n") if (good := _read(row)) is not None)


def _read(row: str) -> Good | None:
    try:
        data: Any = json.loads(row)
        if not isinstance(data, Mapping) or data["mode"] not in RANGES:
            return None
        (a, b), (c, d) = data["red"], data["black"]
        meter = Meter(cast("Mode", data["mode"]), Pin(str(a), str(b)), Pin(str(c), str(d)))
        value, date = float(data["value"]), str(data["date"])
        return Good(meter, str(data["situation"]), value, date, str(data.get("tool", "")), str(data.get("who", "")))
    except (ValueError, KeyError, TypeError):
        return None


def latest(goods: Iterable[Good]) -> Mapping[tuple[Meter, str], Good]:
    """The newest good reading by meter and situation."""
    return {(good.meter, good.situation): good for good in goods}


def drift(good: Good, now: Interval) -> str:
    """How far a reading is from the good one, in words; empty where it is not far or cannot be compared."""
    if now.unit != unit_of(good.meter.mode) or abs(good.value) < 1:
        return ""
    share = abs(now.middle) / abs(good.value) - 1
    if abs(share) < DRIFTED:
        return ""
    return (
        f"{good.meter.red} to {good.meter.black}: {abs(share):.0%} {'over' if share > 0 else 'under'} the "
        f"{abs(good.value):.4g} {now.unit} of {good.date}"
    )
