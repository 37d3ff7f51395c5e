"""How uneven three readings are, by the definition of NEMA MG 1; W26, W27 and W29 of the trade's worked cases."""

from __future__ import annotations

import pytest

from troubleshoot.evidence.unbalance import derating, evenness, unbalance


@pytest.mark.parametrize(
    ("volts", "percent"),
    [
        # (460 - 455) / 460.
        ((462, 463, 455), 1.09),
        # The farthest from 394.33 is 388, below; who looks for the highest finds 1.45 %.
        ((400, 395, 388), 1.61),
        # Mean 459: (459 - 450) / 459.
        ((460, 467, 450), 1.96),
    ],
    ids=["W26", "W27", "W29"],
)
def test_it_is_the_farthest_from_the_mean_to_either_side(volts, percent):
    assert unbalance(volts) == pytest.approx(percent, abs=0.005)
    assert unbalance(tuple(reversed(volts))) == pytest.approx(unbalance(volts))


def test_w29_a_motor_on_1_96_percent_gives_95_percent_of_its_power():
    """The table of MG 1: 0.97 at 1.5 %, 0.95 at 2 %."""
    assert derating(unbalance((460, 467, 450))) == pytest.approx(0.95, abs=0.005)
    assert derating(0.5) == 1.0
    assert derating(5.0) == pytest.approx(0.76)
    assert derating(5.1) is None


def test_a_reported_17_percent_of_current_points_to_1_7_percent_of_volts():
    """A field case told on a forum: 1.7 % of volts gave 17 % of current; MG 1 says 6 to 10 times."""
    assert "17 % uneven" in evenness((10, 10, 12.79))
    assert "1.7 to 2.8 %" in evenness((10, 10, 12.79))


def test_even_currents_ask_for_nothing_more_and_no_current_says_nothing():
    assert evenness((4.8, 4.9, 4.7)) == "Currents 2 % uneven."
    assert evenness((0, 0, 0)) == ""


def test_two_readings_are_no_system():
    with pytest.raises(ValueError):
        unbalance((400, 395))
