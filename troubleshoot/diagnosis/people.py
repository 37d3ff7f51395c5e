"""What errs through a whole job and not once: the person who reads, and a point taken for the one beside it.

Rates of single errors are in `evidence.likelihood`. Here is what many of them have in common, so that it is counted once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.seen import Light, Look, Meter, Seen

HASTY = 0.1
"""Chance, beforehand, that lights and looks are read in haste throughout: as often wrong as from memory. One rate for
everybody cannot be right: who has called six lights wrongly is likelier to call the seventh so, too. Judgement, no published
source."""
MISTAKEN = 0.01
"""Chance, beforehand, that a point that is read time and again is taken for the one beside it, every time: a wrong wire number,
a terminal counted from the wrong end. As often as a slip, and for the same reasons. Judgement, no published source."""
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


def ways(evidence: Sequence[Seen]) -> list[Way]:
    """How all of this may have been read; the chances sum to 1. One error of this sort a job, for two are rare.

    A point that was read once is no matter here: a slip is among the rates of a reading.
    """
    every = tuple(evidence)
    out: list[Way] = []
    if any(_in_haste(one) != one for one in every):
        out.append(Way(HASTY, tuple(_in_haste(one) for one in every)))
    for pin in _read_again(every):
        there = [isinstance(one.what, Meter) and one.what.red == pin for one in every]
        out.append(Way(
            MISTAKEN, tuple(one for one, so in zip(every, there, strict=True) if not so),
            tuple(one for one, so in zip(every, there, strict=True) if so),
        ))  # fmt: skip
    return [Way(1 - sum(way.chance for way in out), every), *out]


def _in_haste(one: Seen) -> Seen:
    glanced = isinstance(one.what, Light | Look) and one.source in ("asked", "unasked", "by-exception")
    return replace(one, source="operator") if glanced else one


def _read_again(evidence: Sequence[Seen]) -> list[Pin]:
    """Points on which the red lead lay in two batches or more, the most frequent first."""
    batches: dict[Pin, set[tuple[object, int, int]]] = {}
    for one in evidence:
        if isinstance(one.what, Meter):
            batches.setdefault(one.what.red, set()).add((one.at, one.batch, one.epoch))
    again = [pin for pin, read in batches.items() if len(read) > 1]
    return sorted(again, key=lambda pin: -len(batches[pin]))[:MOST_POINTS]
