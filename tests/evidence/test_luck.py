"""Not seen since: what a clean time is worth, against figures worked out by hand and against dice."""

from __future__ import annotations

import math
import random

import pytest

from troubleshoot.evidence.luck import Rate, mended, read_clean, read_rate

TWO_A_SHIFT = Rate(2 / 8, starts=False)


@pytest.mark.parametrize(("hours", "luck"), [(9, 0.105), (12, 0.050), (16, 0.018)])
def test_at_two_a_shift_nine_clean_hours_are_luck_once_in_ten_twelve_once_in_twenty_two_shifts_once_in_fifty(
    hours, luck
):
    """exp(-rate time), worked by hand: exp(-2.25) = 0.1054, exp(-3) = 0.0498, exp(-4) = 0.0183."""
    assert TWO_A_SHIFT.luck(hours) == pytest.approx(luck, abs=0.001)


def test_three_times_the_usual_time_between_failures_leaves_one_in_twenty():
    """The rule of three: Hanley and Lippman-Hand, JAMA 249 (1983) 1743, from memory."""
    assert TWO_A_SHIFT.needed() == pytest.approx(3 / TWO_A_SHIFT.each, rel=0.002)


def test_failures_strewn_at_random_stay_away_as_often_as_reckoned():
    """Second method: dice. Failures strewn evenly over a year, two a shift; how many stretches of nine hours hold none?"""
    dice = random.Random(1)
    hours = 8760
    at = [dice.uniform(0, hours) for _ in range(round(TWO_A_SHIFT.each * hours))]
    hit = {int(t // 9) for t in at}
    clean = 1 - len(hit) / (hours // 9 + 1)
    assert clean == pytest.approx(TWO_A_SHIFT.luck(9), abs=0.03)


def test_of_starts_each_is_a_throw_of_its_own():
    rate = Rate(1 / 20, starts=True)
    assert rate.luck(40) == pytest.approx(0.95**40)
    assert rate.luck(math.ceil(rate.needed())) <= 0.05 < rate.luck(math.floor(rate.needed()) - 1)


def test_what_stays_away_long_is_likelier_mended_and_never_surely():
    """Bayes by hand: 0.5 / (0.5 + 0.5 * 0.05) = 0.952."""
    assert mended(0.5, 0.05) == pytest.approx(0.952, abs=0.001)
    chances = [mended(0.5, TWO_A_SHIFT.luck(h)) for h in (0, 4, 9, 12, 16, 40)]
    assert chances[0] == 0.5
    assert chances == sorted(chances)
    assert chances[-1] < 1


@pytest.mark.parametrize(
    ("said", "each", "starts"),
    [
        ("2 per shift", 0.25, False), ("twice a shift", 0.25, False), ("about 2x per shift", 0.25, False),
        ("once a day", 1 / 24, False), ("3 times a week", 3 / 168, False), ("every 4 h", 0.25, False),
        ("every two hours", 0.5, False), ("1 in 20 starts", 0.05, True), ("every 5 starts", 0.2, True),
        ("Once a Shift.", 0.125, False), ("1 per 8 h", 0.125, False), ("0.5 per day", 0.5 / 24, False),
    ],
)  # fmt: skip
def test_a_rate_is_read_as_people_say_it(said, each, starts):
    found = read_rate(said)
    assert found is not None
    assert (found.each, found.starts) == (pytest.approx(each), starts)


@pytest.mark.parametrize(
    "said", ["", "often", "2", "2 per", "0 per shift", "5 in 5 starts", "per shift", "2 per belt", "-1 per h"]
)
def test_what_says_no_rate_is_none(said):
    assert read_rate(said) is None


def test_a_clean_time_is_read_in_hours_or_in_starts_never_the_one_for_the_other():
    assert read_clean("16 h", starts=False) == 16
    assert read_clean("two shifts", starts=False) == 16
    assert read_clean("3 days", starts=False) == 72
    assert read_clean("40 starts", starts=True) == 40
    assert read_clean("40 starts", starts=False) is None
    assert read_clean("16 h", starts=True) is None
    assert read_clean("long", starts=False) is None
