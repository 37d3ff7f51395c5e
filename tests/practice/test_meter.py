"""The meter lies as real ones do, and only so."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.practice.meter import KNOB, Setting, Truth, display, proving
from troubleshoot.solve.meters import RANGES, error, over_range, unit_of


def shown(setting: Setting, low: float, high: float | None = None, *, floats: bool = False, first: bool = False):
    truth = Truth(low, low if high is None else high, floats)
    return display(setting, truth, random.Random(1), first=first)


@given(st.sampled_from(KNOB), st.floats(-900, 900), st.integers(0, 99))
def test_a_meter_set_right_is_never_further_off_than_its_data_sheet_allows(mode: str, value: float, seed: int) -> None:
    value = value if mode == "dc volts" else abs(value)
    found = display(Setting(mode), Truth(value, value), random.Random(seed), first=False)  # type: ignore[arg-type]
    if over_range(mode, value):  # type: ignore[arg-type]
        assert found.value == math.inf or found.value is None or abs(found.value) <= RANGES[mode].top * 1.01  # type: ignore[index]
        return
    assert found.value is not None
    leads = 0.2 if unit_of(mode) == "ohm" else 0.0  # type: ignore[arg-type]
    if found.value != math.inf:
        assert abs(found.value - value - leads) <= error(mode, value + leads) + 1e-9  # type: ignore[arg-type]


def test_a_small_value_comes_in_millivolts_on_the_automatic_range_and_not_on_a_range_by_hand() -> None:
    assert shown(Setting("ac volts"), 0.3124).text.endswith(" mV")
    assert shown(Setting("ac volts"), 0.3124).text.startswith("31")
    assert shown(Setting("ac volts", full=600.0), 0.3124).text == "0.3 V"


def test_a_range_that_is_too_low_shows_ol_at_a_live_point() -> None:
    assert shown(Setting("ac volts", full=6.0), 120.0).text == "OL"


def test_leads_the_wrong_way_round_show_minus_on_dc() -> None:
    assert shown(Setting("dc volts"), -24.0).text.startswith("-2")


@pytest.mark.parametrize("broken", [Setting(lead_broken=True), Setting(amps_jack=True, fuse_blown=True)])
def test_a_broken_lead_and_the_wrong_jack_show_nothing_on_volts_and_ol_on_ohms(broken: Setting) -> None:
    assert "mV" in shown(broken, 120.0).text
    assert abs(shown(broken, 120.0).value or 0) < 0.01
    assert shown(replace(broken, mode="ohms"), 3.0).text == "OL"
    assert abs(proving(broken, random.Random(1)).value or 0) < 0.01


def test_what_only_couples_in_drifts_and_is_no_number_that_stands() -> None:
    assert "wandering" in shown(Setting("ac volts"), 15.0, 80.0, floats=True).text


def test_what_chatters_jumps() -> None:
    assert "jumps" in shown(Setting("ac volts"), 0.0, 120.0).text


def test_an_automatic_range_is_now_and_then_read_before_it_stands_and_stands_when_it_is_read_again() -> None:
    first = [display(Setting("ac volts"), Truth(120.0, 120.0), random.Random(k), first=True) for k in range(200)]
    moving = [s for s in first if not s.stands]
    assert 5 < len(moving) < 80
    assert all(s.value is None for s in moving)
    again = [display(Setting("ac volts"), Truth(120.0, 120.0), random.Random(k), first=False) for k in range(200)]
    assert all(s.stands and abs((s.value or 0) - 120) < 2 for s in again)


def test_continuity_beeps_below_its_threshold_only() -> None:
    assert shown(Setting("continuity"), 1.0).beeps
    assert not shown(Setting("continuity"), 100.0).beeps


def test_the_proving_unit_gives_what_the_knob_asks_for_and_nothing_to_a_broken_lead_or_the_wrong_jack() -> None:
    for mode in ("ac volts", "dc volts"):
        assert (proving(Setting(mode), random.Random(1)).value or 0) > 100
        assert abs(proving(Setting(mode, amps_jack=True), random.Random(1)).value or 0) < 1
    assert abs(proving(Setting("ohms"), random.Random(1)).value or 0) < 1


def test_nothing_has_no_minus() -> None:
    for value in (-0.00001, 0.0, -0.00004):
        assert display(Setting("dc volts"), Truth(value, value), random.Random(1), first=False).text == "0.0 mV"
    assert display(Setting("dc volts"), Truth(-0.01, -0.01), random.Random(1), first=False).text.startswith("-")
