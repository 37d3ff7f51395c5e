"""A good reading comes back from its file as it was, and only a real drift is told."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from troubleshoot.circuit.model import Pin
from troubleshoot.evidence.baseline import Good, drift, latest, line, read_lines
from troubleshoot.evidence.seen import Interval, Meter

COIL = Meter("ac volts", Pin("KM1", "A1"), Pin("KM1", "A2"))


def good(value: float, date: str = "2026-03-12") -> Good:
    return Good(COIL, "running", value, date, "", "Ana")


@given(st.floats(-1000, 1000), st.text(max_size=20))
@example(0.0, "\x85")
def test_it_comes_back_from_its_line(value, who):
    one = Good(COIL, "running", value, "2026-03-12", "M-14", who)
    assert read_lines(line(one) + "\n") == (one,)


@given(st.text(max_size=200))
def test_whatever_else_stands_in_the_file_is_left_out(text):
    assert read_lines(text + "\n" + line(good(117.0)))[-1:] == (good(117.0),)


def test_the_newest_counts():
    assert latest([good(117.0), good(119.0, "2026-06-01")])[COIL, "running"].value == 119.0


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (116.0, ""),
        (119.0, ""),
        (105.0, "10% under the 117 V of 2026-03-12"),
        (130.0, "11% over the 117 V of 2026-03-12"),
    ],
)
def test_only_more_than_plant_volts_move_by_themselves_is_told(now, said):
    words = drift(good(117.0), Interval(now, now, "V"))
    assert said in words
    assert bool(words) == bool(said)


def test_ohms_are_not_compared_with_volts():
    assert drift(good(117.0), Interval(5.0, 5.0, "ohm")) == ""
