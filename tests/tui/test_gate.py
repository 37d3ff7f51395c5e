"""When a key counts. Repeat rates and delays: settings of common keyboards and consoles, from memory."""

from __future__ import annotations

import pytest

from troubleshoot.tui.gate import Counts, Gate


def drawn_at(t: float) -> Gate:
    gate = Gate()
    gate.painted(t)
    return gate


def test_a_caution_read_for_a_second_is_accepted_if_nothing_follows() -> None:
    assert drawn_at(10.0).judge("c", 11.0, caution=True) is Counts.IF_QUIET


def test_a_caution_drawn_for_less_than_300_ms_is_not_accepted() -> None:
    assert drawn_at(10.0).judge("c", 10.29, caution=True) is Counts.TOO_SOON


def test_a_key_pressed_before_the_sheet_was_drawn_counts_for_nothing() -> None:
    gate = drawn_at(10.0)
    assert gate.judge("1", 9.99, caution=False) is Counts.TYPED_AHEAD
    assert Gate().judge("1", 5.0, caution=False) is Counts.TYPED_AHEAD


@pytest.mark.parametrize("delay", [0.25, 0.5, 0.66], ids=["console", "desktop", "X server"])
@pytest.mark.parametrize("rate", [0.025, 0.033, 0.1], ids=["40/s", "30/s", "10/s"])
def test_a_c_held_down_since_before_the_caution_never_accepts_it(delay: float, rate: float) -> None:
    gate = drawn_at(10.05)
    verdicts = [gate.judge("c", 10.0, caution=True)]
    verdicts += [gate.judge("c", 10.0 + delay + n * rate, caution=True) for n in range(60)]
    assert Counts.YES not in verdicts
    # At most the first repeat could stand for a press, and the one after it, within a run, takes it back.
    assert all(v is not Counts.IF_QUIET for v in verdicts[2:])


def test_a_c_pressed_anew_a_moment_after_one_that_was_too_soon_is_accepted() -> None:
    gate = drawn_at(10.0)
    assert gate.judge("c", 10.1, caution=True) is Counts.TOO_SOON
    assert gate.judge("c", 10.8, caution=True) is Counts.IF_QUIET


def test_a_c_in_a_burst_of_keys_is_an_unmarked_paste() -> None:
    gate = drawn_at(10.0)
    gate.judge("n", 11.0, caution=False)
    assert gate.judge("c", 11.001, caution=True) is Counts.BURST


def test_the_same_key_twice_on_the_same_sheet_counts_twice() -> None:
    gate = drawn_at(10.0)
    assert [gate.judge("3", t, caution=False) for t in (10.5, 10.6)] == [Counts.YES, Counts.YES]


def test_a_key_held_down_answers_one_question_only() -> None:
    gate = drawn_at(10.0)
    assert gate.judge("1", 11.0, caution=False) is Counts.YES
    gate.changed()
    gate.painted(11.02)
    held = [gate.judge("1", 11.5 + n * 0.033, caution=False) for n in range(20)]
    assert held[0] is Counts.IF_QUIET
    assert set(held[1:]) == {Counts.REPEATED}


def test_the_same_key_pressed_again_for_the_next_question_counts() -> None:
    gate = drawn_at(10.0)
    gate.judge("1", 11.0, caution=False)
    gate.changed()
    gate.painted(11.02)
    assert gate.judge("1", 12.0, caution=False) is Counts.YES


def test_the_second_half_of_a_double_click_does_not_land_on_the_next_sheet() -> None:
    gate = drawn_at(10.0)
    assert gate.touch(10.25, caution=False) is Counts.TOO_SOON
    assert gate.touch(10.35, caution=True) is Counts.YES


def test_a_caution_that_was_covered_is_read_anew() -> None:
    gate = drawn_at(10.0)
    gate.changed()
    assert gate.judge("c", 20.0, caution=True) is Counts.TYPED_AHEAD
    gate.painted(20.1)
    assert gate.drawn_ms(20.3) == 200 or gate.drawn_ms(20.3) == 199
