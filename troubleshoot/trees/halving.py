"""Where along a path the volts stop: what the readings leave open, and which points to read next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Final

MOST: Final = 3
"""Readings of one trip."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is left of a path: the last point known right and the first known wrong, as places on it.

    good -1: not even the first is known right; bad == length: the end is not known wrong.
    """

    good: int
    bad: int
    contradiction: bool = False
    """A point further on reads right though one before it does not."""


def left(length: int, right: Mapping[int, bool]) -> Stretch:
    """What readings leave of a path of `length` points. right: place to whether it reads as it should."""
    good = max((k for k, ok in right.items() if ok), default=-1)
    bad = min((k for k, ok in right.items() if not ok), default=length)
    return Stretch(good, bad, good > bad)


def points(
    stretch: Stretch, length: int, right: Mapping[int, bool], skip: Set[int], cheap: Set[int], most: int = MOST
) -> tuple[int, ...]:
    """Up to `most` places to read in one trip, in order along the path; empty when nothing can be told apart any more.

    skip: places that cannot be reached. cheap: places that cost no walk beyond the black lead's; others are read only
    when no cheap one is left. With one trip of three, four parts of the stretch remain instead of two.
    """
    open_ = [k for k in range(stretch.good + 1, stretch.bad) if k not in skip and k not in right]
    near = [k for k in open_ if k in cheap]
    return spread(near or open_, most, end=stretch.bad == length)


def spread(places: Sequence[int], most: int, *, end: bool) -> tuple[int, ...]:
    """`most` of the places, evenly along them. end: the last is not known yet and is one of them."""
    count = len(places)
    if count <= most:
        return tuple(places)
    if end:
        return (*spread(places[:-1], most - 1, end=False), places[-1]) if most > 1 else (places[-1],)
    return tuple(places[round((j + 1) * (count + 1) / (most + 1)) - 1] for j in range(most))
