"""What is wrong with outside text, and where, as data."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA, Indel

from troubleshoot.text.showing import show

MOST_PROBLEMS = 50
"""A loader reports at most so many problems at once; more than that is another mistake, not another fifty."""


@dataclass(frozen=True, slots=True, order=True)
class Position:
    """A place in a file; line and column count from 1, in characters, as editors do."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{show(self.file)}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with outside text. Its `str` is safe to print whatever the file held."""

    at: Position
    what: str
    """In words of the trade, no full stop."""
    nearest: str | None = None
    """The known name that was probably meant."""

    def __str__(self) -> str:
        hint = f" (nearest: {show(self.nearest)})" if self.nearest else ""
        return f"{self.at}: {show(self.what)}{hint}"


def in_file_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """The first `MOST_PROBLEMS` problems by line and column, each once."""
    ordered = sorted(dict.fromkeys(problems), key=lambda p: (p.at.line, p.at.column))
    return tuple(ordered[:MOST_PROBLEMS])


def nearest(text: str, known: Iterable[str]) -> str | None:
    """The known name that `text` was probably meant to be, or None where nothing is near.

    Near is one slip (a letter missing, too much, wrong, or two swapped) for every three letters, at least one, upper
    and lower case alike; after that a name of which `text` holds all words or which holds all words of `text`
    (``overload relay`` for ``overload``). Of equals, the one with most letters in common, then the first.
    """
    names = list(known)
    wanted = text.strip()
    if not wanted or len(wanted) > 200:
        return None
    slips = max(1, len(wanted) // 3)
    close = process.extract(
        wanted, names, scorer=OSA.distance, processor=str.casefold, score_cutoff=slips, limit=len(names)
    )
    # A name replaced altogether is not a slip: `q` is not near `K`.
    close = [(name, far, at) for name, far, at in close if far < max(len(name), len(wanted))]
    if close:
        letters = Counter(wanted.casefold())
        # Of two names one slip away, 14 is meant by 41 rather than A1: its letters are all there.
        return min(
            close,
            key=lambda hit: (hit[1], -(letters & Counter(hit[0].casefold())).total(), Indel.distance(wanted, hit[0])),
        )[0]
    if len(wanted) < 3:
        return None
    worded = process.extractOne(
        wanted, [n for n in names if len(n) >= 3], scorer=fuzz.token_set_ratio, processor=str.casefold, score_cutoff=100
    )
    return worded[0] if worded else None
