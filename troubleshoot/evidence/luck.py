"""The arithmetic of "not seen since": how often something that comes and goes stays away by luck alone.

Failures that come without memory at a steady rate are a Poisson process: the chance of none in a time t is exp(-rate t),
of none in n starts of which a share p fails (1 - p)^n (any textbook on reliability; MIL-HDBK-338B, exponential model, from
memory). Three times the usual time between failures leaves 5 % (the rule of three: Hanley and Lippman-Hand, JAMA 249 (1983)
1743, from memory). What fails more often warm, loaded or on one shift has no steady rate: then count only such hours.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

SHIFT_H: Final = 8.0
HOURS: Final = {"h": 1.0, "hour": 1.0, "shift": SHIFT_H, "day": 24.0, "night": SHIFT_H, "week": 168.0, "month": 730.0}
"""Hours of running that a word means: a machine that runs round the clock. Common practice."""
SURE: Final = 0.05
"""Luck under which "not seen since" is said to mean something."""
_NUMBERS: Final = {"once": 1.0, "one": 1.0, "a": 1.0, "an": 1.0, "every": 1.0, "each": 1.0, "twice": 2.0, "two": 2.0,
                   "three": 3.0, "four": 4.0, "five": 5.0, "six": 6.0, "ten": 10.0}  # fmt: skip
_UNIT: Final = r"(?P<unit>h|hours?|shifts?|days?|nights?|weeks?|months?|starts?)"
_COUNT: Final = r"\d+(?:\.\d+)?|once|one|twice|two|three|four|five|six|ten|an?"
_RATE: Final = re.compile(
    rf"(?:about )?(?P<times>{_COUNT})(?: times?| x|x)? ?(?:per|a|an|every|each|in|/) ?(?P<of>{_COUNT})? ?{_UNIT}"
)
_EVERY: Final = re.compile(rf"(?:about )?(?:every|each) (?P<of>{_COUNT})? ?{_UNIT}")
_CLEAN: Final = re.compile(rf"(?P<of>{_COUNT}) ?{_UNIT}")


@dataclass(frozen=True, slots=True)
class Rate:
    """How often it fails."""

    each: float
    """Failures an hour; where `starts`, the share of starts that fail."""
    starts: bool

    def luck(self, clean: float) -> float:
        """Chance that it stays away for so many hours (or starts) though nothing is mended."""
        return (1 - min(self.each, 1.0)) ** clean if self.starts else math.exp(-self.each * clean)

    def needed(self, luck: float = SURE) -> float:
        """Hours (or starts) without failing after which only that much luck is left."""
        if self.starts:
            return math.log(luck) / math.log(1 - self.each) if self.each < 1 else 1.0
        return -math.log(luck) / self.each


def mended(before: float, luck: float) -> float:
    """Chance that it is mended after it has stayed away (Bayes): a mended one stays away for sure."""
    return before / (before + (1 - before) * luck)


def read_rate(text: str) -> Rate | None:
    """``2 per shift``, ``twice a day``, ``every 4 h``, ``1 in 20 starts``; None where it says no rate."""
    words = " ".join(text.lower().split()).rstrip(".")
    found = _RATE.fullmatch(words) or _EVERY.fullmatch(words)
    if found is None:
        return None
    times = _number(found.groupdict().get("times")) if "times" in found.groupdict() else 1.0
    of, unit = _number(found["of"]), found["unit"].rstrip("s") or "h"
    if of <= 0 or times <= 0:
        return None
    if unit == "start":
        return Rate(times / of, starts=True) if times < of else None
    return Rate(times / (of * HOURS[unit]), starts=False)


def read_clean(text: str, *, starts: bool) -> float | None:
    """``16 h``, ``two shifts``, ``40 starts``: hours, or starts where the rate is of starts; None otherwise."""
    found = _CLEAN.fullmatch(" ".join(text.lower().split()).rstrip("."))
    if found is None:
        return None
    unit = found["unit"].rstrip("s") or "h"
    if (unit == "start") != starts:
        return None
    return _number(found["of"]) * (1.0 if starts else HOURS[unit])


def _number(word: str | None) -> float:
    if word is None:
        return 1.0
    return _NUMBERS[word] if word in _NUMBERS else float(word)
