"""Moves that conditions make, at once or after a time: the clock of timer relays and of sequences."""

from __future__ import annotations

import numpy as np

from troubleshoot.circuit.kinds.base import DelayLaw, When
from troubleshoot.solve.codes import Book
from troubleshoot.solve.delays import NEVER, delays_of, in_doubt, moved_by, next_due_ms

UP = DelayLaw("T", "out", "in", (When("K", ("in",)),), 5.0)
DOWN = DelayLaw("T", "in", "out", (When("K", ("out",)),))


class Clock:
    """The laws of one machine with its variables K and T, asked at one time after another."""

    def __init__(self, *laws: DelayLaw) -> None:
        self.book = Book({"K": 0, "T": 1})
        self.delays = delays_of(self.book, laws)
        self.since = np.full((1, len(laws)), NEVER, dtype=np.int64)

    def moved(self, state: dict[str, str], now_ms: int, stuck: dict[str, str] | None = None) -> dict[str, str]:
        """What moves."""
        codes = self.book.row(state)[None]
        fixed = self.book.row(stuck or {})[None] != 0
        after = self.book.state(moved_by(self.delays, codes, self.since, np.array([now_ms]), fixed)[0])
        return {var: value for var, value in after.items() if state[var] != value}

    def in_doubt(self, now_ms: int, not_by: int = 0) -> tuple[int, float] | None:
        return in_doubt(self.delays, self.since[0], np.full(self.since.shape[1], not_by), now_ms)

    def next_due_ms(self) -> int | None:
        return next_due_ms(self.delays, self.since[0])


def test_it_moves_when_its_time_is_up_and_not_a_millisecond_before():
    clock, fed = Clock(UP, DOWN), {"K": "in", "T": "out"}
    assert clock.moved(fed, 1000) == {}
    assert clock.next_due_ms() == 6000
    assert clock.moved(fed, 5999) == {}
    assert clock.moved(fed, 6000) == {"T": "in"}


def test_a_break_in_its_condition_begins_the_time_anew():
    clock = Clock(UP, DOWN)
    clock.moved({"K": "in", "T": "out"}, 0)
    assert clock.moved({"K": "out", "T": "out"}, 4000) == {}
    assert clock.next_due_ms() is None
    assert clock.moved({"K": "in", "T": "out"}, 5000) == {}
    assert clock.next_due_ms() == 10_000


def test_a_move_without_a_time_is_made_at_once():
    assert Clock(UP, DOWN).moved({"K": "out", "T": "in"}, 0) == {"T": "out"}


def test_what_is_stuck_neither_moves_nor_keeps_the_clock_running():
    clock = Clock(UP, DOWN)
    assert clock.moved({"K": "in", "T": "out"}, 9000, {"T": "out"}) == {}
    assert clock.next_due_ms() is None


def test_of_two_moves_that_are_ready_the_first_listed_is_made():
    other = DelayLaw("T", "out", "third", (When("K", ("in",)),))
    assert Clock(other, UP).moved({"K": "in", "T": "out"}, 0) == {"T": "third"}


def test_a_move_that_may_come_sooner_or_later_is_in_doubt_between_the_two():
    clock = Clock(DelayLaw("T", "out", "in", (When("K", ("in",)),), 0.010, 0.030))
    clock.moved({"K": "in", "T": "out"}, 100)
    assert [clock.in_doubt(now) for now in (105, 110, 130)] == [None, None, None]
    assert clock.in_doubt(125) == (0, 0.75)
    # Once it is known not to have moved by 120, half of what is left has passed at 125.
    assert clock.in_doubt(125, not_by=120) == (0, 0.5)
    assert clock.next_due_ms() == 130


def test_a_move_that_may_come_sooner_or_later_is_surely_made_at_the_later_time_only():
    clock, fed = Clock(DelayLaw("T", "out", "in", (When("K", ("in",)),), 0.010, 0.030)), {"K": "in", "T": "out"}
    assert [clock.moved(fed, now) for now in (100, 110, 129)] == [{}, {}, {}]
    assert clock.moved(fed, 130) == {"T": "in"}


def test_of_two_moves_in_doubt_the_one_that_has_waited_longer_is_decided_first():
    first = DelayLaw("T", "out", "in", (When("K", ("in",)),), 0.010, 0.030)
    longer = DelayLaw("K", "in", "out", (When("K", ("in", "late")),), 0.010, 0.030)
    clock = Clock(first, longer)
    clock.moved({"K": "in", "T": "in"}, 95)
    clock.moved({"K": "in", "T": "out"}, 100)
    assert clock.in_doubt(115) == (1, 0.5)
