"""What errs through a whole job and not once: the person who reads, and a point taken for the one beside it.

Rates of single errors are in `evidence.likelihood`. Here is what many of them have in common, so that it is counted once.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.likelihood import NOTHING_BELOW, Predicted, nominal_of
from troubleshoot.evidence.seen import Interval, Light, Look, Meter, Seen, Word
from troubleshoot.solve.meters import unit_of

HASTY = 0.25
"""Chance, beforehand, that lights and looks are read in haste throughout: as often wrong as from memory. One rate for
everybody cannot be right: who has called six lights wrongly is likelier to call the seventh so, too. Nobody at a machine that
stands has all the time he wants: at one in ten, what was stated at one wrong light in ten was 0.06 too much. Judgement, no
published source."""
MISTAKEN = 0.01
"""Chance, beforehand, that a point that is read time and again is taken for the one beside it, every time: a wrong wire number,
a terminal counted from the wrong end. Half as often as a batch is spoiled: the other half is put right at the second look.
Judgement, no published source."""
NOTHING_THERE = 0.5
"""Chance that there is nothing at the point that is taken for another, or no way through it."""
USUAL_VOLTS = 0.6
"""Chance that what is not nothing is what should be at the point that was meant: most terminals side by side are of one
circuit."""
AGAIN = 0.9
"""Chance that it reads so again the next time: it is one point, and most of a machine stands as it stood."""
MOST_POINTS = 6
"""Points that are doubted in this way, those read most often first."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way in which a job may have been read."""

    chance: float
    evidence: tuple[Seen, ...]
    """What then says something about the machine."""
    apart: tuple[Seen, ...] = ()
    """What then says nothing about it."""
    mistaken: Pin | None = None
    """The point that is taken for the one beside it."""


def ways(evidence: Sequence[Seen], about: Collection[Pin] = ()) -> list[Way]:
    """How all of this may have been read; the chances sum to 1. One error of this sort a job, for two are rare.

    A point that was read once is no matter here, for a slip is among the rates of a reading, unless it is asked about.
    """
    every = tuple(evidence)
    out: list[Way] = []
    if any(_in_haste(one) != one for one in every):
        out.append(Way(HASTY, tuple(_in_haste(one) for one in every)))
    again = _read_again(every)
    for pin in (*again, *(p for p in about if p not in again)):
        there = [isinstance(one.what, Meter) and pin in (one.what.red, one.what.black) for one in every]
        out.append(Way(
            MISTAKEN, tuple(one for one, so in zip(every, there, strict=True) if not so),
            tuple(one for one, so in zip(every, there, strict=True) if so), pin,
        ))  # fmt: skip
    return [Way(1 - sum(way.chance for way in out), every), *out]


def _in_haste(one: Seen) -> Seen:
    glanced = isinstance(one.what, Light | Look) and one.source in ("asked", "unasked", "by-exception")
    return replace(one, source="operator") if glanced else one


def _read_again(evidence: Sequence[Seen]) -> list[Pin]:
    """Points that were read in two batches or more, the most frequent first; where black is parked is no such point."""
    batches: dict[Pin, set[tuple[object, int, int]]] = {}
    for one in evidence:
        if isinstance(one.what, Meter):
            for pin in (one.what.red, one.what.black):
                batches.setdefault(pin, set()).add((one.at, one.batch, one.epoch))
    reds = {one.what.red for one in evidence if isinstance(one.what, Meter)}
    again = [pin for pin, read in batches.items() if pin in reds and len(read) > 1]
    return sorted(again, key=lambda pin: -len(batches[pin]))[:MOST_POINTS]


def beside_the_point(readings: Sequence[tuple[Seen, Predicted]]) -> float:
    """Natural logarithm of the chance (density, as in `evidence.likelihood`) of readings at one point taken for another.

    They say nothing of the machine, but they say it together: a dead terminal beside the one that was meant is dead each time.
    """
    found = 0.0
    before: dict[str, bool] = {}
    for one, predicted in readings:
        assert isinstance(one.what, Meter)
        unit = unit_of(one.what.mode)
        if one.understood is Word.COULDNT:
            continue
        nothing, density = reads_nothing(one, predicted)
        chance = beside_again(before.get(unit))
        before.setdefault(unit, nothing)
        found += math.log((chance if nothing else 1 - chance) * density)
    return found


def beside_again(before: bool | None) -> float:
    """Chance that such a point reads nothing (no volts, no way through), by whether it did when it was read in that unit."""
    return NOTHING_THERE if before is None else AGAIN if before else 1 - AGAIN


def reads_nothing(one: Seen, predicted: Predicted) -> tuple[bool, float]:
    """Whether a reading is nothing (no volts, no amperes, no way through), and its density among such or other readings."""
    number = one.understood
    if not isinstance(number, Interval):
        return (True, 1.0) if number in (Word.NOTHING, Word.OFF, Word.OL) else (False, 1 / 3)
    if number.unit == "ohm":
        return False, 0.3
    x = abs(number.middle)
    if x < NOTHING_BELOW * nominal_of(predicted):
        spread = 1.0 if number.unit == "V" else 0.3
        return True, math.exp(-0.5 * (x / spread) ** 2) / (spread * math.sqrt(2 * math.pi)) + 1e-6
    # What is beside it is likely to stand at the same volts, should it stand at any.
    usual, spread = nominal_of(predicted), 0.05 * nominal_of(predicted) + 0.3
    near = math.exp(-0.5 * ((x - usual) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
    return False, USUAL_VOLTS * near + (1 - USUAL_VOLTS) / (1.3 * max(predicted.scale, 1.0))
