"""Moves that conditions make, at once or after a time: the clock of timer relays and of sequences."""

from __future__ import annotations

from troubleshoot.circuit.kinds.base import DelayLaw, When
from troubleshoot.solve.delays import in_doubt, moved, next_due_ms

UP = DelayLaw("T", "out", "in", (When("K", ("in",)),), 5.0)
DOWN = DelayLaw("T", "in", "out", (When("K", ("out",)),))
LAWS = (UP, DOWN)


def test_it_moves_when_its_time_is_up_and_not_a_millisecond_before():
    since: dict[int, int] = {}
    fed = {"K": "in", "T": "out"}
    assert moved(LAWS, fed, since, 1000, {}) == {}
    assert next_due_ms(LAWS, since) == 6000
    assert moved(LAWS, fed, since, 5999, {}) == {}
    assert moved(LAWS, fed, since, 6000, {}) == {"T": "in"}


def test_a_break_in_its_condition_begins_the_time_anew():
    since: dict[int, int] = {}
    moved(LAWS, {"K": "in", "T": "out"}, since, 0, {})
    assert moved(LAWS, {"K": "out", "T": "out"}, since, 4000, {}) == {}
    assert next_due_ms(LAWS, since) is None
    assert moved(LAWS, {"K": "in", "T": "out"}, since, 5000, {}) == {}
    assert next_due_ms(LAWS, since) == 10_000


def test_a_move_without_a_time_is_made_at_once():
    assert moved(LAWS, {"K": "out", "T": "in"}, {}, 0, {}) == {"T": "out"}


def test_what_is_stuck_neither_moves_nor_keeps_the_clock_running():
    since: dict[int, int] = {}
    assert moved(LAWS, {"K": "in", "T": "out"}, since, 9000, {"T": "out"}) == {}
    assert next_due_ms(LAWS, since) is None


def test_of_two_moves_that_are_ready_the_first_listed_is_made():
    other = DelayLaw("T", "out", "third", (When("K", ("in",)),))
    assert moved((other, UP), {"K": "in", "T": "out"}, {}, 0, {}) == {"T": "third"}


def test_a_move_that_may_come_sooner_or_later_is_in_doubt_between_the_two():
    late = DelayLaw("T", "out", "in", (When("K", ("in",)),), 0.010, 0.030)
    since = {0: 100}
    assert [in_doubt((late,), since, {}, now) for now in (105, 110, 130)] == [None, None, None]
    assert in_doubt((late,), since, {}, 125) == (0, 0.75)
    # Once it is known not to have moved by 120, half of what is left has passed at 125.
    assert in_doubt((late,), since, {0: 120}, 125) == (0, 0.5)
    assert next_due_ms((late,), since) == 130
