"""What a meter shows, and what it does to the circuit it is laid across."""

from __future__ import annotations

import math

import numpy as np
import pytest
from against import belt7
from against.belt7 import pin
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.meter import bulk, read
from troubleshoot.solve.network import transfer
from troubleshoot.solve.settle import settle

REST = Situation()
START = (Act("press", "S1"), Act("release", "S1"))
RUNNING = Situation(acts=START)
ISOLATED = Situation(acts=(Act("open", "Q1"),))
PINS = sorted(name for name in belt7.net().nodes if "@" not in name)
# States that lie far from every threshold, so that ten megohm more or less decides nothing.
QUIET = ("something not in this model", "K1 13-14 open", "KM1 coil open", "F4 open", "F2 open", "A1 module dead",
         "PS1 no output", "12:K1:14>FR1:95 open", "25:A1:Q+>X3:1 open", "13:FR1:96>KM1:A1 to earth")  # fmt: skip


def one(suspect, situation, mode, red, black):
    edits = belt7.suspects()[suspect].edits if suspect else ()
    ((reading, _),) = read(belt7.net(), edits, situation, mode, pin(red), pin(black))
    return reading


class TestVolts:
    def test_direct_volts_have_a_sign_and_alternating_ones_have_none(self):
        assert one("", REST, "dc volts", "PS1:+", "PS1:-").value == pytest.approx(24, abs=0.1)
        assert one("", REST, "dc volts", "PS1:-", "PS1:+").value == pytest.approx(-24, abs=0.1)
        assert one("", REST, "ac volts", "NB:1", "F4:2").value == pytest.approx(120, abs=0.5)

    def test_direct_volts_on_the_alternating_range_read_nothing(self):
        assert one("", REST, "ac volts", "PS1:+", "PS1:-").value == pytest.approx(0, abs=0.01)
        assert one("", REST, "dc volts", "F4:2", "NB:1").value == pytest.approx(0, abs=0.01)

    def test_a_star_supply_reads_line_and_phase_volts(self):
        """208Y/120: sqrt(3) between lines (IEC 60038 and ANSI C84.1 list the pair, from memory)."""
        lines = ("Q1:1", "Q1:3", "Q1:5")
        for a, b in zip(lines, lines[1:] + lines[:1], strict=True):
            assert one("", REST, "ac volts", a, b).value == pytest.approx(120 * math.sqrt(3), rel=0.005)
            assert one("", REST, "ac volts", a, "PE:1").value == pytest.approx(120, rel=0.005)

    def test_across_a_closed_contact_there_is_nothing_and_across_an_open_one_everything(self):
        assert one("", RUNNING, "ac volts", "K1:13", "K1:14").value < 0.1
        assert one("", REST, "ac volts", "K1:13", "K1:14").value == pytest.approx(120, abs=1)

    def test_points_that_hang_in_the_air_are_called_floating(self):
        assert one("F4 open", REST, "ac volts", "F4:2", "X1:1").floating is False
        loose = "12:K1:14>FR1:95 open"
        assert one(loose, REST, "ac volts", "K1:14", "NB:1").floating is True
        assert one("", REST, "ac volts", "FR1:95", "NB:1").floating is False


class TestBurden:
    def test_a_low_impedance_meter_across_the_open_start_button_pulls_the_contactor_in(self):
        """Closed form: 24 V * 3.3 / (3.3 + 3) = 12.6 V at an input that may be on from 5 V and must be from 15 V."""
        found = read(belt7.net(), (), REST, "low-impedance volts", pin("S1:13"), pin("S1:14"))
        assert sum(o.weight for _, o in found if o.state["KM1"] == "in") == pytest.approx(0.757, abs=0.01)
        assert all(r.value == pytest.approx(24 - 12.57, rel=0.01) for r, _ in found)

    def test_a_ten_megohm_meter_there_moves_nothing(self):
        ((reading, outcome),) = read(belt7.net(), (), REST, "dc volts", pin("S1:13"), pin("S1:14"))
        assert outcome.state["KM1"] == "out"
        assert reading.value == pytest.approx(24, abs=0.1)

    def test_each_side_to_0_v_with_the_same_low_impedance_meter_moves_nothing(self):
        for side in ("S1:13", "S1:14"):
            ((_, outcome),) = read(belt7.net(), (), REST, "low-impedance volts", pin(side), pin("MB:1"))
            assert outcome.state["KM1"] == "out"

    @given(st.sampled_from(QUIET), st.sampled_from(("rest", "running")), st.lists(
        st.tuples(st.sampled_from(PINS), st.sampled_from(PINS)), min_size=1, max_size=6),
        st.sampled_from(("ac volts", "dc volts")))  # fmt: skip
    @settings(max_examples=40)
    def test_a_table_of_readings_agrees_with_the_meter_laid_in_one_by_one(self, suspect, when, pairs, mode):
        """Thevenin's theorem against the network solved with the meter in it."""
        net, situation = belt7.net(), REST if when == "rest" else RUNNING
        edits = belt7.suspects()[suspect].edits
        pairs = [(pin(a), pin(b)) for a, b in pairs if a != b]
        (outcome,) = settle(net, edits, situation)
        table = bulk(net, [outcome.network], mode, pairs)
        for k, (red, black) in enumerate(pairs):
            ((reading, _),) = read(net, edits, situation, mode, red, black)
            assert table.value[k, 0] == pytest.approx(reading.value, rel=1e-5, abs=1e-5)
            assert bool(table.floating[k, 0]) is reading.floating


class TestOhmsAndAmps:
    def test_a_coil_in_ohms(self):
        # Closed form: 24^2 V / 0.9 W = 640 ohm; the controller's output leaks beside it, so a little less.
        assert one("", ISOLATED, "ohms", "K1:A1", "K1:A2").value == pytest.approx(640, rel=0.01)

    def test_an_open_coil_shows_ol_where_nothing_lies_beside_it(self):
        assert one("KM1 coil open", ISOLATED, "ohms", "KM1:A1", "KM1:A2").value == math.inf

    def test_a_whole_fuse_reads_next_to_nothing_and_a_blown_one_reads_what_lies_around_it(self):
        assert one("", ISOLATED, "ohms", "F2:1", "F2:2").value < 0.1
        assert one("F2 open", ISOLATED, "ohms", "F2:1", "F2:2").value > 100

    def test_motor_windings_read_alike_and_one_that_is_open_does_not(self):
        pairs = (("M1:U1", "M1:V1"), ("M1:V1", "M1:W1"), ("M1:W1", "M1:U1"))
        ohms = [one("", ISOLATED, "ohms", *pair).value for pair in pairs]
        assert max(ohms) < 1.03 * min(ohms)
        assert one("M1 winding W open", ISOLATED, "ohms", *pairs[1]).value == math.inf

    def test_the_clamp_reads_the_nameplate_when_the_motor_runs(self):
        # 6.4 A nameplate, a brake of 50 VA beside it on two of the lines.
        for red, black in (("F1:2", "KM1:1"), ("F2:2", "KM1:3"), ("F3:2", "KM1:5")):
            assert one("", RUNNING, "amps", red, black).value == pytest.approx(6.4, abs=0.3)
        assert one("", REST, "amps", "F1:2", "KM1:1").value == pytest.approx(0, abs=1e-3)

    def test_the_table_of_amps_and_ohms_agrees_with_single_readings(self):
        net = belt7.net()
        networks = [settle(net, (), s)[0].network for s in (REST, RUNNING, ISOLATED)]
        wires = [(pin("F1:2"), pin("KM1:1")), (pin("K1:14"), pin("FR1:95"))]
        amps = bulk(net, networks, "amps", wires)
        assert amps.value.shape == (2, 3)
        assert amps.value[0, 1] == one("", RUNNING, "amps", "F1:2", "KM1:1").value
        ohms = bulk(net, networks, "ohms", [(pin("K1:A1"), pin("K1:A2"))])
        assert ohms.value[0, 2] == pytest.approx(one("", ISOLATED, "ohms", "K1:A1", "K1:A2").value)
        assert not np.isnan(ohms.value).any()


class TestAMotorThatTurns:
    """On two lines its lead is a source behind an impedance: a meter's divider must be worked out from that one."""

    SUSPECT, STOPPED = "KM1 1-2 and 3-4 welded", (*START, Act("press", "S2"), Act("release", "S2"))

    @pytest.mark.parametrize("mode", ["ac volts", "low-impedance volts"])
    def test_a_table_of_readings_says_what_a_meter_in_the_network_says(self, mode):
        edits, situation = belt7.suspects()[self.SUSPECT].edits, Situation(acts=self.STOPPED)
        (outcome,) = settle(belt7.net(), edits, situation)
        assert outcome.state["M1"] == "turning"
        pairs = [(pin(a), pin(b)) for a, b in (("M1:W1", "M1:U1"), ("M1:W1", "PE:1"), ("KM1:5", "KM1:6"))]
        quick = bulk(belt7.net(), [outcome.network], mode, pairs)
        for k, (red, black) in enumerate(pairs):
            ((slow, _),) = read(belt7.net(), edits, situation, mode, red, black)
            # The quick one leaves the slip as it is; three kilohm on one lead cost this loaded motor 0.2 %.
            assert quick.value[k, 0] == pytest.approx(slow.value, rel=3e-3 if mode.startswith("low") else 1e-6)
            assert not quick.floating[k, 0]
            assert not slow.floating

    def test_an_ampere_into_its_open_lead_meets_the_impedance_of_both_sequences(self):
        """Closed form: the lead's Thevenin impedance is that of winding W and of the other two, of some 10 ohm; never a
        megohm, so the lead does not float."""
        edits, situation = belt7.suspects()[self.SUSPECT].edits, Situation(acts=self.STOPPED)
        (outcome,) = settle(belt7.net(), edits, situation)
        node = belt7.net().node(pin("M1:W1"))
        z = transfer(belt7.net(), [outcome.network], "ac", [node])[0, 0, 0]
        assert 2 < abs(z) < 40
