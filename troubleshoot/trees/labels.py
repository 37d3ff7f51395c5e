"""What a word at a branch means on one machine: a set of readings, computed from the healthy one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from troubleshoot.evidence.likelihood import NOTHING_BELOW, RIGHT_FROM, RIGHT_TO
from troubleshoot.evidence.seen import Interval, Mode, Word
from troubleshoot.solve.meters import unit_of

EDGE: Final = 0.03
"""Share of what should be there by which neighbouring sets overlap: tool and supply (common practice)."""
AMPS_FROM, AMPS_TO = 0.5, 1.5
"""Amperes depend on the load; half to one and a half times the computed ones are as expected. Common practice."""
OHMS_FACTOR: Final = 3.0
"""Ohms are judged by ratio: leads, films and tolerances multiply. Common practice."""
SAME: Final = 0.9
"""Two sets that share more than this of what either covers are the same reading."""


@dataclass(frozen=True, slots=True)
class Span:
    """Readings from `low` to `high`, in the unit of the meter; inf is OL."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high

    @property
    def empty(self) -> bool:
        return self.low >= self.high and not math.isinf(self.low)


@dataclass(frozen=True, slots=True)
class Expect:
    """What a healthy machine reads at a point, and the largest supply in reach."""

    mode: Mode
    value: float
    scale: float
    floating: bool

    @property
    def nominal(self) -> float:
        """What right is measured against: the healthy reading, or the supply where that is nothing."""
        value = abs(self.value)
        return value if value > NOTHING_BELOW * self.scale else max(self.scale, 1e-9)

    @property
    def nothing(self) -> bool:
        """A healthy machine reads nothing here."""
        return abs(self.value) <= NOTHING_BELOW * self.scale

    @property
    def unit(self) -> str:
        return unit_of(self.mode)

    def span(self, word: str, edge: float = EDGE) -> Span | None:
        """The set of a word; None for a word that is no range (unsteady). May be empty."""
        if self.unit == "ohm":
            return self._ohms(word)
        n = self.nominal
        start, stop = (AMPS_FROM, AMPS_TO) if self.mode == "amps" else (RIGHT_FROM, RIGHT_TO)
        if self.nothing:
            cut = NOTHING_BELOW * n
            return {
                "as expected": Span(0.0, cut + edge * n), "nothing": Span(0.0, cut + edge * n), "low": Span(0.0, 0.0),
                "high": Span(cut - edge * n, math.inf),
            }.get(word)  # fmt: skip
        return {
            "nothing": Span(0.0, (NOTHING_BELOW + edge) * n),
            "low": Span((NOTHING_BELOW - edge) * n, (start + edge) * n),
            "as expected": Span((start - edge) * n, (stop + edge) * n),
            "high": Span((stop - edge) * n, math.inf),
        }.get(word)

    def _ohms(self, word: str) -> Span | None:
        value = abs(self.value)
        if math.isinf(value):
            return {
                "as expected": Span(1e6, math.inf), "nothing": Span(1e6, math.inf), "low": Span(0.0, 1e6),
                "high": Span(0.0, 0.0),
            }.get(word)  # fmt: skip
        low, high = value / OHMS_FACTOR - 0.3, value * OHMS_FACTOR + 0.3
        return {
            "as expected": Span(max(low, 0.0), high), "low": Span(0.0, max(low, 0.0)), "high": Span(high, math.inf),
            "nothing": Span(1e6, math.inf),
        }.get(word)  # fmt: skip


def same(a: Span, b: Span, top: float) -> bool:
    """Whether two sets are one reading for a person. top: the largest reading that can occur, for open ends."""
    low, high = max(a.low, b.low), min(min(a.high, top), min(b.high, top))
    if math.isinf(a.high) and math.isinf(b.high) and a.low == b.low:
        return True
    widest = max(min(a.high, top) - a.low, min(b.high, top) - b.low)
    return widest > 0 and (high - low) > SAME * widest


def in_span(understood: Interval | Word | str, span: Span, expect: Expect, word: str) -> bool:
    """Whether what was understood lies in the set that `word` has at this point."""
    match understood:
        case Interval():
            return span.holds(abs(understood.middle))
        case Word.RIGHT:
            return word == "as expected" or (word == "nothing" and expect.nothing)
        case Word.NOTHING | Word.OFF:
            return word == "nothing" or (word == "as expected" and expect.nothing and expect.unit != "ohm")
        case Word.LOW | Word.DIM:
            return word == "low" and not span.empty
        case Word.HIGH | Word.ON:
            return word == "high" or (word == "as expected" and understood is Word.ON and not expect.nothing)
        case Word.OL:
            return expect.unit == "ohm" and math.isinf(span.high)
        case _:
            return False
