"""The ranges of a hand-held meter: accuracy, last digit, over-range; and what ohms, continuity and insulation show."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from against import belt7, hoist9
from against.belt7 import pin
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.evidence import likelihood, seen
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import LIVE, bulk, read
from troubleshoot.solve.meters import (
    BEEPS_BELOW_OHMS,
    NEEDS_DEAD,
    RANGES,
    VOLTS,
    Mode,
    digit,
    error,
    over_range,
    unit_of,
)
from troubleshoot.solve.settle import settle

ISOLATED = Situation(acts=(Act("open", "Q1"),))
MODES: tuple[Mode, ...] = get_args(Mode)


def test_w42_118_3_volts_on_an_alternating_range_are_good_to_1_48():
    """W42, closed form: 1.0 % of 118.3 and three digits of 0.1 V: 1.183 + 0.3."""
    assert digit("ac volts", 118.3) == pytest.approx(0.1)
    assert error("ac volts", 118.3) == pytest.approx(1.48, abs=0.005)


@pytest.mark.parametrize(
    ("mode", "share", "digits"), [("ac volts", 1.0, 3), ("dc volts", 0.5, 2), ("ohms", 0.9, 2), ("amps", 2.0, 5)]
)
def test_accuracies_are_the_usual_ones(mode, share, digits):
    """Common practice, no published source: AC 1.0 % + 3, DC 0.5 % + 2, ohms 0.9 % + 2, clamp 2.0 % + 5."""
    assert (100 * RANGES[mode].share, RANGES[mode].digits) == pytest.approx((share, digits))


def test_likelihood_uses_the_same_accuracy():
    assert RANGES["ac volts"].share == likelihood.TOOL_SHARE
    assert seen.Mode is Mode


@given(st.sampled_from(sorted(VOLTS)), st.floats(0, 999))
def test_a_meter_shows_four_digits_and_never_finer_than_its_lowest_range(mode, value):
    step = digit(mode, value)
    assert value / step <= 6000
    assert step >= RANGES[mode].lowest / 6000
    assert error(mode, value) >= RANGES[mode].digits * step


def test_over_its_top_range_it_shows_ol():
    assert over_range("ac volts", 1001)
    assert not over_range("ac volts", 690)
    net = belt7.net()
    # A continuity range ends at 600 ohm; the same contact on ohms reads on.
    open_contact = read(net, (), ISOLATED, "continuity", pin("K1:A1"), pin("K1:A2"))[0][0].value
    assert math.isinf(open_contact)
    assert read(net, (), ISOLATED, "ohms", pin("K1:A1"), pin("K1:A2"))[0][0].value < 1000


def test_volts_ohms_and_amperes_are_all_that_a_meter_shows():
    assert {unit_of(mode) for mode in MODES} == {"V", "ohm", "A"}
    assert VOLTS.isdisjoint(NEEDS_DEAD)
    assert {"ohms", "continuity", "insulation"} == NEEDS_DEAD


def test_a_closed_contact_beeps_and_a_coil_does_not():
    """Common practice: the buzzer sounds below 20 to 50 ohm."""
    net = belt7.net()
    closed = read(net, (), ISOLATED, "continuity", pin("FR1:95"), pin("FR1:96"))[0][0].value
    coil = read(net, (), ISOLATED, "ohms", pin("KM1:A1"), pin("KM1:A2"))[0][0].value
    assert closed < BEEPS_BELOW_OHMS < coil


@pytest.mark.parametrize("mode", sorted(NEEDS_DEAD))
def test_on_a_live_point_such_a_meter_is_refused(mode):
    """It puts volts of its own on what it touches; a live point spoils the reading and may spoil the meter. Practice."""
    net = belt7.net()
    ((reading, _),) = read(net, (), Situation(), mode, pin("F4:2"), pin("NB:1"))
    assert reading.refused == LIVE
    assert math.isnan(reading.value)
    ((dead, _),) = read(net, (), ISOLATED, mode, pin("F4:2"), pin("NB:1"))
    assert not dead.refused


class TestInsulation:
    """500 V DC between conductor and earth; 1 megohm must be there (IEC 60204-1 clause 18.3, from memory)."""

    def megohms(self, net, point, edits=(), at=ISOLATED) -> float:
        return float(read(net, edits, at, "insulation", pin(point), pin("G1:PE"))[0][0].value) / 1e6

    def test_a_dry_motor_circuit_passes(self):
        assert self.megohms(hoist9.net("half-wave"), "M1:U1") > 1

    def test_a_wet_cable_of_half_a_megohm_fails_wherever_on_the_windings_one_tests(self):
        """Closed form: the windings are ohms beside megohms, so each lead reads the same fault."""
        wet = (Edit("earth", "M1:V1", 1 / 0.5e6),)
        readings = [self.megohms(hoist9.net("half-wave"), f"M1:{lead}", wet) for lead in ("U1", "V1", "W1")]
        assert readings == pytest.approx([0.5] * 3, rel=0.05)

    def test_a_conductor_that_is_bonded_to_earth_reads_nothing_and_must_be_lifted_first(self):
        assert self.megohms(hoist9.net("half-wave"), "KM1:A2") < 1e-3

    def test_a_table_of_readings_says_the_same_as_one_by_one(self):
        net = hoist9.net("half-wave")
        network = settle(net, (), ISOLATED)[0].network
        table = bulk(net, [network], "insulation", [(pin("M1:U1"), pin("G1:PE"))])
        assert table.value[0, 0] / 1e6 == pytest.approx(self.megohms(net, "M1:U1"))
