"""The ready circuits do, in every situation that they name, what a person of the trade expects of such a circuit.

All of it is common practice without a published source, but for what names one.
"""

from __future__ import annotations

import re

import pytest
from against import ready
from against.belt7 import pin

from troubleshoot.circuit.acts import parse_acts, reach
from troubleshoot.circuit.model import Situation
from troubleshoot.safety.doings import by_role, doings
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.meter import read
from troubleshoot.solve.settle import Outcome, settle

TURNS = {"turning", "turning backward"}


def outcomes(name: str, situation: str, *edits: Edit) -> tuple[Outcome, ...]:
    machine = ready.machine(name)
    return settle(machine.net, edits, machine.circuit.situations[situation].situation)


def state(name: str, situation: str, *edits: Edit) -> dict[str, str]:
    """The one state in which it ends."""
    (outcome,) = outcomes(name, situation, *edits)
    assert outcome.settled
    return dict(outcome.state)


def after(name: str, text: str, *edits: Edit) -> dict[str, str]:
    machine = ready.machine(name)
    acts = parse_acts(text, reach(machine.circuit.devices))
    assert isinstance(acts, tuple), acts
    (outcome,) = settle(machine.net, edits, Situation("rest", acts))
    assert outcome.settled
    return dict(outcome.state)


def volts(name: str, situation: str, red: str, black: str) -> float:
    machine = ready.machine(name)
    at = machine.circuit.situations[situation].situation
    return read(machine.net, (), at, "ac volts", pin(red), pin(black))[0][0].value


@pytest.mark.parametrize("name", ready.NAMES)
class TestEveryOne:
    def test_it_comes_to_rest_in_every_named_situation(self, name):
        machine = ready.machine(name)
        for named in machine.circuit.situations.values():
            for outcome in settle(machine.net, (), named.situation):
                assert outcome.settled, named.name

    def test_it_has_what_a_job_needs(self, name):
        circuit = ready.machine(name).circuit
        assert circuit.name == name
        assert {"as found", "at rest", "start held", "isolated"} <= circuit.situations.keys()
        assert {"wont-start", "wont-stop"} <= circuit.complaints.keys()
        # Of two-wire control and of a hoist nothing is meant to hold.
        assert ("wont-hold" in circuit.complaints) is (name not in ("float-pump", "hoist"))
        assert {"disconnect", "contactor", "overload", "motor", "control fuse"} <= circuit.roles.keys()
        known = {**by_role(ready.machine(name)), **circuit.situations}
        assert all(complaint.shows in known for complaint in circuit.complaints.values())

    def test_nothing_turns_at_rest_nor_isolated_and_no_fuse_goes(self, name):
        machine = ready.machine(name)
        for situation in machine.circuit.situations:
            for outcome in outcomes(name, situation):
                fuses = [t for t, d in machine.circuit.devices.items() if d.kind == "fuse"]
                assert all(outcome.state[f] == "whole" for f in fuses)
        for situation in ("at rest", "isolated"):
            for motor in machine.net.motors:
                assert state(name, situation)[motor.var] == "still"

    def test_the_disconnect_takes_all_volts_but_those_of_the_feeder(self, name):
        """IEC 60204-1 5.3: the supply disconnecting device disconnects the machine (from memory)."""
        machine = ready.machine(name)
        (outcome,) = outcomes(name, "isolated")
        for node, (ac, dc) in zip(
            machine.net.nodes, zip(outcome.network.ac_v, outcome.network.dc_v, strict=True), strict=True
        ):
            if not re.match(r"G1|Q1:[135]$", node) and abs(ac) > 5:
                # What is earthed nowhere hangs on leaks: nothing feeds it.
                assert name == "three-wire-unearthed", node
            assert abs(dc) < 1, node

    def test_every_way_of_stopping_stops_it(self, name):
        machine = ready.machine(name)
        named = {
            "stop held",
            "stopped",
            "emergency stop in",
            "overload tripped",
            "conveyor trips",
            "cord pulled",
            "dry",
        }
        for situation in named & machine.circuit.situations.keys():
            for motor in machine.net.motors:
                assert state(name, situation)[motor.var] == "still", situation

    def test_loss_of_power_stops_it_and_its_return_starts_nothing_but_the_pump(self, name):
        """IEC 60204-1 7.5: no restart by itself after an interruption (from memory); a float calls for its pump again."""
        machine = ready.machine(name)
        for run in doings(machine).runs:
            text = "; ".join(map(str, (*run.acts, *run.let_go)))
            back = after(name, f"{text}; lose power; restore power")
            again = any(back[motor.var] in TURNS for motor in machine.net.motors)
            assert again is (name == "float-pump")

    def test_it_runs_where_it_is_held_or_started(self, name):
        for situation in ("start held", "running"):
            if situation in ready.machine(name).circuit.situations:
                found = state(name, situation)
                assert found["M1"] == "turning"
                assert found["KM1"] == "in"


@pytest.mark.parametrize("name", [n for n in ready.NAMES if n.startswith("three-wire")])
class TestThreeWire:
    def test_start_seals_in_and_stop_lets_it_go(self, name):
        assert state(name, "running")["KM1"] == "in"
        assert state(name, "stopped")["KM1"] == "out"
        assert state(name, "running")["H1"] == "on"
        assert state(name, "stopped")["H2"] == "on"

    def test_without_its_holding_contact_it_runs_only_while_start_is_held(self, name):
        film = Edit("siemens", "KM1 13-14", 0.0)
        assert state(name, "start held", film)["KM1"] == "in"
        assert state(name, "running", film)["KM1"] == "out"

    def test_the_transformer_gives_its_coil_some_120_volts(self, name):
        """NEMA ST 1: at least 85 % with the coil's inrush (from memory); unloaded a few per cent high."""
        assert 114 < volts(name, "running", "KM1:A1", "KM1:A2") < 126
        assert volts(name, "at rest", "T1:X1", "T1:X2") > 0.85 * 120


class TestEarthing:
    """Closed form, as any handbook has it: star 277 to earth on each; corner 0 and 240; unearthed near 277 by capacitance."""

    def test_star(self):
        for line in ("1", "3", "5"):
            assert volts("three-wire", "at rest", f"Q1:{line}", "G1:PE") == pytest.approx(277, rel=0.01)

    def test_a_corner_earthed_delta_reads_nothing_from_its_earthed_line(self):
        name = "three-wire-corner-earthed"
        assert volts(name, "at rest", "Q1:3", "G1:PE") < 1
        for line in ("1", "5"):
            assert volts(name, "at rest", f"Q1:{line}", "G1:PE") == pytest.approx(240, rel=0.01)
        assert not any(d.kind == "fuse" and "L2" in d.words for d in ready.machine(name).circuit.devices.values())

    def test_an_earth_fault_on_an_unearthed_line_blows_nothing_and_the_machine_runs_on(self):
        """The healthy lines then stand at 480 V: encyclopedias; IEC 60364-1, IT systems (from memory)."""
        fault = Edit("earth", "M1:U1", 100.0)
        found = state("three-wire-unearthed", "running", fault)
        assert (found["M1"], found["F1"]) == ("turning", "whole")
        machine = ready.machine("three-wire-unearthed")
        at = machine.circuit.situations["running"].situation
        other = read(machine.net, (fault,), at, "ac volts", pin("M1:V1"), pin("G1:PE"))[0][0].value
        assert other == pytest.approx(480, rel=0.02)
        assert state("three-wire", "running", fault)["F1"] == "blown"

    def test_an_earth_fault_before_the_coil_takes_the_fuse_only_where_the_control_circuit_is_earthed(self):
        """IEC 60204-1 9.4.3: an earthed control circuit opens its fuse, an unearthed one is to be watched (from memory)."""
        fault = Edit("earth", "KM1:A1", 100.0)
        assert state("three-wire", "running", fault)["F6"] == "blown"
        assert state("three-wire-unearthed", "running", fault)["F6"] == "whole"


class TestFloatPump:
    def test_the_float_starts_and_stops_it(self):
        assert state("float-pump", "running")["M1"] == "turning"
        assert state("float-pump", "stopped")["M1"] == "still"

    def test_off_wins_over_the_float_and_hand_needs_no_float(self):
        assert state("float-pump", "stop held")["M1"] == "still"
        assert state("float-pump", "hand")["M1"] == "turning"

    def test_the_dry_run_float_stops_it_in_hand_too(self):
        assert after("float-pump", "put S1 in hand; put B2 in dry")["M1"] == "still"


class TestReversing:
    NAME = "reversing-conveyor"

    def test_the_two_directions_are_never_in_together(self):
        for situation in ready.machine(self.NAME).circuit.situations:
            for outcome in outcomes(self.NAME, situation):
                assert not (outcome.state["KM1"] == outcome.state["KM2"] == "in"), situation

    def test_reverse_turns_backward(self):
        assert state(self.NAME, "running")["M1"] == "turning"
        assert state(self.NAME, "reverse running")["M1"] == "turning backward"

    def test_it_must_be_stopped_before_it_is_reversed(self):
        assert after(self.NAME, "press S1; release S1; press S3; release S3")["M1"] == "turning"
        assert after(self.NAME, "press S1; release S1; press S2; release S2; press S3; release S3")["M1"] == (
            "turning backward"
        )

    def test_a_limit_switch_stops_its_own_direction_only(self):
        assert state(self.NAME, "front end")["M1"] == "still"
        assert state(self.NAME, "back end")["M1"] == "still"
        assert after(self.NAME, "put B1 in reached; press S1")["M1"] == "still"
        assert after(self.NAME, "put B1 in reached; press S3; release S3")["M1"] == "turning backward"
        assert after(self.NAME, "put B2 in reached; press S1; release S1")["M1"] == "turning"

    def test_leaving_the_limit_switch_starts_nothing(self):
        assert after(self.NAME, "press S1; release S1; put B1 in reached; put B1 in clear")["M1"] == "still"

    def test_each_interlock_alone_keeps_the_second_direction_out(self):
        """Electrical and mechanical: with the break contacts bridged the lever holds, with it broken the contacts do."""
        bridged = (Edit("siemens", "KM1 21-22", 30.0), Edit("siemens", "KM2 21-22", 30.0))
        broken = Edit("stuck", "KM1 interlock", "broken")
        for edits in (bridged, (broken,)):
            found = state(self.NAME, "both held", *edits)
            assert (found["KM1"], found["KM2"], found["F1"], found["F3"]) == ("in", "out", "whole", "whole")
        both = outcomes(self.NAME, "both held", *bridged, broken)
        assert all("blown" in (o.state["F1"], o.state["F3"]) for o in both)


class TestStarDelta:
    NAME = "star-delta-fan"

    def test_it_ends_in_delta_with_the_star_contactor_out(self):
        found = state(self.NAME, "running")
        assert (found["KM1"], found["KM2"], found["KM3"], found["M1"]) == ("in", "in", "out", "turning")

    def test_until_the_timer_is_up_it_runs_in_star(self):
        found = state(self.NAME, "running", Edit("stuck", "KT1 timer", "out"))
        assert (found["KM1"], found["KM2"], found["KM3"], found["M1"]) == ("in", "out", "in", "turning")

    def test_delta_waits_until_star_has_let_go(self):
        """A star contactor that stays in keeps delta out, whatever the timer says: both in short the three lines."""
        for edits in (
            (Edit("stuck", "KM3", "in"),),
            (Edit("stuck", "KM3", "in"), Edit("stuck", "KM2 interlock", "broken")),
        ):
            found = state(self.NAME, "running", *edits)
            assert (found["KT1 timer"], found["KM2"]) == ("in", "out")
            assert all(found[f] == "whole" for f in ("F1", "F2", "F3"))

    def test_a_star_contact_of_the_timer_that_does_not_open_leaves_it_in_star(self):
        found = state(self.NAME, "running", Edit("siemens", "KT1 15-16", 30.0))
        assert (found["KM2"], found["KM3"], found["M1"]) == ("out", "in", "turning")

    def test_nothing_comes_in_without_star_neither_main_nor_delta(self):
        found = state(self.NAME, "start held", Edit("stuck", "KM3", "out"))
        assert (found["KM1"], found["KM2"], found["M1"]) == ("out", "out", "still")

    def test_the_overload_relay_carries_the_winding_and_the_line_carries_the_root_of_three_of_it(self):
        """IEC 60947-4-1: a relay in the winding's lead is set to 0.58 of the nameplate (from memory); closed form."""
        machine = ready.machine(self.NAME)
        at = machine.circuit.situations["running"].situation
        winding = read(machine.net, (), at, "amps", pin("FR1:2"), pin("X2:1"))[0][0].value
        line = read(machine.net, (), at, "amps", pin("G1:L1"), pin("Q1:1"))[0][0].value
        assert line / winding == pytest.approx(3**0.5, rel=0.02)


class TestHoist:
    NAME = "hoist"

    def test_it_moves_only_while_a_button_is_held_and_the_brake_follows(self):
        for situation, moves in (("start held", "turning"), ("down held", "turning backward"), ("stopped", "still")):
            found = state(self.NAME, situation)
            assert (found["M1"], found["YB1"]) == (moves, "set" if moves == "still" else "released")

    def test_both_buttons_held_move_nothing_and_set_the_brake(self):
        found = state(self.NAME, "both held")
        assert (found["KM1"], found["KM2"], found["YB1"]) == ("out", "out", "set")

    def test_each_limit_switch_stops_its_own_direction_only(self):
        assert state(self.NAME, "top")["M1"] == state(self.NAME, "bottom")["M1"] == "still"
        assert state(self.NAME, "down from the top")["M1"] == "turning backward"
        assert after(self.NAME, "put B2 in reached; press S1")["M1"] == "turning"

    def test_without_power_the_brake_is_set(self):
        """Spring-applied: EN 14492-2 (from memory)."""
        assert after(self.NAME, "press S1; lose power")["YB1"] == "set"

    def test_a_dead_rectifier_leaves_the_brake_set_and_the_motor_humming(self):
        found = state(self.NAME, "start held", Edit("siemens", "F5 link", 0.0))
        assert (found["KM1"], found["YB1"], found["M1"]) == ("in", "set", "humming")


class TestSafetyRelay:
    NAME = "safety-relay-conveyor"

    def test_it_starts_only_after_the_safety_relay_was_reset(self):
        assert after(self.NAME, "press S1")["M1"] == "still"
        assert state(self.NAME, "start held")["M1"] == "turning"

    def test_letting_the_head_out_starts_nothing_and_reset_alone_neither(self):
        """ISO 13850: resetting the device permits a restart and does not start (from memory)."""
        assert state(self.NAME, "let go again")["M1"] == "still"
        again = "press S4; release S4; press S1; release S1; press ES1; release ES1; press S4; release S4"
        assert after(self.NAME, again)["M1"] == "still"

    def test_one_channel_is_enough_to_stop_it(self):
        for block in ("11-12", "21-22"):
            welded = Edit("siemens", f"ES1 {block}", 30.0)
            assert state(self.NAME, "emergency stop in", welded)["M1"] == "still"

    def test_one_welded_contactor_is_covered_by_the_other_and_refuses_the_next_reset(self):
        """The feedback loop: a break contact of each contactor in the reset (ISO 13849-1, monitoring; from memory)."""
        machine = ready.machine(self.NAME)
        welded = next(s for s in machine.suspects if s.id == "KM1 1-2 welded").edits
        assert state(self.NAME, "emergency stop in", *welded)["M1"] == "still"
        assert after(self.NAME, "press S4; release S4; press S1", *welded)["M1"] == "still"

    def test_a_parcel_at_the_end_stops_it_and_its_going_does_not_start_it(self):
        assert state(self.NAME, "parcel at the end")["M1"] == "still"
        gone = "press S4; release S4; press S1; release S1; put B1 in parcel; put B1 in clear"
        assert after(self.NAME, gone)["M1"] == "still"


class TestSequence:
    NAME = "two-in-sequence"

    def test_the_feeder_does_not_start_before_the_conveyor(self):
        assert state(self.NAME, "feeder alone")["M2"] == "still"
        assert state(self.NAME, "feeder start held")["M2"] == "turning"

    @pytest.mark.parametrize("how", ["stopped", "conveyor trips", "emergency stop in", "stop held"])
    def test_the_feeder_stops_with_the_conveyor(self, how):
        found = state(self.NAME, how)
        assert (found["M1"], found["M2"]) == ("still", "still")

    def test_the_feeder_alone_can_be_stopped(self):
        found = state(self.NAME, "feeder stopped")
        assert (found["M1"], found["M2"]) == ("turning", "still")

    def test_starting_the_conveyor_again_does_not_start_the_feeder(self):
        text = "press S1; release S1; press S3; release S3; press S2; release S2; press S1; release S1"
        found = after(self.NAME, text)
        assert (found["M1"], found["M2"]) == ("turning", "still")

    def test_the_permissive_is_the_conveyors_contactor(self):
        dead = Edit("siemens", "KM1 23-24", 0.0)
        found = state(self.NAME, "feeder start held", dead)
        assert (found["M1"], found["M2"]) == ("turning", "still")


class TestLatchedJog:
    NAME = "latched-jog"

    def test_start_sets_stop_resets(self):
        assert state(self.NAME, "running")["M1"] == "turning"
        assert state(self.NAME, "stopped")["M1"] == "still"

    def test_the_stop_button_jogs_what_stands(self):
        assert state(self.NAME, "jog held")["M1"] == "turning"
        assert state(self.NAME, "jog let go")["M1"] == "still"

    def test_stop_held_on_a_running_belt_does_not_jog(self):
        assert state(self.NAME, "stop held")["M1"] == "still"

    def test_the_emergency_stop_resets_the_latch(self):
        assert state(self.NAME, "emergency stop in")["M1"] == "still"
        assert state(self.NAME, "emergency stop released")["M1"] == "still"

    def test_the_latch_is_not_kept_over_a_loss_of_power(self):
        assert state(self.NAME, "power back")["M1"] == "still"

    def test_an_open_wire_to_the_stop_and_jog_button_starts_it_when_power_comes_on(self):
        wire = Edit("siemens", "32:S2:12>X3:4", 0.0)
        assert state(self.NAME, "at rest", wire)["M1"] == "turning"
        assert after(self.NAME, "open Q1; close Q1", wire)["M1"] == "turning"
