"""The standard's function blocks: their pins, and what one execution does.

Source: IEC 61131-3, standard function blocks (bistable, edge detection, counters, timers), from memory. A block's
state lives in slots of one list; a running timer keeps the millisecond it started at, and nothing of the clock
otherwise, so that two settled states can be compared.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from troubleshoot.program.model import INT_HIGH, INT_LOW, Type

NOW: Final = 0
"""Slot of the virtual time in milliseconds."""

Slots = list[Any]
"""Working memory of one scan: bool, int, or None for 'not running' and 'not executed yet'."""

Step = Callable[[Slots], None]


@dataclass(frozen=True, slots=True)
class Block:
    """A function block type."""

    name: str
    words: str
    inputs: Mapping[str, Type]
    outputs: Mapping[str, Type]
    inner: Mapping[str, bool | None]
    """Hidden state and what it is before the first execution."""
    step: Callable[[Mapping[str, int]], Step]
    """Given the slot of each pin and hidden state, one execution."""
    edge: bool = False
    """Its hidden M makes an edge out of the very first execution, as the standard has it."""
    timer: bool = False


def _r_trig(at: Mapping[str, int]) -> Step:
    clk, q, m = at["CLK"], at["Q"], at["M"]

    def step(v: Slots) -> None:
        v[q] = v[clk] and v[m] is False
        v[m] = v[clk]

    return step


def _f_trig(at: Mapping[str, int]) -> Step:
    clk, q, m = at["CLK"], at["Q"], at["M"]

    def step(v: Slots) -> None:
        low = not v[clk]
        v[q] = low and v[m] is False
        v[m] = low

    return step


def _sr(at: Mapping[str, int]) -> Step:
    s1, r, q1 = at["S1"], at["R"], at["Q1"]

    def step(v: Slots) -> None:
        v[q1] = v[s1] or (not v[r] and v[q1])

    return step


def _rs(at: Mapping[str, int]) -> Step:
    s, r1, q1 = at["S"], at["R1"], at["Q1"]

    def step(v: Slots) -> None:
        v[q1] = not v[r1] and (v[s] or v[q1])

    return step


def _elapsed(v: Slots, since: int) -> int:
    """Milliseconds since the start; a clock set back counts as no time gone."""
    return max(0, int(v[NOW]) - int(v[since]))


def _ton(at: Mapping[str, int]) -> Step:
    on, pt, q, et, since = at["IN"], at["PT"], at["Q"], at["ET"], at["since"]

    def step(v: Slots) -> None:
        if not v[on]:
            v[q], v[since], v[et] = False, None, 0
        elif not v[q]:
            if v[since] is None:
                v[since] = v[NOW]
            gone = _elapsed(v, since)
            if gone >= v[pt]:
                v[q], v[since], v[et] = True, None, v[pt]
            else:
                v[et] = gone

    return step


def _tof(at: Mapping[str, int]) -> Step:
    on, pt, q, et, since = at["IN"], at["PT"], at["Q"], at["ET"], at["since"]

    def step(v: Slots) -> None:
        if v[on]:
            v[q], v[since], v[et] = True, None, 0
        elif v[q]:
            if v[since] is None:
                v[since] = v[NOW]
            gone = _elapsed(v, since)
            if gone >= v[pt]:
                v[q], v[since], v[et] = False, None, v[pt]
            else:
                v[et] = gone

    return step


def _tp(at: Mapping[str, int]) -> Step:
    on, pt, q, et, since, m = at["IN"], at["PT"], at["Q"], at["ET"], at["since"], at["M"]

    def step(v: Slots) -> None:
        rising = v[on] and not v[m]
        v[m] = v[on]
        if v[since] is None:
            if rising:
                v[since], v[q] = v[NOW], True
            elif not v[on]:
                v[et] = 0
        if v[since] is not None:
            gone = _elapsed(v, since)
            if gone >= v[pt]:
                v[q], v[since] = False, None
                v[et] = v[pt] if v[on] else 0
            else:
                v[et] = gone

    return step


def _ctu(at: Mapping[str, int]) -> Step:
    cu, r, pv, q, cv, m = at["CU"], at["R"], at["PV"], at["Q"], at["CV"], at["M"]

    def step(v: Slots) -> None:
        rising = v[cu] and v[m] is False
        v[m] = v[cu]
        if v[r]:
            v[cv] = 0
        elif rising and v[cv] < INT_HIGH:
            v[cv] += 1
        v[q] = v[cv] >= v[pv]

    return step


def _ctd(at: Mapping[str, int]) -> Step:
    cd, ld, pv, q, cv, m = at["CD"], at["LD"], at["PV"], at["Q"], at["CV"], at["M"]

    def step(v: Slots) -> None:
        rising = v[cd] and v[m] is False
        v[m] = v[cd]
        if v[ld]:
            v[cv] = v[pv]
        elif rising and v[cv] > INT_LOW:
            v[cv] -= 1
        v[q] = v[cv] <= 0

    return step


_TIMER_IN: Final[Mapping[str, Type]] = {"IN": "BOOL", "PT": "TIME"}
_TIMER_OUT: Final[Mapping[str, Type]] = {"Q": "BOOL", "ET": "TIME"}
_COUNT_OUT: Final[Mapping[str, Type]] = {"Q": "BOOL", "CV": "INT"}

BLOCKS: Final[Mapping[str, Block]] = MappingProxyType(
    {
        block.name: block
        for block in (
            Block("R_TRIG", "rising edge", {"CLK": "BOOL"}, {"Q": "BOOL"}, {"M": False}, _r_trig, edge=True),
            Block("F_TRIG", "falling edge", {"CLK": "BOOL"}, {"Q": "BOOL"}, {"M": False}, _f_trig, edge=True),
            Block("SR", "latch, set wins", {"S1": "BOOL", "R": "BOOL"}, {"Q1": "BOOL"}, {}, _sr),
            Block("RS", "latch, reset wins", {"S": "BOOL", "R1": "BOOL"}, {"Q1": "BOOL"}, {}, _rs),
            Block("TON", "on-delay", _TIMER_IN, _TIMER_OUT, {"since": None}, _ton, timer=True),
            Block("TOF", "off-delay", _TIMER_IN, _TIMER_OUT, {"since": None}, _tof, timer=True),
            Block("TP", "pulse", _TIMER_IN, _TIMER_OUT, {"since": None, "M": False}, _tp, timer=True),
            Block(
                "CTU", "up counter", {"CU": "BOOL", "R": "BOOL", "PV": "INT"}, _COUNT_OUT, {"M": False}, _ctu, edge=True
            ),
            Block(
                "CTD",
                "down counter",
                {"CD": "BOOL", "LD": "BOOL", "PV": "INT"},
                _COUNT_OUT,
                {"M": False},
                _ctd,
                edge=True,
            ),
        )
    }
)
