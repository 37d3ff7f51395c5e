"""The three-phase motor against figures of the trade, out of circuit files and a meter.

Worked cases of a 4 kW four-pole motor, 400 V 50 Hz, from its equivalent circuit (here with ten times the ohms, so a tenth
of the amperes). "Closed form" means worked out from phasors and symmetrical components, by hand, in the comment; allowed
0.5 % or 0.1 V. Sources: Fortescue, Trans. AIEE 37 (1918) 1027; Fitzgerald, Kingsley, Umans, Electric Machinery; both from
memory. Second witness: `against.dense`, a solver of its own.
"""

from __future__ import annotations

import cmath
import math

import pytest
from against.belt7 import circuit_from
from against.dense import Panel
from against.motors import (
    IN_DELTA,
    IN_STAR,
    LINE_A_LOST,
    OPEN_A,
    STAR_DELTA,
    STRAIGHT_IN_DELTA,
    amps,
    panel,
    reads,
)

from troubleshoot.circuit.kinds.drive import cage_of
from troubleshoot.circuit.kinds.induction import TABLE, Cage, fitted, residual_seconds, typical
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.compiled import compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle

REST = Situation()
A = cmath.rect(1, 2 * math.pi / 3)
DEAD = (Act("open", "Q1"),)
PAIRS = (("M1:U1", "M1:V1"), ("M1:V1", "M1:W1"), ("M1:W1", "M1:U1"))


def about(value: float):
    return pytest.approx(value, rel=0.005, abs=0.1)


def tenth(value: float):
    """Of the amperes of the 4 kW motor."""
    return pytest.approx(value / 10, rel=0.005)


def ends(net, after=(), edits=()):
    (outcome,) = settle(net, edits, Situation(acts=after))
    return outcome


class TestOneLineLost:
    def test_w20_at_standstill(self):
        # Closed form: I = V / 2Z, 0.866 of the three-phase 55.4 A; the open terminal lies midway between the other two,
        # 115 V from neutral, 400 * sqrt(3) / 2 across the open breaker.
        net = panel()
        assert ends(net, edits=OPEN_A).state["M1"] == "humming"
        assert amps(net, "A", edits=OPEN_A) == pytest.approx(0, abs=1e-3)
        assert amps(net, "B", edits=OPEN_A) == tenth(47.9)
        assert amps(net, "C", edits=OPEN_A) == tenth(47.9)
        assert reads(net, PAIRS[0], edits=OPEN_A) == about(200)
        assert reads(net, PAIRS[2], edits=OPEN_A) == about(200)
        assert reads(net, ("M1:U1", "G1:N"), edits=OPEN_A) == about(115.47)
        assert reads(net, ("QA:1", "QA:2"), edits=OPEN_A) == about(346.4)

    # Closed form: I1 = -I2, |IB| = VBC / |Z1(s) + Z2(2 - s)|; slip where torque of I1 less that of I2 is the load's.
    # The open terminal's volts are I1 (Z1 - Z2) and the shift of the star point.
    @pytest.mark.parametrize(
        ("load", "two", "three", "to_b", "to_c", "fuse"),
        [
            ("25 %", 7.79, 4.73, 359, 353, 52),
            ("50 %", 9.57, 5.55, 341, 353, 64),
            ("75 %", 12.29, 6.72, 320, 352, 82),
            ("100 %", 15.91, 8.13, 295, 348, 106),
        ],
    )
    def test_w21_w22_running(self, load, two, three, to_b, to_c, fuse):
        net = panel(f"load torque: {load}")
        assert ends(net).state["M1"] == ends(net, LINE_A_LOST).state["M1"] == "turning"
        for line in "ABC":
            assert amps(net, line) == tenth(three)
        assert amps(net, "B", LINE_A_LOST) == tenth(two)
        assert amps(net, "C", LINE_A_LOST) == tenth(two)
        # The figures are printed to whole volts.
        assert reads(net, PAIRS[0], after=LINE_A_LOST) == pytest.approx(to_b, rel=0.005, abs=0.6)
        assert reads(net, PAIRS[2], after=LINE_A_LOST) == pytest.approx(to_c, rel=0.005, abs=0.6)
        assert reads(net, ("QA:1", "QA:2"), after=LINE_A_LOST) == pytest.approx(fuse, abs=0.6)

    def test_a_motor_that_runs_holds_up_73_to_93_percent_on_the_lead_it_has_lost(self):
        """Derived, and a trade note (over 92 %) at light load: so there is next to nothing across the blown fuse."""
        for load in ("10 %", "25 %", "50 %", "75 %", "100 %"):
            net = panel(f"load torque: {load}")
            open_lead = [reads(net, pair, after=LINE_A_LOST) / 400 for pair in (PAIRS[0], PAIRS[2])]
            assert all(0.73 < share < 0.94 for share in open_lead)
            assert reads(net, ("QA:1", "QA:2"), after=LINE_A_LOST) < 0.27 * 400

    def test_an_overloaded_motor_stalls_when_it_loses_a_line(self):
        # Closed form: pull-out torque on two lines is under half of that on three, 3.5 times rated (equivalent circuit).
        net = panel("load torque: 180 %")
        assert ends(net).state["M1"] == "turning"
        assert ends(net, LINE_A_LOST).state["M1"] == "humming"

    @pytest.mark.parametrize("after", [(), LINE_A_LOST])
    def test_w23_delta_windings_carry_2_to_1_to_1_and_the_one_across_the_live_lines_two_thirds(self, after):
        # Closed form, any slip: sequence sum; windings I1/sqrt(3), 2 I1/sqrt(3), I1/sqrt(3).
        net = panel("windings: delta, load torque: 50 %")
        edits = () if after else OPEN_A
        u, v, w = (abs(x) for x in ends(net, after, edits).network.windings)
        line = amps(net, "B", after, edits)
        assert (u / line, v / line, w / line) == pytest.approx((1 / 3, 2 / 3, 1 / 3), rel=1e-3)

    @pytest.mark.parametrize("after", [(), LINE_A_LOST])
    def test_star_and_delta_windings_of_one_nameplate_are_the_same_to_the_lines(self, after):
        """Closed form: a delta winding of three times the ohms."""
        star, delta = panel(), panel("windings: delta")
        for line in "ABC":
            assert amps(delta, line, after) == pytest.approx(amps(star, line, after), rel=1e-5, abs=1e-5)

    def test_w24_a_primary_line_lost_before_a_star_delta_transformer(self):
        # Closed form: no current in the lost primary line forces Ia = Ic, Ib = -2 Ia in the motor's lines. Three
        # one-phase transformers, their magnetising current small beside the motor's.
        net = compile_circuit(circuit_from(FED_BY_TRANSFORMER), None)
        lost = LINE_A_LOST
        assert ends(net, lost).state["M1"] == "turning"
        one, two, three = sorted(amps(net, line, lost) for line in "ABC")
        assert two / one == pytest.approx(1, rel=0.005)
        assert three / one == pytest.approx(2, rel=0.005)


FED_BY_TRANSFORMER = """
machine: fed by a star-delta transformer
devices:
  G1: {kind: supply, volts: 400Y/230.94, frequency: 50 Hz}
  QA: {kind: breaker, amps: 63 A}
  T1: {kind: control transformer, in: 231 V, out: 400 V, power: 2 VA, resistance: 0.0001, reactance: 0.0001}
  T2: {kind: control transformer, in: 231 V, out: 400 V, power: 2 VA, resistance: 0.0001, reactance: 0.0001}
  T3: {kind: control transformer, in: 231 V, out: 400 V, power: 2 VA, resistance: 0.0001, reactance: 0.0001}
  FR1: {kind: overload, set: 10 A}
  M1: {kind: motor, power: 0.4 kW, volts: 400 V, amps: 0.813 A, load torque: 50 %}
wires:
  - {number: L1, run: ['G1:L1', 'QA:1']}
  - {number: 1L1, run: ['QA:2', 'T1:H1']}
  - {number: L2, run: ['G1:L2', 'T2:H1']}
  - {number: L3, run: ['G1:L3', 'T3:H1']}
  - {number: star, run: ['T1:H2', 'T2:H2', 'T3:H2']}
  - {number: A, run: ['T1:X1', 'T3:X2', 'FR1:1']}
  - {number: B, run: ['T2:X1', 'T1:X2', 'FR1:3', 'G1:PE']}
  - {number: C, run: ['T3:X1', 'T2:X2', 'FR1:5']}
  - {number: U, run: ['FR1:2', 'M1:U1']}
  - {number: V, run: ['FR1:4', 'M1:V1']}
  - {number: W, run: ['FR1:6', 'M1:W1']}
roles: {motor: M1}
complaints: {}
"""


class TestUnbalance:
    JOINT = (Edit("siemens", "2L1:QA:2>FR1:1", 0.1),)
    """Ten ohms: one ohm beside the ohms of the 4 kW motor."""

    def test_w28_current_unbalance_is_volt_unbalance_times_the_impedances_of_the_sequences(self):
        # Closed form: I2/I1 = (V2/V1) Z1/Z2 = 7.41 times, at full-load slip; 1.5 % gives 11.1 %.
        net = panel("load torque: 98 %")
        at = ends(net, edits=self.JOINT)
        assert at.network.slips == pytest.approx((0.03667,), rel=2e-3)
        volts = [at.network.ac_v[net.index[f"M1:{w}1"]] for w in "UVW"]
        forward, backward = (
            [abs(x + a * y + a * a * z) for x, y, z in (volts, at.network.windings)] for a in (A, A * A)
        )
        ratio = backward[1] / forward[1] / (backward[0] / forward[0])
        assert ratio == pytest.approx(7.41, rel=0.005)
        assert 0.015 * ratio == pytest.approx(0.111, rel=0.005)

    def test_w30_the_line_with_the_bad_joint_is_not_the_one_with_the_highest_current(self):
        # Closed form, at full-load slip (so at 98 % torque; at full torque all three are 1.4 % higher).
        net = panel("load torque: 98 %")
        found = [amps(net, line, edits=self.JOINT) for line in "ABC"]
        assert found == [tenth(7.67), tenth(8.71), tenth(7.82)]
        assert reads(net, ("QA:2", "FR1:1"), edits=self.JOINT) == about(7.7)
        assert [reads(net, pair, edits=self.JOINT) for pair in PAIRS] == [about(396.3), about(400), about(392.3)]
        assert max(found) == found[1]


class TestOhms:
    def ohms(self, motor: str, edits=()) -> list[float]:
        return [reads(panel(motor), pair, "ohms", DEAD, edits) for pair in PAIRS]

    def test_w31_star_winding(self):
        # Closed form: 2 R through two windings, nothing through an open one. 4 ohm hot is 3.2 ohm cold.
        assert self.ohms("r1: 4 ohm") == [about(6.4)] * 3
        assert self.ohms("r1: 4 ohm", (Edit("siemens", "M1 U", 0.0),)) == [math.inf, about(6.4), math.inf]

    def test_w32_delta_winding(self):
        # Closed form: R beside 2 R; R and 2 R alone with one open. 4.8 ohm cold a winding, 2 ohm hot to the star point.
        motor = "windings: delta, r1: 2 ohm"
        assert self.ohms(motor) == [about(3.2)] * 3
        assert self.ohms(motor, (Edit("siemens", "M1 U", 0.0),)) == [about(9.6), about(4.8), about(4.8)]

    def test_six_leads_give_each_winding_by_itself(self):
        # The bridges off, each winding reads its own ohms and nothing to the next (test of any open motor).
        net = compile_circuit(circuit_from(STAR_DELTA % "50 %"), None)
        own = reads(net, ("M1:U1", "M1:U2"), "ohms", DEAD)
        assert own == about(cage_of(net.circuit.devices["M1"]).r1 / 1.25)
        assert reads(net, ("M1:U1", "M1:V1"), "ohms", DEAD) == math.inf


class TestBrakeOnTheMotorsLeads:
    # A coil of 60 VA at the 4 kW motor is one of 6 VA here.
    BRAKE = "  YB1: {kind: brake, coil: 400 V AC, holds: M1, inrush va: 6 VA, sealed va: 1 VA}"
    WIRES = "  - {number: U, run: ['M1:U1', 'YB1:1']}\n  - {number: V, run: ['M1:V1', 'YB1:2']}"

    @pytest.fixture(scope="class")
    def net(self):
        return panel("load torque: 75 %", devices=self.BRAKE, wires=self.WIRES)

    def test_w35_from_rest_with_line_a_lost_it_gets_half_and_does_not_release(self, net):
        at = ends(net, edits=OPEN_A)
        assert (at.state["YB1"], at.state["M1"]) == ("set", "humming")
        assert reads(net, ("YB1:1", "YB1:2"), edits=OPEN_A) == about(200)

    def test_w35_lost_while_it_runs_it_gets_80_percent_and_stays_released(self, net):
        at = ends(net, LINE_A_LOST)
        assert (at.state["YB1"], at.state["M1"]) == ("released", "turning")
        assert reads(net, ("YB1:1", "YB1:2"), after=LINE_A_LOST) == about(319)

    RECTIFIED = """\
  TB1: {kind: rectifier, in: 400 V, form: half-wave}
  YB1: {kind: brake, coil: 180 V DC, coil watts: 5 W, holds: M1}"""
    BEHIND_IT = """\
  - {number: U, run: ['M1:U1', 'TB1:1']}
  - {number: V, run: ['M1:V1', 'TB1:2']}
  - {number: '1', run: ['TB1:+', 'YB1:1']}
  - {number: '2', run: ['YB1:2', 'TB1:-']}"""

    @pytest.mark.parametrize(
        ("how", "ac", "dc", "share", "stands"),
        [
            ({}, 400, 180.1, 1.0, ("released", "turning")),
            ({"edits": OPEN_A}, 200, 90.0, 0.5, ("set", "humming")),
            ({"after": LINE_A_LOST}, 319, 143.6, 0.8, ("released", "turning")),
        ],
        ids=["all lines", "from rest", "while it runs"],
    )
    def test_w35_behind_a_half_wave_rectifier(self, how, ac, dc, share, stands):
        """At 75 % load. Closed form: the mean of a half wave is sqrt(2)/pi = 0.4502 of the volts at the motor's leads."""
        net = panel("load torque: 75 %", devices=self.RECTIFIED, wires=self.BEHIND_IT)
        at = ends(net, **how)
        assert (at.state["YB1"], at.state["M1"]) == stands
        assert reads(net, ("M1:U1", "M1:V1"), **how) == about(ac)
        assert reads(net, ("YB1:1", "YB1:2"), "dc volts", **how) == about(dc)
        assert reads(net, ("YB1:1", "YB1:2"), "dc volts", **how) / 180 == pytest.approx(share, abs=0.005)

    def test_with_the_brake_across_the_live_lines_it_releases_a_motor_without_torque(self):
        """Closed form: the full 400 V stand there. The load can run down; a caution of its own."""
        wires = "  - {number: V, run: ['M1:V1', 'YB1:1']}\n  - {number: W, run: ['M1:W1', 'YB1:2']}"
        at = ends(panel(devices=self.BRAKE, wires=wires), edits=OPEN_A)
        assert (at.state["YB1"], at.state["M1"]) == ("released", "humming")


class TestTurning:
    def test_two_lines_changed_over_turn_it_backward(self):
        """The rule of every motor manual: change any two lines."""
        at = ends(panel(lines=("L2", "L1", "L3")))
        assert at.state["M1"] == "turning backward"
        assert at.network.slips == pytest.approx(ends(panel()).network.slips, rel=1e-6)

    def test_a_jam_or_a_set_brake_leaves_it_humming_at_its_locked_rotor_current(self):
        # Closed form: 231 V over |Z(1)|, 55.4 A of the 4 kW motor.
        net, held = panel(), (Edit("stuck", "M1 shaft", "held"),)
        assert ends(net, edits=held).state["M1"] == "humming"
        assert amps(net, "B", edits=held) == tenth(55.4)

    def test_a_star_start_takes_a_third_of_the_line_current_and_of_the_torque(self):
        """The reason for star-delta starters (any text on starters): a full load does not start in star, a fan does."""
        held = (Edit("stuck", "M1 shaft", "held"),)
        net = compile_circuit(circuit_from(STAR_DELTA % "40 %"), None)
        star, delta = (reads(net, ("Q1:2", "F1:1"), "amps", after, held) for after in (IN_STAR, STRAIGHT_IN_DELTA))
        assert star / delta == pytest.approx(1 / 3, rel=0.15)  # the feeder sags more under the delta
        assert ends(net, IN_STAR).state["M1"] == "turning"
        assert ends(compile_circuit(circuit_from(STAR_DELTA % "100 %"), None), IN_STAR).state["M1"] == "humming"

    def test_running_in_star_it_slips_more_than_in_delta(self):
        net = compile_circuit(circuit_from(STAR_DELTA % "40 %"), None)
        (star,), (delta,) = ends(net, IN_STAR).network.slips, ends(net, IN_DELTA).network.slips
        # Closed form: at small slips torque goes with volts squared times slip.
        assert star / delta == pytest.approx(3, rel=0.2)


class TestNameplate:
    @pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]} kW")
    def test_a_nameplate_gives_back_its_own_current_power_factor_and_locked_rotor_ratio(self, row):
        kilowatts, rpm, pf, ratio, *_, rated = row
        usual = typical(kilowatts * 1e3)
        cage = fitted(usual.cage, usual.slip, usual.pf, usual.locked_ratio).times(400 / math.sqrt(3) / rated)
        z = cage.at(1 - rpm / 1500)
        assert 400 / math.sqrt(3) / abs(z) == pytest.approx(rated, rel=1e-6)
        assert math.cos(cmath.phase(z)) == pytest.approx(pf, rel=1e-6)
        assert abs(z) / abs(cage.at(1.0)) == pytest.approx(ratio, rel=1e-6)

    @pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]} kW")
    def test_shaft_power_at_rated_slip_is_the_rated_power(self, row):
        """The table's efficiencies put it there: air gap less rotor loss, and 1 % of the losses for friction."""
        kilowatts, rpm, _, _, r1, x, r2, xm, rc, _ = row
        cage, slip = Cage(r1, x, r2, x, xm, rc), 1 - rpm / 1500
        gap = cage.torque_watts(400 / math.sqrt(3) / cage.at(slip), 0.0, slip)
        assert gap * (1 - slip) == pytest.approx(kilowatts * 1e3, rel=0.02)

    def test_a_20_hp_motor_of_another_source_lies_near_the_largest_of_the_table(self):
        """15 kW, 400 V 50 Hz record of an open-source building-energy model library: R1 0.2147, Llk 0.991 mH."""
        omega, amps_15 = 2 * math.pi * 50, 28.5
        usual = typical(15e3).cage.times(400 / math.sqrt(3) / amps_15)
        assert usual.r1 == pytest.approx(0.2147, rel=0.75)
        assert usual.x1 == pytest.approx(0.991e-3 * omega, rel=0.75)
        assert usual.xm == pytest.approx(64.19e-3 * omega, rel=0.75)


class TestSwitchedOff:
    FOUR_KW = Cage(1.52, 1.63, 1.19, 1.63, 50.7, 1102.0)

    def test_w37_the_terminals_stay_live_for_a_third_of_a_second(self):
        # Closed form: T0 = (X2 + Xm) / (omega R2) = 0.140 s; T0 ln(380 / 50).
        assert self.FOUR_KW.open_circuit_seconds(50) == pytest.approx(0.140, rel=0.005)
        assert residual_seconds(self.FOUR_KW, 50, 400, 50) == pytest.approx(0.284, rel=0.005)
        assert 0.95 * 400 * math.exp(-0.284 / 0.140) == pytest.approx(50, rel=0.005)

    @pytest.mark.parametrize(("row", "seconds"), zip(TABLE, (0.040, 0.067, 0.084, 0.140, 0.183), strict=True))
    def test_larger_motors_stay_live_longer(self, row, seconds):
        _, _, _, _, r1, x, r2, xm, rc, _ = row
        assert Cage(r1, x, r2, x, xm, rc).open_circuit_seconds(50) == pytest.approx(seconds, abs=0.0006)


class TestAgainstTheOracle:
    """Every open hop and winding of a star-delta starter, started in star, changed over, and straight in delta."""

    @pytest.mark.parametrize("load", ["40 %", "100 %"])
    def test_a_star_delta_starter_has_the_same_volts_and_states(self, load):
        circuit = circuit_from(STAR_DELTA % load)
        net, oracle = compile_circuit(circuit, None), Panel(circuit, None)
        broken = [(), *((Edit("siemens", f"M1 {w}", 0.0),) for w in "UVW")]
        broken += [(Edit("left", f, "blown"),) for f in ("F1", "F3")]
        broken += [(Edit("siemens", hop.id, 0.0),) for hop in circuit.hops if hop.id[:2] in ("U1", "V2", "W2", "S:")]
        turned = 0
        for edits in broken:
            for after in (IN_STAR, IN_DELTA, STRAIGHT_IN_DELTA):
                ours = {tuple(sorted(o.state.items())): o for o in settle(net, edits, Situation(acts=after))}
                theirs = {tuple(sorted(a.state.items())): a for a in oracle.answers(edits, Situation(acts=after))}
                assert ours.keys() == theirs.keys(), (edits, after)
                for key, outcome in ours.items():
                    volts = theirs[key].volts
                    turned += outcome.state["M1"] == "turning"
                    for name, k in volts.nodes.items():
                        assert abs(outcome.network.ac_v[net.index[name]] - volts.ac[k]) < 1e-6, (edits, after, name)
        assert turned > 5


class TestSeveralMotors:
    def test_two_motors_on_one_feeder_pull_each_other_down_a_little(self):
        """Closed form: each one's slip is what it is alone at the volts that the other leaves it."""
        more = "  M2: {kind: motor, power: 4 kW, volts: 400 V, amps: 8.13 A}"
        wires = "\n".join(f"  - {{number: {w}, run: ['M1:{w}1', 'M2:{w}1']}}" for w in "UVW")
        net = panel(devices=more, wires=wires)
        both = ends(net)
        assert (both.state["M1"], both.state["M2"]) == ("turning", "turning")
        (alone,) = ends(panel()).network.slips
        assert alone < both.network.slips[0] < 1.02 * alone
        # Kirchhoff: what the leads bring is what the two motors take.
        u = both.network.windings
        assert abs(u[0] + u[3]) == pytest.approx(amps(net, "A"), rel=1e-6)
        for k, (motor, slip) in enumerate(zip(("M1", "M2"), both.network.slips, strict=True)):
            x, y, z = (both.network.ac_v[net.index[f"{motor}:{w}1"]] for w in "UVW")
            phase = (x + A * y + A * A * z) / 3
            assert abs(u[3 * k]) == pytest.approx(abs(phase / cage_of(net.circuit.devices[motor]).at(slip)), rel=1e-6)
