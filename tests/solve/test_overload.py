"""The thermal overload relay over time, held to the points of IEC 60947-4-1 (from memory but where a source is named)."""

from __future__ import annotations

import itertools

import pytest
from against.belt7 import circuit_from
from against.motors import LINE_A_LOST, panel

from troubleshoot.circuit.kinds.protection import CLASS_SECONDS
from troubleshoot.circuit.model import Act, Situation
from troubleshoot.solve.compiled import Net, compile_circuit
from troubleshoot.solve.edits import Edit
from troubleshoot.solve.settle import settle

# A relay alone, without a motor: one set of heaters that a selector puts behind its poles, and another set, so that it
# can be warmed first and loaded then.
RIG = """
machine: relay on a rig
devices:
  G1: {kind: supply, volts: 208Y/120}
  S1: {kind: selector, positions: ['off', one, two], usual: 'off', blocks: {%(blocks)s}}
  FR1: {kind: overload, set: 1 A, class: '%(trip)s', reset: %(reset)s, phase loss: %(felt)s}
  H1: {kind: lamp, lamp: 120 V AC}
%(loads)s
wires:
  - {number: '1', run: ['G1:L1', 'FR1:1', 'FR1:95']}
  - {number: '2', run: ['G1:L2', 'FR1:3']}
  - {number: '3', run: ['G1:L3', 'FR1:5']}
%(runs)s
  - {number: '91', run: ['FR1:96', 'H1:X1']}
  - {number: N, run: ['G1:N', 'H1:X2']}
roles: {}
complaints: {}
"""


def rig(one, two=(0, 0, 0), trip="10", reset="manual", felt="not felt") -> Net:
    """A relay set to 1 A; amperes of its poles with the selector at one and at two."""
    blocks, loads, runs = [], [], []
    behind: dict[int, list[str]] = {1: [], 2: [], 3: []}
    for k, position in itertools.product((1, 2, 3), ("one", "two")):
        current = (one if position == "one" else two)[k - 1]
        if not current:
            continue
        tag, a, b = f"R{k}{position}", f"{k}{position}a", f"{k}{position}b"
        blocks.append(f"'{a}-{b}': [{position}]")
        # The heater and the supply have 2 ohm and little else in the way.
        loads.append(f"  {tag}: {{kind: load, ohms: {120.0888 / current - 2.04:.6f} ohm}}")
        behind[k].append(f"'S1:{a}'")
        runs.append(f"  - {{number: '{b}', run: ['S1:{b}', '{tag}:1']}}")
        runs.append(f"  - {{number: N, run: ['{tag}:2', 'G1:N']}}")
    runs += [f"  - {{number: T{k}, run: ['FR1:{2 * k}', {', '.join(pins)}]}}" for k, pins in behind.items() if pins]
    fill = {"blocks": ", ".join(blocks), "loads": "\n".join(loads), "runs": "\n".join(runs)}
    return compile_circuit(circuit_from(RIG % (fill | {"trip": trip, "reset": reset, "felt": felt})), None)


def wait(seconds: float) -> Act:
    return Act("wait", value=f"{seconds:g}")


ON, MORE, OFF = Act("put", "S1", "one"), Act("put", "S1", "two"), Act("put", "S1", "off")


def chance_of_trip(net: Net, *acts: Act) -> float:
    return sum(o.weight for o in settle(net, (), Situation(acts=acts)) if o.state["FR1"] == "tripped")


HOURS_2 = wait(7200)
CLASSES = sorted(CLASS_SECONDS)


class TestTripClasses:
    @pytest.mark.parametrize("trip", CLASSES)
    def test_it_carries_105_percent_for_two_hours_and_trips_at_120_percent_within_two_hours_more(self, trip):
        net = rig((1.05,) * 3, (1.2,) * 3, trip)
        assert chance_of_trip(net, ON, HOURS_2) == 0
        assert chance_of_trip(net, ON, HOURS_2, MORE, HOURS_2) == 1

    @pytest.mark.parametrize(("trip", "minutes"), [("5", 2), ("10A", 2), ("10", 4), ("20", 8), ("30", 12)])
    def test_it_trips_at_150_percent_from_warm_within_the_minutes_of_its_class(self, trip, minutes):
        net = rig((1.0,) * 3, (1.5,) * 3, trip)
        assert chance_of_trip(net, ON, HOURS_2, MORE, wait(60 * minutes)) == 1

    @pytest.mark.parametrize(("trip", "least", "most"), [("10A", 2, 10), ("10", 4, 10), ("20", 6, 20), ("30", 9, 30)])
    def test_it_trips_at_72_times_from_cold_within_the_seconds_of_its_class(self, trip, least, most):
        """Seconds: a maker's page quoting the standard."""
        net = rig((7.2,) * 3, trip=trip)
        assert chance_of_trip(net, ON, wait(least * 0.98)) == 0
        assert chance_of_trip(net, ON, wait(most * 1.02)) == 1
        # Between them it may have: how far along the wait is, is the chance.
        assert chance_of_trip(net, ON, wait((least + most) / 2)) == pytest.approx(0.5, abs=0.02)

    def test_waits_add_up(self):
        net = rig((7.2,) * 3)
        assert chance_of_trip(net, ON, wait(3.9)) == 0
        assert chance_of_trip(net, ON, wait(3.9), wait(6.3)) == 1
        assert chance_of_trip(net, ON, wait(5), wait(2)) == pytest.approx(chance_of_trip(net, ON, wait(7)), abs=0.02)

    def test_a_middling_relay_trips_at_150_percent_from_warm_in_69_seconds(self):
        """Closed form: tau ln(1.25 / (2.25 - 1.15^2)) with the tau that trips in 6 s at 7.2 times, 232 s."""
        net = rig((1.0,) * 3, (1.5,) * 3)
        fast, slow = (69 * t / 6 for t in (4, 10))
        assert chance_of_trip(net, ON, HOURS_2, MORE, wait(0.98 * fast)) == 0
        assert chance_of_trip(net, ON, HOURS_2, MORE, wait(1.02 * slow)) == 1

    def test_nothing_trips_before_somebody_waits(self):
        assert chance_of_trip(rig((7.2,) * 3), ON) == 0


class TestLostPhase:
    def test_a_plain_relay_trips_with_two_poles_at_132_percent(self):
        net = rig((1.0,) * 3, (1.32, 1.32, 0))
        assert chance_of_trip(net, ON, HOURS_2, MORE, HOURS_2) == 1

    def test_one_that_feels_a_lost_phase_trips_with_two_poles_at_115_percent_and_the_plain_one_does_not(self):
        poles = ((1.0,) * 3, (1.15, 1.15, 0))
        acts = (ON, HOURS_2, MORE, HOURS_2)
        assert chance_of_trip(rig(*poles, felt="felt"), *acts) == 1
        assert chance_of_trip(rig(*poles), *acts) == 0

    def test_a_little_unbalance_is_no_lost_phase(self):
        assert chance_of_trip(rig((1.0, 1.0, 0.9), felt="felt"), ON, HOURS_2) == 0

    # A relay set to the motor's rated current, class 10. Two lines carry 0.96 times it at a quarter of the load, 1.51
    # times at three quarters.
    def test_w25_a_motor_on_two_lines_at_a_quarter_of_its_load_trips_nothing(self):
        for felt in ("felt", "not felt"):
            net = panel("load torque: 25 %", f"set: 0.813 A, phase loss: {felt}")
            assert chance_of_trip(net, HOURS_2, *LINE_A_LOST, HOURS_2) == 0

    def test_w25_at_three_quarters_it_trips_within_the_four_minutes_of_class_10(self):
        net = panel("load torque: 75 %", "set: 0.813 A, phase loss: felt")
        assert chance_of_trip(net, HOURS_2, *LINE_A_LOST) == 0
        assert chance_of_trip(net, HOURS_2, *LINE_A_LOST, wait(240)) == 1

    def test_a_motor_on_two_lines_from_standstill_trips_it_in_the_seconds_of_its_class(self):
        """6.8 times rated current, 0.866 of it; the trade gives a locked motor 15 to 90 s."""
        net = panel("", "set: 0.813 A, phase loss: felt")
        (held,) = settle(net, (), Situation(acts=LINE_A_LOST))
        assert held.state["M1"] == "turning"
        dead = (Act("open", "QA"), Act("lose power"), Act("restore power"))
        assert chance_of_trip(net, *dead, wait(15)) == 1


class TestCooling:
    HOT = (ON, wait(10.3), OFF)

    def test_it_cannot_be_reset_while_it_is_hot(self):
        assert chance_of_trip(rig((7.2,) * 3), *self.HOT, Act("reset", "FR1")) == 1

    def test_some_minutes_later_it_can(self):
        """One to five minutes: common practice, no published source."""
        assert chance_of_trip(rig((7.2,) * 3), *self.HOT, wait(300), Act("reset", "FR1")) == 0

    def test_by_itself_it_comes_back_only_where_it_is_set_to(self):
        assert chance_of_trip(rig((7.2,) * 3), *self.HOT, wait(600)) == 1
        assert chance_of_trip(rig((7.2,) * 3, reset="automatic"), *self.HOT, wait(600)) == 0

    def test_a_warm_relay_trips_sooner_than_a_cold_one(self):
        net = rig((1.0,) * 3, (3.0,) * 3)
        assert chance_of_trip(net, MORE, wait(20)) == 0
        assert chance_of_trip(net, ON, HOURS_2, MORE, wait(20)) > 0

    def test_a_relay_that_was_found_tripped_has_long_been_cold(self):
        found = settle(rig((0.5,) * 3), (Edit("left", "FR1", "tripped"),), Situation(acts=(Act("reset", "FR1"),)))
        assert [o.state["FR1"] for o in found] == ["set"]


class TestWhatATripDoes:
    def test_95_96_opens_and_97_98_closes(self):
        net = rig((7.2,) * 3)
        (after,) = settle(net, (), Situation(acts=(ON, wait(12))))
        assert (after.state["FR1"], after.state["H1"]) == ("tripped", "off")
        (before,) = settle(net, (), Situation(acts=(ON,)))
        assert (before.state["FR1"], before.state["H1"]) == ("set", "on")


TWO_WIRE = """
machine: two-wire control
devices:
  G1: {kind: supply, volts: 208Y/120}
  B1: {kind: process switch, positions: [low, high], blocks: {'11-12': nc}}
  KM1: {kind: contactor, coil: 120 V AC}
  FR1: {kind: overload, set: 6.4 A, reset: %s}
  M1: {kind: motor, power: 1.5 kW, volts: 208 V, amps: 6.4 A, load torque: %s}
wires:
  - {number: L1, run: ['G1:L1', 'KM1:1', 'FR1:95']}
  - {number: L2, run: ['G1:L2', 'KM1:3']}
  - {number: L3, run: ['G1:L3', 'KM1:5']}
  - {number: 1L1, run: ['KM1:2', 'FR1:1']}
  - {number: 1L2, run: ['KM1:4', 'FR1:3']}
  - {number: 1L3, run: ['KM1:6', 'FR1:5']}
  - {number: U, run: ['FR1:2', 'M1:U1']}
  - {number: V, run: ['FR1:4', 'M1:V1']}
  - {number: W, run: ['FR1:6', 'M1:W1']}
  - {number: '1', run: ['FR1:96', 'B1:11']}
  - {number: '2', run: ['B1:12', 'KM1:A1']}
  - {number: N, run: ['KM1:A2', 'G1:N']}
roles: {}
complaints: {}
"""


class TestAMotorBehindIt:
    def chances(self, reset: str, load: str, *acts: Act, edits=()) -> dict[str, float]:
        net = compile_circuit(circuit_from(TWO_WIRE % (reset, load)), None)
        found: dict[str, float] = {}
        for outcome in settle(net, edits, Situation(acts=acts)):
            assert outcome.settled
            found[outcome.state["M1"]] = found.get(outcome.state["M1"], 0) + outcome.weight
        return found

    def test_a_full_load_runs_all_day(self):
        assert self.chances("manual", "100 %", wait(36_000)) == {"turning": pytest.approx(1)}

    def test_too_much_load_is_switched_off_and_stays_off_until_somebody_resets_it(self):
        assert self.chances("manual", "170 %") == {"turning": pytest.approx(1)}
        assert self.chances("manual", "170 %", wait(36_000)) == {"still": pytest.approx(1)}

    def test_automatic_reset_with_two_wire_control_starts_the_motor_again_by_itself(self):
        """The caution of every overload relay's sheet; common practice, no published source."""
        turns = [self.chances("automatic", "170 %", wait(60 * k)).get("turning", 0) > 0.5 for k in range(1, 31, 2)]
        off = turns.index(False)
        assert turns[0]
        assert True in turns[off:]

    def test_a_jammed_motor_is_switched_off_in_seconds(self):
        # Closed form: 5.8 times the set current, two thirds of the seconds more than at 7.2 times: class 10, under 20 s.
        held = (Edit("stuck", "M1 shaft", "held"),)
        assert self.chances("manual", "100 %", edits=held) == {"humming": pytest.approx(1)}
        assert self.chances("manual", "100 %", wait(20), edits=held) == {"still": pytest.approx(1)}
