"""Small circuits whose answer a person can work out on paper, solved through the front door: a circuit file.

Every case says how its figure comes about; "closed form" is a divider or phasor sum worked out in the comment, by hand.
Allowed: 0.5 % or 0.1 V. Usual 120 V coil: 70 VA at power factor 0.6 with the armature open, Zi = 123.4 + j164.6 ohm;
8 VA at 0.3 sealed, Zc = 540 + j1717 ohm (common practice for a small contactor).

Every case of the trade is expressible. Elsewhere: stray coupling (W01-W07, W17-W19) in `test_stray`; unbalance (W26, W27,
W29) in `evidence/test_unbalance`; the isolation's wait for a capacitor (W47) also in `safety/test_isolation`; earthing systems and transformers (W12-W15, W52, W54, W56) in `test_earthing_and_transformers`; motors, lost
lines, unbalance and run-down (W20-W24, W28, W30-W32, W35, W37) in `test_motor`, the overload relay's (W25) in
`solve/test_overload`; rectified brakes (W33-W36) in `test_rectified_brakes`; a leaking suppressor (W08) in
`test_reversing_and_suppressors`; accuracy of a reading (W42) in `solve/test_meters`.
"""

from __future__ import annotations

import pytest
from against.belt7 import circuit_from, pin
from against.small import NONE, REST, about, joint, machine_of, net_of, opened, reads

from troubleshoot.circuit.kinds.supplies import discharge_seconds
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import settle

# 120 V control rung: fuse, break contact, contactor coil, neutral.
RUNG = """
machine: rung
devices:
  G1: {kind: supply, volts: 208Y/120, frequency: 60 Hz}
  F1: {kind: fuse, amps: 3 A}
  S2: {kind: push button, blocks: {'11-12': nc}}
  S1: {kind: push button, blocks: {'13-14': no}}
  KM1: {kind: contactor, coil: 120 V AC, inrush va: 70 VA, sealed va: 8 VA, blocks: {'13-14': no}}
wires:
  - {number: '1', run: ['G1:L1', 'F1:1']}
  - {number: '2', run: ['F1:2', 'S2:11']}
  - {number: '3', run: ['S2:12', 'S1:13', 'KM1:13']}
  - {number: '4', run: ['S1:14', 'KM1:14', 'KM1:A1']}
  - {number: N, run: ['KM1:A2', 'G1:N']}
roles: {start: S1}
complaints: {}
"""
COIL_WIRE = "4:KM1:14>KM1:A1"

DC = """
machine: dc
devices:
  G1: {kind: supply, volts: 208Y/120}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
  K1: {kind: %s, coil: 24 V DC, coil watts: %s W, blocks: {'13-14': no}}
wires:
  - {number: L, run: ['G1:L1', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
  - {number: '24', run: ['PS1:+', 'K1:A1']}
  - {number: 0V, run: ['PS1:-', 'K1:A2']}
roles: {}
complaints: {}
"""
RELAY_650 = DC % ("relay", "0.886154")
DC_WIRE = "24:PS1:+>K1:A1"


START = (Act("press", "S1"),)


class TestMetersAndLeakage:
    def test_w10_ten_megohm_on_a_one_megohm_source(self):
        # Closed form: R / (R + Rs); 10/11 = 90.9 %, 3 kilohm 0.30 %.
        net, edits = net_of(RUNG), (joint(COIL_WIRE, 1e6), opened("KM1 coil"))
        assert reads(net, edits, "KM1:A1", "G1:N", after=START) == about(0.909 * 120)
        loaded = reads(net, edits, "KM1:A1", "G1:N", "low-impedance volts", START)
        assert loaded == pytest.approx(0.0030 * 120, rel=0.01)

    def test_w11_two_opens_in_one_rung_do_not_show_the_supply_across_the_first(self):
        # Closed form: no closed loop, so the meter sees nothing but the leak of what floats.
        net, edits = net_of(RUNG), (opened("2:F1:2>S2:11"), opened(COIL_WIRE))
        assert reads(net, edits, "F1:2", "S2:11") < 0.1 * 120
        assert reads(net, edits[:1], "F1:2", "S2:11", after=START) == about(120)

    def test_w09_an_output_that_is_off_leaks_and_only_a_load_shows_that_it_is_off(self):
        # Closed form: 24 V through 480 kilohm (0.05 mA) and 650 ohm, 0.032 V; and against 10 megohm, 22.9 V.
        text = RELAY_650.replace(
            "wires:", "  A1: {kind: plc, inputs: {}, outputs: {'%QX0.0': relay}}\nwires:"
        ).replace("  - {number: '24', run: ['PS1:+', 'K1:A1']}", "  - {number: '24', run: ['PS1:+', 'A1:Q+', 'A1:L+']}\n"
            "  - {number: '40', run: ['A1:%QX0.0', 'K1:A1']}").replace("'K1:A2']", "'K1:A2', 'A1:M', 'A1:COM']")  # fmt: skip
        net = net_of(text)
        assert reads(net, NONE, "K1:A1", "K1:A2", "dc volts") == pytest.approx(24 * 650 / 480_650, rel=0.005)
        off = (opened("40:A1:%QX0.0>K1:A1"),)
        assert reads(net, off, "A1:%QX0.0", "A1:M", "dc volts") == about(24 * 10 / 10.48)

    @pytest.mark.parametrize(
        ("load", "volts"),
        [("kind: load, ohms: 3 kohm", 4.48), ("kind: load, ohms: 12 kohm, pf: 0.5", 20.5), ("kind: load, ohms: 1800 ohm, pf: 0.3", 2.75)],
    )  # fmt: skip
    def test_w08_a_triac_output_that_is_off(self, load, volts):
        # Closed form: 120 V behind 100 ohm and 33 nF (-j80.4 kilohm); 10 megohm see all of it, 119.6 V with 100 pF.
        net = net_of(TRIAC % load)
        found = read(net, NONE, REST, "ac volts", pin("R1:1"), pin("R1:2"))
        assert [reading.value for reading, _ in found] == [about(volts)]
        off = (opened("40:A1:Y0>R1:1"),)
        assert reads(net, off, "A1:Y0", "G1:N") == about(119.6)
        assert reads(net, off, "A1:Y0", "G1:N", "low-impedance volts") == about(4.48)

    @pytest.mark.parametrize(
        ("coil", "volts"),
        [("kind: relay, blocks: {}, coil: 120 V AC, inrush va: 1.2 VA, inrush pf: 0.5, sealed va: 1.2 VA, sealed pf: 0.5", 20.5),
         ("kind: contactor, coil: 120 V AC", 2.75)],
    )  # fmt: skip
    def test_w08_a_coil_behind_a_triac_output_that_is_off(self, coil, volts):
        # Closed form: 120 |Z / (Z + 100 - j80.4k)|; a relay of 1.2 VA is 12 kilohm at 0.5: 17 % of its volts stay on it.
        text = (TRIAC % coil).replace("R1: {", "K1: {").replace("R1:1", "K1:A1").replace("R1:2", "K1:A2")
        assert reads(net_of(text), (Edit("stuck", "K1", "in"),), "K1:A1", "K1:A2") == about(volts)

    def test_w09_a_tenth_of_a_milliampere_through_a_sensor_that_is_off(self):
        # Closed form: 0.1 mA (24 V over 240 kilohm) into 650 ohm, 0.065 V; into 10 megohm 23.4 V.
        text = RELAY_650.replace(
            "wires:", "  B1: {kind: three-wire sensor, output: PNP, leak: 0.1 mA}\nwires:"
        ).replace("  - {number: '24', run: ['PS1:+', 'K1:A1']}", "  - {number: '24', run: ['PS1:+', 'B1:1']}\n"
            "  - {number: '40', run: ['B1:4', 'K1:A1']}").replace("'K1:A2']", "'K1:A2', 'B1:3']")  # fmt: skip
        net = net_of(text)
        assert reads(net, NONE, "K1:A1", "K1:A2", "dc volts") == pytest.approx(0.065, rel=0.005)
        assert reads(net, (opened("40:B1:4>K1:A1"),), "B1:4", "PS1:-", "dc volts") == about(24 * 10 / 10.24)

    def test_w16_a_floating_24_v_supply_shows_half_to_earth_until_one_side_is_earthed(self):
        # Closed form: dividers of 100 kilohm each side, 10 megohm or 3 kilohm beside the one that is measured.
        net = net_of(RELAY_650)
        leaks = (Edit("earth", "PS1:+", 1e-5), Edit("earth", "PS1:-", 1e-5))
        assert reads(net, leaks, "PS1:+", "G1:PE", "dc volts") == about(11.94)
        assert reads(net, leaks, "PS1:+", "G1:PE", "low-impedance volts") == about(0.68)
        fault = (Edit("earth", "PS1:+", 1 / 5000), leaks[1])
        assert reads(net, fault, "PS1:+", "G1:PE", "dc volts") == about(1.14)
        assert reads(net, fault, "PS1:-", "G1:PE", "dc volts") == about(-22.85)


TRIAC = """
machine: triac
devices:
  G1: {kind: supply, volts: 208Y/120, frequency: 60 Hz}
  A1: {kind: plc, groups: {1L: {what: triac outputs, points: {Y0: '%%QX0.0 valve'}}}}
  R1: {%s}
wires:
  - {number: L, run: ['G1:L1', 'A1:1L']}
  - {number: '40', run: ['A1:Y0', 'R1:1']}
  - {number: N, run: ['G1:N', 'R1:2']}
roles: {}
complaints: {}
"""


class TestDirectCurrentControl:
    def test_w38_200_m_of_thin_wire_each_way(self):
        # Closed form: 24 * R / (R + 9.8); 9.8 ohm = 400 m of 0.75 mm2 at 24.5 ohm/km (IEC 60228, class 1 and 2).
        assert reads(net_of(RELAY_650), (joint(DC_WIRE, 9.8),), "K1:A1", "K1:A2", "dc volts") == about(23.64)
        contactor = net_of(DC % ("contactor", 6))
        assert reads(contactor, (joint(DC_WIRE, 9.8),), "K1:A1", "K1:A2", "dc volts") == about(21.78)

    @pytest.mark.parametrize(("ohms", "volts"), [(150, 19.5), (216.7, 18.0), (400, 14.86)])
    def test_w43_a_bad_joint_before_a_24_v_relay(self, ohms, volts):
        # Closed form: 24 * 650 / (650 + R).
        net, edits = net_of(RELAY_650), (joint(DC_WIRE, ohms), Edit("stuck", "K1", "in"))
        assert reads(net, edits, "K1:A1", "K1:A2", "dc volts") == about(volts)
        assert reads(net, edits, "PS1:+", "K1:A1", "dc volts") == about(24 - volts)

    @pytest.mark.parametrize(("ohms", "volts"), [(1e3, 18.4), (4.7e3, 9.9), (10e3, 5.95)])
    def test_w44_film_in_a_closed_contact_and_a_wet_path_across_an_open_one(self, ohms, volts):
        # Closed form: 24 * 3.3 / (3.3 + R); band 5 .. 15 V of a type 1 input (IEC 61131-2, from memory).
        text = RELAY_650.replace("wires:", "  A1: {kind: plc, inputs: {'%IX0.0': sensor}, outputs: {}}\nwires:")
        text = text.replace("'K1:A1']", "'K1:A1', 'A1:L+', 'A1:Q+', 'A1:%IX0.0']")
        net = net_of(text.replace("'K1:A2']", "'K1:A2', 'A1:M', 'A1:COM']"))
        edits = (joint("24:A1:Q+>A1:%IX0.0", ohms),)
        found = read(net, edits, REST, "dc volts", pin("A1:%IX0.0"), pin("A1:COM"))
        assert all(reading.value == about(volts) for reading, _ in found)
        states = {outcome.state["A1 %IX0.0"] for _, outcome in found}
        assert states == ({"on"} if volts > 15 else {"on", "off"})

    def test_w44_a_two_wire_sensor_that_is_off_leaks_into_a_type_1_input(self):
        # Closed form: 1.5 mA * 3.3 kilohm = 4.95 V, 0.05 V under what a type 1 input takes for off (IEC 61131-2).
        text = (
            RELAY_650.replace(
                "wires:",
                "  A1: {kind: plc, groups: {1M: {what: sinking inputs, points: {'%IX0.0': sensor}}}}\n"
                "  B1: {kind: two-wire sensor, supply: 24 V DC, leak: 1.5 mA}\nwires:",
            )
            .replace("'K1:A1']", "'K1:A1', 'B1:1']")
            .replace("'K1:A2']", "'K1:A2', 'A1:1M']")
        )
        net = net_of(text.replace("roles:", "  - {number: '30', run: ['B1:4', 'A1:%IX0.0']}\nroles:"))
        assert reads(net, NONE, "A1:%IX0.0", "A1:1M", "dc volts") == about(4.95)
        assert {o.state["A1 %IX0.0"] for o in settle(net, NONE, REST)} == {"off"}


# Coil: 60 % of 120 * 120 / 57.6 is 150 ohm. Secondary: half of 4.17 % of 120 * 120 / 100 is 3 ohm.
DEAD = """
machine: dead
devices:
  G1: {kind: supply, volts: 480Y/277}
  Q1: {kind: disconnect}
  T1: {kind: control transformer, in: 480 V, out: 120 V, power: 100 VA, resistance: 0.041667}
  S1: {kind: push button, blocks: {'13-14': no}}
  KM1: {kind: contactor, coil: 120 V AC, inrush va: 57.6 VA}
wires:
  - {number: L1, run: ['G1:L1', 'Q1:1']}
  - {number: L2, run: ['G1:L2', 'Q1:3']}
  - {number: 1L1, run: ['Q1:2', 'T1:H1']}
  - {number: 1L2, run: ['Q1:4', 'T1:H2']}
  - {number: '2', run: ['T1:X1', 'S1:13']}
  - {number: '3', run: ['S1:14', 'KM1:A1']}
  - {number: '4', run: ['KM1:A2', 'T1:X2']}
roles: {}
complaints: {}
"""


class TestAlternatingCurrentControl:
    OUT, IN = Edit("stuck", "KM1", "out"), Edit("stuck", "KM1", "in")

    @pytest.mark.parametrize(
        ("ohms", "unsealed", "sealed"), [(6.28, 117.8, 119.9), (60, 100.2, 118.8), (200, 68.0, 115.5)]
    )
    def test_w39_w40_w41_a_long_wire_or_a_joint_before_the_coil(self, ohms, unsealed, sealed):
        # Closed form: 120 |Z / (Z + R)|. 6.28 ohm = 300 m of 18 AWG solid at 20 C (NEC chapter 9 table 8, corrected).
        net, bad = net_of(RUNG), joint(COIL_WIRE, ohms)
        assert reads(net, (bad, self.OUT), "KM1:A1", "KM1:A2", after=START) == about(unsealed)
        assert reads(net, (bad, self.IN), "KM1:A1", "KM1:A2", after=START) == about(sealed)

    def test_w39_the_third_figure_a_coil_of_220_va_at_power_factor_055(self):
        # Closed form: Z = 120 * 120 / 220 at 0.55 is 36.0 + j54.7 ohm; 120 |Z / (Z + 6.28)| = 113.7 V, 94.7 %.
        net = net_of(RUNG.replace("inrush va: 70 VA", "inrush va: 220 VA, inrush pf: 0.55"))
        bad = (joint(COIL_WIRE, 6.28), self.OUT)
        assert reads(net, bad, "KM1:A1", "KM1:A2", after=START) == about(113.7)

    def test_w41_drops_add_as_phasors_and_a_coil_lead_off_shows_full_volts(self):
        # Closed form: 120 R / |Z + R|.
        net, bad = net_of(RUNG), joint(COIL_WIRE, 200)
        assert reads(net, (bad, self.OUT), "KM1:14", "KM1:A1", after=START) == about(66.1)
        assert reads(net, (bad, self.IN), "KM1:14", "KM1:A1", after=START) == about(12.8)
        assert reads(net, (bad, opened("KM1 coil")), "KM1:A1", "KM1:A2", after=START) == about(120)

    @pytest.mark.parametrize(
        ("ohms", "held", "coil", "lamp"), [(8000, OUT, 3.0, 118.2), (8000, IN, 24.8, 110.2), (5540, IN, 34.2, 105.2)]
    )
    def test_w46_a_lamp_in_series_with_a_contactor_coil(self, ohms, held, coil, lamp):
        # Closed form: 120 / |Z + R|. LED about 8 kilohm, filament about 5.54 kilohm (common practice).
        text = RUNG.replace(
            "wires:", f"  H1: {{kind: lamp, lamp: 120 V AC, amps: {120 / ohms:.6f} A}}\nwires:"
        ).replace("'KM1:A2', 'G1:N'", "'KM1:A2', 'H1:X1']}\n  - {number: N2, run: ['H1:X2', 'G1:N'")
        net = net_of(text)
        assert reads(net, (held,), "KM1:A1", "KM1:A2", after=START) == about(coil)
        assert reads(net, (held,), "H1:X1", "H1:X2", after=START) == about(lamp)

    def test_w48_shared_common_broken_two_lamps_dim_in_series_through_a_coil(self):
        # Closed form: 120 / |8000 + Zc + 8000| = 7.2 mA along L - H1 - coil - H2 - N.
        text = """
machine: common
devices:
  G1: {kind: supply, volts: 208Y/120}
  H1: {kind: lamp, lamp: 120 V AC, amps: 0.015 A}
  H2: {kind: lamp, lamp: 120 V AC, amps: 0.015 A}
  KM1: {kind: contactor, coil: 120 V AC}
wires:
  - {number: '1', run: ['G1:L1', 'H1:X1']}
  - {number: N1, run: ['H1:X2', 'KM1:A2', 'G1:N']}
  - {number: '2', run: ['KM1:A1', 'H2:X1']}
  - {number: N2, run: ['H2:X2', 'G1:PE']}
roles: {}
complaints: {}
"""
        net, broken = net_of(text), (opened("N1:KM1:A2>G1:N"), self.IN)
        found = read(net, broken, REST, "ac volts", pin("H1:X1"), pin("H1:X2"))
        assert {reading.value for reading, _ in found}
        assert all(r.value == about(57.7) for r, _ in found)
        for red, black, volts in (("H2:X1", "H2:X2", 57.7), ("KM1:A1", "KM1:A2", 13.0), ("KM1:A2", "G1:N", 62.9)):
            values = read(net, broken, REST, "ac volts", pin(red), pin(black))
            assert all(r.value == about(volts) for r, _ in values), red

    TWO = """
machine: two coils
devices:
  G1: {kind: supply, volts: 208Y/120}
  F2: {kind: fuse, amps: 3 A}
  KM1: {kind: contactor, coil: 120 V AC}
  KM2: {kind: contactor, coil: 120 V AC}
wires:
%s
roles: {}
complaints: {}
"""

    def test_w49_common_broken_beyond_two_coils_shows_120_v_at_all_four_coil_ends(self):
        # Closed form: no return path, no current, no drop.
        net = net_of(self.TWO % "  - {number: '1', run: ['G1:L1', 'KM1:A1', 'KM2:A1']}\n"
                     "  - {number: N, run: ['KM1:A2', 'KM2:A2', 'G1:N']}")  # fmt: skip
        broken = (opened("N:KM2:A2>G1:N"),)
        for coil in ("KM1", "KM2"):
            assert reads(net, broken, f"{coil}:A1", f"{coil}:A2") == about(0)
            assert reads(net, broken, f"{coil}:A1", "G1:N") == about(120) == reads(net, broken, f"{coil}:A2", "G1:N")

    def test_w50_two_equal_coils_in_series_share_the_volts_and_neither_picks_up(self):
        # Closed form: equal impedances.
        net = net_of(self.TWO % "  - {number: '1', run: ['G1:L1', 'KM1:A1']}\n"
                     "  - {number: '2', run: ['KM1:A2', 'KM2:A1']}\n  - {number: N, run: ['KM2:A2', 'G1:N']}")  # fmt: skip
        assert reads(net, NONE, "KM1:A1", "KM1:A2") == about(60) == reads(net, NONE, "KM2:A1", "KM2:A2")
        (outcome,) = settle(net, NONE, REST)
        assert outcome.state["KM1"] == outcome.state["KM2"] == "out"

    def test_w51_coil_between_two_phases_passes_one_of_them_through_to_a_blown_fuse(self):
        # Closed form: no current, so both coil ends are at L1; across the fuse the line-to-line volts.
        text = (self.TWO % "  - {number: '1', run: ['G1:L1', 'KM1:A1']}\n  - {number: '2', run: ['KM1:A2', 'F2:2']}\n"
                "  - {number: L2, run: ['G1:L2', 'F2:1']}").replace("120 V AC", "208 V AC")  # fmt: skip
        net, blown = net_of(text), (Edit("left", "F2", "blown"),)
        assert reads(net, blown, "KM1:A1", "KM1:A2") == about(0)
        assert reads(net, blown, "KM1:A1", "G1:PE") == about(120) == reads(net, blown, "KM1:A2", "G1:PE")
        assert reads(net, blown, "F2:1", "F2:2") == about(207.8)

    def test_w53_with_the_common_earthed_an_earth_fault_blows_the_fuse_and_starts_nothing(self):
        # Reasoning of IEC 60204-1 9.4.3 (from memory): a fault behind the button when it is pressed, before it at once.
        net = net_of(RUNG)
        behind, before = (Edit("earth", "KM1:A1", 20.0),), (Edit("earth", "S2:11", 20.0),)
        (quiet,) = settle(net, behind, REST)
        assert (quiet.state["F1"], quiet.state["KM1"]) == ("whole", "out")
        (pressed,) = settle(net, behind, Situation(acts=START))
        assert (pressed.state["F1"], pressed.state["KM1"]) == ("blown", "out")
        (at_once,) = settle(net, before, REST)
        assert (at_once.state["F1"], at_once.state["KM1"]) == ("blown", "out")

    def test_w53_unearthed_two_earth_faults_start_the_motor_with_nobody_at_the_button(self):
        # Reasoning of IEC 60204-1 9.4.3 (from memory): the two faults bridge the start button through earth.
        net = net_of(DEAD)
        coil_side, hot_side = Edit("earth", "KM1:A1", 20.0), Edit("earth", "T1:X1", 20.0)
        (one,), (two,) = (settle(net, faults, REST) for faults in ((coil_side,), (coil_side, hot_side)))
        assert (one.state["KM1"], two.state["KM1"]) == ("out", "in")

    def test_w54_ohms_across_an_open_contact_of_a_dead_complete_circuit_are_not_ol(self):
        # Closed form: 150 ohm of coil and 3 ohm of transformer secondary in series, so 153; with one wire lifted, OL.
        net = net_of(DEAD)
        dead = (Act("open", "Q1"),)
        assert reads(net, NONE, "S1:13", "S1:14", "ohms", dead) == about(153)
        assert reads(net, (opened("3:S1:14>KM1:A1"),), "S1:13", "S1:14", "ohms", dead) == float("inf")

    def test_w55_a_contactor_fed_through_its_own_break_contact_never_comes_to_rest(self):
        # Closed form: neither state is consistent with itself.
        text = RUNG.replace("blocks: {'13-14': no}}\nwires", "blocks: {'13-14': no, '21-22': nc}}\nwires").replace(
            "'KM1:14', 'KM1:A1']", "'KM1:14', 'KM1:21']}\n  - {number: '5', run: ['KM1:22', 'KM1:A1']"
        )
        outcomes = settle(net_of(text), NONE, Situation(acts=START))
        assert not any(outcome.settled for outcome in outcomes)
        # Its period is its closing and its opening time, 8-25 and 4-20 ms of a small AC contactor (common practice):
        # about 20 to 80 times a second.
        for outcome in outcomes:
            assert {state["KM1"] for state in outcome.states} == {"in", "out"}
            assert outcome.period_s is not None
            assert 1 / outcome.period_s.high == pytest.approx(22.2, abs=0.1)
            assert 1 / outcome.period_s.low == pytest.approx(83.3, abs=0.1)


class TestOneRung:
    """Closed form: an open in a single rung holds the supply up to the break, nothing after it, all of it across."""

    POINTS = ("F1:2", "S2:11", "S2:12", "S1:13", "S1:14", "KM1:14", "KM1:A1")

    @pytest.mark.parametrize("slot", ["2:F1:2>S2:11", "S2 11-12", "3:S2:12>S1:13", "S1 13-14", COIL_WIRE])
    def test_the_supply_stands_before_the_break_and_nothing_after_it(self, slot):
        net, broken = net_of(RUNG), (opened(slot),)
        element = net.elements[net.element_index[slot]]
        ends = [net.nodes[element.a], net.nodes[element.b]]
        at = self.POINTS.index(ends[1])
        for k, point in enumerate(self.POINTS):
            volts = reads(net, broken, point, "G1:N", "low-impedance volts", START)
            assert volts == (about(120) if k < at else about(0)), point
        assert reads(net, broken, *ends, after=START) == about(120)

    def test_a_break_in_the_neutral_leaves_the_supply_on_both_ends_of_the_coil(self):
        net, broken = net_of(RUNG), (opened("N:KM1:A2>G1:N"),)
        for point in ("KM1:A1", "KM1:A2"):
            assert reads(net, broken, point, "G1:N", after=START) == about(120)
        assert reads(net, broken, "KM1:A1", "KM1:A2", after=START) == about(0)


SCANNED = """
machine: scanned
devices:
  G1: {kind: supply, volts: 208Y/120}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
  S1: {kind: push button, blocks: {'13-14': no}}
  A1: {kind: plc, inputs: {'%IX0.0': start}, outputs: {'%QX0.0': seen}, filter: 10 ms, scan: 20 ms}
wires:
  - {number: L, run: ['G1:L1', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
  - {number: '24', run: ['PS1:+', 'A1:L+', 'A1:Q+', 'S1:13']}
  - {number: '30', run: ['S1:14', 'A1:%IX0.0']}
  - {number: 0V, run: ['PS1:-', 'A1:M', 'A1:COM']}
program:
  lang: ST
  text: |
    PROGRAM scanned
    VAR
      start AT %IX0.0 : BOOL;
      seen AT %QX0.0 : BOOL;
    END_VAR
    seen := seen OR start;
    END_PROGRAM
roles: {}
complaints: {}
"""


class TestTime:
    @pytest.mark.parametrize(("pulse", "chance"), [(5, 0), (10, 0), (25, 0.75), (30, 1), (31, 1)])
    def test_w45_a_pulse_must_last_as_long_as_filter_and_scan_together(self, pulse, chance):
        # Closed form: it passes the filter after 10 ms and is then read within the next 20 ms, evenly spread.
        net = machine_of(SCANNED).net
        acts = (Act("press", "S1"), Act("wait", value=f"{pulse / 1000:g}"), Act("release", "S1"))
        outcomes = settle(net, NONE, Situation(acts=acts))
        assert sum(o.weight for o in outcomes if o.state["A1 %QX0.0"] == "on") == pytest.approx(chance)
        assert {o.state["A1 %IX0.0"] for o in outcomes} == {"off"}

    def test_w45_without_filter_and_scan_every_pulse_is_seen(self):
        net = machine_of(SCANNED.replace(", filter: 10 ms, scan: 20 ms", "")).net
        acts = (Act("press", "S1"), Act("wait", value="0.001"), Act("release", "S1"))
        assert [o.state["A1 %QX0.0"] for o in settle(net, NONE, Situation(acts=acts))] == ["on"]

    def test_w45_what_is_held_is_read_whatever_the_filter(self):
        outcomes = settle(machine_of(SCANNED).net, NONE, Situation(acts=START))
        assert [(o.state["A1 %IX0.0"], o.state["A1 %QX0.0"]) for o in outcomes] == [("on", "on")]

    def test_w47_a_capacitor_discharges_through_its_bleeder(self):
        # Closed form: R C ln(U / u) = 47 s * ln(340 / 60) = 81.5 s; 240.4 V charge it to 340 V.
        text = RELAY_650.replace("in: 120 V", "in: 240.4163 V, stores: 470 uF, bleeder: 100 kohm")
        supply = circuit_from(text).devices["PS1"]
        assert discharge_seconds(supply, 60) == pytest.approx(81.5, rel=0.005)
        assert discharge_seconds(circuit_from(RELAY_650).devices["PS1"], 60) is None
