"""What a rectifier's row promises: means and ripples of ideal sines, shares of what breaks, one lever a pair."""

from __future__ import annotations

import math

import numpy as np
import pytest
from against import hoist9

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.kinds.base import Converter, InterlockLaw
from troubleshoot.circuit.kinds.drive import DC_HOLD, DC_RELEASE
from troubleshoot.circuit.kinds.rectifiers import FULL_MEAN, FULL_RIPPLE, HALF_MEAN, HALF_RIPPLE

WAVE = math.sqrt(2) * np.sin(2 * math.pi * (np.arange(100_000) + 0.5) / 100_000)
"""One period of one volt r.m.s., sampled: the witness is the sum over it, not the closed form."""


@pytest.mark.parametrize(
    ("rectified", "mean", "ripple"),
    [(np.maximum(WAVE, 0), HALF_MEAN, HALF_RIPPLE), (np.abs(WAVE), FULL_MEAN, FULL_RIPPLE)],
    ids=["half-wave", "full-wave"],
)
def test_mean_and_ripple_are_those_of_a_sampled_sine(rectified, mean, ripple):
    assert rectified.mean() == pytest.approx(mean, rel=1e-6)
    assert rectified.std() == pytest.approx(ripple, rel=1e-6)


@pytest.mark.parametrize("form", hoist9.FORMS)
def test_the_halves_of_an_output_add_up_to_one(form):
    device = hoist9.circuit(form).devices["TB1"]
    outputs = [part for part in KINDS["rectifier"].parts(device) if isinstance(part, Converter)]
    assert sum(part.share for part in outputs) == 1


def test_a_shorted_diode_is_likelier_than_an_open_one():
    """Rectifier diode: short 0.51, open 0.29, drift 0.20 (MIL-HDBK-338B, from memory)."""
    for form in hoist9.FORMS:
        shares = {m.name: m.share for m in KINDS["rectifier"].modes(hoist9.circuit(form).devices["TB1"])}
        assert shares["diode short"] / (1 - shares["diode short"]) == pytest.approx(0.51 / 0.29, rel=0.05)


def test_a_direct_brake_releases_well_over_the_half_that_one_dead_diode_leaves_and_holds_under_it():
    """Release 0.75 +- 0.08, hold 0.30 +- 0.10 of rated volts; common practice. Must be free at 0.90, hot."""
    assert DC_HOLD.high < 0.5 < DC_RELEASE.low
    assert DC_RELEASE.high <= 0.90
    assert (DC_RELEASE.low + DC_RELEASE.high) / 2 == pytest.approx(0.75)
    assert (DC_HOLD.low + DC_HOLD.high) / 2 == pytest.approx(0.30)


def test_a_lever_is_written_at_one_of_two_contactors_and_holds_for_both():
    devices = hoist9.circuit("half-wave").devices
    levers = [law for d in devices.values() for law in KINDS[d.kind].laws(d) if isinstance(law, InterlockLaw)]
    assert [lever.ends for lever in levers] == [("KM1", "KM2")]
