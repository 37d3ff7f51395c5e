"""Where along a path the volts stop: what the readings leave open, and which points to read next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, combinations, pairwise
from math import log2
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
    stretch: Stretch, length: int, right: Mapping[int, bool], skip: Set[int], cheap: Set[int], most: int = MOST,
    chances: Sequence[float] = (),
) -> tuple[int, ...]:  # fmt: skip
    """Up to `most` places to read in one trip, in order along the path; empty when nothing can be told apart any more.

    skip: places that cannot be reached. cheap: places that cost no walk beyond the black lead's; others are read only
    when no cheap one is left. chances: (length,) chance of the faults between each place and the one before it; where there
    are none all parts count alike. With one trip of three, four parts of the stretch remain instead of two.
    """
    open_ = [k for k in range(stretch.good + 1, stretch.bad) if k not in skip and k not in right]
    near = [k for k in open_ if k in cheap]
    places = tuple(near or open_)
    weights = chances or (1.0,) * length
    first, parts = stretch.good + 1, []
    for place in (*places, stretch.bad - 1):
        parts.append(sum(weights[first : place + 1]))
        first = max(first, place + 1)
    return spread(places, tuple(parts), most, end=stretch.bad == length)


@lru_cache(maxsize=4096)
def spread(places: tuple[int, ...], parts: tuple[float, ...], most: int, *, end: bool) -> tuple[int, ...]:
    """`most` of the places, so that what lies between them is as even as it can be, by entropy.

    parts: (places + 1,) weight ahead of each place, and behind the last. end: the last is not known yet and is one of them.
    """
    count = len(places)
    if count <= most:
        return places
    fixed = (count - 1,) if end else ()
    free = count - len(fixed)
    upto = (0.0, *accumulate(parts))

    def even(picked: tuple[int, ...]) -> tuple[float, float]:
        edges = (0, *(k + 1 for k in picked), count + 1)
        some = [upto[b] - upto[a] for a, b in pairwise(edges)]
        middle = sum(abs(b - a - (count + 1) / len(some)) for a, b in pairwise(edges))
        return round(sum(w * log2(w) for w in some if w > 0), 9), middle

    return tuple(places[k] for k in min(((*c, *fixed) for c in combinations(range(free), most - len(fixed))), key=even))
