"""Moves of a state that conditions make, at once or after a time: timer relays, the sequence inside a safety relay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.kinds.base import DelayLaw
from troubleshoot.solve.codes import Book, Bools, Codes, Tests, tests

NEVER = -1
"""Since when the conditions of a delay hold that do not hold."""
Whole = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Row:
    column: int
    before: int
    after: int
    first_ms: int
    """After which it may move."""
    ms: int
    """After which it has surely moved."""


@dataclass(frozen=True)
class Delays:
    """The delay laws of a net by column and code."""

    rows: tuple[_Row, ...]
    conditions: Tests


def delays_of(book: Book, laws: Sequence[DelayLaw]) -> Delays:
    """Delay laws made ready."""
    rows = (
        _Row(
            book.column(law.var), book.code(law.before), book.code(law.after),
            round(law.seconds * 1000), round(max(law.seconds, law.upto) * 1000),
        )
        for law in laws
    )  # fmt: skip
    return Delays(tuple(rows), tests(book, [law.when for law in laws]))


def moved_by(delays: Delays, codes: Codes, since: Whole, now_ms: Whole, fixed: Bools) -> Codes:
    """Every state with what moves now. One move a variable: a sequence takes a round for each.

    codes, fixed: (runs, variables), fixed is what cannot move. since: (runs, delays) since when, in virtual milliseconds,
    the conditions of each have held; kept up here. now_ms: (runs,).
    """
    hold = delays.conditions.hold(codes.T)
    moved = codes.copy()
    for k, row in enumerate(delays.rows):
        now = codes[:, row.column]
        waits = hold[k] & (now == row.before) & ~fixed[:, row.column]
        since[:, k] = np.where(waits, np.where(since[:, k] == NEVER, now_ms, since[:, k]), NEVER)
        up = waits & (now_ms - since[:, k] >= row.ms) & (moved[:, row.column] == now)
        moved[up, row.column] = row.after
    return moved


def in_doubt(delays: Delays, since: Whole, not_by: Whole, now_ms: int) -> tuple[int, float] | None:
    """One that may have moved by now or not yet, by its number, with the chance that it has; None: there is none.

    Of several the one that has waited longest, then the first listed. since, not_by: (delays,) of one run; not_by: until
    when, in virtual milliseconds, each is known not to have moved.
    """
    waiting = [(start, k) for k, start in enumerate(since.tolist()) if start != NEVER]
    for start, k in sorted(waiting):
        row = delays.rows[k]
        first, last = max(start + row.first_ms, int(not_by[k])), start + row.ms
        if first < now_ms < last:
            return k, (now_ms - first) / (last - first)
    return None


def next_due_ms(delays: Delays, since: Whole) -> int | None:
    """When the next one that waits has surely moved, in virtual milliseconds; None where none waits.

    since: (delays,) of one run.
    """
    return min(
        (start + row.ms for start, row in zip(since.tolist(), delays.rows, strict=True) if start != NEVER), default=None
    )
