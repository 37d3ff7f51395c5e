"""Reversing contactors and their interlocks, suppressors, plugs: what every electrician has seen them do.

"Closed form" is worked out in the comment; "practice" is common practice with no published source.
"""

from __future__ import annotations

import math

import pytest
from against.belt7 import circuit_from, pin

from troubleshoot.circuit.kinds import KINDS
from troubleshoot.circuit.load import load_circuit
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.faults.suspects import suspects_of
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import read
from troubleshoot.solve.meters import Mode
from troubleshoot.solve.settle import settle

REST = Situation()
FUSES = ("F1", "F2", "F3")

REVERSING = """
machine: hoist
devices:
  G1: {kind: supply, volts: 400Y/230, frequency: 50 Hz}
  F1: {kind: fuse, amps: 10 A}
  F2: {kind: fuse, amps: 10 A}
  F3: {kind: fuse, amps: 10 A}
  F4: {kind: fuse, amps: 2 A}
  KM1: {kind: contactor, coil: 230 V AC, blocks: {'21-22': nc}%s}
  KM2: {kind: contactor, coil: 230 V AC, blocks: {'21-22': nc}}
  S1: {kind: push button, words: up, blocks: {'13-14': no}}
  S2: {kind: push button, words: down, blocks: {'13-14': no}}
  M1: {kind: motor, power: 1.5 kW, volts: 400 V, amps: 3.3 A}
wires:
  - {number: L1, run: ['G1:L1', 'F1:1', 'F4:1']}
  - {number: L2, run: ['G1:L2', 'F2:1']}
  - {number: L3, run: ['G1:L3', 'F3:1']}
  - {number: 1L1, run: ['F1:2', 'KM1:1', 'KM2:1']}
  - {number: 1L2, run: ['F2:2', 'KM1:3', 'KM2:3']}
  - {number: 1L3, run: ['F3:2', 'KM1:5', 'KM2:5']}
  - {number: U, run: ['M1:U1', 'KM1:2', 'KM2:6']}
  - {number: V, run: ['M1:V1', 'KM1:4', 'KM2:4']}
  - {number: W, run: ['M1:W1', 'KM1:6', 'KM2:2']}
  - {number: '1', run: ['F4:2', 'S1:13', 'S2:13']}
  - {number: '2', run: ['S1:14', 'KM2:21']}
  - {number: '3', run: ['KM2:22', 'KM1:A1']}
  - {number: '4', run: ['S2:14', 'KM1:21']}
  - {number: '5', run: ['KM1:22', 'KM2:A1']}
  - {number: N, run: ['KM1:A2', 'KM2:A2', 'G1:N']}
roles: {start: S1}
complaints: {}
"""
LEVER = ", interlocked with: KM2"
BRIDGED = (Edit("siemens", "KM1 21-22", 1 / 0.03), Edit("siemens", "KM2 21-22", 1 / 0.03))
"""Both electrical interlocks welded."""
BROKEN = Edit("stuck", "KM1 interlock", "broken")
UP, DOWN = Act("press", "S1"), Act("press", "S2")
BOTH = Situation(acts=(UP, DOWN))


def hoist(lever: str = LEVER) -> Net:
    return compile_circuit(circuit_from(REVERSING % lever), None)


def states(net: Net, edits=(), at: Situation = REST) -> list[dict[str, str]]:
    found = settle(net, edits, at)
    assert all(outcome.settled for outcome in found)
    return [dict(outcome.state) for outcome in found]


class TestReversing:
    def test_two_lines_changed_over_turn_the_motor_the_other_way(self):
        """IEC 60034-8: the phase sequence gives the direction (from memory)."""
        (up,), (down,) = states(hoist(), at=Situation(acts=(UP,))), states(hoist(), at=Situation(acts=(DOWN,)))
        assert (up["M1"], down["M1"]) == ("turning", "turning backward")

    def test_with_up_in_the_electrical_interlock_keeps_down_without_volts(self):
        """Practice: a break contact of each contactor in the coil circuit of the other."""
        (both,) = states(hoist(""), at=BOTH)
        assert (both["KM1"], both["KM2"], both["M1"]) == ("in", "out", "turning")
        assert all(both[f] == "whole" for f in FUSES)

    def test_with_both_electrical_interlocks_welded_the_lever_still_keeps_the_second_out(self):
        """Practice: that is what the mechanical interlock is for; the coil that cannot close its armature hums."""
        (both,) = states(hoist(), BRIDGED, BOTH)
        assert (both["KM1"], both["KM2"], both["M1"]) == ("in", "out", "turning")
        assert all(both[f] == "whole" for f in FUSES)
        net = hoist()
        held = read(net, BRIDGED, BOTH, "amps", pin("KM1:22"), pin("KM2:A1"))[0][0].value
        # Closed form: inrush current 70 VA / 230 V for as long as the button is held; sealed it would take 35 mA.
        assert held == pytest.approx(70 / 230, rel=0.01)

    def test_with_the_lever_broken_too_both_go_in_and_the_short_between_lines_takes_the_fuses(self):
        """Practice: both in joins L1 to L3, and one of those two fuses goes first; the control fuse has no part in it."""
        for both in states(hoist(), (*BRIDGED, BROKEN), BOTH):
            assert (both["KM1"], both["KM2"]) == ("in", "in")
            assert "blown" in (both["F1"], both["F3"])
            assert both["F2"] == both["F4"] == "whole"

    def test_a_broken_lever_shows_in_nothing_while_the_electrical_interlock_works(self):
        """Which is why it is looked at by hand: practice."""
        for at in (REST, BOTH, Situation(acts=(UP,)), Situation(acts=(DOWN,))):
            (good,), (broken,) = states(hoist(), (), at), states(hoist(), (BROKEN,), at)
            assert {k: v for k, v in good.items() if k != "KM1 interlock"} == {
                k: v for k, v in broken.items() if k != "KM1 interlock"
            }

    def test_one_contactor_welded_in_keeps_the_other_out_by_the_lever(self):
        welded = (Edit("stuck", "KM2", "in"), BRIDGED[1])
        (up,) = states(hoist(), welded, Situation(acts=(UP,)))
        assert (up["KM1"], up["KM2"]) == ("out", "in")

    def test_two_coils_that_get_their_volts_together_race_and_either_may_win(self):
        """Practice: two free armatures on one lever; which is first lies in springs and phase angle."""
        text = (REVERSING % LEVER).replace("run: ['S1:14', 'KM2:21']", "run: ['S1:14', 'KM2:21', 'KM1:21']")
        text = text.replace("  - {number: '4', run: ['S2:14', 'KM1:21']}\n", "")
        net = compile_circuit(circuit_from(text), None)
        found = settle(net, BRIDGED, Situation(acts=(UP,)))
        ways = {(o.state["KM1"], o.state["KM2"]): o.weight for o in found}
        assert ways == {("in", "out"): pytest.approx(0.5), ("out", "in"): pytest.approx(0.5)}

    def test_the_lever_is_among_what_can_break_and_is_its_own_repair(self):
        (suspect,) = [s for s in suspects_of(circuit_from(REVERSING % LEVER)) if "interlock broken" in s.id]
        assert suspect.repair == ("replace", "mechanical interlock of KM1 and KM2")
        assert not [s for s in suspects_of(circuit_from(REVERSING % "")) if "interlock" in s.id]

    @pytest.mark.parametrize(("tag", "near"), [("KM3", "KM2"), ("KM1", "KM2"), ("M1", None)])
    def test_a_lever_to_nothing_to_itself_or_to_a_motor_is_refused(self, tag, near):
        problems = load_circuit(REVERSING % f", interlocked with: {tag}", "hoist.yaml")
        assert isinstance(problems, tuple)
        assert f"interlocked with {tag!r}" in str(problems[0])
        assert problems[0].nearest == near


COIL = """
machine: coil
devices:
  G1: {kind: supply, volts: 208Y/120, frequency: 60 Hz}
  F1: {kind: fuse, amps: 1 A}
  S1: {kind: push button, blocks: {'13-14': no}}
  KM1: {kind: contactor, coil: 120 V AC, inrush va: 70 VA, sealed va: 8 VA}
  Z1: {kind: suppressor, type: %s}
wires:
  - {number: '1', run: ['G1:L1', 'F1:1']}
  - {number: '2', run: ['F1:2', 'S1:13'%s]}
  - {number: '3', run: ['S1:14', 'KM1:A1'%s]}
  - {number: N, run: ['KM1:A2', 'G1:N'%s]}
roles: {start: S1}
complaints: {}
"""
ACROSS_COIL = ("", ", 'Z1:1'", ", 'Z1:2'")
ACROSS_CONTACT = (", 'Z1:1'", ", 'Z1:2'", "")
DC = """
machine: dc
devices:
  G1: {kind: supply, volts: 208Y/120}
  PS1: {kind: dc supply, in: 120 V, out: 24 V, limit: 5 A}
  F6: {kind: fuse, amps: %s A}
  S1: {kind: push button, blocks: {'13-14': no}}
  K1: {kind: relay, coil: 24 V DC, blocks: {'13-14': no}}
  V1: {kind: suppressor, type: diode}
wires:
  - {number: L, run: ['G1:L1', 'PS1:L']}
  - {number: N, run: ['G1:N', 'PS1:N']}
  - {number: '24', run: ['PS1:+', 'F6:1']}
  - {number: '25', run: ['F6:2', 'S1:13']}
  - {number: '26', run: ['S1:14', 'K1:A1', 'V1:%s']}
  - {number: 0V, run: ['PS1:-', 'K1:A2', 'V1:%s']}
roles: {start: S1}
complaints: {}
"""
HELD = Situation(acts=(UP,))


def reads(net: Net, red: str, black: str, mode: Mode = "ac volts", edits=(), at: Situation = REST) -> float:
    return read(net, edits, at, mode, pin(red), pin(black))[0][0].value


def net_of(text: str) -> Net:
    return compile_circuit(circuit_from(text), None)


class TestSuppressors:
    def test_w08_an_rc_across_an_open_contact_shows_near_full_volts_on_a_high_impedance_meter(self):
        """W08, closed form: 33 nF and 100 ohm are 100 - j80.4 kilohm at 60 Hz; divider with 10 megohm, 3 kilohm, the coil."""
        net, unloaded = net_of(COIL % ("RC", *ACROSS_CONTACT)), (Edit("siemens", "KM1 coil", 0.0),)
        assert reads(net, "KM1:A1", "KM1:A2", edits=unloaded) == pytest.approx(119.6, rel=5e-3)
        assert reads(net, "KM1:A1", "KM1:A2", "low-impedance volts", unloaded) == pytest.approx(4.48, rel=5e-3)
        sealed = (Edit("stuck", "KM1", "in"),)
        assert reads(net, "KM1:A1", "KM1:A2", edits=sealed) == pytest.approx(2.75, rel=5e-3)

    def test_w08_a_small_relay_behind_an_rc_may_hold_on_its_leak(self):
        """W08, closed form: 12 kilohm beside 80.4 kilohm of capacitor: some 20 V, 17 %."""
        text = COIL.replace("inrush va: 70 VA, sealed va: 8 VA", "inrush va: 1.2 VA, sealed va: 1.2 VA")
        net = net_of(text % ("RC", *ACROSS_CONTACT))
        # Our unsealed coil has a power factor of 0.6: 12 (0.6 + j0.8) kilohm, 120 * 12 / |7.3 - j70.8| V.
        assert reads(net, "KM1:A1", "KM1:A2") == pytest.approx(120 * 12.0 / abs(complex(7.3, -70.78)), rel=5e-3)

    def test_an_rc_across_the_coil_changes_nothing_that_a_meter_shows(self):
        with_it, without = net_of(COIL % ("RC", *ACROSS_COIL)), net_of(COIL % ("varistor", *ACROSS_COIL))
        for at in (REST, HELD):
            assert reads(with_it, "KM1:A1", "KM1:A2", at=at) == pytest.approx(
                reads(without, "KM1:A1", "KM1:A2", at=at), abs=0.2
            )

    @pytest.mark.parametrize("sort", ["RC", "varistor"])
    def test_a_shorted_one_across_the_coil_takes_the_fuse_when_the_contact_closes(self, sort):
        net, shorted = net_of(COIL % (sort, *ACROSS_COIL)), (Edit("siemens", "Z1 body", 10.0),)
        assert states(net, shorted)[0]["F1"] == "whole"
        assert states(net, shorted, HELD)[0]["F1"] == "blown"

    def test_a_shorted_one_across_the_contact_pulls_the_contactor_in_by_itself(self):
        net, shorted = net_of(COIL % ("RC", *ACROSS_CONTACT)), (Edit("siemens", "Z1 body", 10.0),)
        assert states(net)[0]["KM1"] == "out"
        assert states(net, shorted)[0]["KM1"] == "in"

    def test_a_diode_with_its_ring_to_plus_carries_nothing(self):
        net = net_of(DC % (1, 1, 2))
        (held,) = states(net, at=HELD)
        assert (held["K1"], held["V1"]) == ("in", "blocking")
        assert reads(net, "K1:A1", "K1:A2", "dc volts", at=HELD) == pytest.approx(24, abs=0.1)

    @pytest.mark.parametrize("how", ["wired", "fitted", "shorted"])
    def test_a_diode_the_wrong_way_round_is_a_short_for_the_fuse_or_the_supply(self, how):
        """Practice: "a suppressor diode fitted the wrong way round is a short: fuse or electronic output trips"."""
        pins = (2, 1) if how == "wired" else (1, 2)
        edits = {
            "wired": (),
            "fitted": (Edit("stuck", "V1 fitted", "wrong way round"),),
            "shorted": (Edit("siemens", "V1 body", 10.0),),
        }[how]
        small, none = net_of(DC % (1, *pins)), net_of(DC % (10, *pins))
        for net in (small, none):
            (rest,) = states(net, edits)
            assert (rest["PS1"], rest["F6"]) == ("on", "whole"), "nothing shows until the contact closes"
        (blown,) = states(small, edits, HELD)
        assert (blown["F6"], blown["PS1"], blown["K1"]) == ("blown", "on", "out")
        (folded,) = states(none, edits, HELD)
        assert (folded["F6"], folded["PS1"], folded["K1"]) == ("whole", "limiting", "out")
        # 5 A through a tenth of an ohm: the whole 24 V branch is down.
        assert reads(none, "PS1:+", "PS1:-", "dc volts", edits, HELD) < 1.5


PLUGGED = COIL.replace("  Z1: {kind: suppressor, type: %s}", "  X5: {kind: plug, poles: ['1', '2', '3']}").replace(
    "['S1:14', 'KM1:A1'%s]", "['S1:14', 'X5:1 socket']}\n  - {number: '3', run: ['X5:1 plug', 'KM1:A1']").replace(
    "['KM1:A2', 'G1:N'%s]", "['KM1:A2', 'X5:2 plug']}\n  - {number: N, run: ['X5:2 socket', 'G1:N']").replace("%s", "")  # fmt: skip


class TestPlug:
    def test_pulled_it_opens_every_contact_at_once(self):
        net, pulled = net_of(PLUGGED), Situation(acts=(Act("put", "X5", "pulled"), UP))
        assert states(net, at=HELD)[0]["KM1"] == "in"
        assert states(net, at=pulled)[0]["KM1"] == "out"
        assert reads(net, "X5:1 socket", "X5:2 socket", at=pulled) == pytest.approx(120, rel=0.005)

    def test_one_contact_that_does_not_make_shows_the_supply_across_itself(self):
        """Closed form: an open in a single rung has all the volts across it."""
        net, open_pin = net_of(PLUGGED), (Edit("siemens", "X5 2", 0.0),)
        assert reads(net, "X5:2 plug", "X5:2 socket", edits=open_pin, at=HELD) == pytest.approx(120, rel=0.005)

    def test_two_contacts_that_touch_short_the_coil_and_take_the_fuse(self):
        net, touching = net_of(PLUGGED), (Edit("siemens", "X5 1 to 2", 100.0),)
        assert states(net, touching, HELD)[0]["F1"] == "blown"


SINGLE = """
machine: single
devices:
  G1: {kind: supply, volts: %s, phases: %s, earthing: %s}
  R1: {kind: load, ohms: 1 kohm}
wires:
  - {number: L, run: ['G1:L1', 'R1:1']}
  - {number: N, run: ['G1:N', 'R1:2']}
roles: {}
complaints: {}
"""


class TestSinglePhase:
    def test_three_wires_read_120_to_neutral_and_240_between_the_lines(self):
        """Closed form: two halves of one winding (ANSI C84.1, 120/240 V three-wire; from memory)."""
        net = net_of(SINGLE % ("240/120", "single-phase three-wire", "star point"))
        assert reads(net, "G1:L1", "G1:L2") == pytest.approx(240, rel=0.005)
        for line in ("G1:L1", "G1:L2"):
            assert reads(net, line, "G1:PE") == pytest.approx(120, rel=0.005)

    def test_two_wires_have_one_line(self):
        circuit = circuit_from(SINGLE % ("400Y/230", "single-phase two-wire", "star point"))
        assert KINDS["supply"].pins(circuit.devices["G1"]) == ("L1", "N", "PE")
        assert reads(compile_circuit(circuit, None), "R1:1", "R1:2") == pytest.approx(230, rel=0.005)

    def test_unearthed_each_wire_stands_at_half_until_one_is_earthed(self):
        """Closed form: equal capacitances share the volts; a solid fault puts them all on the other wire."""
        net = net_of(SINGLE % ("400Y/230", "single-phase two-wire", "none"))
        assert reads(net, "G1:L1", "G1:PE") == pytest.approx(115, rel=0.01)
        fault = (Edit("earth", "R1:2", 100.0),)
        assert reads(net, "R1:1", "G1:PE", edits=fault) == pytest.approx(230, rel=0.005)


def test_a_pole_of_a_common_trip_takes_the_others_with_it_and_single_poles_do_not():
    """IEC 60898-1 and 60947-2: multipole breakers open all poles together (from memory)."""
    text = """
machine: trips
devices:
  G1: {kind: supply, volts: 208Y/120}
  Q1: {kind: breaker, amps: 6 A, poles: '2'}
  Q2: {kind: breaker, amps: 6 A}
  Q3: {kind: breaker, amps: 6 A}
  X1: {kind: terminals, pins: ['1', '2', '3', '4']}
wires:
  - {number: L1, run: ['G1:L1', 'Q1:1', 'Q2:1']}
  - {number: L2, run: ['G1:L2', 'Q1:3', 'Q3:1']}
  - {number: '1', run: ['Q1:2', 'X1:1']}
  - {number: '2', run: ['Q1:4', 'X1:2']}
  - {number: '3', run: ['Q2:2', 'X1:3']}
  - {number: '4', run: ['Q3:2', 'X1:4']}
roles: {}
complaints: {}
"""
    net = net_of(text)
    (common,) = states(net, (Edit("earth", "X1:1", 20.0),))
    assert (common["Q1"], common["Q2"], common["Q3"]) == ("tripped", "on", "on")
    assert reads(net, "X1:2", "G1:PE", edits=(Edit("earth", "X1:1", 20.0),)) < 1
    (single,) = states(net, (Edit("earth", "X1:3", 20.0),))
    assert (single["Q1"], single["Q2"], single["Q3"]) == ("on", "tripped", "on")
    assert math.isclose(reads(net, "X1:4", "G1:PE", edits=(Edit("earth", "X1:3", 20.0),)), 120, rel_tol=0.005)
